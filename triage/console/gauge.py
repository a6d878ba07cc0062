"""A one-line gauge: where a value stands against the band it should lie in.

The band always fills the middle third, so the same picture means the same thing for every reading;
how far the mark stands outside is in half-widths of the band. A value off the scale becomes an
arrow at that end. Words stand beside it wherever it is used: nothing is said by color alone.

    ·····◆···┣━━━━━━━━━┫·········     below
    ·········┣━━━━◆━━━━┫·········     within
    ·········┣━━━━━━━━━┫········▶     above, off the scale
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text

from triage.console.look import look_of

WIDTH = 29
"""Columns of a whole gauge where there is room."""

LEAST_WIDTH = 15
"""Columns under which a gauge says nothing; it is left out then."""

SCALE_HALF_WIDTHS = 3.0
"""How far the scale reaches to each side of the middle, in half-widths of the band."""


@dataclass(frozen=True, slots=True)
class _Signs:
    outside: str
    inside: str
    low_end: str
    high_end: str
    mark: str
    off_low: str
    off_high: str


_UNICODE = _Signs("·", "━", "┣", "┫", "◆", "◀", "▶")
_ASCII = _Signs(".", "=", "[", "]", "O", "<", ">")


@dataclass(frozen=True, slots=True)
class Gauge:
    """A value against the band `low` to `high`, all three in the same unit.

    `style` colors the mark; it repeats what the position says.
    """

    value: float
    low: float
    high: float
    style: str = "none"

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the one line, nothing if there is no room for it."""
        width = min(WIDTH, options.max_width)
        if width < LEAST_WIDTH:
            return
        is_ascii = look_of(console).is_ascii or options.ascii_only
        yield self.drawn(width, is_ascii=is_ascii)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Return the least and the full width."""
        return Measurement(LEAST_WIDTH, WIDTH).with_maximum(options.max_width)

    def drawn(self, width: int = WIDTH, *, is_ascii: bool = False) -> Text:
        """Return the gauge as text, `width` columns wide.

        >>> Gauge(62.0, 66.0, 80.0).drawn(29, is_ascii=True).plain
        '.......O.[=========].........'
        """
        signs = _ASCII if is_ascii else _UNICODE
        low_end = width // 3
        high_end = width - 1 - low_end
        cells = [signs.outside] * width
        for cell in range(low_end + 1, high_end):
            cells[cell] = signs.inside
        cells[low_end], cells[high_end] = signs.low_end, signs.high_end
        cell, sign = self._mark(width, low_end, high_end, signs)
        cells[cell] = sign
        line = Text("".join(cells), no_wrap=True)
        line.stylize(self.style, cell, cell + 1)
        return line

    def _mark(self, width: int, low_end: int, high_end: int, signs: _Signs) -> tuple[int, str]:
        half = (self.high - self.low) / 2.0
        if not 0.0 < half < math.inf:
            # A band without width, or without an end: only the side can be told.
            distance = 0.0 if self.low <= self.value <= self.high else math.inf
            distance = -distance if self.value < self.low else distance
        else:
            distance = (self.value - (self.low + self.high) / 2.0) / half
        if distance < -SCALE_HALF_WIDTHS:
            return 0, signs.off_low
        if distance > SCALE_HALF_WIDTHS:
            return width - 1, signs.off_high
        cell = round((distance / SCALE_HALF_WIDTHS + 1.0) / 2.0 * (width - 1))
        # Rounding must not carry the mark over an end of the band: the picture would then
        # contradict the verdict beside it.
        if self.value < self.low:
            return min(cell, low_end - 1), signs.mark
        if self.value > self.high:
            return max(cell, high_end + 1), signs.mark
        return max(low_end + 1, min(cell, high_end - 1)), signs.mark
