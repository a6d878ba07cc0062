"""Made-up calls: the same on any day, core and order, and only of what can show."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.command_line import ROOT
from tests.conversation import CONTENT_FOLDER, shipped_engine
from triage.drill.population import can_happen
from triage.learning import draws as draws_module
from triage.learning.draws import Batch, Draw, Setting, batches, draws_of, place_of
from triage.physics.faults import faults_of
from triage.tree.likelihoods import foreseen

CONTENT = shipped_engine().content
MACHINE = "klirr_u80"
FIRST, WARM = Batch(Setting.ON_FILE, MACHINE, 0), Batch(Setting.ON_FILE, MACHINE, 1)
TYPICAL = Batch(Setting.TYPICAL, MACHINE, 0)


def drawn(batch: Batch, draws: int = 1, seed: int = 1) -> list[Draw]:
    return list(draws_of(CONTENT, batch, places=1, draws=draws, seed=seed))


def test_a_batch_drawn_again_after_others_is_the_same() -> None:
    first = drawn(FIRST)
    assert drawn(WARM) != first
    assert drawn(FIRST) == first
    assert drawn(FIRST, seed=2) != first


def test_a_batch_drawn_in_another_process_is_the_same() -> None:
    # Another process has other hashes, so an order that hangs on them would show.
    program = (
        "import json, sys; from pathlib import Path; from triage.tree.load import load_content; "
        "from triage.learning.draws import Batch, Setting, draws_of; "
        "content = load_content(Path(sys.argv[1])); "
        "batch = Batch(Setting.ON_FILE, sys.argv[2], 0); "
        "found = draws_of(content, batch, places=1, draws=1, seed=1); "
        "print(json.dumps([[draw.cause, dict(draw.shown)] for draw in found]))"
    )
    told = subprocess.run(
        [sys.executable, "-c", program, str(CONTENT_FOLDER), MACHINE],
        env={"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "4"},
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    assert [Draw(cause, shown) for cause, shown in json.loads(told)] == drawn(FIRST)


def test_more_draws_begin_with_the_same_calls() -> None:
    # The probes of the file are the first draws of its batches.
    once, twice = drawn(WARM), drawn(WARM, draws=3)
    firsts = {draw.cause: draw for draw in reversed(twice)}
    assert [firsts[draw.cause] for draw in once] == once
    assert len(twice) > len(once)


def test_every_cause_of_the_machine_that_the_weather_can_show_is_drawn() -> None:
    machine = CONTENT.machines[MACHINE]
    for batch in (FIRST, WARM):
        place = place_of(CONTENT, batch, 1, 1)
        can_be = {cause for cause in CONTENT.causes if can_happen(cause, machine, place)}
        assert {draw.cause for draw in drawn(batch)} <= can_be
    assert {draw.cause for draw in drawn(WARM)} == {"water_supply_warm"}
    causes = {draw.cause for draw in drawn(FIRST, draws=2)}
    assert "healthy" in causes
    assert len(causes) > 0.8 * len(faults_of(machine)) - 1


def test_faults_too_slight_to_show_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(draws_module, "SEVERITIES", (0.0, 1e-6))
    monkeypatch.setattr(draws_module, "REACH", 0.0)
    monkeypatch.setattr(draws_module, "MOST_TRIES", 2)
    causes = [draw.cause for draw in drawn(FIRST)]
    assert "healthy" in causes
    # A fan that stands still shows at any severity, so too little condenser air is not among them.
    slight = {
        "refrigerant_undercharge", "refrigerant_overcharge",
        "expansion_valve_starving", "expansion_valve_flooding", "compressor_weak",
        "bridge_set_thick", "bridge_set_thin", "hot_gas_valve_leaking", "coil_supply_low",
    }  # fmt: skip
    assert not slight.intersection(causes)


def test_a_call_shows_grades_and_choices_the_content_foresees_and_nothing_else() -> None:
    for draw in [*drawn(FIRST), *drawn(TYPICAL)]:
        assert len(draw.shown) > 20
        for reading, found in draw.shown.items():
            assert found in foreseen(CONTENT.readings[reading])


def test_the_two_settings_are_judged_by_other_bands() -> None:
    on_file, typical = drawn(FIRST), drawn(TYPICAL)
    assert [draw.cause for draw in on_file][-1] == [draw.cause for draw in typical][-1]
    assert on_file != typical


def test_the_confirming_test_is_among_what_a_call_shows() -> None:
    assert all("manifold_test_result" in draw.shown for draw in drawn(FIRST))


def test_batches_are_every_place_of_every_machine_once_in_both_settings() -> None:
    found = list(batches(CONTENT, 3))
    assert len(found) == len(set(found)) == 2 * len(CONTENT.machines) * 4
    assert len({batch.name for batch in found}) == len(found)
    place = place_of(CONTENT, Batch(Setting.TYPICAL, MACHINE, 3), 3, 1)
    assert place.has_warm_water
    assert not place.is_on_file
    assert not place_of(CONTENT, Batch(Setting.ON_FILE, MACHINE, 2), 3, 1).has_warm_water
