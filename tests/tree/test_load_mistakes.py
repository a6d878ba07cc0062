"""Each mistake in a content file is told with file:line:column and how to mend it.

A case replaces one snippet of the miniature folder; » marks where the mistake is expected.
"""

from __future__ import annotations

import pytest

from tests.tree.miniature import FOLDER, TREE, broken, sound_draft
from triage.tree.errors import ContentErrors, UnknownTree
from triage.tree.load import content_from_files

Case = tuple[str, str, str, str]

READINGS: dict[str, Case] = {
    "an unknown key gets the nearest valid one": (
        "readings.yaml", "580 psi]\n    licensed: true\n", "580 psi]\n    »licenced: true\n",
        'reading "freeze_suction_pressure_early" has no key "licenced"; did you mean "licensed"?',
    ),
    "an unknown kind gets the nearest valid one": (
        "readings.yaml", "early suction\n    kind: gauge_pressure",
        "early suction\n    kind: »gage_pressure",
        'reading "freeze_suction_pressure_early" has no kind "gage_pressure"; did you mean '
        '"gauge_pressure"?',
    ),
    "a missing key is told at the thing that lacks it": (
        "readings.yaml", "  machine: {name: machine, ", "  »machine: {",
        'reading "machine" lacks the key "name"; add it',
    ),
    "an empty text is refused": (
        "readings.yaml", "{name: room air, ", "{name: »'  ', ",
        'reading "ambient_air_temperature" has nothing under "name"; write it or drop the key',
    ),
    "a name with capitals is refused": (
        "readings.yaml", "      poor: {label: poor}", "      »Poor: {label: poor}",
        '"Poor" is no name for a choice; use small letters, digits and _, starting with a '
        "letter, 64 at most",
    ),
    "a choice called unknown is refused": (
        "readings.yaml", "      poor: {label: poor}", "      »unknown: {label: poor}",
        'no choice may be called "unknown", which has its own meaning; choose another name',
    ),
    "a normal that is no choice is refused": (
        "readings.yaml", "normal: [tight]", "normal: [»tigth]",
        'reading "water_leaking_into_sump" names "tigth", which is no choice of it; did you mean '
        '"tight"?',
    ),
    "a word two choices share is refused": (
        "readings.yaml", "spoken: [thin at the end]", "spoken: [»Normal]",
        'reading "ice_pattern" has "Normal" for both "even" and "thin_at_outlet"; a caller saying '
        "it means one of them, so keep it in one",
    ),
    "a spoken word that is the label of another choice is refused": (
        "readings.yaml", "spoken: [no, owner]", "spoken: [no, »licensed technician]",
        'reading "caller_qualification" has "licensed technician" for both "licensed" and '
        '"unlicensed"; a caller saying it means one of them, so keep it in one',
    ),
    "a blank spoken word is refused": (
        "readings.yaml", "spoken: [suction, low side]", "spoken: [suction, »'']",
        'reading "freeze_suction_pressure_early" has an entry under "spoken" that is no text; '
        "write a text or drop it",
    ),
    "a list item twice is refused": (
        "readings.yaml", "spoken: [suction, low side]", "spoken: [suction, »suction]",
        'reading "freeze_suction_pressure_early" lists "suction" twice under "spoken"',
    ),
    "choices of a pressure are refused": (
        "readings.yaml", "kind: temperature}", "kind: temperature, choices: »{a: {label: b}}}",
        'reading "ambient_air_temperature" is a temperature, and only a choice has "choices"; '
        "drop it",
    ),
    "a choice without choices is refused": (
        "readings.yaml", "  machine: {name: machine, kind: machine}",
        "  machine: {name: machine, kind: choice, choices: »{}}",
        'reading "machine" offers no choice; list at least one',
    ),
    "a band on a choice is refused": (
        "readings.yaml", "    normal: [even]", "    normal: [even]\n    banded: »true",
        'reading "ice_pattern" is a choice and has no band; drop banded, or list the healthy '
        "choices under normal",
    ),
    "a flag that is no true or false is refused": (
        "readings.yaml", "580 psi]\n    licensed: true\n", "580 psi]\n    licensed: »yes\n",
        'reading "freeze_suction_pressure_early" wants true or false under "licensed", not "yes"',
    ),
    "a plain number as plausible is refused": (
        "readings.yaml", '["-0.9 bar", 580 psi]', "[»-0.9, 580 psi]",
        'reading "freeze_suction_pressure_early" has "-0.9" under "plausible", which cannot be '
        "read (*); write a number with its unit: psig or bar",
    ),
    "a plausible of the wrong kind is refused": (
        "readings.yaml", '["-0.9 bar", 580 psi]', '["-0.9 bar", »70 F]',
        'reading "freeze_suction_pressure_early" has "70 F" under "plausible", which cannot be '
        "read (*); write a number with its unit: psig or bar",
    ),
    "an absolute pressure as plausible is refused": (
        "readings.yaml", '["-0.9 bar", 580 psi]', '["-0.9 bar", »580 psia]',
        'reading "freeze_suction_pressure_early" has "580 psia" under "plausible"; write gauge '
        "pressure, as a gauge shows it: psig or bar",
    ),
    "a plausible span upside down is refused": (
        "readings.yaml", "[0 mm, 2 in]", "[»2 in, 0 mm]",
        'reading "ice_bridge_thickness" has "2 in" up to "0 mm" under "plausible"; put the '
        "smaller first",
    ),
    "three amounts as plausible are refused": (
        "readings.yaml", "[0 mm, 2 in]", "[»0 mm, 1 in, 2 in]",
        'reading "ice_bridge_thickness" wants two amounts under "plausible": the least and the '
        "greatest",
    ),
    "a plausible span of a machine is refused": (
        "readings.yaml", "kind: machine}", "kind: machine, plausible: »[1 m, 2 m]}",
        'reading "machine" is a machine, which has no plausible span; drop it',
    ),
    "a quoted number is refused": (
        "readings.yaml", "default_minute: 6", 'default_minute: »"6"',
        'reading "discharge_line_temperature" wants a number under "default_minute", not "6"; '
        "drop the quotes",
    ),
    "a number in words is refused": (
        "readings.yaml", "default_minute: 6", "default_minute: »six",
        'reading "discharge_line_temperature" wants a number under "default_minute", not "six", '
        "such as 12 or 0.5",
    ),
    "a number out of range is refused": (
        "readings.yaml", "default_minute: 6", "default_minute: »-6",
        'reading "discharge_line_temperature" has -6 under "default_minute"; it must lie from 0 '
        "to 240",
    ),
    "an unknown caution gets the nearest valid one": (
        "readings.yaml", "cautions: [mains]", "cautions: [»main]",
        'reading "coil_voltage" names "main", which is no caution; did you mean "mains"?',
    ),
    "a text where a list belongs is refused": (
        "readings.yaml", "cautions: [mains]", "cautions: »mains",
        'reading "coil_voltage" wants a list under "cautions", such as [one, two], not the text '
        '"mains"',
    ),
    "a text where a mapping belongs is refused": (
        "readings.yaml", "  machine: {name: machine, kind: machine}", "  machine: »yes",
        'reading "machine" wants a mapping (key: value lines), not the text "yes"',
    ),
    "a later format is refused": (
        "readings.yaml", "format: 1", "format: »2",
        'the file has 2 under "format"; it must lie from 1 to 1',
    ),
    "an unknown table of a file is refused": (
        "cautions.yaml", "cautions:\n", "»caution:\n  x: {}\ncautions:\n",
        'the file has no key "caution"; did you mean "cautions"?',
    ),
    "a caution without hazards is refused": (
        "cautions.yaml", "hazards: [heat, hot_parts]", "hazards: »[]",
        'caution "hot_lines" wants at least 1 under "hazards"',
    ),
}  # fmt: skip

CAUSES: dict[str, Case] = {
    "a sign of an unknown reading is refused": (
        "causes.yaml", "signs: {harvest_suction_pressure:", "signs: {»harvest_suction_presure:",
        'cause "feed_failed" names "harvest_suction_presure", which is no reading; did you mean '
        '"harvest_suction_pressure"?',
    ),
    "a sign of an unknown outcome is refused": (
        "causes.yaml", "{below: 0.9}", "{»belov: 0.9}",
        'cause "feed_failed" names "belov", which is no outcome of harvest_suction_pressure that '
        'tells anything; did you mean "below"?',
    ),
    "unknown as a sign is refused": (
        "causes.yaml", "{below: 0.9}", "{»unknown: 0.9}",
        'cause "feed_failed" names "unknown", which is no outcome of harvest_suction_pressure '
        "that tells anything; known: above, below, within",
    ),
    "a reading that is only noted is no sign": (
        "causes.yaml", "signs: {harvest_suction_pressure: {below: 0.9}}",
        "signs: {»ambient_air_temperature: {known: 0.9}}",
        'cause "feed_failed" takes "ambient_air_temperature" as a sign, but it is only noted; '
        "give it a band or choices, or drop the sign",
    ),
    "probabilities above one in sum are refused": (
        "causes.yaml", "ice_pattern: {even: 0.2, thin", "»ice_pattern: {even: 0.3, thin",
        'cause "thin_charge" gives the outcomes of ice_pattern probabilities that sum to 1.1; '
        "lower them to 1 at most",
    ),
    "probabilities of all outcomes below one in sum are refused": (
        "causes.yaml", "ice_pattern: {even: 0.2, thin", "»ice_pattern: {even: 0.1, thin",
        'cause "thin_charge" gives every outcome of ice_pattern a probability, yet they sum to '
        "0.9; raise them to 1, or leave one out to take the rest",
    ),
    "a probability in words is refused": (
        "causes.yaml", "{below: 0.9}", "{below: »often}",
        'cause "feed_failed" wants a number under "below", not "often", such as 12 or 0.5',
    ),
    "a share of zero is refused": (
        TREE, '"feed_failed": 40', '"feed_failed": »0',
        'the file has 0 under "feed_failed"; it must lie from 1e-06 to 1e+06',
    ),
    "a side that is none is refused": (
        "causes.yaml", "side: harvest", "side: »harvst",
        'cause "feed_failed" has no side "harvst"; did you mean "harvest"?',
    ),
    "a fault without a way to verify the repair is refused": (
        "causes.yaml", "verify: [Watch two harvests.]", "verify: »[]",
        'cause "feed_failed" wants at least 1 under "verify"',
    ),
    "a part that no check is known for is not condemned": (
        "causes.yaml", "condemns: [receiver_vapor_regulator, ", "condemns: [»receiver_regulator, ",
        'cause "feed_failed" names "receiver_regulator", which is no part a cause may condemn; did '
        'you mean "receiver_vapor_regulator"?',
    ),
    "a hazard no caution warns of is refused": (
        "causes.yaml", "hazards: [pressure, mains, ", "hazards: [pressure, »main, ",
        'cause "feed_failed" names "main", which is no hazard a caution warns of; did you mean '
        '"mains"?',
    ),
}  # fmt: skip

TREES: dict[str, Case] = {
    "a route to nowhere gets the nearest node": (
        TREE, '"below": feed', '"below": »fed',
        'question "harvest" names "fed", which is no question, junction or ending of this tree; '
        'did you mean "feed"?',
    ),
    "a route of no outcome gets the nearest one": (
        TREE, '"below": feed', '»"belov": feed',
        'question "harvest" routes "belov", which is no outcome of harvest_suction_pressure; did '
        'you mean "below"?',
    ),
    "a missing outcome is named": (
        TREE, '{"below": feed, "else": hand_on}', '»{"below|within": feed, "above": hand_on}',
        'question "harvest" has no route for "unknown"; add it, or else: for all the rest',
    ),
    "an outcome routed twice is refused": (
        TREE, '{"below": feed,', '{"below|above": feed, »"within|below": hand_on,',
        'question "harvest" routes "below" a second time; keep one of the routes',
    ),
    "an else that names nothing is refused": (
        TREE, '{"below": feed, "else": hand_on}',
        '{"below|within|above|unknown": feed, »"else": hand_on}',
        'question "harvest" routes every outcome already, so else: is never taken; drop it',
    ),
    "a question of an unknown reading gets the nearest one": (
        TREE, "reading: coil_voltage", "reading: »coil_volts",
        'question "coil" names "coil_volts", which is no reading; did you mean "coil_voltage"?',
    ),
    "an unknown stage gets the nearest one": (
        TREE, "    reading: coil_voltage\n    stage: harvest",
        "    reading: coil_voltage\n    stage: »harvests",
        'question "coil" has no stage "harvests"; did you mean "harvest"?',
    ),
    "a start that is no node is refused": (
        TREE, "start: who", "start: »whom",
        'the file names "whom", which is no question, junction or ending of this tree; did you '
        'mean "who"?',
    ),
    "a name used by a question and an ending is refused": (
        TREE, "endings:\n", "endings:\n  »coil: {causes: [feed_failed], because: y}\n",
        'the file has "coil" among its questions and again among its endings; rename one',
    ),
    "a fraction of a question is refused": (
        TREE, "most_questions: 14", "most_questions: »14.5",
        "the file counts whole questions; drop the fraction",
    ),
    "a rule on an unknown outcome is refused": (
        TREE, '"ice_pattern": even,', '"ice_pattern": »evn,',
        'junction "is_freeze_sound" rule 1 names "evn", which is no outcome of ice_pattern; did '
        'you mean "even"?',
    ),
    "a rule that names every outcome of a reading is refused": (
        TREE, '"ice_pattern": even,', '»"ice_pattern": [even, thin_at_outlet, unknown],',
        'junction "is_freeze_sound" rule 1 names every outcome of ice_pattern, so it asks nothing; '
        "drop it",
    ),
    "a rule without a condition is refused": (
        TREE, "    rules:\n", "    rules:\n      - »says: so\n        then: coil\n",
        'junction "is_freeze_sound" rule 1 lacks the key "if"; say when it holds',
    ),
    "a junction without otherwise is refused": (
        TREE, "  is_freeze_sound:\n    stage: freeze\n    otherwise: hand_on\n",
        "  »is_freeze_sound:\n    stage: freeze\n",
        'junction "is_freeze_sound" lacks the key "otherwise"; add it',
    ),
    "a junction without rules is refused": (
        TREE, "junctions:\n",
        "junctions:\n  idle: {stage: freeze, rules: »[], otherwise: hand_on}\n",
        'junction "idle" wants a list of rules, each with says, if and then',
    ),
    "an ending that neither concludes nor escalates is refused": (
        TREE, "  charge: {causes: [thin_charge], because", "  »charge: {because",
        'ending "charge" needs either causes: (a conclusion) or escalate: (whom to hand the call '
        "to)",
    ),
    "an ending that does both is refused": (
        TREE, "  charge: {causes: [thin_charge],",
        "  »charge: {causes: [thin_charge], escalate: x, machine_state: y, call_whom: z,",
        'ending "charge" needs either causes: (a conclusion) or escalate: (whom to hand the call '
        "to), not both",
    ),
    "an ending of an unknown cause gets the nearest one": (
        TREE, "causes: [feed_failed]", "causes: [»feed_faild]",
        'ending "feed" names "feed_faild", which is no cause; did you mean "feed_failed"?',
    ),
    "an escalation that leaves the machine's state open is refused": (
        TREE, "  hand_on: {escalate: Second line., machine_state: Off.,",
        "  »hand_on: {escalate: Second line.,",
        'ending "hand_on" lacks the key "machine_state"; add it',
    ),
    "a conclusion with a shortlist is refused": (
        TREE, "{causes: [feed_failed],", "{causes: [feed_failed], shortlist: »[thin_charge],",
        'ending "feed" concludes, and only an escalation has "shortlist"; drop it',
    ),
}  # fmt: skip

MACHINES: dict[str, Case] = {
    "an unknown field gets the nearest one": (
        "machines/fennel_200.yaml", "  fan_power_w:", "  fan_power_w: 1\n  »fan_power_kw:",
        'machine "fennel_200" condenser has no key "fan_power_kw"; did you mean "fan_power_w"?',
    ),
    "a missing field is told at its part": (
        "machines/fennel_200.yaml", "condenser:\n  kind: remote_air\n", "»condenser:\n",
        'machine "fennel_200" condenser lacks the key "kind"; add it',
    ),
    "a share above one is refused": (
        "machines/fennel_200.yaml", "isentropic_efficiency: 0.5", "isentropic_efficiency: »65",
        'machine "fennel_200" compressor has 65 under "isentropic_efficiency"; it must lie from 0 '
        "to 1",
    ),
    "an unknown refrigerant is refused": (
        "machines/fennel_200.yaml", "refrigerant: R-404A", "refrigerant: »R-404B",
        "machine \"fennel_200\" has no usable refrigerant: No refrigerant goes by 'R-404B' here. "
        "*",
    ),
    "a refrigerant in other letters is told how to write it": (
        "machines/fennel_200.yaml", "refrigerant: R-404A", "refrigerant: »r404a",
        'machine "fennel_200" writes "r404a"; write it as "R-404A"',
    ),
    "limits upside down are refused": (
        "machines/fennel_200.yaml", "least_air_temperature_k: 270", "least_air_temperature_k: »320",
        'machine "fennel_200" has least_air_temperature_k not below greatest_air_temperature_k; '
        "swap them or mend one",
    ),
    "a chart of an unknown reading is refused": (
        "machines/fennel_200.yaml", "        freeze_time:", "        »freez_time:",
        'machine "fennel_200" chart row 1 names "freez_time", which is no reading; did you mean '
        '"freeze_time"?',
    ),
    "a chart range of another kind is refused": (
        "machines/fennel_200.yaml", '["11:00", "13:00"]', '[»70 psi, "13:00"]',
        'machine "fennel_200" chart row 1 has "70 psi" under "freeze_time", which cannot be read '
        "(*); write a number with its unit: *",
    ),
    "a chart range of a choice is refused": (
        "machines/fennel_200.yaml", "        freeze_time:", "        »ice_pattern:",
        'machine "fennel_200" chart row 1 gives a range for ice_pattern, which is a choice',
    ),
    "a chart temperature without a unit is refused": (
        "machines/fennel_200.yaml", "air: 21 C", "air: »21",
        'machine "fennel_200" chart row 1 has "21" under "air", which cannot be read (*); write a '
        "number with its unit: *",
    ),
    "a chart row without a key is refused": (
        "machines/fennel_200.yaml", "    - air: 21 C\n      water", "    - »water",
        'machine "fennel_200" chart row 1 lacks the key "air"; add it',
    ),
}  # fmt: skip

ALL = {**READINGS, **CAUSES, **TREES, **MACHINES}


@pytest.mark.parametrize("name", ALL)
def test_it_is_told(name: str) -> None:
    file, old, new, message = ALL[name]
    files, place = broken(file, old, new)
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    (mistake,) = caught.value.mistakes
    assert str(mistake.place) == str(place)
    pieces = message.split("*")  # a * stands for the words of another room
    assert mistake.message.startswith(pieces[0])
    assert mistake.message.endswith(pieces[-1])
    assert "*" in message or mistake.message == message


def the_mistake(files: dict[str, bytes]) -> str:
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    (mistake,) = caught.value.mistakes
    return str(mistake)


@pytest.mark.parametrize("kind", ["readings", "cautions", "causes"])
def test_an_empty_file_is_told_alone(kind: str) -> None:
    files = {**sound_draft().bytes(), f"{kind}/empty.yaml": b""}
    assert the_mistake(files) == (
        f"{kind}/empty.yaml:1:1 the file holds no mapping; start it with the line: format: 1"
    )


def test_a_reading_that_stands_twice_is_told_once_with_both_places() -> None:
    files = sound_draft().bytes()
    text = files["readings.yaml"].decode()
    files["readings.yaml"] = text.replace("  ice_pattern:\n", "  pattern:\n").encode()
    files["readings/pattern.yaml"] = (
        b"format: 1\nreadings:\n  ice_pattern: {name: pattern, kind: choice, choices: "
        b"{a: {label: a}}}\n"
    )
    files["readings/zone.yaml"] = (
        "format: 1\nreadings:\n"
        + text[text.index("  ice_pattern:\n") : text.index("  water_flow_over_plate:\n")]
    ).encode()
    assert the_mistake(files) == (
        'readings/zone.yaml:3:3 "ice_pattern" stands among the readings twice, here and at '
        "readings/pattern.yaml:3:3; rename one, or drop it"
    )


def test_a_caution_that_stands_twice_warns_of_the_hazards_of_both() -> None:
    files = sound_draft().bytes()
    text = files["cautions.yaml"].decode()
    files["cautions/first.yaml"] = (
        b"format: 1\ncautions:\n  mains: {title: Mains, text: Live., hazards: [other]}\n"
    )
    files["cautions/second.yaml"] = (
        f"format: 1\ncautions:\n{text[text.index('  mains:') :]}".encode()
    )
    files["cautions.yaml"] = text[: text.index("  mains:")].encode()
    assert "cautions/second.yaml:3:3" in the_mistake(files)


def test_an_exit_nobody_declared_is_told_with_those_that_are() -> None:
    files = sound_draft().bytes()
    question = (
        "questions:\n  look: {reading: ice_pattern, stage: freeze, agent: A., technician: A., "
        "why: A., how: A., if_unknown: A., routes: {else: exit.dry}}\n"
    )
    files["parts/looks.yaml"] = (
        "format: 1\npart: looks\ntitle: Looks\nstart: look\nexits: {sound: it is}\n" + question
    ).encode()
    tree = files[TREE].decode()
    use = "parts: {looks: {part: looks, exits: {sound: bridge}}}\n"
    files[TREE] = tree.replace("questions:\n", use + "questions:\n", 1).encode()
    assert the_mistake(files) == (
        f'parts/looks.yaml:7:{question.splitlines()[1].index("exit.dry") + 1} question "look" '
        'leads to "exit.dry", but there is no exit "dry"; exits: sound'
    )


def test_a_tree_has_no_exits() -> None:
    files, place = broken(TREE, '"below": feed', '"below": »exit.ready')
    assert the_mistake(files) == (
        f'{place} question "harvest" leads to "exit.ready", but a tree has no exits; lead to an '
        "ending or another node of it"
    )


def test_mistakes_of_all_files_are_told_together_in_file_order() -> None:
    files = sound_draft().bytes()
    for name, old, new in (
        (TREE, b'"below": feed', b'"below": fed'),
        ("readings.yaml", b"kind: length", b"kind: lenght"),
        ("readings.yaml", b"normal: [tight]", b"normal: [tigth]"),
        ("cautions.yaml", b"title: Mains", b"title: ''"),
        ("causes.yaml", b"side: harvest", b"side: harvst"),
    ):
        files[name] = files[name].replace(old, new)
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    told = [(each.place.file, each.place.line) for each in caught.value.mistakes]
    assert [file for file, _ in told] == [
        "causes.yaml", "cautions.yaml", "readings.yaml", "readings.yaml", TREE,
    ]  # fmt: skip
    assert told == sorted(told)
    lines = str(caught.value).splitlines()
    assert lines[0] == "5 mistakes in the content at miniature:"
    assert lines[1] == (
        'causes.yaml:18:11 cause "feed_failed" has no side "harvst"; did you mean "harvest"?'
    )


def test_names_of_a_file_that_cannot_be_read_are_not_held_against_the_others() -> None:
    files = {**sound_draft().bytes(), "readings.yaml": b"format: 1\nreadings: [\n"}
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    assert [each.place.file for each in caught.value.mistakes] == ["readings.yaml"]


def test_format_has_to_come_first() -> None:
    files = sound_draft().bytes()
    files["cautions.yaml"] = files["cautions.yaml"].removeprefix(b"format: 1\n") + b"format: 1\n"
    with pytest.raises(ContentErrors, match=r"cautions\.yaml:7:1 the file names its format too"):
        content_from_files(FOLDER, files)


def test_two_trees_of_one_name_are_refused() -> None:
    files = sound_draft().bytes()
    files["twin.yaml"] = files[TREE]
    with pytest.raises(
        ContentErrors, match=r'twin\.yaml:2:7 the file holds the tree "sticks", as sticks\.yaml'
    ):
        content_from_files(FOLDER, files)


def test_two_machines_of_one_id_are_refused() -> None:
    files = sound_draft().bytes()
    files["machines/twin.yaml"] = files["machines/fennel_200.yaml"]
    with pytest.raises(
        ContentErrors,
        match=r'machines/twin\.yaml:2:5 .* is called "fennel_200", as the one in machines/fennel',
    ):
        content_from_files(FOLDER, files)


def test_two_machines_that_answer_to_one_word_are_refused() -> None:
    files = sound_draft().bytes()
    text = files["machines/fennel_200.yaml"].replace(b"id: fennel_200", b"id: fennel_9")
    files["machines/twin.yaml"] = text.replace(b"Fennel 200", b"Fennel 9")
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    (mistake,) = caught.value.mistakes
    assert mistake.message.startswith(
        'machine "twin" answers to "fennel", as machine "fennel_200" does'
    )


def test_a_folder_without_a_tree_is_refused() -> None:
    files = sound_draft().bytes()
    del files[TREE]
    with pytest.raises(ContentErrors, match="the folder holds no tree"):
        content_from_files(FOLDER, files)


def test_a_top_level_file_that_is_no_tree_is_refused() -> None:
    files = {**sound_draft().bytes(), "notes.yaml": b"format: 1\nnote: x\n"}
    with pytest.raises(ContentErrors, match=r'notes\.yaml:1:1 the file lacks the key "tree"'):
        content_from_files(FOLDER, files)


def test_an_unknown_tree_is_told_with_the_nearest() -> None:
    from triage.tree.graph import plan_tree

    with pytest.raises(UnknownTree, match='no tree is called "stick"; did you mean "sticks"'):
        plan_tree(sound_draft().content(), "stick")


def test_quoted_text_in_a_message_is_cut_and_harmless() -> None:
    files, _ = broken(TREE, '"below": feed', '"below": »' + "f" * 500)
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    assert all(len(line) < 250 and line.isprintable() for line in str(caught.value).splitlines())
