"""How long proving takes as trees grow: 1,000 to 16,000 nodes, with the ratio from one to the next.

Run: python -m tests.benchmarks.tree_proofs
Processor time for all properties of tree and content together, the graph built anew and what is
found told; the time of the trees that ship, proved with it, is told by itself. Near linear means
that doubling the nodes about doubles the rest. The trees are of the hard kinds:

line    one long line of questions with cautions, and junctions that all can leave for one ending
endings each question can leave for an ending of its own, which condemns a valve behind its coil
rules   one junction of thousands of rules, each a way into the harvest with every reading demanded
parts   a tree in many pieces, each entered from the piece before over three ways
broken  as endings, but no coil is checked and no text is plain: findings all along, and told

Every question has texts of its own, as long as those that ship.
"""

from __future__ import annotations

import dataclasses
import sys
from collections import Counter
from collections.abc import Callable, Iterable
from itertools import cycle, islice
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from triage.tree.content import (
    UNKNOWN,
    Content,
    Ending,
    Junction,
    Place,
    Question,
    Rule,
    Stage,
    Tree,
)
from triage.tree.counterexample import told
from triage.tree.graph import build_graph
from triage.tree.load import load_content
from triage.tree.proofs import findings_of
from triage.tree.proofs_of_order import FREEZE_HEALTH
from triage.tree.where import content_folder

ROUNDS = 3
SIZES = (1_000, 2_000, 4_000, 8_000, 10_000, 16_000)
LIMIT_NODES, LIMIT_S = 10_000, 2.0
OPENING = ("caller_qualification", "refrigerant", *FREEZE_HEALTH)
HARVEST = ("coil_voltage", "harvest_suction_pressure", "harvest_discharge_pressure")
MUST_BE_HAD = ("discharge_line_temperature", "ice_pattern")


class Maker:
    """Makes a tree of a content node by node; each node has a place and texts of its own."""

    def __init__(self, content: Content) -> None:
        self._content = content
        texts = [
            question for tree in content.trees.values() for question in tree.questions.values()
        ]
        self._texts = cycle(texts)
        self._line = 0
        self._asked: Counter[str] = Counter()
        self.questions: dict[str, Question] = {}
        self.junctions: dict[str, Junction] = {}
        self.endings: dict[str, Ending] = {}
        self.hand_over()

    def place(self, file: int = 0) -> Place:
        self._line += 1
        return Place(f"long_{file}.yaml", self._line, 1)

    def ask(self, reading_id: str, stage: Stage, onward: str, leave: str | None = None) -> None:
        """Add the next question; its unhealthy outcomes lead to `leave`, if there is one."""
        reading = self._content.readings[reading_id]
        healthy = (*reading.normal, "within", "known", "licensed")
        routes = {
            outcome: onward if leave is None or outcome in healthy else leave
            for outcome in reading.outcomes
        }
        name, told_by = f"q{len(self.questions)}", next(self._texts)
        self.questions[name] = dataclasses.replace(
            told_by,
            id=name,
            reading=reading_id,
            stage=stage,
            routes=routes,
            # A reading is asked for again in another file alone, as by the parts of a tree.
            place=self.place(self._asked[reading_id]),
        )
        self._asked[reading_id] += 1

    def next_question(self) -> str:
        return f"q{len(self.questions) + 1}"

    def fork(self, name: str, rules: Iterable[Rule], otherwise: str = "hand_on") -> None:
        self.junctions[name] = Junction(name, Stage.FREEZE, tuple(rules), otherwise, self.place())

    def sound(self, then: str) -> Rule:
        """Return the rule that demands a sound freeze."""
        demands = {
            reading: frozenset(
                (*self._healthy(reading), *(() if reading in MUST_BE_HAD else (UNKNOWN,)))
            )
            for reading in FREEZE_HEALTH
        }
        any_of = {"freeze_suction_pressure_late": frozenset({"within"})}
        return Rule("The freeze is sound.", demands, any_of, then, self.place())

    def _healthy(self, reading_id: str) -> tuple[str, ...]:
        return self._content.readings[reading_id].normal or ("within",)

    def conclude(self, name: str, cause: str) -> None:
        self.endings[name] = Ending(name, (cause,), "It is so.", self.place())

    def hand_over(self) -> None:
        self.endings["hand_on"] = Ending(
            "hand_on", (), "So.", self.place(), "Second line.", (), "Off.", "The second line."
        )

    def tree(self) -> Tree:
        named = {cause for ending in self.endings.values() for cause in ending.causes}
        return Tree(
            id="long",
            title="Long",
            start="q0",
            most_questions=len(self.questions),
            questions=self.questions,
            junctions=self.junctions,
            endings=self.endings,
            place=self.place(),
            causes=dict.fromkeys(named, 1.0),
        )


def line(content: Content, size: int) -> Tree:
    """Return a long freeze, a guarded junction and a long harvest."""
    maker, half = Maker(content), size // 4
    for number, reading in enumerate(islice(cycle(OPENING), half)):
        onward = "sound" if number == half - 1 else maker.next_question()
        if number % 4 == 3 and onward != "sound":
            late = Rule(
                "Late.", {"freeze_time": frozenset({"above"})}, {}, "hand_on", maker.place()
            )
            maker.fork(f"j{number}", [late], onward)
            onward = f"j{number}"
        maker.ask(reading, Stage.FREEZE, onward, None if number < len(OPENING) else "hand_on")
    maker.fork("sound", [maker.sound(maker.next_question())])
    maker.fork("sound", [maker.sound(f"q{half}")])
    for number, reading in enumerate(islice(cycle(HARVEST), half)):
        onward = "feed" if number == half - 1 else maker.next_question()
        maker.ask(reading, Stage.HARVEST, onward, "hand_on")
    maker.conclude("feed", "receiver_vapor_feed_failed")
    return maker.tree()


def endings(content: Content, size: int, check: str = "coil_voltage") -> Tree:
    """Return a freeze and a harvest in which every question has an ending of its own."""
    maker = Maker(content)
    for number, reading in enumerate(OPENING):
        last = number == len(OPENING) - 1
        maker.ask(reading, Stage.FREEZE, "sound" if last else maker.next_question())
    maker.fork("sound", [maker.sound(f"q{len(OPENING)}")])
    count = size // 8
    maker.ask(check, Stage.HARVEST, maker.next_question(), "hand_on")
    for number in range(count):
        onward = "hand_on" if number == count - 1 else maker.next_question()
        ending = f"e{number}"
        maker.ask("harvest_suction_pressure", Stage.HARVEST, onward, ending)
        cause = ("receiver_vapor_feed_failed", "hot_gas_valve_not_opening")[number % 2]
        maker.conclude(ending, cause)
    return maker.tree()


def rules(content: Content, size: int) -> Tree:
    """Return a freeze whose one junction leads into the harvest at thousands of questions."""
    maker = Maker(content)
    for number, reading in enumerate(OPENING):
        last = number == len(OPENING) - 1
        maker.ask(reading, Stage.FREEZE, "sound" if last else maker.next_question())
    count = size // 5
    first = len(OPENING)
    maker.fork("sound", [maker.sound(f"q{first + number}") for number in range(count)])
    for _ in range(count):
        maker.ask("coil_voltage", Stage.HARVEST, "feed", "hand_on")
    maker.conclude("feed", "receiver_vapor_feed_failed")
    return maker.tree()


def parts(content: Content, size: int) -> Tree:
    """Return a line of pieces: two ways through each, and three from one to the next."""
    maker, count = Maker(content), size // 9
    for number, reading in enumerate(OPENING):
        last = number == len(OPENING) - 1
        maker.ask(reading, Stage.FREEZE, f"q{len(OPENING)}" if last else maker.next_question())
    for number in range(count):
        here = len(maker.questions)
        onward = "sound" if number == count - 1 else f"q{here + 3}"
        maker.ask("freeze_time", Stage.FREEZE, f"q{here + 1}", f"q{here + 2}")
        maker.ask("liquid_subcooling", Stage.FREEZE, onward, f"q{here + 2}")
        maker.ask("suction_superheat", Stage.FREEZE, onward)
    demands = maker.sound("feed")
    wider = {
        reading: frozenset({"within", UNKNOWN})
        for reading in ("liquid_subcooling", "suction_superheat")
    }
    demands = dataclasses.replace(demands, all_of={**demands.all_of, **wider}, then="coil")
    maker.fork("sound", [dataclasses.replace(demands, then=f"q{len(maker.questions)}")])
    maker.ask("coil_voltage", Stage.HARVEST, "feed", "hand_on")
    maker.conclude("feed", "receiver_vapor_feed_failed")
    return maker.tree()


def broken(content: Content, size: int) -> Tree:
    """Return `endings` with no coil asked for, and one long sentence for each question."""
    tree = endings(content, size, "harvest_discharge_pressure")
    words = "word " * 40
    return dataclasses.replace(
        tree,
        questions={
            name: dataclasses.replace(question, how=f"{words}{name}.")
            for name, question in tree.questions.items()
        },
    )


KINDS: tuple[Callable[[Content, int], Tree], ...] = (line, endings, rules, parts, broken)


def sized(
    content: Content, make: Callable[[Content, int], Tree], nodes: int
) -> tuple[Content, int, int]:
    """Return content with a tree of about this many nodes beside those that ship, and its size."""
    size = nodes
    for _ in range(6):
        grown = dataclasses.replace(content, trees={**content.trees, "long": make(content, size)})
        graph = build_graph(grown, "long")
        size = round(size * nodes / len(graph))
    return grown, len(graph), graph.number_of_edges()


def taken_s(content: Content) -> tuple[float, int]:
    """Return the processor time to prove content and to tell what it breaks [s], and how much."""
    times = []
    for _ in range(ROUNDS):
        start = process_time()
        found = findings_of(content)
        told(found, content)
        times.append(process_time() - start)
    return min(times), len(found)


def main() -> None:
    """Print nodes, times and growth for each kind, and the worst time at the limit."""
    content = load_content(content_folder())
    shipped_s, _ = taken_s(content)
    worst = 0.0
    print(f"what ships, {len(content.trees)} trees: {shipped_s * 1e3:.0f} ms")
    # One finding is that no complaint leads to the tree made here.
    print(f"{'kind':>8} {'nodes':>7} {'edges':>7} {'prove ms':>9} {'growth':>7} {'findings':>9}")
    for make in KINDS:
        before = 0.0
        for nodes in SIZES:
            grown, count, edges = sized(content, make, nodes)
            taken, found = taken_s(grown)
            own = taken - shipped_s
            growth = f"{own / before:.2f}" if before else "-"
            print(
                f"{make.__name__:>8} {count:>7} {edges:>7} {own * 1e3:>9.1f} {growth:>7} {found:>9}"
            )
            before = own
            if nodes == LIMIT_NODES:
                worst = max(worst, taken)
    print(f"{LIMIT_NODES:,} nodes and what ships: {worst:.2f} s at most; limit {LIMIT_S:g} s")


if __name__ == "__main__":
    main()
