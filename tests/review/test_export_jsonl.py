"""A line of JSON Lines holds the whole call under documented keys, and reads back to it."""

from __future__ import annotations

import json
import os
import re
from dataclasses import replace
from typing import Any

import pytest

from tests.command_line import ROOT
from tests.conversation import shipped_engine
from tests.review.exports import (
    ESCALATED,
    FULL,
    REFUSED,
    UNLICENSED,
    exported,
    spoken,
    stored,
    told_all,
)
from triage.dialogue.case import fold
from triage.dialogue.events import Answered, event_from_data
from triage.dialogue.result import result_of
from triage.review.export.jsonl import FORMAT, FORMAT_VERSION, KEYS, json_line

NAMES = (FULL, REFUSED, ESCALATED, UNLICENSED)


def read(line: str) -> dict[str, Any]:
    """Return what a line holds, as strict JSON takes it (RFC 8259: no NaN, no infinity)."""

    def refuse(word: str) -> float:
        raise ValueError(word)

    return dict(json.loads(line, parse_constant=refuse))


@pytest.mark.parametrize("name", NAMES)
def test_a_call_is_one_line_with_the_documented_keys(name: str) -> None:
    line = json_line(exported(spoken(name)))
    assert line.endswith("\n")
    assert line.count("\n") == 1
    data = read(line)
    assert list(data) == list(KEYS)
    assert (data["format"], data["format_version"]) == (FORMAT, FORMAT_VERSION)


@pytest.mark.parametrize("name", NAMES)
def test_with_everything_kept_a_line_reads_back_to_the_events_and_the_case(name: str) -> None:
    lines = told_all(name, "note", "Ana", "GL-0042-771", "typed")
    data = read(json_line(exported(lines, with_personal_data=True)))
    events = [event_from_data(item["kind"], item["data"]) for item in data["events"]]
    assert events == [event for _, _, event in lines]
    assert [item["at"] for item in data["events"]] == [item.recorded_at for item in stored(lines)]
    assert [item["speaker"] for item in data["events"]] == [speaker for _, speaker, _ in lines]
    engine, case = shipped_engine(), fold(events)
    assert data["judged"] == json.loads(json.dumps(result_of(engine, data["session_id"], case)))
    assert data["personal_data"] == "kept"


@pytest.mark.parametrize("name", NAMES)
def test_what_is_left_out_by_default_still_reads_back_as_events(name: str) -> None:
    call = exported(told_all(name, "note", "Ana", "GL-0042-771", "typed"))
    data = read(json_line(call))
    events = [event_from_data(item["kind"], item["data"]) for item in data["events"]]
    assert events == [line.event for line in call.lines]
    assert data["personal_data"] == "left out"
    assert data["recorded"]["result"] == data["judged"]["result"]


def test_an_open_circuit_is_no_number_that_json_lacks() -> None:
    lines = [
        (at, who, replace(event, value=float("inf")))
        if isinstance(event, Answered) and event.reading == "coil_resistance"
        else (at, who, event)
        for at, who, event in spoken(FULL)
    ]
    data = read(json_line(exported(lines)))
    found = {item["reading"]: item for item in data["judged"]["findings"]}
    assert found["coil_resistance"]["value"] == "open"


def keys_table() -> str:
    rows = ["| key | what it holds |", "|---|---|"]
    return "\n".join([*rows, *(f"| `{key}` | {text} |" for key, text in KEYS.items())])


def test_the_keys_stand_in_the_developers_page() -> None:
    """`REWRITE_SNAPSHOTS=1` rewrites the table between its markers."""
    path = ROOT / "DEVELOPERS.md"
    page = path.read_text(encoding="utf-8")
    opening, closing = "<!-- export keys: generated -->\n", "<!-- end of export keys -->\n"
    found = re.search(f"(?s){re.escape(opening)}(.*?){re.escape(closing)}", page)
    assert found is not None
    if os.environ.get("REWRITE_SNAPSHOTS"):
        before, after = page[: found.start(1)], page[found.end(1) :]
        path.write_text(f"{before}{keys_table()}\n{after}", encoding="utf-8")
        return
    assert found[1] == f"{keys_table()}\n"
