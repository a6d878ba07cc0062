"""`triage tree try` holds a call through a draft, says what it saw, and stores nothing."""

from __future__ import annotations

import json
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from tests.command_line import ROOT, answers_file
from tests.console.desks import BEGAN, Lines
from tests.console.test_terminal import Desk as Terminal
from tests.conversation import FEED_FAILED
from triage.cli import main
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.console.not_stored import NotStored
from triage.console.tree_try import tried
from triage.console.try_chat import TryChat
from triage.dialogue.engine import Engine
from triage.dialogue.events import Started
from triage.exits import BAD_CONTENT, BAD_INPUT, DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.tree.draft import draft_in
from triage.tree.files import read_files

TREES = ROOT / "trees"
TREE = TREES / "will_not_release.yaml"
PART = TREES / "parts" / "freeze_health.yaml"


@pytest.fixture
def answers(tmp_path: Path) -> Path:
    """The answers of a caller whose receiver vapor feed has failed."""
    return answers_file(tmp_path, FEED_FAILED, acknowledge="all")


def changed(tmp_path: Path, old: str, new: str, tree: Path = TREE) -> Path:
    """Return a draft made of a shipped file."""
    text = tree.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "my_draft.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def run(*words: str | Path) -> int:
    return main(["tree", "try", *map(str, words)])


def result(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    return data


def told(capsys: pytest.CaptureFixture[str]) -> str:
    """Return what stands on the screen, its lines run together."""
    return " ".join(capsys.readouterr().out.split())


# From an answers file.


def test_it_ends_as_a_call_does_and_tells_the_way(
    own_folders: dict[str, str], answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = run(TREE, "--answers", answers, "--json")
    data = result(capsys)
    assert main(["call", "--answers", str(answers), "--json"]) == code == DONE
    call = result(capsys)
    assert data["conclusion"] == call["conclusion"]
    assert data["path"] == call["path"]
    assert data["session_id"] is None
    tried_ = data["try"]
    assert tried_["path"][-1] == tried_["stands_at"]
    assert tried_["has_ended"]
    assert [node for node in tried_["path"] if node in call["path"]] == [
        node for node in call["path"] if node not in tried_["asked_beside_the_path"]
    ]
    assert tried_["not_proved"] == []
    own = tried_["not_seen"] + [node for node in tried_["path"] if "." not in node]
    assert len(own) == tried_["nodes"]


def test_nothing_is_stored(
    own_folders: dict[str, str], answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(TREE, "--answers", answers)
    assert list(Path(own_folders["HOME"]).rglob("*")) == []
    assert "Nothing was stored." in told(capsys)


def test_the_screen_says_that_it_is_a_try_where_it_ended_and_what_it_did_not_see(
    answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(TREE, "--answers", answers) == DONE
    text = told(capsys)
    assert text.startswith(
        "TRY of the tree will_not_release from will_not_release.yaml, in place of the one in the "
        "folder. Nothing is stored"
    )
    assert "nothing said here is advice for a machine" in text
    assert "Proved: it holds every promise." in text
    assert text.index("RECOMMENDATION") < text.index("It ended at harvest.feed_confirmed.")
    assert "Path: opening.caller_qualification → " in text
    assert " → harvest.feed_confirmed Of the " in text
    assert "written in will_not_release.yaml this call did not see" in text
    assert "no_fault_found" in text[text.index("did not see") :]
    assert "triage resume" not in text
    assert "on record" not in text


def test_voice_and_units_of_the_command_win_over_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, voice="agent", units="us")
    run(TREE, "--answers", path, "--voice", "technician", "--units", "si")
    text = told(capsys)
    assert "technician voice, SI units" in text
    assert "Read out:" not in text


def test_a_draft_with_another_id_is_walked_although_no_complaint_leads_to_it(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draft = changed(tmp_path, "tree: will_not_release", "tree: my_draft")
    assert run(draft, "--answers", answers, "--json") == DONE
    data = result(capsys)
    assert data["tree"] == data["try"]["tree"] == "my_draft"
    assert data["try"]["replaces"] is None
    assert data["conclusion"]["cause_ids"] == ["receiver_vapor_feed_failed"]


def test_what_is_not_proved_is_told_and_does_not_stop_it(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draft = changed(tmp_path, "most_questions: ", "most_questions: 1 #")
    assert run(draft, "--answers", answers) == DONE
    text = told(capsys)
    assert "NOT PROVED: it breaks 1 promise. The try goes on all the same" in text
    assert "- my_draft.yaml:" in text
    assert "more than the 1 of most_questions" in text
    assert text.endswith("Still not proved: 1 promise.")
    run(draft, "--answers", answers, "--json")
    (finding,) = result(capsys)["try"]["not_proved"]
    assert finding.startswith("my_draft.yaml:")


def test_a_mistake_stops_it(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draft = changed(tmp_path, "sound: ice_released", "sound: ice_relaesed")
    assert run(draft, "--answers", answers) == BAD_CONTENT
    out, err = capsys.readouterr()
    assert out == ""
    assert 'did you mean "ice_released"?' in err
    assert "\nmy_draft.yaml:" in err


def test_a_call_that_would_go_round_for_ever_is_not_begun(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draft = changed(tmp_path, "sound: ice_released", "sound: opening")
    assert run(draft, "--answers", answers) == BAD_CONTENT
    out, err = capsys.readouterr()
    assert out == ""
    assert "a call could go round in circles here" in err
    words = " ".join(err.split())
    assert "my_draft.yaml cannot be tried: a call would go round in it without end." in words
    assert "Whatever else is not proved is told and does not stop a try." in words


def test_help_says_that_only_a_circle_stops_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--help") == DONE
    assert "only a circle does" in told(capsys)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["nowhere.yaml"], 'the draft "nowhere.yaml" cannot be read: no such file or directory'),
        ([TREE, "--json"], "give its answers with --answers FILE"),
        ([TREE], "needs a terminal; without one use --answers FILE"),
        ([TREE, "--answers", "nowhere.yaml"], "answers file nowhere.yaml: no such file"),
    ],
)
def test_what_cannot_be_tried_is_told(
    words: list[str | Path], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words) == BAD_INPUT
    assert message in capsys.readouterr().err


def test_a_file_that_is_no_draft_is_told(answers: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(TREES / "causes.yaml", "--answers", answers) == BAD_CONTENT
    assert "the file is neither a tree nor a part" in capsys.readouterr().err


# Parts.


def test_a_part_is_walked_from_its_start_to_an_exit(
    answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(PART, "--answers", answers, "--json") == NO_RECOMMENDATION
    data = result(capsys)
    assert data["try"]["part"] == "freeze_health"
    assert data["try"]["stands_at"] == "exit.sound"
    path = data["try"]["path"]
    assert path[0] == "before.caller_qualification"
    own = [node for node in path if "." not in node]
    assert own[0] == "ice_pattern"
    assert len(own) + len(data["try"]["not_seen"]) == data["try"]["nodes"]
    judged = {each["reading"]: each["verdict"] for each in data["findings"]}
    assert judged["freeze_discharge_pressure"] == "within"


def test_of_a_part_it_says_who_uses_it(answers: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(PART, "--answers", answers)
    text = told(capsys)
    assert text.startswith("TRY of the part freeze_health from parts/freeze_health.yaml")
    used = text[text.index("Used by: ") : text.index("Asked first")]
    assert "will_not_release" in used
    assert "The part is left by its exit sound" in text


def test_of_a_part_no_tree_uses_it_says_that_nothing_is_proved(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draft = changed(tmp_path, "part: freeze_health", "part: freeze_again", PART)
    run(draft, "--answers", answers)
    text = told(capsys)
    assert "Used by: no tree yet." in text
    assert "Nothing is proved: order and cautions are proved in the trees that use a part." in text
    assert "Proved: it holds" not in text


# At a terminal.


def held(*steps: str | type[BaseException], is_empty: bool = True) -> tuple[bool, Desk, str]:
    """Return whether a conversation was interrupted, its desk, and what it showed."""
    draft = draft_in(TREES, read_files(TREES), TREE.name, TREE.read_bytes())
    engine = Engine(draft.alone, draft.tree)
    started = Started(draft.tree, engine.content.version, "agent", "us", 0.0)
    record = NotStored()
    desk = Desk.start(
        engine, lambda: record, lambda: BEGAN, "try", "agent", started, can_mend_end=True
    )
    stream = StringIO()
    chat = TryChat(desk, ChatConsole(Look(), stream, 80), lambda: BEGAN)
    was_interrupted = chat.converse(Lines(*steps, is_empty=is_empty))
    return was_interrupted, desk, stream.getvalue()


def test_stop_and_the_end_of_input_leave_it() -> None:
    for step in ("stop", EOFError):
        was_interrupted, desk, text = held("yes both", step)
        assert not was_interrupted
        assert "kept" not in text.replace("kept to", "")
        went = tried(desk.engine, desk)
        assert not went.has_ended
        assert went.path == ("opening.caller_qualification", "opening.complaint")


def test_a_second_interrupt_on_an_empty_line_leaves_it() -> None:
    was_interrupted, _, text = held(KeyboardInterrupt, KeyboardInterrupt)
    assert was_interrupted
    assert "Ctrl-C again on an empty line leaves the try." in text
    was_interrupted, _, _ = held(KeyboardInterrupt, "yes both", KeyboardInterrupt, EOFError)
    assert not was_interrupted


def test_words_for_a_record_do_nothing_in_it() -> None:
    _, desk, text = held("park 20 min freeze is running", "serial 0451-77", "note rattles", "stop")
    assert "so there is nothing to park" in text
    assert "so the number is of no use" in text
    assert 'Noted for this try alone: "rattles"' in text
    assert desk.case.serial_number == ""
    assert desk.case.parked is None


def test_help_says_what_is_different() -> None:
    _, _, text = held("help", "stop")
    assert "At any prompt:" in text
    assert "Nothing is stored in a try: park is no use." in text


def test_an_escalation_can_still_be_mended() -> None:
    _, desk, text = held("no", "other", "yes", "back", "will not drop", EOFError)
    assert "back, or change and what, mends an answer; done ends the try." in text
    assert "opening.machine" in tried(desk.engine, desk).path
    _, desk, _ = held("no", "other", "yes", "done")
    went = tried(desk.engine, desk)
    assert (went.has_ended, went.at) == (True, "opening.another_complaint")
    assert went.unseen(["opening.another_complaint", "ice_released"]) == ("ice_released",)


def test_at_a_real_terminal_it_goes_from_the_first_question_to_what_it_saw(tmp_path: Path) -> None:
    desk = Terminal(tmp_path / "report", "tree", "try", str(TREE), program=("triage",))
    try:
        desk.see("TRY of the tree will_not_release")
        desk.see("try | caller | 0:0")
        desk.child.send("yes both\r")
        desk.see("Answer in free words, or a number:")
        desk.child.send("\x04")
        desk.see("It was left at opening.complaint. Nothing was stored.")
        desk.wait(lambda: not desk.child.isalive(), "the end")
    finally:
        desk.child.close(force=True)
    assert not list(tmp_path.rglob("*.db"))


@pytest.mark.parametrize(("was_interrupted", "code"), [(True, INTERRUPTED), (False, 1)])
def test_how_it_was_left_is_its_exit_code(
    was_interrupted: bool,
    code: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for stream in (sys.stdin, sys.stdout):
        monkeypatch.setattr(stream, "isatty", lambda: True)
    monkeypatch.setattr(TryChat, "converse", lambda chat: was_interrupted)
    assert run(TREE) == code
    assert "It was left at opening.caller_qualification." in told(capsys)
