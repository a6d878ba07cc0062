"""What comes of running a stored call through other content: then, now, and where the two part.

The record keeps no verdicts of the call's readings. What is compared is what it does keep: the
questions and cautions in their order; ending, result and causes; agreement and likeliest cause; and
the verdicts on readings after a repair.
"""

from __future__ import annotations

from dataclasses import dataclass

COMPARED = (
    "questions and cautions in their order",
    "ending",
    "result",
    "causes",
    "agreement",
    "likeliest cause",
    "verdicts on readings after the repair",
)
"""What the record keeps, so that it can be compared. Verdicts during a call it does not keep."""


@dataclass(frozen=True, slots=True)
class End:
    """How a call ended: `likeliest` and `agreement` are empty where the record is too old."""

    ending: str
    result: str
    causes: tuple[str, ...]
    agreement: str = ""
    likeliest: str = ""
    probability: float | None = None


@dataclass(frozen=True, slots=True)
class Parting:
    """The first place where record and today's content part.

    `number` counts what was put to the caller before, plus one. `then` and `now` are node ids, or
    the id of an ending; `then` is empty where the record stops.
    """

    number: int
    then: str
    now: str


@dataclass(frozen=True, slots=True)
class Rejudged:
    """A reading after the repair with another verdict today."""

    reading: str
    then: str
    now: str


@dataclass(frozen=True, slots=True)
class Replay:
    """A call as it went and as it would go today.

    Paths are node ids in the order put to the caller, each once. `end_then` is None for a call that
    did not end; then `stands_then` is what it waits for, and `end_now` is None unless today it
    would have ended. `unanswered` are readings asked for today that the record has no answer to,
    `assumed_cautions` those put today on which the record says nothing: they are taken as
    acknowledged. `found` is what a repair found, by the last report; `agreed_then` and `agrees_now`
    whether the causes concluded have any of it. `gone` are words for what the content no longer
    knows. `cannot` says why a call could not be replayed at all.
    """

    tree: str
    path_then: tuple[str, ...] = ()
    path_now: tuple[str, ...] = ()
    parting: Parting | None = None
    end_then: End | None = None
    end_now: End | None = None
    stands_then: str = ""
    stands_now: str = ""
    unanswered: tuple[str, ...] = ()
    assumed_cautions: tuple[str, ...] = ()
    rejudged: tuple[Rejudged, ...] = ()
    gone: tuple[str, ...] = ()
    cannot: str = ""
    found: tuple[str, ...] = ()
    agreed_then: bool = False
    agrees_now: bool = False

    @property
    def asked_only_now(self) -> tuple[str, ...]:
        """What is put to the caller today and was not then."""
        return tuple(node for node in self.path_now if node not in self.path_then)

    @property
    def asked_only_then(self) -> tuple[str, ...]:
        """What was put to the caller then and would not be today."""
        return tuple(node for node in self.path_then if node not in self.path_now)

    @property
    def is_same_path(self) -> bool:
        """Whether the same was put in the same order, up to where the record stops."""
        return not self.cannot and self.parting is None

    @property
    def is_same_conclusion(self) -> bool:
        """Whether ending, result and causes are the same; for an open call, that it is open."""
        return not self.cannot and _told(self.end_then) == _told(self.end_now)

    @property
    def is_same_ranking(self) -> bool:
        """Whether agreement and likeliest cause are the same, as far as the record has them."""
        then, now = self.end_then, self.end_now
        if then is None or now is None:
            return then is now
        return (then.agreement in ("", now.agreement)) and (then.likeliest in ("", now.likeliest))

    @property
    def is_same(self) -> bool:
        """Whether nothing that is compared differs."""
        return (
            self.is_same_path
            and self.is_same_conclusion
            and self.is_same_ranking
            and not self.rejudged
        )


def _told(end: End | None) -> tuple[object, ...] | None:
    return None if end is None else (end.ending, end.result, end.causes)
