"""No part is condemned on the author's word: its side and its check go by the part itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import shipped_engine
from tests.tree.broken_trees import findings, the_finding
from tests.tree.miniature import CAUSES, Draft, sound_draft
from triage.tree.content import Cause, Content, Side
from triage.tree.errors import ContentErrors, ProofFailed
from triage.tree.machine_parts import PARTS, Part, checks_of, is_of_harvest, parts_of
from triage.tree.proofs import check_content

CONTENT = shipped_engine().content
NAMED = [part for part in PARTS.values() if part.names]
COIL_OF_THE_HARVEST = "coil_voltage: within"


def a_cause(**changes: object) -> Cause:
    plain = replace(
        CONTENT.causes["bridge_set_thin"], id="it_hums", repair="Look.", replace_together=()
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def with_cause(cause: Cause) -> Content:
    return replace(CONTENT, causes={**CONTENT.causes, cause.id: cause})


def humming(side: str, *, condemns: str = "[hot_gas_valve]", repair: str = "Tell.") -> Draft:
    """Return a tree that concludes a humming valve right after a look at the ice."""
    draft = sound_draft()
    draft.files["causes.yaml"] = CAUSES + (
        f"  it_hums:\n    name: the valve hums\n    side: {side}\n    explanation: It is worn.\n"
        f"    repair: {repair}\n    machine_state: Off.\n    verify: [Listen.]\n"
        "    who: A licensed technician.\n    hazards: [pressure, refrigerant_circuit]\n"
        f"    condemns: {condemns}\n"
    )
    draft.causes["it_hums"] = "5"
    draft.endings["hums"] = "causes: [it_hums]"
    draft.route("pattern", unknown="hums")
    return draft


@pytest.mark.parametrize("side", ["around", "none", "harvest"])
def test_a_harvest_valve_waits_for_a_sound_freeze_and_its_coil_whatever_its_side(side: str) -> None:
    draft = humming(side)
    the_finding(draft, "ending hums concludes it_hums on a freeze not known to be sound")
    the_finding(draft, r"hums concludes it_hums without a good coil check \(coil_voltage: within\)")


@pytest.mark.parametrize(
    "words",
    [
        {"condemns": "[]\n    replace_together: [hot gas solenoid valve]"},
        {"condemns": "[]", "repair": "Power off. Replace the hot gas valve."},
        {"condemns": "[]", "repair": "Power off. A new harvest valve goes in."},
    ],
    ids=["among what is replaced", "named in the repair", "under another name"],
)
def test_it_does_so_wherever_it_is_named(words: dict[str, str]) -> None:
    draft = humming("around", **words)
    the_finding(draft, "ending hums concludes it_hums on a freeze not known to be sound")
    the_finding(draft, r"hums concludes it_hums without a good coil check \(coil_voltage: within\)")


def test_a_harvest_valve_on_another_side_is_told_where_it_belongs() -> None:
    edited = with_cause(a_cause(side=Side.AROUND, condemns=("hot_gas_valve",)))
    with pytest.raises(
        ProofFailed,
        match="cause it_hums condemns the part hot_gas_valve, which belongs to the harvest; write "
        r"side: harvest \(behind coil_voltage: within\) or side: freeze \(behind coil_voltage",
    ):
        check_content(edited)


@pytest.mark.parametrize(
    "part", [part for part in PARTS.values() if Side.AROUND not in part.checks], ids=lambda p: p.id
)
def test_no_part_of_the_cycle_is_condemned_around_it(part: Part) -> None:
    edited = with_cause(a_cause(side=Side.AROUND, condemns=(part.id,)))
    with pytest.raises(ProofFailed, match=f"it_hums condemns the part {part.id}, which belongs to"):
        check_content(edited)


def test_a_compressor_is_condemned_around_the_cycle_by_its_windings_alone() -> None:
    cause = a_cause(side=Side.AROUND, condemns=("compressor",))
    (check,) = checks_of(cause)
    assert "compressor_windings" in check.good


@pytest.mark.parametrize("part", ["compressor", "expansion_valve", "head_pressure_control"])
def test_what_is_in_the_circuit_is_condemned_behind_a_gauge(part: str) -> None:
    draft = humming("freeze", condemns=f"[{part}]")
    the_finding(draft, r"hums concludes it_hums without its check \(a pressure, superheat")
    draft.route("pattern", unknown="flow")
    draft.route("line", above="hums")
    assert findings(draft) == []


def test_what_holds_refrigerant_has_that_hazard() -> None:
    edited = with_cause(a_cause(side=Side.FREEZE, condemns=("expansion_valve",), hazards=()))
    with pytest.raises(ProofFailed, match="it_hums has the hazard refrigerant_circuit; add it"):
        check_content(edited)


@pytest.mark.parametrize("part", NAMED, ids=lambda part: part.id)
def test_a_part_is_told_by_any_of_its_names_in_any_spelling(part: Part) -> None:
    for name in part.names:
        for spelled in (name, name.replace(" ", "_"), name.upper(), f"the {name}s with seal"):
            assert parts_of(a_cause(replace_together=(spelled,))) == (part,)


@pytest.mark.parametrize("part", PARTS)
def test_every_part_that_may_be_condemned_is_known_by_its_id(part: str) -> None:
    assert parts_of(a_cause(condemns=(part,))) == (PARTS[part],)


def test_every_reading_and_outcome_of_a_check_is_one_of_ours() -> None:
    for part in PARTS.values():
        for check in filter(None, part.checks.values()):
            for reading, outcomes in check.good.items():
                assert outcomes <= set(CONTENT.readings[reading].outcomes), (part.id, reading)


@pytest.mark.parametrize(
    "name",
    [
        "hot gas solenoid valve",
        "hot gas valve with coil",
        "receiver vapor solenoid valve with coil",
    ],
)
@pytest.mark.parametrize("side", [Side.AROUND, Side.HARVEST])
def test_a_hot_gas_solenoid_is_cleared_by_the_coil_of_the_harvest(name: str, side: Side) -> None:
    (check,) = checks_of(a_cause(side=side, replace_together=(name,)))
    assert str(check) == COIL_OF_THE_HARVEST
    assert is_of_harvest(a_cause(side=side, replace_together=(name,)))


def test_a_leaking_hot_gas_valve_has_a_check_of_its_own_in_the_freeze() -> None:
    cause = CONTENT.causes["hot_gas_valve_leaking"]
    assert not is_of_harvest(cause)
    (check,) = checks_of(cause)
    assert check.good["hot_gas_line_in_freeze"] == {"hot_coil_off"}


@pytest.mark.parametrize(
    "repair",
    [
        "Rule out a hot gas valve that stands open.",
        "Replace the contactor with one for this compressor.",
        "A torn strainer is replaced: grit in the inlet valve keeps it open.",
        "Replace it with one for the compressor's current.",
    ],
)
def test_a_part_that_is_looked_at_is_not_condemned(repair: str) -> None:
    assert parts_of(a_cause(repair=repair)) == ()


@pytest.mark.parametrize("part", ["drain valve with coil", "drain_solenoid", "solenoid valve"])
def test_a_valve_with_a_coil_that_nothing_checks_is_told(part: str) -> None:
    edited = with_cause(replace(CONTENT.causes["healthy"], replace_together=(part,)))
    with pytest.raises(ProofFailed, match="cause healthy replaces a part that a coil moves"):
        check_content(edited)


def test_a_cause_condemns_nothing_but_known_parts() -> None:
    with pytest.raises(ContentErrors, match='no part a cause may condemn; did you mean "hot_gas_v'):
        humming("harvest", condemns="[hot_gas_valv]").content()
