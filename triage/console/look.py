"""How things look: the one place that decides about color, plain output, characters and margins.

A renderable says what there is to see; the console it is shown on carries a `Look`, and the helpers
here turn that into margins and bars, or into plain lines for a screen reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import IO, TYPE_CHECKING, TextIO, cast

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from rich.theme import Theme

if TYPE_CHECKING:
    from prompt_toolkit.output import ColorDepth

GREATEST_TEXT_WIDTH = 100
"""Columns after which lines of prose get tiring to read; a wider terminal leaves them unused."""

MARGIN_WORD_WIDTH = 6
"""Columns of the word at the margin; the longest is "caller"."""

_STYLES = {
    "triage.ask": "bold",
    "triage.typed": "cyan",
    "triage.heard": "none",
    "triage.hint": "dim",
    "triage.bar": "dim",
    "triage.within": "green",
    "triage.below": "bold yellow",
    "triage.above": "bold yellow",
    "triage.outside": "bold yellow",
    "triage.unknown": "magenta",
    "triage.noted": "none",
    "triage.caution": "bold red",
    "triage.good": "bold green",
    "triage.stop": "bold red",
    "triage.heading": "bold",
}

_ASCII = str.maketrans(
    {
        "°": "",
        "│": "|",
        "┃": "|",
        "┏": "+",
        "┗": "+",
        "━": "-",
        "─": "-",
        "·": ".",
        "•": "-",
        "–": "-",
        "—": "-",
        "“": '"',
        "”": '"',
        "’": "'",
        "…": "...",
        "Ω": "ohm",
        "²": "2",
        "³": "3",
        "×": "x",
        "±": "+/-",
        "½": "1/2",
        "→": "->",
    }
)


class ColorChoice(StrEnum):
    """What the person asked for with `--color`."""

    AUTO = "auto"
    ALWAYS = "always"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Look:
    """What a screen may carry.

    `has_styles` allows escape codes at all, `has_color` allows those of color. `is_plain` leaves
    out bars, rules and redraws, for screen readers; `is_ascii` keeps to 7-bit characters.
    """

    has_styles: bool = False
    has_color: bool = False
    is_plain: bool = False
    is_ascii: bool = False


def choose_look(
    color: ColorChoice,
    stream: TextIO,
    environ: Mapping[str, str],
    *,
    is_plain: bool = False,
) -> Look:
    """Return the look for `stream`: what was asked for first, then the environment.

    `--color always` and `never` win over everything. Under `auto` a non-empty NO_COLOR takes the
    color away (bold stays on a terminal), a non-empty FORCE_COLOR gives it even off a terminal,
    TERM=dumb takes all styles away and asks for plain lines.
    """
    is_terminal = stream.isatty()
    is_dumb = environ.get("TERM", "").lower() in ("dumb", "unknown")
    is_ascii = not (getattr(stream, "encoding", None) or "utf-8").lower().startswith("utf")
    plain = is_plain or (is_terminal and is_dumb)
    match color:
        case ColorChoice.ALWAYS:
            return Look(True, True, plain, is_ascii)
        case ColorChoice.NEVER:
            return Look(False, False, plain, is_ascii)
    forbids, forces = bool(environ.get("NO_COLOR")), bool(environ.get("FORCE_COLOR"))
    has_color = not forbids and (forces or (is_terminal and not is_dumb))
    has_styles = has_color or (is_terminal and not is_dumb)
    return Look(has_styles, has_color, plain, is_ascii)


class ChatConsole(Console):
    """A rich console that knows its look and never takes text for markup."""

    def __init__(self, look: Look, stream: TextIO, width: int | None = None) -> None:
        self.look = look
        super().__init__(
            file=cast(IO[str], _AsciiStream(stream)) if look.is_ascii else stream,
            width=width,
            theme=Theme(_STYLES),
            # Terminal-ness is settled by the look alone: rich would read FORCE_COLOR again.
            force_terminal=look.has_styles,
            color_system="standard" if look.has_styles else None,
            no_color=not look.has_color,
            markup=False,
            highlight=False,
            emoji=False,
        )


def look_of(console: Console) -> Look:
    """Return the look of a console; one that is not ours shows bars but no plain lines."""
    if isinstance(console, ChatConsole):
        return console.look
    return Look(is_ascii=not console.encoding.lower().startswith("utf"))


def prompt_color_depth(look: Look) -> ColorDepth:
    """Return the same decision in the words of the prompt's library."""
    from prompt_toolkit.output import ColorDepth

    return ColorDepth.DEPTH_4_BIT if look.has_color else ColorDepth.DEPTH_1_BIT


class _AsciiStream:
    """A stream that writes the few characters we use beyond ASCII in ASCII, others as `?`."""

    encoding = "ascii"

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text` in 7 bits."""
        spelled = text.replace("¼", "1/4").translate(_ASCII)
        self._stream.write(spelled.encode("ascii", "replace").decode("ascii"))
        return len(text)

    def flush(self) -> None:
        """Flush what lies below."""
        self._stream.flush()

    def isatty(self) -> bool:
        """Whether what lies below is a terminal."""
        return self._stream.isatty()

    def fileno(self) -> int:
        """Return the descriptor of what lies below."""
        return self._stream.fileno()


@dataclass(frozen=True, slots=True)
class Margin:
    """A turn: a word at the margin tells who speaks, a bar holds its lines together.

    Plain: the word and a colon, no bar, no indentation.
    """

    word: str
    body: RenderableType
    style: str = "triage.hint"
    bar: str = "│"

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines with their margin."""
        if look_of(console).is_plain:
            first, following = f"{self.word}: ", ""
        else:
            first = f"{self.word:>{MARGIN_WORD_WIDTH}} {self.bar} "
            following = f"{'':>{MARGIN_WORD_WIDTH}} {self.bar} "
        yield from _prefixed(console, options, self.body, first, following, self.style)


@dataclass(frozen=True, slots=True)
class Prose:
    """Words without a margin, no wider than is good to read."""

    body: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines."""
        yield from _prefixed(console, options, self.body, "", "", "none")


@dataclass(frozen=True, slots=True)
class Card:
    """Something to stop at: a ruled heading and a heavy bar.

    It is open to the right, so that wide characters cannot break it.
    """

    heading: str
    body: RenderableType
    style: str = "triage.heading"

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the heading, the lines and the closing rule."""
        if look_of(console).is_plain:
            yield Text(f"{self.heading}.", style=self.style)
            yield from _prefixed(console, options, self.body, "", "", self.style)
            return
        width = min(options.max_width, GREATEST_TEXT_WIDTH)
        lead = "┏━ "
        heading = Text(self.heading, style=self.style)
        lines = heading.wrap(console, max(1, width - len(lead)))
        for number, line in enumerate(lines):
            line.rstrip()
            yield Text.assemble((lead if number == 0 else "┃  ", self.style), line)
        yield from _prefixed(console, options, self.body, "┃  ", "┃  ", self.style)
        yield Text("┗" + "━" * (width - 1), style=self.style)


def _prefixed(
    console: Console,
    options: ConsoleOptions,
    body: RenderableType,
    first: str,
    following: str,
    style: str,
) -> Iterator[Segment]:
    prefix_style: Style = console.get_style(style)
    width = max(10, min(options.max_width, GREATEST_TEXT_WIDTH) - len(first))
    lines = console.render_lines(body, options.update(width=width), pad=False)
    for number, line in enumerate(lines):
        prefix = first if number == 0 else following
        shown = _without_blanks_at_end(line)
        yield Segment(prefix if shown else prefix.rstrip(), prefix_style)
        yield from shown
        yield Segment.line()


def _without_blanks_at_end(line: list[Segment]) -> list[Segment]:
    shown = list(line)
    while shown:
        text, style, control = shown.pop()
        kept = text.rstrip(" ")
        if kept:
            return [*shown, Segment(kept, style, control)]
    return []


def stack(*parts: RenderableType | None) -> Group:
    """Return the parts under each other, leaving out those that are None."""
    return Group(*(part for part in parts if part is not None))
