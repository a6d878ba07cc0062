"""How long proving takes as trees grow: 1,000 to 16,000 nodes, with the ratio from one to the next.

Run: python -m tests.benchmarks.tree_proofs
Near linear means that doubling the nodes about doubles the time. The trees are the hard kind: one
long line of questions with cautions, and junctions between them, each of which can leave for the
same shared ending.
"""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from time import perf_counter

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from triage.tree.content import Content, Ending, Junction, Question, Rule, Stage, Tree
from triage.tree.graph import build_graph
from triage.tree.load import load_content
from triage.tree.proofs import prove_graph
from triage.tree.proofs_of_order import FREEZE_HEALTH
from triage.tree.where import content_folder

ROUNDS = 3


def long_tree(content: Content, questions: int) -> Tree:
    """Return a tree of a long freeze, a guarded junction and a long harvest."""
    place = content.trees["will_not_release"].place
    freeze = ["caller_qualification", *FREEZE_HEALTH]
    harvest = ["coil_voltage", "harvest_suction_pressure", "harvest_discharge_pressure"]
    half = questions // 2
    names = [f"q{index}" for index in range(questions)]
    asked: dict[str, Question] = {}
    junctions: dict[str, Junction] = {}
    for index, name in enumerate(names):
        is_freeze = index < half
        pool = freeze if is_freeze else harvest
        reading = content.readings[pool[index % len(pool) if is_freeze else (index - half) % 3]]
        onward = "sound" if index == half - 1 else [*names, "feed"][index + 1]
        if is_freeze and index % 4 == 3 and onward != "sound":
            late = Rule("late", {"freeze_time": frozenset({"above"})}, {}, "hand_on", place)
            junctions[f"j{index}"] = Junction(f"j{index}", Stage.FREEZE, (late,), onward, place)
            onward = f"j{index}"
        routes = dict.fromkeys(reading.outcomes, onward)
        healthy = (*reading.normal, "within", "known", "licensed")
        if index >= len(pool):
            routes = {each: onward if each in healthy else "hand_on" for each in routes}
        if reading.id == "coil_voltage":
            routes = {each: onward if each == "within" else "hand_on" for each in routes}
        stage = Stage.FREEZE if is_freeze else Stage.HARVEST
        asked[name] = Question(name, reading.id, stage, "a", "t", "w", "h", "u", routes, place)
    demands = {
        reading: frozenset(
            {*(content.readings[reading].normal or ("within",))[:1], "unknown"}
            - ({"unknown"} if reading in ("discharge_line_temperature", "ice_pattern") else set())
        )
        for reading in FREEZE_HEALTH
    }
    any_of = {"freeze_suction_pressure_late": frozenset({"within"})}
    rule = Rule("sound", demands, any_of, names[half], place)
    junctions["sound"] = Junction("sound", Stage.FREEZE, (rule,), "hand_on", place)
    return Tree(
        id="long",
        title="Long",
        start=names[0],
        most_questions=questions,
        questions=asked,
        junctions=junctions,
        endings={
            "feed": Ending("feed", ("receiver_vapor_feed_failed",), "so", place),
            "hand_on": Ending("hand_on", (), "so", place, "Second line"),
        },
        place=place,
    )


def main() -> None:
    """Print nodes, times and growth."""
    content = load_content(content_folder())
    before = 0.0
    print(
        f"{'nodes':>7} {'edges':>7} {'build ms':>9} {'prove ms':>9} {'growth':>7} {'findings':>8}"
    )
    for questions in (500, 1000, 2000, 4000, 8000):
        long = dataclasses.replace(content, trees={"long": long_tree(content, questions)})
        times, findings = [], 0
        for _ in range(ROUNDS):
            start = perf_counter()
            graph = build_graph(long, "long")
            built = perf_counter()
            findings = len(prove_graph(graph, long))
            times.append((perf_counter() - built, built - start))
        prove_s, build_s = min(times)
        growth = f"{prove_s / before:.2f}" if before else "-"
        print(
            f"{len(graph):>7} {graph.number_of_edges():>7} {build_s * 1e3:>9.1f} "
            f"{prove_s * 1e3:>9.1f} {growth:>7} {findings:>8}"
        )
        before = prove_s


if __name__ == "__main__":
    main()
