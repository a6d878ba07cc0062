"""Schemas of the lists that trees draw on: readings, causes, cautions, and confirmed repairs."""

from __future__ import annotations

from collections.abc import Iterator

from triage.tree.amounts import DIMENSIONAL_KINDS
from triage.tree.content import PLAIN_OUTCOMES, UNKNOWN, Reading, ReadingKind, Side
from triage.tree.load import FORMAT
from triage.tree.load_outcomes import MOST_CONFIRMED
from triage.tree.load_readings import LONGEST_JOB_MINUTES, LONGEST_MINUTE
from triage.tree.machine_parts import PARTS, Part
from triage.tree.schema.bricks import (
    Schema,
    by_name,
    flag,
    known_ones,
    listed,
    named,
    number,
    one_of,
    section,
    text,
    texts,
    where,
    whole,
    with_keys,
)
from triage.tree.schema.known import Known

KIND_WORDS: dict[ReadingKind, str] = {
    ReadingKind.CHOICE: "one of the answers listed under choices",
    ReadingKind.MACHINE: "a machine, by its model",
    ReadingKind.REFRIGERANT: "a refrigerant, by its number",
    ReadingKind.GAUGE_PRESSURE: "a pressure as a gauge shows it",
    ReadingKind.TEMPERATURE: "a temperature",
    ReadingKind.TEMPERATURE_DIFFERENCE: "a difference of two temperatures, such as superheat",
    ReadingKind.DURATION: "a length of time",
    ReadingKind.LENGTH: "a length or thickness",
    ReadingKind.MASS: "a weight",
    ReadingKind.VOLTAGE: "a voltage",
    ReadingKind.RESISTANCE: "an electrical resistance",
    ReadingKind.MASS_PER_DAY: "a weight of ice made in a day",
    ReadingKind.ENERGY_PER_MASS: "energy used for a weight of ice",
    ReadingKind.VOLUME_PER_MASS: "water used for a weight of ice",
    ReadingKind.CONCENTRATION: "how much is dissolved in water, such as hardness",
    ReadingKind.WATER_PRESSURE: "a pressure of the water supply",
    ReadingKind.CURRENT: "an electrical current",
    ReadingKind.VOLUME: "a volume of water",
    ReadingKind.AGE: "how long ago something was done",
}
"""What each kind of reading is, as an editor shows it."""

SIDE_WORDS: dict[Side, str] = {
    Side.FREEZE: "it spoils the freeze",
    Side.HARVEST: "it spoils the harvest",
    Side.AROUND: "what both halves rest on: water, power, cleanliness, settings, the place",
    Side.NONE: "nothing is broken",
}
"""What each side of the cycle means, as an editor shows it."""


def layout() -> Schema:
    """Return the schema of the first line of every file."""
    return {"description": "Layout of the file. It is the first line.", "const": FORMAT}


def readings_schema(known: Known) -> Schema:
    """Return the schema of a file of readings."""
    return section(
        "What a caller can see, hear or measure, and how people say it.",
        {
            "format": layout(),
            "readings": named("Each reading under its id.", _reading(known)),
        },
        required=("format", "readings"),
    )


def _reading(known: Known) -> Schema:
    choice = section(
        "One answer.",
        {
            "label": text("The answer in words, as it is shown."),
            "spoken": texts("Other words people use for this answer. No two answers share one."),
        },
        required=("label",),
    )
    reading = section(
        "Something the caller can observe or measure.",
        {
            "name": text("What it is called on the screen."),
            "kind": one_of(
                "What sort of answer it takes.",
                {kind.value: words for kind, words in KIND_WORDS.items()},
            ),
            "choices": {
                **named("The answers of a choice, each under its id.", choice),
                "minProperties": 1,
            },
            "normal": texts(
                "The answers a healthy machine gives. Without them the answer is noted and not "
                "judged."
            ),
            "spoken": texts("Other words people use for this reading."),
            "plausible": two_amounts(
                "The least and the greatest believable value, each with its unit. Outside of them "
                "the caller is asked once more.",
                "An amount with its unit, such as 580 psi or 2 in.",
            ),
            "default_minute": number(
                "Minutes into the freeze or the harvest at which it is meant to be taken.",
                0, LONGEST_MINUTE,
            ),
            "licensed": flag("Whether only a person licensed for the work may take it."),
            "volunteered": flag(
                "Whether it only counts when the caller names it, as no question asks for it."
            ),
            "alarming": flag(
                "Whether it asks for danger: its healthy answer counts only when it is said by "
                "itself, with nothing beside it."
            ),
            "banded": flag("Whether it is judged against the band of a healthy machine."),
            "cautions": known_ones(
                "Cautions that come before it is asked for.", "caution", known.cautions
            ),
            "minutes": _minutes("How many minutes of the caller's time it takes."),
        },
        required=("name", "kind"),
    )  # fmt: skip
    choice_only = where(
        "kind",
        [ReadingKind.CHOICE.value],
        {"required": ["choices"]},
        with_keys(choices=False, normal=False),
    )
    numeric_only = where(
        "kind",
        sorted(kind.value for kind in DIMENSIONAL_KINDS),
        {},
        with_keys(plausible=False, banded={"const": False}),
    )
    return {**reading, "allOf": [choice_only, numeric_only]}


def amount(description: str) -> Schema:
    """Return the schema of a number with its unit, which is a text."""
    return {"description": description, "type": "string", "pattern": r"\S"}


def two_amounts(description: str, each: str) -> Schema:
    """Return the schema of a least and a greatest amount."""
    return {**listed(description, amount(each), at_least=2), "maxItems": 2}


def _minutes(description: str) -> Schema:
    return number(description, 0.1, LONGEST_JOB_MINUTES)


def cautions_schema(known: Known) -> Schema:
    """Return the schema of a file of cautions."""
    hazard: Schema = {
        "anyOf": [
            {"enum": list(known.hazards), "enumDescriptions": list(known.hazards.values())},
            {"type": ["string", "number"], "pattern": r"\S"},
        ]
    }
    caution = section(
        "A hazard in plain words, read to the caller and acknowledged by itself.",
        {
            "title": text("What it warns of, in a few words."),
            "text": text("What is read to the caller."),
            "hazards": listed(
                "Tags that call for it: repairs and the facts of a call carry the same ones.",
                hazard,
                at_least=1,
            ),
        },
        required=("title", "text", "hazards"),
    )
    return section(
        "Cautions, read out and acknowledged one at a time.",
        {"format": layout(), "cautions": named("Each caution under its id.", caution)},
        required=("format", "cautions"),
    )


def causes_schema(known: Known) -> Schema:
    """Return the schema of a file of causes."""
    stakes = by_name(
        "What a wrong word costs, in minutes.",
        {
            "hand_over_minutes": _stake("A call that ends without a recommendation, in minutes."),
            "call_back_minutes": _stake("A repair that was the wrong one, on top of its own time."),
            "priors_are_worth_calls": _stake(
                "How many confirmed repairs the judged shares of the causes weigh as much as."
            ),
        },
    )
    return section(
        "What can be wrong, how it shows, and the repair that is safe and complete.",
        {
            "format": layout(),
            "stakes": stakes,
            "causes": named("Each cause under its id.", _cause(known)),
        },
        required=("format", "causes"),
    )


def _stake(description: str) -> Schema:
    return number(description, 0.0, LONGEST_JOB_MINUTES)


def _cause(known: Known) -> Schema:
    cause = section(
        "Something that can be wrong.",
        {
            "name": text("What it is called on the screen."),
            "spoken": texts("Other words people use for it."),
            "side": one_of(
                "Which half of the cycle it belongs to.",
                {side.value: words for side, words in SIDE_WORDS.items()},
            ),
            "explanation": text("What happens in the machine, for somebody who wants to know why."),
            "signs": by_name(
                "How it shows: for a reading, the chance of each outcome under this cause.",
                dict(_signs(known)),
            ),
            "shown_by": known_ones(
                "Readings that show it most directly. Before all readings together settle on it, "
                "each of them is asked for.",
                "reading",
                {name: known.named(name) for name in known.readings},
            ),
            "repair": text("The whole repair, told once the gate is open."),
            "replace_together": texts("Parts that are replaced together in this repair."),
            "machine_state": text("In what state to leave the machine until it is repaired."),
            "verify": texts("How to see that the repair held."),
            "who": text("Who does the repair."),
            "hazards": known_ones("Tags of the cautions at the gate.", "hazard", known.hazards),
            "condemns": listed(
                "Parts that this conclusion calls bad, each on the side it belongs to.",
                one_of("A part.", {part.id: _waits_for(part) for part in PARTS.values()}),
            ),
            "minutes": _minutes("How many minutes the repair takes."),
        },
        required=("name", "side", "explanation", "repair", "machine_state", "who"),
    )
    verified = {"required": ["verify"], "properties": {"verify": {"minItems": 1}}}
    return {**cause, "allOf": [where("side", [Side.NONE.value], {}, verified)]}


def _waits_for(part: Part) -> str:
    """Return on which sides a part is condemned, and what has to be known before."""
    return " ".join(
        f"On side {side}: condemned behind {check}."
        if check is not None
        else f"On side {side}: condemned when seen."
        for side, check in part.checks.items()
    )


def _signs(known: Known) -> Iterator[tuple[str, Schema]]:
    for name, reading in known.readings.items():
        if reading is None:
            yield name, {"type": "object"}
            continue
        chances = {
            outcome: number(f"Chance of {words}.", 0.0, 1.0)
            for outcome, words in outcome_words(reading).items()
            if outcome not in (UNKNOWN, *PLAIN_OUTCOMES)
        }
        if chances:
            told = f"{reading.name}: outcomes not named share what the named ones leave of 1."
            yield name, by_name(told, chances)


def outcome_words(reading: Reading) -> dict[str, str]:
    """Return each outcome of a reading with what it means in words."""
    judged = {
        "below": "less than a healthy machine shows",
        "within": "as on a healthy machine",
        "above": "more than a healthy machine shows",
        "known": "any answer",
        UNKNOWN: "it could not be had",
    }
    labels = {choice.id: choice.label for choice in reading.choices}
    return {outcome: labels.get(outcome) or judged[outcome] for outcome in reading.outcomes}


def outcomes_schema(known: Known) -> Schema:
    """Return the schema of the file of confirmed repairs, which the program writes."""
    counts = by_name(
        "Each cause of this complaint with how many repairs confirmed it.",
        {cause: whole(words, 0, MOST_CONFIRMED) for cause, words in known.causes.items()},
    )
    return section(
        "How often repairs confirmed each cause, by tree. Written by triage tree priors --write.",
        {
            "format": layout(),
            "confirmed": by_name(
                "Each tree with its counts.",
                {tree: {**counts, "description": words} for tree, words in known.trees.items()},
            ),
        },
        required=("format", "confirmed"),
    )
