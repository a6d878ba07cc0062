"""The tables of a DOT file, in Graphviz's own HTML-like labels; every text in them is escaped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from html import escape

from triage.tree.drawing.sketch import Box, Finish, Kind, Sketch, Way
from triage.tree.drawing.words import (
    ANY_ANSWER,
    caution_words,
    gate_words,
    legend,
    licensed_words,
    mark_words,
    settle_words,
    when_lines,
)

FONT = "Arial"

_BOX_COLUMNS = 58
_TITLE_COLUMNS = 44
_WHEN_COLUMNS = 30
_END_COLUMNS = 46
_FOOT_COLUMNS = 24
_HEADING_COLUMNS = 120

_BLACK, DARK, _PALE = "black", "#595959", "#ebebeb"
"""Grays that stay apart on any printer: band of a caution, band of a gate, ground of a fork."""

_TAKEN_BORDER = 4
_PLAIN = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'
# A browser sets text up to a fiftieth wider than Graphviz reckons, so there is room beside it.
_GRID = 'BORDER="0" CELLBORDER="1" CELLSPACING="0" CELLPADDING="5"'
_END = 'BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="4"'
_ROOM_BESIDE = '<TD WIDTH="30"></TD>'


def wrapped(text: str, columns: int) -> str:
    """Return `text` in lines of at most `columns`, fit for an HTML-like label."""
    return "<BR/>".join(map(shown, textwrap.wrap(text, columns) or [""]))


def shown(text: str) -> str:
    """Return `text` fit for an HTML-like label; a backslash would stand for a name there."""
    return escape(text).replace("\\", "\\\\")


def heading_table(sketch: Sketch) -> str:
    """Return what stands above the drawing: title, what is drawn, the call, the legend."""
    rows = [_row(f'<FONT POINT-SIZE="22"><B>{shown(sketch.title)}</B></FONT>')]
    rows += [_row(wrapped(line, _HEADING_COLUMNS)) for line in sketch.about]
    rows += [_row(f"<B>{wrapped(line, _HEADING_COLUMNS)}</B>") for line in sketch.call]
    meanings = [
        f'<TR><TD ALIGN="LEFT" VALIGN="TOP"><B>{shown(word)}</B></TD>'
        f'<TD ALIGN="LEFT" BALIGN="LEFT">{wrapped(meaning, _HEADING_COLUMNS)}</TD>'
        f"{_ROOM_BESIDE}</TR>"
        for word, meaning in legend(sketch)
    ]
    rows.append(_row(_table(meanings, 'BORDER="1" CELLBORDER="0" CELLSPACING="2"')))
    return _table(rows, _PLAIN)


def box_table(box: Box, sketch: Sketch, *, is_folded: bool) -> str:
    """Return the label of a question or fork; the cell of a way is the port `w` and its number."""
    rows = [_band(caution_words(box.cautions), _BLACK)] if box.cautions else []
    head = f"{box.kind.value}{licensed_words(box)}{f': {box.id}' if box.title else ''}"
    lines = [
        f'<FONT POINT-SIZE="9" COLOR="{DARK}">{shown(head)}</FONT>',
        f'<FONT POINT-SIZE="13"><B>{wrapped(box.title or box.id, _TITLE_COLUMNS)}</B></FONT>',
    ]
    if box.asks:
        lines.append(f'<FONT POINT-SIZE="10">{wrapped(box.asks, _BOX_COLUMNS)}</FONT>')
    if mark_words(box):
        lines.append(f"<B>{wrapped(mark_words(box), _BOX_COLUMNS)}</B>")
    rows.append(_row("<BR/>".join(lines)))
    port = ""
    only = box.ways[0] if len(box.ways) == 1 else None
    if only and only.words == (ANY_ANSWER,) and only.target not in sketch.finishes:
        port = ' PORT="w0"'  # the one way on needs no words of its own
    elif is_folded:
        rows += _folded(box, sketch)
    else:
        cells = [f"<TR>{_when(way, number, _END_COLUMNS)}</TR>" for number, way in
                 enumerate(box.ways)]  # fmt: skip
        rows.append(_row(_table(cells, _GRID), padding=0))
    corners = ' STYLE="ROUNDED"' if box.kind is Kind.QUESTION else ""
    ground = _PALE if box.kind is Kind.FORK else "white"
    border = _TAKEN_BORDER if box.is_taken else 1
    return _table(
        rows,
        f'BORDER="{border}"{corners}{port} BGCOLOR="{ground}" CELLBORDER="0" CELLSPACING="3" '
        'CELLPADDING="3"',
    )


def finish_table(finish: Finish, *, with_gate: bool = False, came_by: str = "") -> str:
    """Return the label of a finish; `came_by` says how a call came to it but by a way."""
    rows = [_row(f"<B>{finish.kind.value}</B>: {shown(finish.id)}")]
    rows.append(_row(f"<B>{wrapped(finish.title, _END_COLUMNS)}</B>"))
    reasons = filter(None, (finish.because, settle_words(finish), came_by))
    rows += [_row(wrapped(reason, _END_COLUMNS)) for reason in reasons]
    if mark_words(finish):
        rows.append(_row(f"<B>{wrapped(mark_words(finish), _END_COLUMNS)}</B>"))
    if with_gate and finish.gate:
        rows.append(_band(gate_words([finish]), DARK))
    return _table(rows, _PLAIN)


def _folded(box: Box, sketch: Sketch) -> Iterable[str]:
    """Yield a grid of the ways that end here, then the cells along the foot of those that go on."""
    ways = list(enumerate(box.ways))
    onward = [(number, way) for number, way in ways if way.target not in sketch.finishes]
    # One cell has the whole foot to itself; a wide foot leaves room beside the finishes.
    foot_columns = max(_FOOT_COLUMNS, _BOX_COLUMNS // max(1, len(onward)))
    foot = "".join(_when(way, number, foot_columns) for number, way in onward)
    columns = max(_WHEN_COLUMNS, len(onward) * foot_columns - _END_COLUMNS)
    ends = [
        f"<TR>{_when(way, None, columns)}{_end(sketch.finishes[way.target], way)}</TR>"
        for _, way in ways
        if way.target in sketch.finishes
    ]
    if ends:
        yield _row(_table(ends, _GRID), padding=0)
    if onward:
        yield _row(_table([f"<TR>{foot}</TR>"], _GRID), padding=0)


def _when(way: Way, number: int | None, columns: int) -> str:
    """Return the cell that says when a way is taken."""
    lines = "<BR/>".join(wrapped(line, columns) for line in when_lines(way))
    port = "" if number is None else f' PORT="w{number}"'
    border = f' BORDER="{_TAKEN_BORDER}"' if way.is_taken else ""
    ground = "white" if number is None else _PALE
    return f'<TD{port}{border} BGCOLOR="{ground}" ALIGN="LEFT" BALIGN="LEFT">{lines}</TD>'


def _end(finish: Finish, way: Way) -> str:
    """Return the cell of a finish in the box it is reached from."""
    kind = finish.kind.value
    words = wrapped(f"{kind}: {finish.title}", _END_COLUMNS).replace(kind, f"<B>{kind}</B>", 1)
    if way.is_taken:
        words += f"<BR/><B>{wrapped(mark_words(finish), _END_COLUMNS)}</B>"
    rows = [_row(words)]
    gate = gate_words([finish], is_taken=way.is_taken)
    if gate:
        rows.append(_band(gate, DARK))
    ground = "white" if finish.kind is Kind.CONCLUDED else _PALE
    return f'<TD BGCOLOR="{ground}" CELLPADDING="0">{_table(rows, _END)}</TD>'


def _band(words: str, color: str) -> str:
    text = f'<FONT COLOR="white"><B>{wrapped(words, _BOX_COLUMNS - 6)}</B></FONT>'
    return f'<TR><TD BGCOLOR="{color}" ALIGN="LEFT" BALIGN="LEFT">{text}</TD></TR>'


def _row(inside: str, padding: int | None = None) -> str:
    room = "" if padding is None else f' CELLPADDING="{padding}"'
    return f'<TR><TD ALIGN="LEFT" BALIGN="LEFT"{room}>{inside}</TD></TR>'


def _table(rows: Iterable[str], attributes: str) -> str:
    return f"<TABLE {attributes}>{''.join(rows)}</TABLE>"
