"""Promises about what the trees share, each broken once."""

from __future__ import annotations

import dataclasses

import pytest

from tests.tree.broken_trees import the_finding
from tests.tree.miniature import CAUSES, CAUTIONS, READINGS, TREE, Draft, sound_draft
from triage.dialogue import gate
from triage.tree.content import Content, Place
from triage.tree.errors import ProofFailed
from triage.tree.proofs import Finding, check_content, prove, prove_content
from triage.tree.proofs_of_safety import HAZARDS_OF_CALLS

AS_A_FAULT = CAUSES.replace("side: none", "side: freeze\n    verify: [Look again.]")
"""The causes, with nothing_wrong as one that has a side."""


def the_one(content: Content) -> Finding:
    """Return the only finding about the content as a whole; it refuses the content."""
    (finding,) = prove_content(content)
    with pytest.raises(ProofFailed) as caught:
        check_content(content)
    assert str(finding) in str(caught.value).splitlines()
    return finding


def with_file(name: str, text: str) -> Draft:
    draft = sound_draft()
    draft.files[name] = text
    return draft


def causes_key(draft: Draft) -> Place:
    line = (
        draft.yaml()
        .splitlines()
        .index(next(each for each in draft.yaml().splitlines() if each.startswith("causes:")))
        + 1
    )
    return Place(TREE, line, 1)


class TestCauses:
    def test_a_listed_cause_that_no_ending_names_is_found(self) -> None:
        draft = sound_draft()
        draft.endings["hand_on"] = draft.endings["hand_on"].replace("nothing_wrong", "")
        finding = the_finding(draft, "tree sticks lists causes that no ending .*: nothing_wrong;")
        assert finding.place == causes_key(draft)

    @pytest.mark.parametrize("cause", ["thin_charge", "feed_failed", "nothing_wrong"])
    def test_a_cause_that_the_tree_does_not_list_is_found(self, cause: str) -> None:
        draft = sound_draft()
        del draft.causes[cause]
        ending = {"thin_charge": "charge", "feed_failed": "feed"}.get(cause, "hand_on")
        finding = the_finding(draft, "endings of tree sticks, or of parts in it, name causes that")
        assert finding.message.splitlines()[1:] == [f"  {cause}: 1  # ending {ending}"]
        assert finding.place == causes_key(draft)

    def test_all_that_a_tree_does_not_list_is_one_finding_with_lines_to_paste(self) -> None:
        draft = sound_draft()
        draft.causes = {"nothing_wrong": "10"}
        finding = the_finding(draft, "weights and need not add up to 100")
        lines = finding.message.splitlines()[1:]
        assert lines == ["  thin_charge: 1  # ending charge", "  feed_failed: 1  # ending feed"]
        pasted = draft.yaml().replace('{"nothing_wrong": 10}', "\n  nothing_wrong: 10\n")
        draft.files[TREE] = pasted.replace("nothing_wrong: 10\n", "\n".join(
            ["nothing_wrong: 10", *lines, ""]
        ))  # fmt: skip
        assert prove(draft.content(), "sticks") == []

    def test_a_cause_that_is_settled_on_counts_as_named(self) -> None:
        draft = sound_draft()
        draft.endings["hand_on"] += ", settles: [nothing_wrong]"
        assert prove(draft.content(), "sticks") == []

    def test_a_cause_in_no_ending_is_found_at_its_place(self) -> None:
        draft = sound_draft()
        draft.endings["hand_on"] = draft.endings["hand_on"].replace("nothing_wrong", "")
        del draft.causes["nothing_wrong"]
        finding = the_one(draft.content())
        assert finding.message == (
            "cause nothing_wrong is in no ending of any tree; let one conclude it, or delete the "
            "cause"
        )
        assert str(finding.place).startswith("causes.yaml:")

    def test_a_fault_that_is_only_shortlisted_is_found(self) -> None:
        draft = with_file("causes.yaml", AS_A_FAULT)
        assert the_one(draft.content()).message == (
            "cause nothing_wrong is shortlisted, by hand_on of sticks, but never concluded; let an "
            "ending conclude it, or settle on it"
        )
        draft.endings["hand_on"] += ", settles: [nothing_wrong]"
        check_content(draft.content())

    def test_one_tree_that_concludes_it_is_enough(self) -> None:
        content = with_file("causes.yaml", AS_A_FAULT).content()
        draft = sound_draft()
        draft.endings["hand_on"] += ", settles: [nothing_wrong]"
        twin = dataclasses.replace(draft.content().trees["sticks"], id="twin")
        check_content(dataclasses.replace(content, trees={**content.trees, "twin": twin}))


COMPLAINTS = """\
  complaint:
    name: what is wrong
    kind: choice
    choices:
      sticks: {label: it sticks}
      other: {label: something else}
"""


class TestComplaints:
    def draft(self, more: str = "") -> Draft:
        draft = with_file("readings.yaml", READINGS + COMPLAINTS + more)
        draft.ask("what", "complaint", "caller", else_="room")
        draft.route("who", else_="what")
        draft.most_questions += 1
        return draft

    def test_every_choice_but_other_has_a_tree(self) -> None:
        check_content(self.draft().content())

    def test_a_choice_without_a_tree_is_found_at_the_reading(self) -> None:
        content = self.draft("      hums: {label: it hums}\n").content()
        finding = the_one(content)
        assert finding.message == (
            "complaint offers hums, and no tree is called so; write that tree, or drop the choice "
            "(only other needs no tree)"
        )
        assert finding.place == content.readings["complaint"].place

    def test_a_tree_that_is_no_choice_is_found_once_with_what_it_may_mean(self) -> None:
        draft = self.draft()
        draft.files["readings.yaml"] = draft.files["readings.yaml"].replace(
            "      sticks: {label", "      stick: {label"
        )
        content = draft.content()
        finding = the_one(content)
        assert finding.message == (
            'tree sticks serves no call: no choice of complaint is called so; did you mean "stick"?'
        )
        assert finding.place == content.trees["sticks"].place


class TestReadings:
    SPARE = "  spare: {name: spare, kind: temperature}\n"

    def test_a_reading_nobody_asks_for_is_found(self) -> None:
        finding = the_one(with_file("readings.yaml", READINGS + self.SPARE).content())
        assert finding.message == (
            "reading spare is asked for in no tree; ask for it, or delete it"
        )
        assert finding.place.file == "readings.yaml"

    def test_one_that_a_caller_may_only_volunteer_is_not(self) -> None:
        readings = READINGS + self.SPARE.replace("}", ", volunteered: true}")
        check_content(with_file("readings.yaml", readings).content())

    def test_a_band_that_nothing_computes_is_found(self) -> None:
        content = sound_draft().content()
        reading = dataclasses.replace(content.readings["freeze_time"], id="freezing_time")
        content = dataclasses.replace(
            content, readings={**content.readings, "freeze_time": reading}
        )
        banded = [each for each in prove_content(content) if "band" in each.message]
        assert [each.message for each in banded] == [
            'no band is known for reading freezing_time; did you mean "freeze_time"?; drop '
            "banded: true, or teach the program its band"
        ]
        assert banded[0].place == reading.place


class TestCautions:
    def test_a_caution_nobody_hears_is_found(self) -> None:
        cautions = CAUTIONS + "  spare: {title: Spare, text: Mind it., hazards: [spare]}\n"
        finding = the_one(with_file("cautions.yaml", cautions).content())
        assert finding.message == (
            "caution spare is read out in no call: no reading names it, and no repair has a hazard "
            "it warns of; name it at a reading, or delete it"
        )

    @pytest.mark.parametrize("hazard", ["pressure", *sorted(HAZARDS_OF_CALLS)])
    def test_one_that_a_repair_or_every_call_brings_is_heard(self, hazard: str) -> None:
        cautions = CAUTIONS + f"  more: {{title: More, text: Mind it., hazards: [{hazard}]}}\n"
        check_content(with_file("cautions.yaml", cautions).content())

    def test_the_hazards_of_every_call_are_those_the_gate_finds(self) -> None:
        assert {*gate.ALWAYS, *gate.FLAMMABLE.values(), gate.UNLICENSED} == HAZARDS_OF_CALLS


@pytest.mark.parametrize("key", ["agent", "technician", "why", "how", "if_unknown"])
def test_a_question_without_words_in_one_voice_is_found(key: str) -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    mute = dataclasses.replace(tree.questions["time"], **{key: " "})
    tree = dataclasses.replace(tree, questions={**tree.questions, "time": mute})
    (finding,) = prove(dataclasses.replace(content, trees={"sticks": tree}), "sticks")
    assert finding.message == f'question time has nothing under "{key}"; write it'
    assert finding.place == mute.place
