"""An answers file: what it may hold, and where exactly it is wrong."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, shipped_engine
from tests.strategies import FIXED
from triage.console.answers_file import AnswersError, AnswersFile, load_answers, read_answers

CONTENT = shipped_engine().content


def read(text: str) -> AnswersFile:
    return read_answers("call.yaml", text.encode(), CONTENT)


def mistake(text: str) -> str:
    """Return the one message an answers file of this text is refused with."""
    with pytest.raises(AnswersError) as caught:
        read(text)
    return str(caught.value)


# What it may hold.


def test_a_text_a_list_and_the_reserved_keys_are_read() -> None:
    answers = read(
        """
        freeze_time: "14:20"
        harvest_suction_pressure: [a lot, 85 psi]
        acknowledge: all
        refuse: [falling_ice]
        voice: technician
        units: si
        about: A call to read.
        notes: [first, second]
        serial_number: 0451-77
        """
    )
    assert answers.answers == {
        "freeze_time": ("14:20",),
        "harvest_suction_pressure": ("a lot", "85 psi"),
    }
    assert answers.acknowledges("anything")
    assert answers.refuse == ("falling_ice",)
    assert (answers.voice, answers.units) == ("technician", "si")
    assert answers.about == "A call to read."
    assert answers.notes == ("first", "second")
    assert answers.serial_number == "0451-77"


@pytest.mark.parametrize(
    ("text", "acknowledged"),
    [
        ("", set()),
        ("acknowledge: none", set()),
        ("acknowledge: [falling_ice, hot_parts]", {"falling_ice", "hot_parts"}),
        ("acknowledge: falling_ice", {"falling_ice"}),
        ("acknowledge: []", set()),
        ("acknowledge: all", set(CONTENT.cautions)),
        ("acknowledge: [all]", set(CONTENT.cautions)),
    ],
)
def test_the_gate_is_answered_by_all_none_or_a_list(text: str, acknowledged: set[str]) -> None:
    answers = read(f"freeze_time: 14:20\n{text}")
    assert {key for key in CONTENT.cautions if answers.acknowledges(key)} == acknowledged


def test_words_yaml_would_make_into_something_else_stay_as_typed() -> None:
    answers = read("coil_pulls_in: yes\nfreeze_time: 14:20\nice_released: No\ncoil_voltage: 024")
    assert [text for (text,) in answers.answers.values()] == ["yes", "14:20", "No", "024"]


def test_json_is_taken_as_well() -> None:
    text = json.dumps({**FEED_FAILED, "acknowledge": ["falling_ice"], "coil_voltage": 24.5})
    answers = read(text)
    assert answers.answers["coil_voltage"] == ("24.5",)
    assert answers.answers["machine"] == (FEED_FAILED["machine"],)
    assert answers.acknowledge == ("falling_ice",)


@pytest.mark.parametrize(
    ("data", "place"),
    [(b'{"machine": "x"', "1:16"), (b'{"machine": "x",\n "notes": ["a"', "2:15")],
)
def test_a_broken_json_file_is_called_json(data: bytes, place: str) -> None:
    with pytest.raises(AnswersError) as caught:
        read_answers("call.json", data, CONTENT)
    assert str(caught.value).startswith(f"call.json:{place}: this is no JSON: ")
    assert "YAML" not in str(caught.value)


def test_letters_of_any_script_and_a_byte_order_mark_are_read() -> None:
    data = "\ufeffmachine: Gletsch R500\nnotes: Hütte – 冰".encode()
    answers = read_answers("call.yaml", data, CONTENT)
    assert answers.notes == ("Hütte – 冰",)


# Where it is wrong.


def test_a_reading_nobody_knows_is_told_with_its_place_and_the_nearest_name() -> None:
    message = mistake("freeze_time: 14:20\n  \nharvest_suction_presure: 62 psi\n")
    assert message.startswith("call.yaml:3:1 ")
    assert '"harvest_suction_presure"' in message
    assert 'did you mean "harvest_suction_pressure"?' in message


def test_every_mistake_is_told_at_once_each_with_its_place() -> None:
    message = mistake("frieze_time: 14:20\nvoice: boss\nunits: metric\nrefuse: [falling_snow]\n")
    lines = message.splitlines()
    assert [line.split(" ")[0] for line in lines] == [
        "call.yaml:1:1", "call.yaml:2:8", "call.yaml:3:8", "call.yaml:4:9",
    ]  # fmt: skip
    assert "agent or technician" in lines[1]
    assert "us or si" in lines[2]
    assert "falling_ice" in lines[3]


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        ("freeze_time: 14:20\nfreeze_time: 15:00", "call.yaml:2:1", "second time"),
        ("freeze_time: &a 14:20\nharvest_time: *a", "call.yaml:", "alias"),
        ("freeze_time: [1, 2", "call.yaml:", ""),
        ("freeze_time: 14:20\n\tharvest_time: 1", "call.yaml:2:", ""),
        ("- freeze_time", "call.yaml:1:1", ""),
        ("just words", "call.yaml:1:1", ""),
        ("freeze_time:", "call.yaml:1:", "unknown"),
        ("freeze_time: ~", "call.yaml:1:", "unknown"),
        ("freeze_time: [14:20, ]\nice_pattern: null", "call.yaml:2:", "unknown"),
        ("freeze_time: {minutes: 14}", "call.yaml:1:14", "a text or a list"),
        ("freeze_time: 1\n---\nfreeze_time: 2", "call.yaml:", ""),
        ("acknowledge: [everything]", "call.yaml:1:14", "everything"),
        ("", "call.yaml:1:1", ""),
    ],
    ids=["duplicate key", "alias", "open bracket", "tab", "list", "words", "empty", "null",
         "null in second", "mapping", "two documents", "no such caution", "empty file"],
)  # fmt: skip
def test_a_broken_file_is_refused_where_it_is_broken(text: str, place: str, told: str) -> None:
    message = mistake(text)
    assert message.startswith(place)
    assert told in message
    assert "\x1b" not in message


def test_a_file_that_is_no_text_is_refused() -> None:
    for data in (b"freeze_time: \xff\xfe\x00", b"freeze_time: \x00", b"\x89PNG\r\n\x1a\n"):
        with pytest.raises(AnswersError, match=r"call\.yaml:"):
            read_answers("call.yaml", data, CONTENT)


def test_a_huge_file_is_refused_at_once() -> None:
    with pytest.raises(AnswersError, match=r"call\.yaml:.* (?:large|long|big|bytes|kB|MB)"):
        read_answers("call.yaml", b"notes: " + b"a" * 20_000_000, CONTENT)


def test_a_deeply_nested_file_is_refused() -> None:
    assert mistake("notes: " + "[" * 5000 + "]" * 5000).startswith("call.yaml:")


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda path: path.mkdir(), "is a directory"),
        (lambda path: None, "no such file"),
        (lambda path: path.symlink_to(path), "symbolic links"),
    ],
    ids=["directory", "missing", "ring of links"],
)
def test_a_path_that_cannot_be_read_is_named_with_the_reason(
    tmp_path: Path, make: object, told: str
) -> None:
    path = tmp_path / "call.yaml"
    make(path)  # type: ignore[operator]
    with pytest.raises(AnswersError, match=told) as caught:
        load_answers(path, CONTENT)
    assert str(path) in str(caught.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="root reads everything")
def test_a_file_one_may_not_read_is_named_with_the_reason(tmp_path: Path) -> None:
    path = tmp_path / "call.yaml"
    path.write_text("freeze_time: 14:20")
    path.chmod(0)
    with pytest.raises(AnswersError, match="permission denied"):
        load_answers(path, CONTENT)


@given(data=st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
@FIXED
def test_no_bytes_whatever_raise_anything_but_a_message(data: bytes) -> None:
    told = ""
    try:
        assert set(read_answers("call.yaml", data, CONTENT).answers) <= set(CONTENT.readings)
    except AnswersError as error:
        told = str(error)
    assert not told or told.startswith("call.yaml:")


@given(
    answers=st.dictionaries(
        st.sampled_from(list(CONTENT.readings)),
        st.lists(st.text(min_size=1, max_size=20), min_size=1, max_size=3),
        min_size=1,
    )
)
@FIXED
def test_any_texts_written_as_json_are_read_as_they_were(answers: dict[str, list[str]]) -> None:
    data = json.dumps(answers).encode()
    if any("\\" in json.dumps(text) for texts in answers.values() for text in texts):
        return  # escapes of the two languages differ in surrogates; plain texts are meant here
    read_back = read_answers("call.json", data, CONTENT)
    assert read_back.answers == {key: tuple(texts) for key, texts in answers.items()}
