"""`triage tree diff` at the command line: what it tells, its exit codes, recorded calls."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.review.sticks import CHARGE, EVEN, THIN, call, folder_of, keep
from tests.tree.miniature import TREE as FILE
from tests.tree.miniature import Draft, Rule, sound_draft
from triage.cli import main
from triage.review import replay_many as many
from triage.review.tree_diff_calls import TwoReplayers
from triage.review.tree_diff_screen import shortened

Captured = pytest.CaptureFixture[str]

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def before(tmp_path: Path) -> Path:
    return folder_of(sound_draft(), tmp_path / "before")


@pytest.fixture
def after(tmp_path: Path) -> Path:
    return folder_of(changed_draft(), tmp_path / "after")


def changed_draft() -> Draft:
    """Return a tree in which thin ice is handed over unless the freeze is long."""
    draft = sound_draft()
    draft.junctions["thin"] = ("freeze", [Rule("charge", {"freeze_time": "above"})], "hand_on")
    draft.route("pattern", thin_at_outlet="thin")
    return draft


def run(*arguments: str | Path) -> int:
    return main(["tree", "diff", *map(str, arguments)])


def told(capsys: Captured, *arguments: str | Path, code: int = 1) -> dict[str, Any]:
    assert run(*arguments, "--json") == code
    out, err = capsys.readouterr()
    assert err == ""
    found: dict[str, Any] = json.loads(out)
    return found


def words(capsys: Captured) -> str:
    return " ".join(capsys.readouterr().out.split())


def test_two_contents_with_which_calls_go_alike_end_with_0(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    same = folder_of(sound_draft(), tmp_path / "same")
    (same / FILE).write_text(f"{(same / FILE).read_text()}# a remark\n")
    assert run(before, same) == 0
    assert words(capsys).startswith("Calls go alike with")
    found = told(capsys, before, same, code=0)
    assert found["is_same"]
    assert found["changes"] == found["conversations"] == []
    assert found["before"]["content_version"] != found["after"]["content_version"]


def test_a_change_is_told_in_words_with_the_conversations_it_changes(
    before: Path, after: Path, capsys: Captured
) -> None:
    assert run(before, after) == 1
    out = words(capsys)
    assert "2 changes." in out
    assert (
        "QUESTIONS pattern - when it is thin at the outlet: ends: too little refrigerant [charge] "
        "-> goes by the rules of [thin]"
    ) in out
    assert "JUNCTIONS thin - added: 1 rule" in out
    assert "- licensed callers: 0% of calls are asked otherwise, " in out
    assert "charge -> hand_on" in out
    assert "EXAMPLE: sticks 6 questions, as few as any with this end." in out
    assert "ice pattern thin at the outlet" in out
    assert "ended before in charge: too little refrigerant" in out
    assert "ends now in hand_on: handed over: Second line." in out


def test_the_screen_keeps_to_80_columns_and_plain_output_has_the_same_words(
    before: Path, after: Path, capsys: Captured
) -> None:
    run(before, after)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    run(before, after, "--plain")
    assert "EXAMPLE: sticks" in capsys.readouterr().out


def test_fewer_examples_can_be_asked_for(before: Path, tmp_path: Path, capsys: Captured) -> None:
    draft = changed_draft()
    draft.route("harvest", above="feed")
    after = folder_of(draft, tmp_path / "after")
    run(before, after)
    assert capsys.readouterr().out.count("EXAMPLE: ") == 2
    run(before, after, "--examples", "1")
    assert capsys.readouterr().out.count("EXAMPLE: ") == 1


def test_json_has_every_change_share_and_example(
    before: Path, after: Path, capsys: Captured
) -> None:
    found = told(capsys, before, after)
    assert [change["what"] for change in found["changes"]] == [
        "when it is thin at the outlet", "added",
    ]  # fmt: skip
    (tree,) = found["conversations"]
    (end,) = tree["ends"]
    assert (end["before"], end["after"], end["has_same_causes"]) == ("charge", "hand_on", False)
    assert end["example"][-1] == {"reading": "ice_pattern", "outcome": "thin_at_outlet"}
    assert end["asked_alike"] == 6
    licensed = tree["callers"]["licensed"]
    assert licensed["share_ending_otherwise"] == pytest.approx(end["shares"]["licensed"])
    assert licensed["standard_error"] is None
    assert found["recorded_calls"] is None


def test_one_name_alone_is_what_would_come_in_place_of_the_content_in_use(
    before: Path, after: Path, capsys: Captured
) -> None:
    found = told(capsys, after, "--trees", before)
    assert (found["before"]["name"], found["after"]["name"]) == (str(before), str(after))
    assert ("thin", "added") in {(it["id"], it["what"]) for it in found["changes"]}


def test_one_file_alone_is_what_would_come_into_the_content_in_use(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = tmp_path / "draft.yaml"
    draft.write_text(changed_draft().yaml())
    found = told(capsys, draft, "--trees", before)
    assert (found["before"]["name"], found["after"]["name"]) == (str(before), str(draft))
    assert ("thin", "added") in {(it["id"], it["what"]) for it in found["changes"]}


def test_the_file_of_a_tree_is_put_into_the_content_in_use(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = tmp_path / "draft.yaml"
    draft.write_text(changed_draft().yaml())
    found = told(capsys, before, draft, "--trees", before)
    assert {change["id"] for change in found["changes"]} == {"pattern", "thin"}


def test_recorded_calls_that_would_end_otherwise_are_named(
    before: Path, after: Path, tmp_path: Path, capsys: Captured
) -> None:
    store = keep(
        tmp_path / "calls.sqlite3", call(THIN, CHARGE), call(EVEN), call(THIN, tree="gone")
    )
    assert run(before, after, "--store", store) == 1
    out = words(capsys)
    assert "2 calls replayed with both: 1 would end otherwise" in out
    assert "Ending otherwise: 20260302-0900-aaaa." in out
    assert "Only asked or warned otherwise" not in out
    assert 'Not replayed: 1 call. no tree is called "gone"' in out
    calls = told(capsys, before, after, "--store", store)["recorded_calls"]
    assert (calls["calls"], calls["ending_otherwise"], calls["damaged"]) == (2, 1, 0)
    (moved,) = calls["sessions"]
    assert moved["session_id"] == "20260302-0900-aaaa"
    assert moved["before"]["ending"] == "charge"
    assert moved["after"]["ending"] == "hand_on"


def test_recorded_calls_that_are_only_asked_otherwise_are_named_too(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.route("pattern", thin_at_outlet="flow")
    draft.route("flow", full="charge")
    after = folder_of(draft, tmp_path / "after")
    moved = call({**THIN, "water_flow_over_plate": "full"}, CHARGE)
    store = keep(tmp_path / "calls.sqlite3", *[moved] * 17, call(EVEN))
    assert run(before, after, "--store", store) == 1
    out = words(capsys)
    assert "18 calls replayed with both: 1 would end otherwise, 18 would be asked" in out
    assert "Ending otherwise: 20260302-09017-aaaa." in out
    assert "Only asked or warned otherwise: 20260302-09016-aaaa, " in out
    assert out.count("-aaaa") == 1 + 15
    assert "-aaaa and 2 more." in out
    calls = told(capsys, before, after, "--store", store)["recorded_calls"]
    assert calls["asked_otherwise"] == len(calls["asked_otherwise_sessions"]) == 18


def test_a_phrase_among_many_that_went_is_told_by_itself(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    many = ", ".join(f"phrase number {number}" for number in range(60))

    def saying(phrases: str, name: str) -> Path:
        draft = sound_draft()
        text = draft.bytes()["readings.yaml"].decode()
        old = "name: ice pattern"
        assert text.count(old) == 1
        draft.files["readings.yaml"] = text.replace(old, f"{old}\n    spoken: [{phrases}]")
        return folder_of(draft, tmp_path / name)

    assert run(saying(f"{many}, it rattles", "old"), saying(f"new words, {many}", "new")) == 1
    out = words(capsys)
    assert '- people also say, added: "new words" - people also say, removed: "it rattles"' in out
    assert "phrase number" not in out
    assert run(before, tmp_path / "new") == 1
    out = words(capsys)
    assert all(f'"phrase number {number}"' in out for number in range(60))


def test_a_node_under_another_name_moves_no_recorded_call(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.endings["starved"] = draft.endings.pop("charge")
    draft.route("pattern", thin_at_outlet="starved")
    after = folder_of(draft, tmp_path / "after")
    store = keep(tmp_path / "calls.sqlite3", call(THIN, CHARGE), call(EVEN))
    calls = told(capsys, before, after, "--store", store)["recorded_calls"]
    assert (calls["calls"], calls["ending_otherwise"], calls["asked_otherwise"]) == (2, 0, 0)


def test_many_calls_are_replayed_with_both_contents_on_all_cores_alike(
    before: Path, after: Path, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = keep(tmp_path / "calls.sqlite3", *(call(THIN, CHARGE) for _ in range(6)))
    alone = told(capsys, before, after, "--store", store)
    monkeypatch.setattr(many, "FEW", 2)
    monkeypatch.setattr(many.os, "cpu_count", lambda: 2)
    assert told(capsys, before, after, "--store", store) == alone
    assert alone["recorded_calls"]["ending_otherwise"] == 6


def test_a_call_that_cannot_be_read_is_told_for_both() -> None:
    content = sound_draft().content()
    one, other = TwoReplayers(content, content).unread("sticks", "why")
    assert one.cannot == other.cannot == "why"


def test_figures_and_repairs_say_that_only_recorded_calls_show_what_they_change(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    machine = "machines/fennel_200.yaml"
    text = draft.bytes()[machine].decode()
    draft.files[machine] = text.replace("charge_kg: 0.5", "charge_kg: 0.6")
    after = folder_of(draft, tmp_path / "after")
    assert run(before, after) == 1
    out = words(capsys)
    assert "MACHINES fennel_200 - charge_kg: 0.5 -> 0.6" in out
    assert "name a record with --store" in out
    assert "CONVERSATIONS" not in out


def test_other_words_are_told_and_no_conversation_is_followed_for_them(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.files[FILE] = draft.yaml().replace("title: Ice sticks", "title: The ice sticks")
    after = folder_of(draft, tmp_path / "after")
    found = told(capsys, before, after)
    assert [change["what"] for change in found["changes"]] == ["title"]
    assert found["conversations"] == []


def test_trees_in_which_calls_go_alike_are_named_in_one_line(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.junctions["thin"] = ("freeze", [Rule("charge", {"freeze_time": "above"})], "charge")
    draft.route("pattern", thin_at_outlet="thin")
    after = folder_of(draft, tmp_path / "after")
    run(before, after)
    out = words(capsys)
    assert "In sticks every caller is asked the same and ends alike." in out
    assert "CONVERSATIONS" not in out


def test_what_cannot_be_compared_is_named_with_the_exit_code_of_its_fault(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    assert run(before, tmp_path / "nowhere") == 2
    assert "no content folder and no tree file" in capsys.readouterr().err
    draft = sound_draft()
    draft.route("coil", below="nowhere")
    broken = folder_of(draft, tmp_path / "broken")
    assert run(before, broken) == 3
    err = capsys.readouterr().err
    assert f"{broken} cannot be compared:" in err
    assert "sticks.yaml:" in err


def test_words_from_a_file_are_shown_without_control_characters(
    before: Path, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.files["cautions.yaml"] = (
        draft.bytes()["cautions.yaml"].decode().replace("The line burns.", '"[red]Hot.\\e[31m"')
    )
    after = folder_of(draft, tmp_path / "after")
    code = run(before, after)
    out, err = capsys.readouterr()
    assert "\x1b" not in out + err
    assert code in (1, 3)
    assert code == 3 or "[red]Hot." in out


@pytest.mark.parametrize(
    ("old", "new", "shown"),
    [
        ("a b c", "a b d", ("a b c", "a b d")),
        (
            "Look at the ice near the end of a freeze, and wait for it.",
            "Look at the ice at the end of a freeze, and wait for it.",
            ("Look at the ice near the end of a …", "Look at the ice at the end of a …"),
        ),
        (
            "one two three four five six seven eight",
            "one two three four five six seven nine",
            ("… four five six seven eight", "… four five six seven nine"),
        ),
        ("", "all of it", ("", "all of it")),
    ],
)
def test_long_texts_are_told_by_the_words_that_changed(
    old: str, new: str, shown: tuple[str, str]
) -> None:
    assert shortened(old, new) == shown
    assert shortened(new, old) == shown[::-1]
