"""Calls killed at random moments: all is there that was acknowledged, and nothing by halves.

Run with `python -m tests.benchmarks.kills --times 500`. A writer takes one scripted call after the
other, as `triage call` does, and tells through a pipe what was acknowledged to it; it is killed
with SIGKILL after a random time. Three ways: a SQLite file, a PostgreSQL server, and a PostgreSQL
server that is down, so that every line waits on this computer; then the server is started, and the
programs that deliver are killed at random moments as well until nothing waits any more.

The script is the same in every call, so a session must be a beginning of it, cut between two turns,
with at least what was acknowledged and at most one turn more. Exit code 1 if any is not.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from tests.conversation import FEED_FAILED, TREE, shipped_engine
from tests.private_server import PrivateServer
from tests.store.samples import start_child
from triage.console.desk import Desk, Record
from triage.dialogue.events import Event, Started, event_to_data
from triage.dialogue.view import END_PROMPTS, AskQuestion
from triage.store.errors import SessionNotFound
from triage.store.kept import KeptRecord, deliver_left
from triage.store.open import open_store, warm_up
from triage.store.waiting import files_for, is_anything_waiting, place_of

LONGEST_LIFE_S = 0.3
LONGEST_START_S = 20.0
SEED = 20261125

Turn = tuple[tuple[str, str, str], ...]
"""Speaker, kind and data of each event of one turn."""


@dataclass(slots=True)
class Count:
    """What the kills came to."""

    kills: int = 0
    calls: int = 0
    turns_acknowledged: int = 0
    turns_found: int = 0
    turns_beyond: int = 0
    deliveries_killed: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        """The count in words."""
        killed = f", {self.deliveries_killed} kills while delivering" * bool(self.deliveries_killed)
        return (
            f"{self.kills} kills{killed}: {self.calls} calls, {self.turns_acknowledged} turns "
            f"acknowledged, {self.turns_found} found, {self.turns_beyond} of them kept but not yet "
            f"acknowledged when the kill came, {len(self.faults)} faults"
        )


class Paper:
    """A record that remembers its turns."""

    def __init__(self) -> None:
        self.turns: list[Turn] = []

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        """Remember a turn."""
        self.turns.append(turn_of(events))


def turn_of(events: Sequence[tuple[str, Event]]) -> Turn:
    """What the record must hold of these events."""
    return tuple(
        (speaker, event.kind, json.dumps(event_to_data(event), sort_keys=True))
        for speaker, event in events
    )


def take_call(record: Record, session_id: str, acknowledge: Callable[[str], object]) -> None:
    """Take the scripted call from start to end."""
    engine = shipped_engine()
    started = Started(TREE, engine.content.version, "agent", "us", 0.0, "Ada")
    desk = Desk.start(
        engine, lambda: record, lambda: datetime.now(UTC), session_id, "caller", started
    )
    while not isinstance(desk.prompt, END_PROMPTS):
        prompt = desk.prompt
        desk.say(FEED_FAILED[prompt.reading.id] if isinstance(prompt, AskQuestion) else "yes")
        acknowledge(session_id)


@cache
def script() -> tuple[Turn, ...]:
    """The turns of the whole call."""
    paper = Paper()
    take_call(paper, "paper", lambda _: None)
    return tuple(paper.turns)


def write_calls(target: str, folder: Path, life: int, pipe: int) -> None:
    """Take calls, one after another, and tell each turn that was acknowledged."""

    def acknowledge(session_id: str) -> None:
        os.write(pipe, f"{session_id}\n".encode())

    for number in range(1000):
        session_id = f"20261125-0931-{life:05d}x{number:03d}"
        with KeptRecord(target, lambda: open_store(target), folder=folder, retry_s=0.05) as record:
            take_call(record, session_id, acknowledge)


def killed_after(
    lifetime_s: float, work: Callable[..., None], *arguments: object, from_first: bool = False
) -> tuple[list[str], bool]:
    """The lines a child wrote to its pipe, and whether it was killed before it had done.

    from_first: count its life from its first line on, however slow the machine is to get there
    """
    reading, writing = os.pipe()
    child = start_child(work, *arguments, writing)
    os.close(writing)
    if from_first:
        select.select([reading], [], [], LONGEST_START_S)
    child.join(lifetime_s)
    child.kill()
    child.join()
    if child.exitcode not in (-signal.SIGKILL, 0):
        raise RuntimeError(f"a child failed by itself, exit code {child.exitcode}")
    with os.fdopen(reading, "rb") as pipe:
        heard = pipe.read().decode()
    return heard.split("\n")[:-1], child.exitcode != 0


def acknowledged_in(heard: Sequence[str]) -> dict[str, int]:
    """How many turns of each session were acknowledged."""
    counted: dict[str, int] = {}
    for session_id in heard:
        counted[session_id] = counted.get(session_id, 0) + 1
    return counted


def check(target: str, acknowledged: dict[str, int], count: Count) -> None:
    """Hold each session against the script; `events` verifies its chain on the way."""
    turns = script()
    with open_store(target) as store:
        known = {summary.session_id for summary in store.sessions(limit=None)}
        for session_id in sorted(known | set(acknowledged)):
            least = acknowledged.get(session_id, 0)
            try:
                stored = store.events(session_id)
            except SessionNotFound:
                stored = []
            found = tuple(
                (item.speaker, item.kind, json.dumps(item.data, sort_keys=True)) for item in stored
            )
            whole = next((n for n in range(len(turns) + 1) if sum(turns[:n], ()) == found), None)
            if whole is None:
                count.faults.append(f"{session_id}: {len(found)} events, cut within a turn")
                continue
            if not least <= whole <= least + 1:
                count.faults.append(f"{session_id}: {least} turns acknowledged, {whole} found")
            count.turns_found += whole
            count.turns_beyond += whole - least
    count.calls += len(acknowledged)
    count.turns_acknowledged += sum(acknowledged.values())


def kill_writers(target: str, folder: Path, times: int, chance: random.Random) -> Iterator[Count]:
    """Kill `times` writers; yield the count so far after each, checked at the end only."""
    count = Count()
    acknowledged: dict[str, int] = {}
    for life in range(times):
        lifetime_s = chance.uniform(0, LONGEST_LIFE_S)
        # Every other one from its start, so that it is also killed while it opens the store.
        heard, _ = killed_after(
            lifetime_s, write_calls, target, folder, life, from_first=life % 2 == 0
        )
        acknowledged |= acknowledged_in(heard)
        count.kills += 1
        yield count
    place = place_of(target)
    while files_for(place, folder):
        # Ever longer lives, so that it ends: opening alone may take longer than the first ones.
        lifetime_s = chance.uniform(0, LONGEST_LIFE_S) * (1 + count.deliveries_killed / 20)
        _, was_killed = killed_after(lifetime_s, deliver_all, target, folder)
        count.deliveries_killed += was_killed
        yield count
    check(target, acknowledged, count)
    yield count


def deliver_all(target: str, folder: Path, _pipe: int) -> None:
    """Write everything that waits."""
    with open_store(target) as store:
        deliver_left(store, place_of(target), folder)


def prepare() -> None:
    """Import and compute once what each forked child would."""
    warm_up()
    import psycopg  # noqa: F401

    script()


def kill_on_file(folder: Path, times: int, seed: int = SEED) -> Iterator[Count]:
    """Kill writers on a SQLite file."""
    return kill_writers(str(folder / "calls.db"), folder / "waiting", times, random.Random(seed))


def kill_on_server(
    server: PrivateServer, folder: Path, times: int, seed: int = SEED
) -> Iterator[Count]:
    """Kill writers on a server that runs."""
    return kill_writers(server.new_database(), folder / "waiting", times, random.Random(seed))


def kill_in_outage(
    server: PrivateServer, folder: Path, times: int, seed: int = SEED
) -> Iterator[Count]:
    """Kill writers on a server that is down, then those that deliver once it is back."""
    target = server.new_database()
    server.stop()
    for count in kill_writers(target, folder / "waiting", times, random.Random(seed)):
        yield count
        if count.kills == times and not server.is_running:
            if not is_anything_waiting(folder / "waiting"):
                count.faults.append("nothing waited in the outage")
            server.start()


def last_of(counts: Iterator[Count], name: str = "", times: int = 0) -> Count:
    """The final count; with a name and on a terminal progress is shown."""
    shows = bool(name) and sys.stderr.isatty()
    count = Count()
    for count in counts:
        if shows:
            sys.stderr.write(f"\r{name}: {count.kills} of {times} kills ")
    if shows:
        sys.stderr.write("\r\x1b[K")
    return count


def main() -> int:
    """Kill on each engine and print what it came to."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--times", type=int, default=500, help="kills on each (default: 500)")
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    prepare()
    counts = []
    with tempfile.TemporaryDirectory() as name, PrivateServer(is_safe=True) as server:
        folders = [Path(name) / part for part in ("file", "server", "outage")]
        for folder in folders:
            folder.mkdir()
        for title, kills in (
            ("SQLite file", kill_on_file(folders[0], options.times, options.seed)),
            ("PostgreSQL server", kill_on_server(server, folders[1], options.times, options.seed)),
            ("server down", kill_in_outage(server, folders[2], options.times, options.seed)),
        ):
            counts.append(last_of(kills, title, options.times))
            print(f"{title:18} {counts[-1].sentence}", flush=True)
            for fault in counts[-1].faults[:10]:
                print(f"    {fault}")
    return int(any(count.faults for count in counts))


if __name__ == "__main__":
    sys.exit(main())
