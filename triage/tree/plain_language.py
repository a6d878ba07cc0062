"""Whether what a person hears or reads can be taken in at once: sentences, texts, reading grade.

A caller stands beside a running machine with a phone at one ear. So a sentence stays short, a text
that is read out stays short as a whole, and words are those of every day.

Limits, and where they come from:
- 25 words a sentence: ASD-STE100, the open standard of simplified technical English, for text that
  describes, and the style guides of several governments (from memory);
- 20 words a sentence on average, where a text has more than one: M. Cutts, "Oxford Guide to Plain
  English", 15 to 20 over a document (from memory);
- grade 8 by the Automated Readability Index, for all texts of one thing together if they have 30
  words or more: E. A. Smith and R. J. Senter, AMRL-TR-66-220 (1967),
  4.71 characters / words + 0.5 words / sentences - 21.43 (from memory); the limit is judged, and in
  shorter texts one long word decides;
- words in a text: judged, by what it is for.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from triage.tree.content import Cause, Caution, Content, Ending, Place, Question
from triage.tree.proof_case import Finding

MOST_WORDS_IN_A_SENTENCE = 25
MOST_WORDS_ON_AVERAGE = 20.0
GREATEST_GRADE = 8.0
LEAST_WORDS_FOR_A_GRADE = 30
MOST_WORDS: Mapping[str, int] = {
    "agent": 60,
    "technician": 40,
    "why": 40,
    "how": 70,
    "if_unknown": 40,
    "says": 20,
    "because": 80,
    "escalate": 25,
    "machine_state": 45,
    "call_whom": 30,
    "explanation": 70,
    "repair": 120,
    "verify": 20,
    "who": 20,
    "text": 145,
}
"""Most words of a text, by its key in the file (judged)."""

_BETWEEN_SENTENCES = re.compile(r"(?:(?<=[.!?])|(?<=[.!?][\"')\]]))\s+")
_WORD = re.compile(r"\S*\w\S*")
_ENDS_WELL = re.compile(r"[.!?][\"')\]]*$")
_LONGEST_QUOTE = 200


@dataclass(frozen=True, slots=True)
class Texts:
    """All that a person hears or reads of one thing: (key in the file, text), and where it is."""

    whose: str
    place: Place
    texts: tuple[tuple[str, str], ...]


def every_text_is_plain(content: Content) -> Iterator[Finding]:
    """Texts are short enough to take in, made of short sentences and everyday words."""
    for each in texts_of(content):
        for message in _lacks(each):
            yield Finding(f"{each.whose}: {message}", each.place)


def texts_of(content: Content) -> Iterator[Texts]:
    """Yield the texts of trees, parts, causes and cautions; those of a part once."""
    seen: set[Place] = set()
    for each in _texts(content):
        if each.place not in seen:
            seen.add(each.place)
            yield each


def sentences_of(text: str) -> list[str]:
    """Return the sentences of a text: what ends in a full stop, a question or exclamation mark.

    >>> sentences_of('R-404A. Is it "cold"? Wait 2.5 minutes!')
    ['R-404A.', 'Is it "cold"?', 'Wait 2.5 minutes!']
    """
    return [sentence for sentence in _BETWEEN_SENTENCES.split(text.strip()) if sentence]


def words_in(text: str) -> int:
    """Return the number of words: what stands between blanks and holds a letter or a figure."""
    return len(_WORD.findall(text))


def grade_of(texts: Iterable[str]) -> float:
    """Return the Automated Readability Index of texts: the school grade that reads them with ease.

    Characters are letters and figures.
    >>> round(grade_of(["The fan stands still. Switch the machine off now."]), 2)
    1.23
    """
    characters = words = sentences = 0
    for text in texts:
        characters += sum(map(str.isalnum, text))
        words += words_in(text)
        sentences += len(sentences_of(text))
    return 4.71 * characters / words + 0.5 * words / sentences - 21.43


def _texts(content: Content) -> Iterator[Texts]:
    for tree in content.trees.values():
        for question in tree.questions.values():
            yield _chosen(question, "question", "agent technician why how if_unknown")
        for junction in tree.junctions.values():
            for rule in junction.rules:
                name = f"a rule of junction {_written(junction.id)}"
                yield Texts(name, rule.place, (("says", rule.says),))
        for ending in tree.endings.values():
            yield _chosen(ending, "ending", "because escalate machine_state call_whom")
    for cause in content.causes.values():
        texts = _chosen(cause, "cause", "explanation repair machine_state who")
        verify = (("verify", line) for line in cause.verify)
        yield replace(texts, texts=(*texts.texts, *verify))
    for caution in content.cautions.values():
        yield _chosen(caution, "caution", "text")


def _chosen(item: Question | Ending | Cause | Caution, kind: str, keys: str) -> Texts:
    found = ((key, getattr(item, key)) for key in keys.split())
    return Texts(
        f"{kind} {_written(item.id)}", item.place, tuple((key, text) for key, text in found if text)
    )


def _written(node_id: str) -> str:
    """Return an id as its file has it; the namespace of a part is the tree's."""
    return node_id.rpartition(".")[2]


def _lacks(each: Texts) -> Iterator[str]:
    words = 0
    for key, text in each.texts:
        found = sentences_of(text)
        counts = [words_in(sentence) for sentence in found]
        words += sum(counts)
        for sentence, count in zip(found, counts, strict=True):
            if count > MOST_WORDS_IN_A_SENTENCE:
                yield (
                    f"a sentence under {key} has {count} words, more than "
                    f"{MOST_WORDS_IN_A_SENTENCE}; split it: {_quoted(sentence)}"
                )
        average = sum(counts) / max(len(counts), 1)
        if len(counts) > 1 and average > MOST_WORDS_ON_AVERAGE:
            yield (
                f"the sentences under {key} have {average:.1f} words on average, more than "
                f"{MOST_WORDS_ON_AVERAGE:g}; make them shorter"
            )
        if sum(counts) > MOST_WORDS[key]:
            yield (
                f"the text under {key} has {sum(counts)} words, more than {MOST_WORDS[key]}; say "
                f"less: {_quoted(text)}"
            )
        if not _ENDS_WELL.search(text):
            yield f"the last sentence under {key} has no end mark: {_quoted(found[-1])}"
        if "  " in text:
            yield f"two blanks follow each other under {key}; leave one: {_quoted(text)}"
    if words >= LEAST_WORDS_FOR_A_GRADE:
        grade = grade_of(text for _, text in each.texts)
        if grade > GREATEST_GRADE:
            yield (
                f"its texts are for readers of grade {grade:.1f} (Automated Readability Index), "
                f"more than {GREATEST_GRADE:g}; use shorter words and sentences"
            )


def _quoted(text: str) -> str:
    plain = "".join(char if char.isprintable() else " " for char in text)
    cut = plain if len(plain) <= _LONGEST_QUOTE else plain[: _LONGEST_QUOTE - 1] + "…"
    return f'"{cut}"'
