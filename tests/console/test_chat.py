"""How a conversation goes on, and every way to leave it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from datetime import timedelta
from io import StringIO

import pytest

from tests.console import sample
from tests.console.desks import BEGAN, Lines, RowDesk
from triage.console.chat import Chat, ChatEnd, chat, interrupts_held
from triage.console.line import NoTerminal, require_terminals
from triage.console.look import ChatConsole, Look
from triage.store.errors import SessionMoved, StoreDamaged, StoreFull


def held(
    desk: RowDesk, lines: Lines, *, is_resumed: bool = False, standing: Sequence[str] = ()
) -> tuple[ChatEnd, str]:
    """Return how a conversation was left and what it showed."""
    stream = StringIO()
    conversation = Chat(desk, ChatConsole(Look(), stream, 80), lambda: BEGAN)
    conversation.open(is_resumed=is_resumed, standing=standing)
    return conversation.converse(lines), stream.getvalue()


def test_first_question_and_the_way_back_are_on_the_screen_before_a_line_is_read() -> None:
    stream = StringIO()
    desk = RowDesk(sample.ASK_PATTERN)
    Chat(desk, ChatConsole(Look(), stream, 80), lambda: BEGAN).open()
    assert "Session k7 started; to go on later:\ntriage resume k7\n" in stream.getvalue()
    assert "What does the ice look like?" in stream.getvalue()


def test_call_goes_on_to_its_end() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR, sample.RECOMMENDED)
    end, text = held(desk, Lines("even", "70 F"))
    assert end is ChatEnd.CONCLUDED
    assert desk.said == ["even", "70 F"]
    assert text.index("What does the ice") < text.index("How warm") < text.index("RECOMMENDATION")
    assert "Session k7 is on record." in text
    assert not desk.is_stopped


def test_word_stop_leaves_and_says_how_to_go_on() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR)
    end, text = held(desk, Lines("even", "stop"))
    assert end is ChatEnd.STOPPED
    assert text.endswith(
        "  kept │ Session k7 is kept; to go on later:\n       │ triage resume k7\n"
    )


def test_end_of_input_leaves_and_keeps_the_call() -> None:
    desk = RowDesk(sample.ASK_PATTERN)
    end, text = held(desk, Lines(EOFError))
    assert (end, desk.is_stopped) == (ChatEnd.STOPPED, True)
    assert "triage resume k7" in text.splitlines()[-1]


def test_one_interrupt_gives_up_the_line_only() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR, sample.RECOMMENDED)
    end, text = held(desk, Lines(KeyboardInterrupt, "even", KeyboardInterrupt, "70 F"))
    assert end is ChatEnd.CONCLUDED
    assert desk.said == ["even", "70 F"]
    assert text.count("Line given up. Ctrl-C again on an empty line leaves") == 2


def test_second_interrupt_on_an_empty_line_leaves_and_keeps_the_call() -> None:
    desk = RowDesk(sample.ASK_PATTERN)
    end, text = held(desk, Lines(KeyboardInterrupt, KeyboardInterrupt))
    assert (end, desk.is_stopped) == (ChatEnd.INTERRUPTED, True)
    assert "triage resume k7" in text.splitlines()[-1]


def test_second_interrupt_on_a_filled_line_gives_up_that_line_too() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.RECOMMENDED)
    lines = Lines(KeyboardInterrupt, KeyboardInterrupt, "even", is_empty=False)
    end, _ = held(desk, lines)
    assert (end, desk.said) == (ChatEnd.CONCLUDED, ["even"])


def test_misunderstanding_repeats_the_hint_alone() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.RECOMMENDED)
    _, text = held(desk, Lines("?", "even"))
    assert " sorry │ That cannot be used.\n   ask │ Answer: even" in text
    assert text.count("What does the ice look like?") == 1


def test_misunderstanding_at_a_caution_does_not_show_it_again() -> None:
    desk = RowDesk(sample.CAUTION_AT_THE_GATE, sample.RECOMMENDED)
    _, text = held(desk, Lines("?", "yes"))
    assert text.count("CAUTION 2 of 4") == 1


def test_full_disk_is_told_and_the_line_can_be_typed_again() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.RECOMMENDED)
    desk.failures = [StoreFull("no room on the disk; free some")]
    end, text = held(desk, Lines("even", "even"))
    assert end is ChatEnd.CONCLUDED
    assert " sorry │ no room on the disk; free some" in text
    assert "That line was not kept. Type it again." in text


def test_damaged_store_ends_the_conversation() -> None:
    desk = RowDesk(sample.ASK_PATTERN)
    desk.failures = [StoreDamaged("the record is damaged")]
    with pytest.raises(StoreDamaged):
        held(desk, Lines("even"))


def test_resumed_call_repeats_where_it_stood_before_the_question_it_was_left_at() -> None:
    lines = ("We are on your machine.", "Freeze looks healthy so far.", "What I need: the air.")
    _, text = held(RowDesk(sample.ASK_AIR), Lines(EOFError), is_resumed=True, standing=lines)
    assert "Session k7 resumed" in text
    assert (
        "so far │ We are on your machine.\n       │ Freeze looks healthy so far.\n"
        "       │ What I need: the air.\n\n   ask │" in text
    )
    assert text.index("What I need") < text.index("How warm is the room?")


def test_word_park_leaves_and_says_until_when_and_how_to_go_on() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR)
    end, text = held(desk, Lines("even", "park 20 min freeze is running"))
    assert end is ChatEnd.STOPPED
    assert "  park │ Parked for 20 min, until " in text
    assert text.endswith(
        "  kept │ Session k7 is kept; to go on later:\n       │ triage resume k7\n"
    )


def test_desk_that_lost_the_call_is_told_in_one_sentence_and_shown_its_line_again() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR)
    desk.failures = [SessionMoved("another desk has added to this call")]
    end, text = held(desk, Lines("even \x1b[31mall over"))
    said = " ".join(text.replace("│", " ").split())
    assert end is ChatEnd.MOVED
    assert "Another desk has gone on with this call, so it has ended at this one." in said
    assert 'Your line "even [31mall over" was not kept; say it again there.' in said
    assert "triage resume k7" in text
    assert not desk.is_stopped


def test_desk_that_lost_the_call_and_leaves_is_told_so_too() -> None:
    class Lost(RowDesk):
        def stop(self) -> None:
            raise SessionMoved("another desk has added to this call")

    end, text = held(Lost(sample.ASK_PATTERN), Lines(EOFError))
    assert end is ChatEnd.MOVED
    assert "Another desk has gone on with this call" in text
    assert "Your line" not in text


def test_ended_call_is_shown_without_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO())
    stream = StringIO()
    end = chat(RowDesk(sample.WITHHELD), ChatConsole(Look(), stream, 80), lambda: BEGAN)
    assert end is ChatEnd.CONCLUDED
    assert "WITHHELD" in stream.getvalue()


def test_no_line_is_built_off_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO())
    stream = StringIO()
    with pytest.raises(NoTerminal, match="--answers FILE"):
        chat(RowDesk(sample.ASK_AIR), ChatConsole(Look(), stream, 80), lambda: BEGAN)
    assert stream.getvalue() == ""


def test_both_ends_must_be_terminals() -> None:
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    require_terminals(Terminal(), Terminal())
    for ends in ((StringIO(), Terminal()), (Terminal(), StringIO())):
        with pytest.raises(NoTerminal):
            require_terminals(*ends)
    closed = StringIO()
    closed.close()
    with pytest.raises(NoTerminal):
        require_terminals(closed, Terminal())


def test_interrupt_while_a_line_is_stored_does_not_part_store_and_case() -> None:
    # A run started in the background ignores Ctrl-C; here it must be heard.
    earlier = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        done = []
        with interrupts_held():
            os.kill(os.getpid(), signal.SIGINT)
            done.append("stored")
        assert done == ["stored"]
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, earlier)


def test_toolbar_facts_follow_the_call() -> None:
    now = [BEGAN]
    desk = RowDesk(sample.ASK_QUALIFICATION, sample.ASK_PATTERN, sample.RECOMMENDED)
    conversation = Chat(desk, ChatConsole(Look(), StringIO(), 80), lambda: now[0])
    facts = conversation.line_needs.facts
    assert (facts().stage, facts().questions_asked, facts().elapsed) == ("caller", 1, timedelta(0))
    now[0] = BEGAN + timedelta(seconds=75)
    with pytest.raises(IndexError):
        conversation.converse(Lines("yes"))
    assert (facts().stage, facts().questions_asked) == ("freeze", 2)
    assert facts().elapsed == timedelta(seconds=75)


def test_first_question_needs_no_line_editor_store_or_property_library() -> None:
    program = (
        "import sys, triage.console.chat; "
        "heavy = {'prompt_toolkit', 'sqlalchemy', 'CoolProp', 'numpy', 'networkx', 'yaml'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    run = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert run.stdout == "[]\n"
