"""Texts that nobody could take in at once are told, with the sentence, its count and the limit."""

from __future__ import annotations

import dataclasses

import pytest

from tests.conversation import shipped_engine
from tests.tree.miniature import TREE, sound_draft
from triage.tree.content import Content
from triage.tree.plain_language import (
    GREATEST_GRADE,
    LEAST_WORDS_FOR_A_GRADE,
    MOST_WORDS,
    MOST_WORDS_IN_A_SENTENCE,
    every_text_is_plain,
    grade_of,
    sentences_of,
    texts_of,
    words_in,
)

LONG = " ".join(["word"] * MOST_WORDS_IN_A_SENTENCE)


def said(old: str, new: str, file: str = TREE) -> Content:
    """Return the miniature with one text of a file in other words."""
    draft = sound_draft()
    text = draft.bytes()[file].decode()
    assert old in text
    draft.files[file] = text.replace(old, new, 1)
    return draft.content()


def messages(content: Content) -> list[str]:
    return [str(finding) for finding in every_text_is_plain(content)]


def test_the_miniature_is_plain() -> None:
    assert messages(sound_draft().content()) == []


class TestSentences:
    def test_a_long_one_is_told_with_its_place_its_count_and_the_limit(self) -> None:
        content = said("agent: Words.", f"agent: Short. {LONG} more.")
        place = content.trees["sticks"].questions["who"].place
        count = MOST_WORDS_IN_A_SENTENCE + 1
        assert messages(content) == [
            f"{place} question who: a sentence under agent has {count} words, more than "
            f'{MOST_WORDS_IN_A_SENTENCE}; split it: "{LONG} more."'
        ]

    def test_one_at_the_limit_is_plain(self) -> None:
        assert messages(said("agent: Words.", f"agent: Short. {LONG}.")) == []

    @pytest.mark.parametrize("mark", [".", "?", "!", '."', ".)"])
    def test_an_end_mark_ends_one(self, mark: str) -> None:
        assert sentences_of(f"One{mark} Two.") == [f"One{mark}", "Two."]

    @pytest.mark.parametrize("text", ["R-404A at 2.5 bar.", "Tell me: even, or thin?"])
    def test_no_other_mark_does(self, text: str) -> None:
        assert sentences_of(text) == [text]

    def test_long_ones_all_through_are_told_by_their_average(self) -> None:
        content = said("why: Words.", "why: " + (" ".join(["so"] * 21) + ". ") * 2)
        assert [each.split(": ", 1)[1] for each in messages(content)] == [
            "the sentences under why have 21.0 words on average, more than 20; make them shorter",
            'the text under why has 42 words, more than 40; say less: "'
            + ((" ".join(["so"] * 21) + ". ") * 2).strip()
            + '"',
        ]

    def test_the_last_one_needs_an_end_mark(self) -> None:
        content = said("technician: Words.", "technician: Read it. And the minute")
        assert messages(content)[0].endswith(
            'question who: the last sentence under technician has no end mark: "And the minute"'
        )

    def test_two_blanks_are_told(self) -> None:
        content = said("how: Words.", 'how: "Look.  Listen."')
        assert messages(content)[0].endswith(
            'question who: two blanks follow each other under how; leave one: "Look.  Listen."'
        )


def test_words_are_what_holds_a_letter_or_a_figure() -> None:
    assert words_in("Set it - at 2.5 bar (36 psi) - a hand's width off.") == 11


@pytest.mark.parametrize("key", ["agent", "technician", "why", "how", "if_unknown"])
def test_a_text_too_long_to_be_read_out_is_told(key: str) -> None:
    most = MOST_WORDS[key]
    text = " ".join(["Look at it now."] * (most // 4 + 1))
    old = "if_unknown: Go on." if key == "if_unknown" else f"{key}: Words."
    content = said(old, f"{key}: {text}")
    assert any(
        f"the text under {key} has {words_in(text)} words, more than {most}" in each
        for each in messages(content)
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "whose", "key"),
    [
        (TREE, "says: So it is.", "says: So it is", "a rule of junction is_freeze_sound", "says"),
        (TREE, "because: So.", "because: So", "ending charge", "because"),
        (TREE, "escalate: Second line.", "escalate: Second line", "ending hand_on", "escalate"),
        (TREE, "machine_state: Off.", "machine_state: Off", "ending hand_on", "machine_state"),
        (TREE, "call_whom: The second line.", "call_whom: They", "ending hand_on", "call_whom"),
        ("causes.yaml", "starves.", "starves", "cause thin_charge", "explanation"),
        ("causes.yaml", "by weight.", "by weight", "cause thin_charge", "repair"),
        ("causes.yaml", "[Weigh a batch.]", "[Weigh.., Look]", "cause thin_charge", "verify"),
        ("causes.yaml", "machine_state: Off.", "machine_state: Off", "cause thin", "machine_state"),
        ("causes.yaml", "who: A licensed technician.", "who: They", "cause thin_charge", "who"),
        ("cautions.yaml", "text: The line burns.", "text: Hot", "caution hot_lines", "text"),
    ],
)
def test_every_text_a_person_hears_or_reads_is_looked_at(
    file: str, old: str, new: str, whose: str, key: str
) -> None:
    (message,) = messages(said(old, new, file))
    assert message.startswith(f"{file}:")
    assert f" {whose}" in message
    assert f"the last sentence under {key} has no end mark" in message


class TestGrade:
    def test_it_is_the_index_as_defined(self) -> None:
        """33 characters, 8 words, 2 sentences: 19.42875 + 2 - 21.43, worked by hand."""
        texts = ["The quick brown fox jumps.", "Over lazy dogs."]
        assert grade_of(texts) == pytest.approx(-0.00125)

    def test_long_words_are_told(self) -> None:
        words = "Refrigeration thermodynamics necessitates comprehensive instrumentation. " * 7
        content = said("how: Words.", f"how: {words}")
        (message,) = messages(content)
        assert "question who: its texts are for readers of grade" in message
        assert f"(Automated Readability Index), more than {GREATEST_GRADE:g}" in message

    def test_few_words_have_none(self) -> None:
        few = "Refrigeration thermodynamics necessitates comprehensive instrumentation."
        assert words_in(few) < LEAST_WORDS_FOR_A_GRADE
        assert messages(said("how: Words.", f"how: {few}")) == []


def test_a_part_is_looked_at_once_and_named_as_in_its_file() -> None:
    content = said("agent: Words.", "agent: Words")
    tree = content.trees["sticks"]
    inner = dataclasses.replace(tree.questions["who"], id="opening.who")
    questions = {**tree.questions, "opening.who": inner}
    twins = {
        name: dataclasses.replace(tree, id=name, questions=questions) for name in ("one", "two")
    }
    (message,) = messages(dataclasses.replace(content, trees=twins))
    assert " question who: " in message


def test_what_ships_is_plain() -> None:
    content = shipped_engine().content
    assert messages(content) == []
    looked_at = [text for each in texts_of(content) for _, text in each.texts]
    for tree in content.trees.values():
        for question in tree.questions.values():
            assert question.agent in looked_at
