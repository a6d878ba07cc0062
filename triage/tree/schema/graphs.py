"""Schemas of what holds a decision graph: a tree, and a part that trees share.

Which nodes a route may lead to stands in the file itself, where no schema can look it up: a route's
target is any name, and the loader tells one that leads nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from triage.tree.compose import EXIT
from triage.tree.content import Stage
from triage.tree.load_readings import LONGEST_MINUTE
from triage.tree.load_tree import ELSE, GREATEST_SHARE, MOST_QUESTIONS_ALLOWED
from triage.tree.schema.bricks import (
    Schema,
    by_name,
    id_pattern,
    known_one,
    known_ones,
    listed,
    name_of,
    named,
    number,
    one_of,
    section,
    text,
    where,
    whole,
    with_keys,
)
from triage.tree.schema.known import Known
from triage.tree.schema.lists import layout, outcome_words

STAGE_WORDS: dict[Stage, str] = {
    Stage.CALLER: "who calls, and about what",
    Stage.MACHINE: "which machine, and where it stands",
    Stage.SITE: "looking and listening around the machine: supplies, settings, cleanliness",
    Stage.FREEZE: "the freeze",
    Stage.HARVEST: "the harvest, once the freeze is known to be sound",
    Stage.CONFIRM: "a test that confirms what is suspected",
}
"""What each stage of a call is, as an editor shows it."""

_NODES = ("questions", "endings")


def tree_schema(known: Known) -> Schema:
    """Return the schema of a tree file."""
    keys = {
        "format": layout(),
        "tree": name_of(
            "Id of the tree. It is the answer about the complaint that this tree serves."
        ),
        "title": text("The complaint in plain words."),
        "start": name_of("The node or part a call begins with."),
        "most_questions": whole(
            "The most questions any call through this tree may take. It is proved.",
            1, MOST_QUESTIONS_ALLOWED,
        ),
        "causes": by_name(
            "Of a hundred such calls, how many each cause is behind. Judged.",
            {cause: number(words, 1e-6, GREATEST_SHARE) for cause, words in known.causes.items()},
        ),
        **_graph(known, _target("The node or part it leads to.")),
    }  # fmt: skip
    return {
        **section(
            "The decision graph of one complaint.",
            keys,
            required=("format", "tree", "title", "start", "most_questions", "causes"),
        ),
        **_own_nodes_or_parts(),
    }


def part_schema(known: Known) -> Schema:
    """Return the schema of a part file."""
    keys = {
        "format": layout(),
        "part": name_of("Id of the part, which trees name to use it."),
        "title": text("What the part finds out, in plain words."),
        "start": name_of("The node or part it is entered at."),
        "exits": named(
            "The ways out of the part. A route takes one as exit.NAME, and whoever uses the part "
            "says where it leads.",
            {"description": "What it means to leave here, in words.", "type": ["string", "number"]},
        ),
        **_graph(known, _target("The node or part it leads to, or exit.NAME.", has_exits=True)),
    }
    return {
        **section(
            "Questions that several trees share.",
            keys,
            required=("format", "part", "title", "start", "exits"),
        ),
        **_own_nodes_or_parts(has_exits=True),
    }


def _own_nodes_or_parts(*, has_exits: bool = False) -> Schema:
    """Return what asks for nodes in the file itself unless parts bring them.

    A part that can be left may do without endings.
    """
    has_parts: Schema = {"required": ["parts"], "properties": {"parts": {"minProperties": 1}}}
    nodes: Schema = {"required": list(_NODES)}
    if has_exits:
        questions, endings = _NODES
        can_leave: Schema = {"properties": {"exits": {"minProperties": 1}}}
        nodes = {
            "required": [questions],
            "if": can_leave,
            "then": {},
            "else": {"required": [endings]},
        }
    return {"if": has_parts, "then": {}, "else": nodes}


def _target(description: str, *, has_exits: bool = False) -> Schema:
    told = "This is no name of a node or part of this file."
    pattern = id_pattern()
    if has_exits:
        pattern = f"{pattern}|^{re.escape(EXIT)}{id_pattern().removeprefix('^')}"
        told = f"This is no name of a node or part of this file, and no {EXIT}NAME."
    return {
        "description": description,
        "type": "string",
        "pattern": pattern,
        "errorMessage": told,
    }


def _graph(known: Known, target: Schema) -> dict[str, Schema]:
    """Return the keys that trees and parts have in common."""
    return {
        "parts": named(
            "Parts put in here, each under a namespace of your choice. Its nodes are called "
            "NAMESPACE.node, and a route to NAMESPACE enters the part.",
            _use(known, target),
            except_for=(EXIT.removesuffix("."),),
        ),
        "questions": named("Each question under its id.", _question(known, target)),
        "junctions": named("Each fork under its id.", _junction(known, target)),
        "endings": named("Each ending under its id.", _ending(known)),
    }


def _use(known: Known, target: Schema) -> Schema:
    exits: Schema = {
        "description": "Where each way out of the part leads.",
        "type": "object",
        "additionalProperties": target,
    }
    use = section(
        "A part put in.",
        {"part": known_one("Which part it is.", "part", known.parts), "exits": exits},
        required=("part",),
    )
    return {**use, "allOf": list(_exits_of_parts(known, target))}


def _exits_of_parts(known: Known, target: Schema) -> Iterator[Schema]:
    for part, exits in known.exits.items():
        bound: Schema = {
            "properties": {name: _told(target, words) for name, words in exits.items()},
            "required": list(exits),
            "additionalProperties": False,
        }
        yield where(
            "part",
            [part],
            {"properties": {"exits": bound}, "required": ["exits"] if exits else []},
        )


def _told(target: Schema, words: str) -> Schema:
    told = f"{words.strip()}. " if words.strip() else ""
    return {**target, "description": f"{told}{target['description']}"}


def _question(known: Known, target: Schema) -> Schema:
    readings = {name: known.named(name) for name in known.readings}
    question = section(
        "One thing to ask, and where each outcome leads.",
        {
            "reading": known_one("What is asked for.", "reading", readings),
            "stage": _stage(),
            "agent": text("What an agent reads out to the caller on the phone."),
            "technician": text("What a technician alone at the machine reads."),
            "why": text("Why it is asked, for a caller who wants to know."),
            "how": text("How to see or measure it."),
            "if_unknown": text("What is said if it cannot be had."),
            "routes": {
                "description": "Where each outcome leads: outcome: node, or one|other: node. "
                "else stands for all the rest.",
                "type": "object",
                "additionalProperties": target,
            },
            "minute": number(
                "Minutes into the freeze or the harvest at which it is taken here, if not at the "
                "reading's own.",
                0, LONGEST_MINUTE,
            ),
        },
        required=(
            "reading", "stage", "agent", "technician", "why", "how", "if_unknown", "routes",
        ),
    )  # fmt: skip
    routes = [
        where("reading", alike, with_keys(routes=_routes(outcomes, target)))
        for outcomes, alike in _by_outcomes(known)
    ]
    return {**question, "allOf": routes}


def _stage() -> Schema:
    words = {stage.value: words for stage, words in STAGE_WORDS.items()}
    return one_of("Where in the call it belongs, in this order.", words)


def _by_outcomes(known: Known) -> Iterator[tuple[dict[str, str], list[str]]]:
    """Yield outcomes with their words, and the readings that have exactly these."""
    groups: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for name, reading in known.readings.items():
        if reading is not None:
            groups.setdefault(tuple(outcome_words(reading).items()), []).append(name)
    yield from ((dict(outcomes), readings) for outcomes, readings in groups.items())


def _routes(outcomes: dict[str, str], target: Schema) -> Schema:
    """Return the route table over these outcomes: every one routed, or else: for the rest."""
    one = "|".join(map(re.escape, outcomes))
    single = {outcome: _told(target, words) for outcome, words in outcomes.items()}
    return {
        "properties": {**single, ELSE: _told(target, "all outcomes not named here")},
        "patternProperties": {
            rf"^\s*(?:{one})\s*(?:\|\s*(?:{one})\s*)*$": target,
            rf"^\s*{ELSE}\s*$": target,
        },
        "additionalProperties": False,
        "allOf": [
            *(
                {"if": {"not": _has_key(rf"{_names(outcome)}|^\s*{ELSE}\s*$")},
                 "then": {"required": [outcome]}}
                for outcome in outcomes
            ),
            {"if": {"allOf": [_has_key(_names(outcome)) for outcome in outcomes]},
             "then": with_keys(**{ELSE: False})},
        ],
    }  # fmt: skip


def _names(outcome: str) -> str:
    """Return the pattern of a route key that names this outcome, alone or among others."""
    return rf"^(?:.*\|)?\s*{re.escape(outcome)}\s*(?:\|.*)?$"


def _has_key(pattern: str) -> Schema:
    """Return what holds for a mapping that has a key like this."""
    return {"not": {"propertyNames": {"not": {"pattern": pattern}}}}


def _junction(known: Known, target: Schema) -> Schema:
    conditions = by_name("", dict(_conditions(known)))
    rule = section(
        "A row of the fork. The first that holds is taken.",
        {
            "says": text("What it means that this rule holds, in words."),
            "if": {
                **conditions, "minProperties": 1,
                "description": "All of these readings have one of the outcomes named.",
            },
            "if_any": {
                **conditions, "minProperties": 1,
                "description": "At least one of these readings has one of the outcomes named.",
            },
            "then": target,
        },
        required=("says", "then"),
    )  # fmt: skip
    rules = {
        "description": "The rows of the fork, in the order they are tried.",
        "type": "array",
        "items": {**rule, "anyOf": [{"required": ["if"]}, {"required": ["if_any"]}]},
        "minItems": 1,
    }
    return section(
        "A fork decided by what is already known. Nothing is asked.",
        {
            "stage": _stage(),
            "rules": rules,
            "otherwise": {**target, "description": "Where it leads if no rule holds."},
        },
        required=("stage", "rules", "otherwise"),
    )


def _conditions(known: Known) -> Iterator[tuple[str, Schema]]:
    for name, reading in known.readings.items():
        if reading is None:
            yield name, {}
            continue
        outcomes = outcome_words(reading)
        several = listed("One of several outcomes.", one_of("An outcome.", outcomes), at_least=1)
        # All of them would ask nothing.
        several["maxItems"] = len(outcomes) - 1
        told = f"{reading.name}: an outcome, or a list of them."
        yield name, {"description": told, "anyOf": [one_of("The outcome.", outcomes), several]}


def _ending(known: Known) -> Schema:
    ending = section(
        "Where a call ends: with causes, or handed on to somebody.",
        {
            "causes": known_ones("What is concluded.", "cause", known.causes, at_least=1),
            "escalate": text("Whom the call is handed to, and why."),
            "because": text("What led here, in words for the caller."),
            "shortlist": known_ones(
                "Causes that are still open when it is handed on.", "cause", known.causes
            ),
            "settles": known_ones(
                "Those of the shortlist that all readings together may settle on here.",
                "cause",
                known.causes,
            ),
            "machine_state": text("In what state to leave the machine."),
            "call_whom": text("Whom to call."),
        },
        required=("because",),
    )  # fmt: skip
    concludes: Schema = {"required": ["causes"]}
    no_escalation = dict.fromkeys(
        ("escalate", "shortlist", "settles", "machine_state", "call_whom"), False
    )
    return {
        **ending,
        "if": concludes,
        "then": {"properties": no_escalation},
        "else": {"required": ["escalate", "machine_state", "call_whom"]},
    }
