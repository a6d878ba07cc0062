"""`triage drill` as a program: from a pipe, with its results and its exit codes."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.command_line import program
from tests.drill.calls import call_with
from triage.cli import main
from triage.console import call as console_call
from triage.console import drill_chat
from triage.console.drill_chat import Drill
from triage.console.drill_line import PipedLine, fitting, words_to_complete
from triage.console.look import ChatConsole, Look
from triage.drill.practice import Outcome
from triage.drill.results import Result, default_results_path, read_results
from triage.exits import BAD_INPUT, BAD_STORE, DONE, INTERRUPTED, NO_RECOMMENDATION

Typed = Callable[..., tuple[int, str, str]]

WEAK = ("--seed", "1", "--level", "easy", "--machine", "gletsch_r500", "--cause", "compressor_weak")


@pytest.fixture
def typed(
    own_folders: dict[str, str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Typed:
    """Return a function that runs a drill on lines from a pipe: code, output, errors."""

    def run(*lines: str, options: tuple[str, ...] = WEAK) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        code = main(["drill", *options])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return run


def kept() -> list[Result]:
    return read_results(default_results_path())[0]


def test_a_drill_from_a_pipe_goes_from_the_first_screen_to_the_debrief(
    tmp_path: Path, own_folders: dict[str, str]
) -> None:
    lines = tmp_path / "lines"
    lines.write_text("are you licensed\ncaution fan\nfan\nsuction\n2\npropose compressor_weak\n")
    with lines.open() as stdin:
        ended = program("drill", *WEAK, "--trainee", "Ana", env=own_folders, stdin=stdin)
    assert ended.returncode == DONE, ended.stderr
    assert ended.stderr == ""
    out = ended.stdout
    assert out.index("Drill 1, level easy") < out.index("caller │ Hello")
    assert out.index("you > are you licensed") < out.index("caller │ yes both")
    assert out.index("CAUTION: Fans") < out.index("Condenser fan in the freeze")
    assert "DEBRIEF: right at the first guess" in out
    assert "triage drill --seed 1 --level easy" in out
    assert "\x1b" not in out
    # What is to be copied stays on one line.
    prose = [line for line in out.splitlines() if not line.startswith("triage drill")]
    assert max(map(len, prose)) <= 80
    stored = Path(own_folders["XDG_DATA_HOME"]) / "triage" / "drills.jsonl"
    (result,) = read_results(stored)[0]
    assert (result.trainee, result.outcome, result.cause) == ("Ana", "right", "compressor_weak")
    assert not (stored.parent / "sessions.sqlite3").exists()


def test_the_first_screen_is_there_before_the_content_is_read(
    own_folders: dict[str, str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seen: list[str] = []

    def look(options: object) -> None:
        seen.append(capsys.readouterr().out)
        raise KeyboardInterrupt

    monkeypatch.setattr(console_call, "content_of", look)
    assert main(["drill", "--seed", "3"]) == INTERRUPTED
    assert "Drill 3, level usual" in seen[0]
    assert "propose" in seen[0]


def test_the_first_screen_needs_rich_alone(own_folders: dict[str, str]) -> None:
    code = (
        "import sys\nimport triage.console.drill\n"
        "heavy = {'networkx', 'yaml', 'sqlalchemy', 'prompt_toolkit', 'triage.dialogue', "
        "'triage.physics', 'triage.tree', 'triage.store'}\n"
        "sys.stderr.write(str(heavy & set(sys.modules)))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], env=own_folders, capture_output=True, text=True, check=True
    )
    assert ended.stderr == "set()"


def test_the_command_line_editor_is_not_loaded_off_a_terminal(
    own_folders: dict[str, str],
) -> None:
    code = (
        "import sys\nfrom triage.cli import main\n"
        f"main(['drill', *{WEAK!r}])\n"
        "sys.stderr.write(str({'prompt_toolkit', 'CoolProp', 'numpy'} & set(sys.modules)))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], env=own_folders, stdin=subprocess.DEVNULL,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert ended.stderr == "set()"


@pytest.mark.parametrize(
    ("lines", "code", "outcome"),
    [
        (("propose compressor_weak",), DONE, Outcome.RIGHT),
        (("propose plate_scaled_or_damaged", "propose compressor_weak"), DONE, Outcome.RIGHT),
        (
            ("propose plate_scaled_or_damaged", "propose water_supply_warm"),
            NO_RECOMMENDATION,
            Outcome.WRONG,
        ),
        (("fan", "give up"), NO_RECOMMENDATION, Outcome.GIVEN_UP),
        (("fan", "stop"), NO_RECOMMENDATION, Outcome.UNFINISHED),
        (("fan",), NO_RECOMMENDATION, Outcome.UNFINISHED),
        ((), NO_RECOMMENDATION, Outcome.UNFINISHED),
    ],
)
def test_the_exit_code_tells_whether_the_cause_was_found_and_all_is_kept(
    typed: Typed, lines: tuple[str, ...], code: int, outcome: Outcome
) -> None:
    ended, out, err = typed(*lines)
    assert (ended, err) == (code, "")
    assert [result.outcome for result in kept()] == [outcome]
    assert ("DEBRIEF" in out) is (outcome is not Outcome.UNFINISHED)


@pytest.mark.parametrize("lines", [("fan", "stop"), ("fan",), ()])
def test_leaving_does_not_tell_the_answer(typed: Typed, lines: tuple[str, ...]) -> None:
    _, out, _ = typed(*lines)
    assert "Compressor pumps" not in out
    assert "compressor_weak" not in out
    assert "with the --cause you gave behind it" in " ".join(out.split())
    assert "triage drill --seed 1 --level easy" in out


def test_no_line_from_a_pipe_ends_in_blanks(typed: Typed) -> None:
    _, out, _ = typed("help", "license", "fan", "case", "give up")
    assert [line for line in out.splitlines() if line != line.rstrip()] == []


def test_the_same_seed_shows_the_same_screen(typed: Typed) -> None:
    options = ("--seed", "31", "--level", "usual")
    lines = ("machine, room, water", "freeze time", "give up")
    assert typed(*lines, options=options)[1] == typed(*lines, options=options)[1]


def test_a_seed_that_was_drawn_is_shown_and_gives_the_same_call(typed: Typed) -> None:
    _, out, _ = typed("machine", "give up", options=())
    seed = str(kept()[-1].seed)
    assert f"Drill {seed}, level usual" in out
    assert f"--seed {seed} --level usual" in out
    again = typed("machine", "give up", options=("--seed", seed))[1]
    assert again == out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--seed", "-1"), "no whole number"),
        (("--seed", "many"), "no whole number"),
        (("--seed", "9" * 30), "no whole number"),
        (("--level", "eazy"), "did you mean easy"),
        (("--machine", "gletch_r500"), "did you mean"),
        (("--cause", "weak compresor"), "did you mean"),
        (("--cause", "gremlins"), "no cause is called"),
        (("--cause", "receiver_vapor_feed_failed", "--machine", "klirr_u80"), "no receiver vapor"),
        (("--export", "nowhere/caller.yaml"), "no such folder"),
    ],
)
def test_bad_input_is_told_and_nothing_is_kept(
    typed: Typed, options: tuple[str, ...], said: str
) -> None:
    code, out, err = typed("give up", options=options)
    assert code == BAD_INPUT
    assert said in " ".join(err.split())
    assert "Hello" not in out
    if not {"--seed", "--level"} & set(options):
        assert out == ""
    assert kept() == []


def test_a_content_folder_that_is_no_good_is_told_before_anything_is_shown(typed: Typed) -> None:
    code, out, err = typed("give up", options=("--trees", "nowhere"))
    assert code not in (DONE, NO_RECOMMENDATION)
    assert out == ""
    assert "nowhere" in err


def test_an_export_is_written_and_never_over_another_file(typed: Typed, tmp_path: Path) -> None:
    path = tmp_path / "caller.yaml"
    code, out, _ = typed("fan", "give up", options=(*WEAK, "--export", str(path)))
    assert code == NO_RECOMMENDATION
    assert "triage call --answers" in out
    written = path.read_text(encoding="utf-8")
    assert "condenser_fan_state" in written
    code, out, err = typed("fan", "give up", options=(*WEAK, "--export", str(path)))
    assert code == BAD_INPUT
    assert out == ""
    assert "there is a file of that name" in err
    assert path.read_text(encoding="utf-8") == written
    assert len(kept()) == 1


def test_results_that_cannot_be_kept_are_told_before_the_drill(
    typed: Typed, own_folders: dict[str, str]
) -> None:
    default_results_path().mkdir(parents=True)
    code, out, err = typed("fan", "give up")
    assert code == BAD_STORE
    assert "Hello" not in out
    assert "drills.jsonl" in err


# What is typed is not to be trusted.


def test_marks_and_control_characters_in_names_and_lines_do_nothing(typed: Typed) -> None:
    name = "[bold]Ana\x1b[31m\x07[/bold]"
    lines = ("\x1b]0;title\x07fan", "[red]room[/red]", "propose \x1b[2J gremlins", "give up")
    _, out, err = typed(*lines, options=(*WEAK, "--trainee", name))
    assert not set("\x1b\x07") & set(out + err)
    assert "[red]room[/red]" in out
    (result,) = kept()
    assert result.trainee == "[bold]Ana[31m[/bold]"
    _, out, _ = typed(options=("--results",))
    assert "[bold]Ana[31m[/bold]: 1 drill" in out
    assert "\x1b" not in out


def test_bytes_that_are_no_text_end_no_drill(own_folders: dict[str, str], tmp_path: Path) -> None:
    lines = tmp_path / "lines"
    lines.write_bytes(b"\xff\xfe\xfd\nfan\n" + b"x" * 100_000 + b"\ngive up\n")
    with lines.open("rb") as stdin:
        ended = program("drill", *WEAK, env=own_folders, stdin=stdin)
    assert ended.returncode == NO_RECOMMENDATION, ended.stderr
    assert "DEBRIEF: given up" in ended.stdout
    assert ended.stderr == ""


# Results.


def test_results_are_summed_up_by_trainee(typed: Typed) -> None:
    for name, last in (
        ("Ana", "compressor_weak"),
        ("Bo", "plate_scaled_or_damaged"),
        ("ana", "plate_scaled_or_damaged"),
    ):
        typed("fan", f"propose {last}", "give up", options=(*WEAK, "--trainee", name))
    code, out, err = typed(options=("--results",))
    assert (code, err) == (DONE, "")
    assert "ana: 2 drills" in out
    assert "Bo: 1 drill" in out
    assert "right and safe" in out
    assert "Compressor pumps too little, 1 of 2" in out
    _, out, _ = typed(options=("--results", "--trainee", "BO"))
    assert "Bo" in out
    assert "ana" not in out
    code, _, err = typed(options=("--results", "--trainee", "Boo"))
    assert code == BAD_INPUT
    assert 'did you mean "Bo"' in err


def test_no_results_yet_is_no_error(typed: Typed) -> None:
    code, out, _ = typed(options=("--results",))
    assert code == DONE
    assert "No drill is kept yet" in out
    assert not default_results_path().exists()


def test_a_damaged_line_of_the_results_is_told_and_the_rest_summed_up(typed: Typed) -> None:
    typed("give up", options=(*WEAK, "--trainee", "Ana"))
    path = default_results_path()
    with path.open("a", encoding="utf-8") as file:
        file.write("\x1b[31mrubbish\n")
    typed("give up", options=(*WEAK, "--trainee", "Ana"))
    code, out, err = typed(options=("--results",))
    assert code == DONE
    assert "Ana: 2 drills" in out
    assert f"{path}:2" in err
    assert "\x1b" not in err


def test_a_cause_of_other_content_is_told_by_its_id(typed: Typed) -> None:
    typed("give up", options=(*WEAK, "--trainee", "Ana"))
    (result,) = kept()
    data = {**json.loads(default_results_path().read_text()), "cause": "gremlins\x1b[31m"}
    default_results_path().write_text(json.dumps(data) + "\n")
    assert result.cause != "gremlins"
    _, out, _ = typed(options=("--results",))
    assert "gremlins[31m, 1 of 1" in out


# At the prompt.


class Lines:
    """A person at the prompt: lines, or keys that end one."""

    def __init__(self, *lines: str | type[BaseException]) -> None:
        self._lines = list(lines)

    @property
    def was_empty(self) -> bool:
        return True

    def read(self) -> str:
        line = self._lines.pop(0)
        if isinstance(line, str):
            return line
        raise line


def held(*lines: str | type[BaseException]) -> tuple[Drill, bool, str]:
    """Return a drill that was held with these lines, whether it was interrupted, and the screen."""
    stream = io.StringIO()
    conversation = Drill(call_with("compressor_weak"), ChatConsole(Look(), stream, 80))
    was_interrupted = conversation.converse(Lines(*lines))
    return conversation, was_interrupted, stream.getvalue()


def test_one_interrupt_gives_up_the_line_and_two_leave_the_drill() -> None:
    conversation, was_interrupted, out = held(KeyboardInterrupt, "fan", "give up")
    assert conversation.practice.outcome is Outcome.GIVEN_UP
    assert not was_interrupted
    assert "Line given up" in out
    conversation, was_interrupted, _ = held("fan", KeyboardInterrupt, KeyboardInterrupt)
    assert was_interrupted
    assert conversation.practice.outcome is Outcome.UNFINISHED


def test_an_interrupt_while_an_answer_is_shown_keeps_what_was_asked(
    typed: Typed, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(*_: object) -> tuple[str, ...]:
        monkeypatch.setattr(drill_chat, "shown", lambda *_: ())
        raise KeyboardInterrupt

    monkeypatch.setattr(drill_chat, "shown", interrupt)
    code, _, _ = typed("fan", "propose compressor_weak")
    assert code == INTERRUPTED
    (result,) = kept()
    assert (result.outcome, result.readings) == (Outcome.UNFINISHED, ("condenser_fan_state",))


def test_the_end_of_input_leaves_as_stop_does() -> None:
    conversation, was_interrupted, out = held("fan", EOFError)
    assert conversation.practice.outcome is Outcome.UNFINISHED
    assert not was_interrupted
    assert "It is kept as unfinished" in out


def test_lines_from_a_pipe_are_shown_as_they_are_taken() -> None:
    stream = io.StringIO()
    line = PipedLine(io.StringIO("fan\nlast"), ChatConsole(Look(), stream, 80))
    assert [line.read(), line.read()] == ["fan\n", "last"]
    with pytest.raises(EOFError):
        line.read()
    assert stream.getvalue() == "   you > fan\n   you > last\n"


def test_tab_offers_readings_commands_causes_and_cautions() -> None:
    offers = tuple(words_to_complete(call_with("compressor_weak").engine.content))
    assert [text for text, _ in fitting("ice p", offers)] == ["ice pattern over the plate"]
    assert next(fitting("propose comp", offers))[0] == "propose Compressor pumps too little"
    assert "caution Brazing with nitrogen" not in dict(offers)
    assert {"hint", "why", "how", "give up", "stop", "help", "case"} <= set(dict(offers))
    assert "suction pressure in the harvest" in dict(fitting("harv", offers))


def test_a_screen_reader_gets_lines_without_bars(typed: Typed) -> None:
    _, out, _ = typed("fan", "caution", "case", "give up", options=(*WEAK, "--plain"))
    assert not set(out) & set("┃┏┗◆┣│")
    assert "you: fan" in out
    assert "caller: " in out


def test_units_are_the_callers(typed: Typed) -> None:
    _, out, _ = typed("machine, room", "late suction", "give up", options=(*WEAK, "--units", "si"))
    assert "caller │ " in out
    assert "--units si" in out
    assert "°C (" in out
