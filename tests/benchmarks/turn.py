"""How long a turn takes (parse, judge, store, next question), and a scripted call end to end.

`python -m tests.benchmarks.turn [rounds]`: turns of the first demo call on a SQLite store
(durable writes), then the same call as a fresh process beside the bare imports, in one run.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from triage.console.answers_file import load_answers
from triage.console.demo import demo_calls, demo_folder
from triage.console.desk import Desk
from triage.console.scripted import Script
from triage.dialogue.engine import Engine
from triage.dialogue.events import Started
from triage.dialogue.view import END_PROMPTS
from triage.store import new_session_id, open_store
from triage.tree.cache import checked_content
from triage.tree.where import content_folder

BARE = "import rich.console, prompt_toolkit, networkx, yaml, sqlite3"
ROOT = Path(__file__).resolve().parents[2]


def turn_times(store_path: Path, answers_path: Path) -> list[float]:
    """Return the seconds of each turn of a scripted call, the next prompt worked out with it."""
    content = checked_content(content_folder())
    engine = Engine(content, "will_not_release")
    answers = load_answers(answers_path, content)
    script = Script(answers)
    taken = []
    with open_store(store_path) as store:
        desk = Desk.start(
            engine, lambda: store, lambda: datetime.now(UTC),
            new_session_id(datetime.now(UTC), os.urandom(8)), "answers file",
            Started("will_not_release", content.version, "agent", answers.units or "us"),
        )  # fmt: skip
        desk.warm_up()
        prompt = desk.prompt
        while not isinstance(prompt, END_PROMPTS):
            line = script.line(prompt)
            began = time.perf_counter()
            desk.say(line)
            prompt = desk.prompt
            taken.append(time.perf_counter() - began)
    return taken


def process_seconds(arguments: list[str], environment: dict[str, str]) -> float:
    """Return the seconds a fresh process takes."""
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments], env=environment, check=True, stdout=subprocess.DEVNULL
    )
    return time.perf_counter() - began


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    answers_path = next(demo_calls(demo_folder()))
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store.db"
        first = turn_times(store, answers_path)
        later = [seconds for _ in range(rounds) for seconds in turn_times(store, answers_path)]
        for name, values in (("first call", first), ("later calls", later)):
            ordered = sorted(1000 * value for value in values)
            print(
                f"turn, {name:<12} median {statistics.median(ordered):6.2f} ms, "
                f"p95 {ordered[int(0.95 * (len(ordered) - 1))]:7.2f} ms, "
                f"worst {ordered[-1]:7.2f} ms"
                f"  ({len(ordered)} turns)"
            )
        environment = {
            **os.environ, "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": folder,
            "XDG_CACHE_HOME": folder,
        }  # fmt: skip
        call = ["-m", "triage", "call", "--answers", str(answers_path), "--json"]
        process_seconds(call, environment)
        bare, scripted = [], []
        for _ in range(rounds):
            bare.append(process_seconds(["-c", BARE], environment))
            scripted.append(process_seconds(call, environment))
    over = statistics.median(scripted) - statistics.median(bare)
    print(
        f"scripted call, end to end {1000 * statistics.median(scripted):.0f} ms, bare imports "
        f"{1000 * statistics.median(bare):.0f} ms: {1000 * over:.0f} ms more (goal: under 1000)"
    )


if __name__ == "__main__":
    main()
