"""The names a schema offers are those of the folder, also while something is wrong in it."""

from __future__ import annotations

from tests.tree.schema.editor import marks
from tests.tree.schema.folder import sound_files
from triage.tree.schema.kinds import Kind, kind_of
from triage.tree.schema.known import known_in
from triage.tree.schema.schemas import schema_of


def test_names_come_from_every_file_of_a_kind_with_what_they_stand_for() -> None:
    known = known_in(sound_files())
    assert {"ice_pattern", "plate"} <= set(known.readings)
    assert known.named("plate") == "plate"
    assert known.causes["thin_charge"] == "too little refrigerant"
    assert known.cautions["slip"] == "a"
    assert known.hazards["mains"] == "Mains"
    assert known.parts == {"plate": "How does the plate look?",
                           "supply": "Is there voltage at the coil?"}  # fmt: skip
    assert known.exits["plate"] == {"looked": "it was looked at"}
    assert known.trees == {"sticks": "Ice sticks", "sticks_late": "Sticks late"}
    assert known.not_read == ()


def test_a_reading_with_a_mistake_leaves_its_outcomes_open_and_no_other() -> None:
    files = sound_files()
    files["readings.yaml"] = files["readings.yaml"].replace(b"normal: [even]", b"normal: [evn]")
    known = known_in(files)
    assert [name for name, reading in known.readings.items() if reading is None] == ["ice_pattern"]
    tree = files["sticks.yaml"]
    files["sticks.yaml"] = tree.replace(b'"thin_at_outlet": charge', b'"thinish": charge')
    assert list(marks(files)) == []
    files["sticks.yaml"] = tree.replace(b'"below": feed', b'"belov": feed')
    (mark,) = marks(files)
    assert mark.startswith("sticks.yaml: questions.harvest.routes: 'belov' does not match")


def test_a_file_that_is_no_yaml_takes_only_its_own_names_away() -> None:
    known = known_in({**sound_files(), "causes.yaml": b"causes: ["})
    assert known.not_read == ("causes.yaml",)
    assert known.causes == {}
    assert "ice_pattern" in known.readings


def test_an_empty_folder_has_schemas_that_offer_nothing() -> None:
    known = known_in({})
    for kind in Kind:
        assert schema_of(kind, known)["additionalProperties"] is False


def test_what_is_no_content_file_has_no_kind() -> None:
    assert kind_of("likelihoods.json") is None
    assert kind_of("notes.txt") is None
    assert kind_of("elsewhere/notes.yaml") is None
