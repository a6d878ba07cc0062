"""The turns of a call on the screen: what is asked, what was typed, what was heard.

Whose turn it is stands as a word at the margin: `ask`, `check` and `heard` are the program's,
`caller >` or `you >` stands before what was typed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from triage.console.cards import (
    Item,
    card_of,
    case_so_far,
    caution_card,
    caution_hint,
    help_lines,
)
from triage.console.gauge import LEAST_WIDTH, WIDTH, Gauge
from triage.console.look import MARGIN_WORD_WIDTH, Margin, look_of, stack
from triage.console.telling import Telling, sentence, verdict_word
from triage.console.when import clock_time, span_words
from triage.dialogue.view import (
    AskCaution,
    AskConfirmation,
    AskQuestion,
    CaseSoFar,
    CautionAnswered,
    Echo,
    Explained,
    Finding,
    HelpWanted,
    NotClear,
    NoteKept,
    NotTaken,
    ParkedHere,
    Prompt,
    Remark,
    SerialKept,
    StoppedHere,
    TookBack,
    Verdict,
)
from triage.dialogue.words import plain_text
from triage.tree.content import ReadingKind, Stage

_VERDICT_STYLES = {verdict: f"triage.{verdict.value}" for verdict in Verdict}


@dataclass(frozen=True, slots=True)
class TypedLine:
    """A line as the caller or agent typed it."""

    speaker: str
    text: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the line with its margin."""
        if look_of(console).is_plain:
            yield Text(f"{self.speaker}: {plain_text(self.text)}", style="triage.typed")
            return
        yield Margin(self.speaker, Text(plain_text(self.text)), "triage.typed", bar=">")


def typed_margin(speaker: str, *, is_plain: bool = False) -> str:
    """Return what stands before the line being typed."""
    return f"{speaker}: " if is_plain else f"{speaker:>{MARGIN_WORD_WIDTH}} > "


@dataclass(frozen=True, slots=True)
class QuestionTurn:
    """The program asks: the stage, the words for the voice in use, and what an answer looks like.

    A repeated question shows its hint alone.
    """

    prompt: AskQuestion
    telling: Telling
    is_repeat: bool = False

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the turn."""
        prompt, telling = self.prompt, self.telling
        line, *choices = telling.hint(prompt.reading, prompt.minute, prompt.stage)
        hint = stack(
            Text(line, style="triage.hint"),
            *(Item(choice, "  ", "triage.hint") for choice in choices),
        )
        if self.is_repeat:
            yield Margin("ask", hint)
            return
        words_of_window = telling.window(prompt.reading)
        window = Text(words_of_window, style="triage.ask") if words_of_window else None
        stage = stage_marker(prompt.stage)
        words = telling.words_of(prompt.question)
        beyond = None
        if len(prompt.tells_apart) > 1:
            names = " from ".join(f'"{telling.cause(cause)}"' for cause in prompt.tells_apart)
            beyond = Text(f"Beyond the usual order, to tell {names}.", style="triage.hint")
        if telling.is_agent:
            asked = stack(beyond, Text.assemble(stage, "Read out:"), Text(words), window, hint)
        else:
            asked = stack(beyond, Text.assemble(stage, words), window, hint)
        yield Margin("ask", asked)


@dataclass(frozen=True, slots=True)
class ConfirmationTurn:
    """The program shows a reading back and waits for a yes, with its doubt if it has one."""

    prompt: AskConfirmation
    telling: Telling

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the turn."""
        prompt = self.prompt
        heard = f"I heard: {self.telling.finding(prompt.finding)}."
        question = "Is that right?" if not prompt.doubt else ""
        waiting = prompt.count_waiting - 1
        more = f"; {waiting} more to check after it" if waiting > 0 else ""
        hint = Text(f"yes counts it, no drops it, or type the right value{more}")
        hint.stylize("triage.hint")
        yield Margin(
            "check",
            stack(
                Text(plain_text(prompt.doubt), style="triage.outside") if prompt.doubt else None,
                Text(f"{heard} {question}".rstrip()),
                hint,
            ),
        )


@dataclass(frozen=True, slots=True)
class EchoTurn:
    """A reading that now counts, with its conversion, saturation, gauge and verdict."""

    echo: Echo
    telling: Telling

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the turn."""
        yield Margin("heard", stack(*self._lines()))

    def _lines(self) -> Iterator[RenderableType]:
        finding, telling = self.echo.finding, self.telling
        if finding.reading.kind is ReadingKind.CHOICE and finding.value is not None:
            yield self._choice_line()
            return
        yield Text(sentence(telling.finding(finding)))
        for words in (telling.saturation(finding), telling.winding(finding)):
            if words:
                yield Text(sentence(words))
        if finding.verdict is not Verdict.NOTED and finding.value is not None:
            yield VerdictLine(finding, telling)
        if finding.band is not None:
            yield Text(
                sentence(telling.basis(finding.band, finding.reading.id)), style="triage.hint"
            )
        reason = telling.reason(finding)
        if reason:
            yield Text(sentence(f"Why: {reason}"))
        if self.echo.advice:
            yield Text(sentence(plain_text(self.echo.advice)))

    def _choice_line(self) -> Text:
        finding = self.echo.finding
        words = Text(sentence(self.telling.finding(finding)))
        if finding.verdict is not Verdict.NOTED:
            words.append(" ").append(verdict_word(finding), _VERDICT_STYLES[finding.verdict])
        return words


@dataclass(frozen=True, slots=True)
class VerdictLine:
    """The verdict in words with the band, the gauge beside it or, where narrow, beneath.

    Plain: the words alone; a gauge says nothing to the ear.
    """

    finding: Finding
    telling: Telling

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield one line or two."""
        finding = self.finding
        style = _VERDICT_STYLES[finding.verdict]
        words = Text(self.telling.verdict(finding))
        words.stylize(style, 0, len(verdict_word(finding)))
        band = finding.band
        is_drawn = band is not None and not look_of(console).is_plain
        if band is None or not is_drawn or not isinstance(finding.value, (int, float)):
            yield words
            return
        gauge = Gauge(finding.value, band.low, band.high, style)
        if words.cell_len + 2 + WIDTH <= options.max_width:
            row = Table.grid(padding=(0, 2))
            row.add_row(gauge, words)
            yield row
            return
        yield words
        if options.max_width >= LEAST_WIDTH:
            yield gauge


def stage_marker(stage: Stage) -> Text:
    """Return the stage as it stands before a question."""
    return Text(f"{stage.value.upper()}  ", style="triage.ask")


def shown_prompt(prompt: Prompt, telling: Telling, *, is_repeat: bool = False) -> RenderableType:
    """Return what to show for what the call waits for; `is_repeat` leaves what is in view out."""
    match prompt:
        case AskQuestion():
            return QuestionTurn(prompt, telling, is_repeat)
        case AskConfirmation():
            return ConfirmationTurn(prompt, telling)
        case AskCaution() if is_repeat:
            return Margin("ask", caution_hint(prompt, telling))
        case AskCaution():
            return caution_card(prompt, telling)
        case _:
            return card_of(prompt, telling)


def shown_remark(remark: Remark, telling: Telling) -> RenderableType:
    """Return what to show in answer to a typed line."""
    match remark:
        case Echo():
            return EchoTurn(remark, telling)
        case Explained(topic, text, cautions):
            if not cautions and any(
                text == item.text for item in telling.content.cautions.values()
            ):
                # Asked at a caution: its card is in view, and to be repeated it need not be.
                return Margin(topic, Text("It stands above."))
            heading = {"why": "Why this is asked: ", "how": "How to measure: "}.get(topic, "")
            warned = [
                Text.assemble(
                    (f"CAUTION {plain_text(caution.title)}: ", "triage.caution"),
                    plain_text(caution.text),
                )
                for caution in cautions
            ]
            return Margin(topic, stack(*warned, Text(f"{heading}{plain_text(text)}")))
        case NotClear(message):
            return Margin("sorry", Text(plain_text(message)), "triage.outside")
        case TookBack(reading, _):
            name = plain_text(reading.name)
            return Margin("back", Text(f"{sentence(name)[:-1]} is open again."))
        case NotTaken(reading, typed):
            name = plain_text(reading.name)
            return Margin("back", Text(f'Dropped: {name} "{plain_text(typed)}".'))
        case NoteKept(text):
            return Margin("note", Text(f'Kept in the record: "{plain_text(text)}"'))
        case CaseSoFar():
            return Margin("case", case_so_far(remark, telling))
        case HelpWanted(choices, wait):
            return Margin("help", help_lines(choices, wait))
        case CautionAnswered(caution, is_acknowledged):
            word = "Acknowledged" if is_acknowledged else "REFUSED"
            style = "triage.good" if is_acknowledged else "triage.stop"
            words = Text.assemble((word, style), f": {sentence(plain_text(caution.title))}")
            return Margin("heard", words)
        case StoppedHere():
            return Margin("stop", Text("Stopped here. Every answer so far is kept."))
        case ParkedHere(reason, due_at, wait_s):
            return Margin("park", Text(f"{parked_until(due_at, wait_s)}: {plain_text(reason)}"))
        case SerialKept(serial_number):
            return Margin("heard", Text(f"Serial number {plain_text(serial_number)}."))


def parked_until(due_at: str, wait_s: float) -> str:
    """Return how long a call is parked and until when on the clock of this computer."""
    if not due_at:
        return "Parked"
    day = "tomorrow " if _is_another_day(due_at, wait_s) else ""
    return f"Parked for {span_words(wait_s)}, until {day}{clock_time(due_at)}"


def _is_another_day(due_at: str, wait_s: float) -> bool:
    """Return whether that is the day after the one on which it was said."""
    try:
        due = datetime.fromisoformat(due_at)
        return due.astimezone().date() != (due - timedelta(seconds=wait_s)).astimezone().date()
    except (ValueError, OverflowError):  # a record may hold anything
        return False


def is_only_unclear(remarks: tuple[Remark, ...]) -> bool:
    """Return whether nothing but misunderstandings came of a line; its question is in view."""
    return bool(remarks) and all(isinstance(remark, NotClear) for remark in remarks)


def is_only_explained(remarks: tuple[Remark, ...]) -> bool:
    """Return whether nothing but explanations came of a line; what it stands at is in view."""
    return bool(remarks) and all(isinstance(remark, Explained) for remark in remarks)


def how_to_go_on(session_id: str, begun: str) -> RenderableType:
    """Return a session's id and, on a line of its own to be copied, how to go on with it."""
    return stack(
        Text(f"Session {plain_text(session_id)} {begun}; to go on later:", style="triage.hint"),
        Text(
            f"triage resume {plain_text(session_id)}",
            style="triage.hint",
            no_wrap=True,
            overflow="ignore",
        ),
    )
