"""The line a person types on: keys, completion, suggestions, history, toolbar."""

from __future__ import annotations

import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.completion import CompleteEvent
from prompt_toolkit.document import Document
from prompt_toolkit.history import History, InMemoryHistory
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import DummyOutput

from tests.console import sample
from tests.console.desks import BEGAN
from triage.console.completion import AnswerCompleter, AnswerSuggest, answers_at
from triage.console.line import LineNeeds, PlainLine, ToolbarFacts, elapsed_between
from triage.console.look import Look
from triage.console.prompt_line import (
    PrivateHistory,
    PromptLine,
    open_history,
    toolbar_text,
)
from triage.console.telling import CONTROL_WORDS
from triage.dialogue.view import Prompt

FACTS = ToolbarFacts("k7", "freeze", timedelta(seconds=192), 6)
CTRL_C, CTRL_D, ENTER, TAB, RIGHT, UP = "\x03", "\x04", "\r", "\t", "\x1b[C", "\x1b[A"
CTRL_A, CTRL_R, F1, F4, ESCAPE = "\x01", "\x12", "\x1bOP", "\x1bOS", "\x1b"


def needs(prompt: Prompt) -> LineNeeds:
    return LineNeeds(sample.CONTENT, "caller", lambda: prompt, lambda: FACTS)


@contextmanager
def line_at(
    prompt: Prompt = sample.ASK_PATTERN, **options: Any
) -> Iterator[tuple[PromptLine, PipeInput]]:
    with create_pipe_input() as typed:
        yield (
            PromptLine(
                needs(prompt),
                Look(),
                terminal_input=typed,
                terminal_output=DummyOutput(),
                **options,
            ),
            typed,
        )


def read(keys: str, prompt: Prompt = sample.ASK_PATTERN, **options: Any) -> str:
    with line_at(prompt, **options) as (line, typed):
        typed.send_text(keys)
        return line.read()


Condition = Callable[[Buffer], bool]


def read_in_steps(*steps: tuple[Condition, str]) -> str:
    """Return the line read when each key is pressed once its condition has come about.

    Menus and suggestions are worked out beside the typing, so keys sent at once would overtake
    them.
    """
    with line_at() as (line, typed):
        buffer = line.session.default_buffer
        late: list[str] = []

        def press() -> None:
            for condition, keys in steps:
                deadline = time.monotonic() + 5.0
                while not condition(buffer) and time.monotonic() < deadline:
                    time.sleep(0.005)
                if time.monotonic() >= deadline:
                    late.append(keys)
                    typed.send_text(CTRL_C)
                    return
                typed.send_text(keys)

        presser = threading.Thread(target=press)
        presser.start()
        try:
            return line.read()
        finally:
            presser.join()
            assert late == []


def always(_: Buffer) -> bool:
    return True


def has_menu(buffer: Buffer) -> bool:
    return buffer.complete_state is not None and bool(buffer.complete_state.completions)


def no_menu(buffer: Buffer) -> bool:
    return buffer.complete_state is None


def has_suggestion(buffer: Buffer) -> bool:
    return buffer.suggestion is not None and bool(buffer.suggestion.text)


def has_text(text: str) -> Condition:
    return lambda buffer: buffer.text == text


def test_line_is_returned_as_typed() -> None:
    assert read(f"24 psi{ENTER}") == "24 psi"


def test_ctrl_d_leaves_on_an_empty_line_only() -> None:
    with pytest.raises(EOFError):
        read(CTRL_D)
    assert read(f"24{CTRL_D} psi{ENTER}") == "24 psi"


def test_ctrl_c_gives_the_line_up_and_tells_whether_it_was_empty() -> None:
    with line_at() as (line, typed):
        typed.send_text(f"24{CTRL_C}")
        with pytest.raises(KeyboardInterrupt):
            line.read()
        assert not line.was_empty
        typed.send_text(CTRL_C)
        with pytest.raises(KeyboardInterrupt):
            line.read()
        assert line.was_empty
        typed.send_text(f"25{ENTER}")
        assert line.read() == "25"


def test_emacs_keys_move_in_the_line() -> None:
    assert read(f"psi{CTRL_A}24 {ENTER}") == "24 psi"


def test_f4_turns_vi_keys_on() -> None:
    with line_at() as (line, typed):
        typed.send_text(f"{F4}24 psi{ENTER}")
        assert not line.is_vi
        assert line.read() == "24 psi"
        assert line.is_vi
        typed.send_text(f"{F4}25{ENTER}")
        line.read()
        assert not line.is_vi


def test_vi_keys_can_be_asked_for_at_the_start() -> None:
    assert read(f"4 psi{ESCAPE}0i2{ENTER}", is_vi=True) == "24 psi"


def test_f1_asks_for_help() -> None:
    assert read(F1) == "help"


def test_tab_completes_an_allowed_answer() -> None:
    line = read_in_steps((always, f"thi{TAB}"), (has_text("thin at outlet"), ENTER))
    assert line == "thin at outlet"


def test_enter_on_a_choice_in_the_menu_takes_it_and_a_second_one_sends_it() -> None:
    line = read_in_steps(
        (always, TAB), (has_menu, TAB), (has_text("even"), ENTER), (no_menu, ENTER)
    )
    assert line == "even"


def test_arrow_up_brings_an_earlier_line_back() -> None:
    history = InMemoryHistory(["24 psi"])
    with line_at(history=history) as (line, typed):
        typed.send_text(f"25 psi{ENTER}")
        assert line.read() == "25 psi"
        typed.send_text(f"{UP}{ENTER}")
        assert line.read() == "25 psi"


def test_ctrl_r_searches_earlier_lines() -> None:
    with line_at() as (line, typed):
        for text in ("even", "patchy"):
            typed.send_text(text + ENTER)
            line.read()
        typed.send_text(f"{CTRL_R}eve{ENTER}{ENTER}")
        assert line.read() == "even"


def test_paste_of_several_lines_is_one_line() -> None:
    pasted = "\x1b[200~suction 24\nhead 255\n\x1b[201~"
    assert read(pasted + ENTER) == "suction 24 head 255"


def test_hook_runs_once_after_the_first_drawing() -> None:
    drawn: list[str] = []
    with line_at(on_first_drawn=lambda: drawn.append("now")) as (line, typed):
        assert drawn == []
        typed.send_text(f"1{ENTER}")
        line.read()
        typed.send_text(f"2{ENTER}")
        line.read()
    assert drawn == ["now"]


def completions(typed: str, prompt: Prompt) -> list[tuple[str, str]]:
    completer = AnswerCompleter(lambda: prompt, sample.CONTENT)
    return [
        (found.text, found.display_meta_text)
        for found in completer.get_completions(Document(typed), CompleteEvent())
    ]


def test_allowed_answers_come_first_then_every_control_word_with_its_meaning() -> None:
    found = completions("", sample.ASK_PATTERN)
    assert [text for text, _ in found[:3]] == ["even", "thin at outlet", "patchy"]
    assert dict(found[3:]) == dict(CONTROL_WORDS)
    assert all(meaning for _, meaning in found)


def test_long_choices_complete_to_what_people_say() -> None:
    assert completions("y", sample.ASK_QUALIFICATION) == [
        ("yes", "licensed for refrigerant circuits and live tests")
    ]


def test_any_word_of_an_answer_finds_it() -> None:
    assert ("thin at outlet", "thin at the end") in completions("OUT", sample.ASK_PATTERN)


def test_refrigerants_complete_with_their_safety_class() -> None:
    assert completions("r-4", sample.ASK_REFRIGERANT)[0] == ("R-404A", "safety class A1")


def test_number_question_offers_control_words_alone() -> None:
    assert [text for text, _ in completions("", sample.ASK_SUCTION)] == list(CONTROL_WORDS)


def test_caution_is_never_acknowledged_by_tab_alone() -> None:
    offered = [text for text, _ in completions("", sample.CAUTION_AT_THE_GATE)]
    assert "yes" not in offered
    assert completions("y", sample.CAUTION_AT_THE_GATE) == [("yes", "I acknowledge this caution")]


def test_confirmation_offers_yes_and_no() -> None:
    assert [text for text, _ in completions("", sample.CONFIRM)][:2] == ["yes", "no"]


def test_ended_call_allows_no_answers() -> None:
    assert answers_at(sample.RECOMMENDED, sample.CONTENT) == ()


def suggestion(typed: str, prompt: Prompt, history: History | None = None) -> str | None:
    buffer = Buffer(history=history or InMemoryHistory())
    found = AnswerSuggest(lambda: prompt, sample.CONTENT).get_suggestion(buffer, Document(typed))
    return found.text if found else None


def test_rest_of_an_allowed_answer_is_suggested() -> None:
    assert suggestion("pat", sample.ASK_PATTERN) == "chy"
    line = read_in_steps((always, "pat"), (has_suggestion, RIGHT), (has_text("patchy"), ENTER))
    assert line == "patchy"


def test_reading_of_an_earlier_call_is_never_suggested() -> None:
    history = InMemoryHistory()
    history.append_string("62 psi at 12 min")
    history.append_string("looks fine to me")
    assert suggestion("62", sample.ASK_SUCTION, history) is None
    assert suggestion("looks", sample.ASK_SUCTION, history) == " fine to me"


def test_nothing_is_suggested_where_a_yes_or_no_is_wanted() -> None:
    for prompt in (sample.CAUTION_AT_THE_GATE, sample.CONFIRM):
        assert suggestion("ye", prompt) is None


def test_history_file_is_for_its_owner_alone_and_holds_no_notes(tmp_path: Path) -> None:
    path = tmp_path / "state" / "history"
    history = open_history(path)
    assert isinstance(history, PrivateHistory)
    for line in ("24 psi", "note the owner is Ms Winter", "Note: on a ladder", "even"):
        history.append_string(line)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert "Winter" not in path.read_text(encoding="utf-8")
    assert list(open_history(path).load_history_strings()) == ["even", "24 psi"]


def test_open_history_closes_an_old_file_to_others(tmp_path: Path) -> None:
    path = tmp_path / "history"
    path.touch(0o644)
    open_history(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_history_that_cannot_be_had_costs_no_call(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    assert isinstance(open_history(tmp_path / "file" / "history"), InMemoryHistory)
    assert isinstance(open_history(None), InMemoryHistory)


def test_toolbar_shows_session_stage_time_questions_and_keys() -> None:
    text = toolbar_text(FACTS, 90, is_vi=True)
    assert text == (
        " k7 | freeze | 3:12 | 6 asked | F1 help | Tab answers | vi keys (F4) | Ctrl-D leave "
    )


@pytest.mark.parametrize("width", range(1, 100))
def test_toolbar_never_outgrows_its_line(width: int) -> None:
    assert len(toolbar_text(FACTS, width, is_vi=False)) <= width


def test_clock_set_back_shows_no_negative_time() -> None:
    assert elapsed_between(BEGAN, BEGAN - timedelta(hours=1)) == timedelta(0)


def test_plain_line_asks_with_the_speaker_and_draws_nothing_else() -> None:
    asked: list[str] = []
    drawn: list[str] = []

    def answer(margin: str) -> str:
        asked.append(margin)
        return "24"

    line = PlainLine(
        needs(sample.ASK_PATTERN), on_first_drawn=lambda: drawn.append("now"), ask=answer
    )
    assert (line.read(), line.read()) == ("24", "24")
    assert asked == ["caller: ", "caller: "]
    assert drawn == ["now"]
