"""Trees out of parts: each part is written once and stands in a namespace of every tree it serves.

A file holds a `Fragment`: nodes of its own, and parts it uses under a name. `compose` puts the
parts in. The nodes of a part used as `freeze` become `freeze.ice_pattern` and so on, also in parts
of parts (`harvest.coil.coil_voltage`); a route to `freeze` enters at the start of the part, and a
route inside the part to `exit.sound` goes where its user bound that exit. No written id holds a
dot, so names never meet. After this there are whole trees only: proofs, calls and records know
nothing of parts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from triage.tree.content import Ending, Junction, Place, Question, Tree
from triage.tree.errors import Mistakes, nearest, quoted
from triage.tree.marked_yaml import Scalar

EXIT = "exit."
"""What a route out of a part begins with."""

DEEPEST_PARTS = 6
"""How many parts may stand in each other (judged)."""


@dataclass(frozen=True, slots=True)
class Use:
    """A part put in under a namespace; `exits` binds each of its exits to a node of the user."""

    part: str
    part_place: Place
    exits: Mapping[str, tuple[str, Scalar]]
    place: Place


@dataclass(frozen=True, slots=True)
class Fragment:
    """What one file says of a graph; targets are own nodes, namespaces or exits."""

    id: str
    title: str
    start: str
    most_questions: int
    causes: Mapping[str, float]
    exits: Mapping[str, Scalar]
    uses: Mapping[str, Use]
    questions: Mapping[str, Question]
    junctions: Mapping[str, Junction]
    endings: Mapping[str, Ending]
    place: Place
    causes_place: Place


def check_uses(
    fragments: Mapping[str, Fragment], parts: Mapping[str, Fragment], mistakes: Mistakes
) -> None:
    """Keep a mistake for every use of a part that is not there, or with exits that do not fit it.

    fragments: trees and parts by a name of the caller's; parts: by part id.
    """
    for fragment in fragments.values():
        for name, use in fragment.uses.items():
            part = parts.get(use.part)
            if part is None:
                guess = nearest(use.part, parts) or f"; parts: {', '.join(sorted(parts)) or 'none'}"
                mistakes.add(use.part_place, f"there is no part {quoted(use.part)}{guess}")
                continue
            for exit_name, (_, key) in use.exits.items():
                if exit_name not in part.exits:
                    guess = nearest(exit_name, part.exits) or (
                        f"; exits: {', '.join(part.exits) or 'none'}"
                    )
                    mistakes.add(
                        key.place, f"part {quoted(part.id)} has no exit {quoted(exit_name)}{guess}"
                    )
            for exit_name in part.exits:
                if exit_name not in use.exits:
                    mistakes.add(
                        use.place, f"{quoted(name)} leaves the exit {quoted(exit_name)} of part "
                        f"{quoted(part.id)} open; bind it under exits"
                    )  # fmt: skip
    for part in parts.values():
        chain = next(_circle(part, parts, (part.id,)), None)
        if chain:
            mistakes.add(
                part.place, f"part {quoted(part.id)} comes back to itself ({' -> '.join(chain)}); "
                "take one of these uses out"
            )  # fmt: skip


def _circle(
    part: Fragment, parts: Mapping[str, Fragment], chain: tuple[str, ...]
) -> Iterator[tuple[str, ...]]:
    for use in part.uses.values():
        if use.part == chain[0] or len(chain) > DEEPEST_PARTS:
            yield (*chain, use.part)
        elif use.part in parts:
            yield from _circle(parts[use.part], parts, (*chain, use.part))


def compose(fragment: Fragment, parts: Mapping[str, Fragment]) -> Tree:
    """Return the whole tree of a fragment whose uses fit (`check_uses`)."""
    composer = _Composer(parts)
    composer.put_in(fragment, "", {})
    return Tree(
        id=fragment.id,
        title=fragment.title,
        start=composer.entrance(fragment, "", fragment.start),
        most_questions=fragment.most_questions,
        questions=MappingProxyType(composer.questions),
        junctions=MappingProxyType(composer.junctions),
        endings=MappingProxyType(composer.endings),
        place=fragment.place,
        causes=fragment.causes,
        parts=MappingProxyType(composer.parts),
        places=MappingProxyType({"causes": fragment.causes_place, **composer.places}),
    )


class _Composer:
    """Collects the nodes of a tree and of the parts in it under their full names."""

    def __init__(self, parts: Mapping[str, Fragment]) -> None:
        self._known = parts
        self.questions: dict[str, Question] = {}
        self.junctions: dict[str, Junction] = {}
        self.endings: dict[str, Ending] = {}
        self.parts: dict[str, str] = {}
        self.places: dict[str, Place] = {}

    def entrance(self, fragment: Fragment, prefix: str, target: str) -> str:
        """Return the full name of a node, or of the node a namespace is entered at."""
        use = fragment.uses.get(target)
        if use is None:
            return prefix + target
        part = self._known[use.part]
        return self.entrance(part, f"{prefix}{target}.", part.start)

    def put_in(self, fragment: Fragment, prefix: str, leads_to: Mapping[str, str]) -> None:
        """Add the nodes of a fragment under `prefix`; `leads_to` has the full name of each exit."""

        def full(target: str) -> str:
            if target.startswith(EXIT):
                return leads_to[target.removeprefix(EXIT)]
            return self.entrance(fragment, prefix, target)

        # Parts come where they are used: the order of files is the order of a call.
        for name, use in fragment.uses.items():
            self.parts[prefix + name] = use.part
            self.places[f"parts.{prefix}{name}"] = use.place
            bound = {exit_name: full(target) for exit_name, (target, _) in use.exits.items()}
            self.put_in(self._known[use.part], f"{prefix}{name}.", bound)
        for name, question in fragment.questions.items():
            self.questions[prefix + name] = _question(question, prefix, full)
        for name, junction in fragment.junctions.items():
            self.junctions[prefix + name] = _junction(junction, prefix, full)
        for name, ending in fragment.endings.items():
            self.endings[prefix + name] = replace(ending, id=prefix + name)


def _question(question: Question, prefix: str, full: Callable[[str], str]) -> Question:
    routes = {outcome: full(target) for outcome, target in question.routes.items()}
    return replace(question, id=prefix + question.id, routes=MappingProxyType(routes))


def _junction(junction: Junction, prefix: str, full: Callable[[str], str]) -> Junction:
    return replace(
        junction,
        id=prefix + junction.id,
        rules=tuple(replace(rule, then=full(rule.then)) for rule in junction.rules),
        otherwise=full(junction.otherwise),
    )
