"""Properties of what the trees share: nothing is named in vain, and nothing is left over.

A cause nobody concludes, a reading nobody asks for or a caution nobody hears is the usual sign of a
route that an edit took away.
"""

from __future__ import annotations

from collections.abc import Iterator

from triage.physics.banded import banded_readings
from triage.tree.content import COMPLAINT, Cause, Content, Ending, Side
from triage.tree.errors import nearest
from triage.tree.proof_case import Case, Finding, and_more
from triage.tree.proofs_of_safety import HAZARDS_OF_CALLS

OTHER = "other"
"""The choice of the complaint that no tree serves: such a call is handed over."""


def causes_listed_are_those_of_the_endings(case: Case) -> Iterator[Finding]:
    """The causes a tree gives a share of its calls are those its endings name."""
    tree = case.tree
    named: dict[str, Ending] = {}
    for ending in tree.endings.values():
        for cause_id in (*ending.possible_causes, *ending.shortlist):
            named.setdefault(cause_id, ending)
    place = tree.places.get("causes", tree.place)
    unnamed = [cause_id for cause_id in tree.causes if cause_id not in named]
    if unnamed:
        yield Finding(
            f"tree {tree.id} lists causes that no ending of it concludes, settles on or "
            f"shortlists: {', '.join(unnamed)}; name them in an ending, or drop them from causes",
            place,
        )
    missing = {name: ending for name, ending in named.items() if name not in tree.causes}
    if missing:
        lines = [f"  {name}: 1  # ending {ending.id}" for name, ending in missing.items()]
        yield Finding(
            f"endings of tree {tree.id}, or of parts in it, name causes that its causes do not "
            "list. Add these lines there, each with how many of a hundred such calls it is behind "
            "(the numbers are weights and need not add up to 100):\n" + "\n".join(lines),
            place,
        )


def every_question_has_both_voices(case: Case) -> Iterator[Finding]:
    """Every question has its words for both voices, its reason, its way and its help."""
    for question in case.tree.questions.values():
        for key in ("agent", "technician", "why", "how", "if_unknown"):
            if not getattr(question, key).strip():
                yield Finding(
                    f'question {question.id} has nothing under "{key}"; write it', question.place
                )


def every_complaint_has_its_tree(content: Content) -> Iterator[Finding]:
    """Every choice of the complaint is a tree, and every tree a choice; other is handed over."""
    complaint = content.readings.get(COMPLAINT)
    if complaint is None:
        return
    offered = {choice.id for choice in complaint.choices} - {OTHER}
    lost, free = content.trees.keys() - offered, offered - content.trees.keys()
    for tree_id in content.trees:
        if tree_id in lost:
            cure = f"; give the tree the id of a choice, or add that choice to {COMPLAINT}"
            yield Finding(
                f"tree {tree_id} serves no call: no choice of {COMPLAINT} is called so"
                f"{nearest(tree_id, free) or cure}",
                content.trees[tree_id].place,
            )
    for choice in complaint.choices:
        # One that is nearly the name of a lost tree was told with that.
        if choice.id in free and not nearest(choice.id, lost):
            yield Finding(
                f"{COMPLAINT} offers {choice.id}, and no tree is called so; write that tree, or "
                f"drop the choice (only {OTHER} needs no tree)",
                complaint.place,
            )


def every_cause_is_concluded(content: Content) -> Iterator[Finding]:
    """Every fault is concluded, or may be settled on, by an ending of some tree.

    A cause without a side stands for no fault; a shortlist is enough for it.
    """
    concluded: set[str] = set()
    shortlists: dict[str, list[str]] = {}
    for tree in content.trees.values():
        for ending in tree.endings.values():
            concluded.update(ending.possible_causes)
            for cause_id in ending.shortlist:
                shortlists.setdefault(cause_id, []).append(f"{ending.id} of {tree.id}")
    for cause in content.causes.values():
        listed = shortlists.get(cause.id, [])
        if cause.id not in concluded and not (listed and cause.side is Side.NONE):
            yield Finding(_not_concluded(cause, listed), cause.place)


def _not_concluded(cause: Cause, shortlists: list[str]) -> str:
    if not shortlists:
        return (
            f"cause {cause.id} is in no ending of any tree; let one conclude it, or delete the "
            "cause"
        )
    return (
        f"cause {cause.id} is shortlisted, by {shortlists[0]}{and_more(len(shortlists))}, but "
        "never concluded; let an ending conclude it, or settle on it"
    )


def every_reading_is_asked_for(content: Content) -> Iterator[Finding]:
    """Every reading is asked for by some tree, but those a caller may only volunteer."""
    asked = {
        question.reading for tree in content.trees.values() for question in tree.questions.values()
    }
    for reading in content.readings.values():
        if reading.id not in asked and not reading.is_volunteered:
            yield Finding(
                f"reading {reading.id} is asked for in no tree; ask for it, or delete it",
                reading.place,
            )


def every_caution_is_heard(content: Content) -> Iterator[Finding]:
    """Every caution stands before a reading that is asked for, at a repair, or at every call."""
    heard = {
        caution
        for tree in content.trees.values()
        for question in tree.questions.values()
        for caution in content.readings[question.reading].cautions
    }
    hazards = HAZARDS_OF_CALLS.union(*(cause.hazards for cause in content.causes.values()))
    for caution in content.cautions.values():
        if caution.id not in heard and hazards.isdisjoint(caution.hazards):
            yield Finding(
                f"caution {caution.id} is read out in no call: no reading names it, and no repair "
                "has a hazard it warns of; name it at a reading, or delete it",
                caution.place,
            )


def every_band_can_be_computed(content: Content) -> Iterator[Finding]:
    """Every reading that is judged against a band has one that the program computes."""
    known = banded_readings()
    for reading in content.readings.values():
        if reading.is_banded and reading.id not in known:
            yield Finding(
                f"no band is known for reading {reading.id}{nearest(reading.id, known)}; drop "
                "banded: true, or teach the program its band",
                reading.place,
            )
