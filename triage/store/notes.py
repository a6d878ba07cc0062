"""Finding calls by words of their notes, with each engine's own text search.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    func,
    literal_column,
    table,
    text,
)

from triage.store import schema

_NUMBER = schema.sessions.c.number
# Literals, not parameters: only then do partial indexes apply.
_HAS_WORDS: ColumnElement[bool] = literal_column("triage_sessions.words <> ''")
_FOUND: ColumnElement[int] = literal_column(f"{schema.NOTES_TABLE}.rowid")

MOST_SPELLED_OUT = 200
"""Up to so many words that begin as the one searched for are looked up one by one."""

VERY_COMMON = 50_000
"""A word in more calls than this is looked for in calls that fit otherwise, not the other way
round (judged: a call is looked up in about a microsecond)."""

_BEGINNING = text(
    f"SELECT term, doc FROM {schema.WORDS_TABLE} WHERE term >= :low AND term < :high "
    f"LIMIT {MOST_SPELLED_OUT + 1}"
)
_LAST_SIGN = "\U0010ffff"


@dataclass(frozen=True, slots=True)
class _LookedUp:
    """What SQLite's text search is asked, and in how many notes it is at most."""

    expression: str
    most: int
    is_spelled_out: bool


@dataclass(frozen=True, slots=True)
class Search:
    """How lines with some words are looked for; `number` is what narrows them by their number."""

    number: ColumnElement[int]
    condition: ColumnElement[bool]
    is_led_by_notes: bool = False

    def of(self, statement: Select[Any]) -> Select[Any]:
        """Return a statement for lines led to by the notes, the latest first."""
        statement = statement.where(self.condition).order_by(self.number.desc())
        # A plus keeps SQLite from searching anew for every line that fits otherwise.
        same = literal_column(f"+{schema.NOTES_TABLE}.rowid") == _NUMBER
        return statement.select_from(table(schema.NOTES_TABLE).join(schema.sessions, same))


def search_for(connection: Connection, words: list[str], is_narrowed: bool) -> Search:
    """Return how lines with all of `words` are found; nothing is looked for without any.

    is_narrowed: whether the list is narrowed by more than words and time
    """
    if connection.dialect.name == "postgresql":
        wanted = " & ".join(f"'{word}':*" for word in words)
        found = literal_column("triage_sessions.words_found").op("@@")(
            func.to_tsquery(literal_column("'simple'"), wanted)
        )
        return Search(_NUMBER, and_(_HAS_WORDS, found))
    looked_up = _looked_up(connection, words)
    match = f"{schema.NOTES_TABLE} MATCH :wanted"
    if is_narrowed and looked_up.is_spelled_out and looked_up.most > VERY_COMMON:
        inner = f"SELECT 1 FROM {schema.NOTES_TABLE} WHERE {match} AND rowid = {_NUMBER}"
        return Search(_NUMBER, _text(f"EXISTS ({inner})", looked_up))
    # The search gives its matches from the last one on, so a page stops when it is full.
    return Search(_FOUND, _text(match, looked_up), is_led_by_notes=True)


def _text(condition: str, looked_up: _LookedUp) -> ColumnElement[bool]:
    return text(condition).bindparams(wanted=looked_up.expression)  # type: ignore[return-value]


def _looked_up(connection: Connection, words: list[str]) -> _LookedUp:
    """Return the words as SQLite looks them up fast.

    A beginning of up to three signs has a list of its own. For a longer one it would put together
    the lists of all words that begin so, whole; spelled out, they are read as far as needed.
    """
    parts, most, is_spelled_out = [], [], True
    for word in words:
        spelled: list[Any] = []
        if len(word) > schema.LONGEST_BEGINNING:
            bounds = {"low": word, "high": f"{word}{_LAST_SIGN}"}
            spelled = list(connection.execute(_BEGINNING, bounds))
            if not spelled:
                return _LookedUp('""', 0, True)
        if spelled and len(spelled) <= MOST_SPELLED_OUT:
            parts.append(f"({' OR '.join(_quoted(term) for term, _ in spelled)})")
            most.append(sum(count for _, count in spelled))
        else:
            parts.append(f"{_quoted(word)}*")
            is_spelled_out = False
    return _LookedUp(" AND ".join(parts), min(most, default=0), is_spelled_out)


def _quoted(word: str) -> str:
    return '"' + word.replace('"', '""') + '"'
