"""A record of up to millions of sessions, as true as if it had been kept call by call.

Run with `python -m tests.benchmarks.record_generator --sessions N --store URL --seed S`. The store
must be new. Calls of the real engine are varied in everything a list is narrowed by; hashes,
register, lines, counts and text search are those the store itself would have written, and a sample
is compared with what `chain` and `summarized` make of the same events.
"""

from __future__ import annotations

import argparse
import pickle
import random
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.benchmarks.record_loading import load
from tests.benchmarks.record_plan import Plan, make_plan
from tests.benchmarks.record_splice import Splicer
from tests.benchmarks.record_templates import Template, make_templates
from triage.store.listing import SessionSummary
from triage.store.open import open_store
from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, chain
from triage.store.sql import Store
from triage.store.summary import summarized

TEMPLATES = 300
SAMPLE = 300


def templates_of(count: int, seed: int, kept_in: Path | None) -> list[Template]:
    """Return the template calls, from the file they are kept in if it is there."""
    if kept_in is not None and kept_in.exists():
        loaded: list[Template] = pickle.loads(kept_in.read_bytes())
        return loaded
    made = make_templates(count, seed)
    if kept_in is not None:
        kept_in.write_bytes(pickle.dumps(made))
    return made


def as_kept(plan: Plan, splicer: Splicer, place: int) -> tuple[list[StoredEvent], SessionSummary]:
    """Return events and line of a session as the store would have made them, turn by turn."""
    (recipe,) = plan.recipes(place, place + 1)
    kept: list[StoredEvent] = []
    line: SessionSummary | None = None
    for spoken, at_us in splicer.spoken(recipe):
        now = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)
        previous = kept[-1].hash if kept else FIRST_PREVIOUS_HASH
        records = chain(recipe.session_id, spoken, recipe.version, now, len(kept), previous)
        line, _ = summarized(records, line)
        kept += records
    assert line is not None
    earlier = recipe.previous_number if line.serial_number else None
    return kept, replace(line, previous_number=earlier)


def check(plan: Plan, store: Store, sample: int) -> None:
    """Hold a sample of the stored sessions against the store's own ways; AssertionError if off."""
    count, splicer = len(plan.ids), Splicer(plan.templates)
    for place in random.Random(plan.seed).sample(range(count), min(sample, count)):
        kept, line = as_kept(plan, splicer, place)
        session_id = plan.ids[place]
        assert store.events(session_id) == kept, session_id
        found = store.summary(session_id)
        assert abs(found.active_s - line.active_s) < 1e-6, session_id
        assert replace(found, active_s=line.active_s) == line, (found, line)


def generate(
    target: str, sessions: int, seed: int, templates: list[Template], sample: int = SAMPLE
) -> Plan:
    """Fill the new store at `target`, check a sample of it, and say how fast it went."""
    began = time.perf_counter()
    plan = make_plan(templates, sessions, seed)
    events = load(plan, target)
    taken = time.perf_counter() - began
    print(
        f"{sessions} sessions, {events} events ({events / sessions:.1f} a session) in {taken:.0f} "
        f"s: {sessions / taken:.0f} sessions and {events / taken:.0f} events a second"
    )
    with open_store(target) as store:
        check(plan, store, sample)
    print(f"a sample of {min(sample, sessions)} is as chain and summarized make it")
    return plan


def main() -> None:
    """Read the options and fill the store."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=1000)
    parser.add_argument("--store", required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--templates", type=Path, help="keep the template calls in this file")
    options = parser.parse_args()
    began = time.perf_counter()
    templates = templates_of(TEMPLATES, options.seed, options.templates)
    print(f"{len(templates)} template calls in {time.perf_counter() - began:.0f} s")
    sys.stdout.flush()
    generate(options.store, options.sessions, options.seed, templates)


if __name__ == "__main__":
    main()
