"""The ticket is short, says what is needed, and no text of a person becomes markup in it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from tests.review.exports import (
    ESCALATED,
    FULL,
    NOT_ON_FILE,
    REFUSED,
    exported,
    spoken,
    told_all,
)
from tests.strategies import FIXED
from triage.dialogue.events import Parked
from triage.dialogue.words import plain_text
from triage.review.export.markdown import as_typed, escaped, markdown_of

READER = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
"""A general-purpose CommonMark parser, with tables as many ticket systems read them."""

HOSTILE = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "[here](http://x.invalid)",
    "![p](http://x.invalid/p.png)",
    "http://x.invalid www.x.invalid a@x.invalid",
    "`code` ``more`` **bold** _it_ ~~no~~",
    "| a | b |",
    "# heading",
    "- item",
    "1. item",
    "> quote",
    "&lt;b&gt; &copy;",
    "a\\",
    "--- ***",
    "[x]: http://x.invalid",
    "@everyone #12",
)
MARKUP = {
    "link_open", "image", "html_inline", "html_block", "em_open", "s_open", "table_open",
    "blockquote_open", "ordered_list_open", "hr", "fence", "code_block",
}  # fmt: skip


def tokens_of(text: str) -> Iterator[Token]:
    """Yield every token of a Markdown text, those inside lines too."""
    for token in READER.parse(text):
        yield token
        yield from token.children or ()


def kinds_of(text: str) -> set[str]:
    return {token.type for token in tokens_of(text)}


typed_texts = st.one_of(
    st.text(max_size=50),
    st.lists(st.sampled_from([*HOSTILE, "`", "``", "\\", "|", "<", "*", "_", " ", "\n"]),
             max_size=6).map("".join),
)  # fmt: skip


@given(typed_texts)
@settings(FIXED, max_examples=400)
@example("` `")
@example("``")
@example("\\`")
def test_a_typed_text_is_shown_as_it_is_and_as_nothing_else(text: str) -> None:
    """CommonMark 0.31, section 6.1: a code span holds its text literally."""
    span = as_typed(text)
    plain = plain_text(text)
    if not plain:
        assert span == ""
        return
    inline = [token for token in tokens_of(f"- {span}") if token.type == "inline"]
    assert len(inline) == 1
    (code,) = inline[0].children or ()
    assert (code.type, code.content) == ("code_inline", plain)


@given(typed_texts)
@settings(FIXED, max_examples=400)
def test_escaped_words_are_shown_as_they_are(text: str) -> None:
    """CommonMark 0.31, section 2.4: backslash escapes."""
    plain = plain_text(text)
    if not plain:
        return
    for line in (f"Words {escaped(text)}", f"- {escaped(text)}"):
        assert not kinds_of(line) & (MARKUP | {"code_inline"})
        shown = "".join(
            token.content for token in tokens_of(line) if token.type in ("text", "text_special")
        )
        assert shown.removeprefix("Words ") == plain


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_note_adds_no_markup_to_a_ticket(text: str) -> None:
    harmless = kinds_of(markdown_of(exported(told_all(FULL, "note", "Ana", "serial", "typed"),
                                             with_personal_data=True)))  # fmt: skip
    hostile = markdown_of(
        exported(told_all(FULL, text, plain_text(text), text, text), with_personal_data=True)
    )
    assert kinds_of(hostile) == harmless
    assert not harmless & MARKUP
    assert any(token.content == plain_text(text) for token in tokens_of(hostile))


def test_a_ticket_is_short_and_says_what_is_needed() -> None:
    ticket = markdown_of(exported(told_all(FULL, "note", "Ana", "GL-0042-771", "typed")))
    assert len(ticket.splitlines()) < 80
    for words in (
        "## Recommendation: Receiver vapor feed not working",
        "Gletsch R500",
        "R-410A",
        "70 °F (21.1 °C)",
        "76 psig (5.2 bar), minute 1, BELOW (band 116 to 139 psig)",
        "lead to the same cause",
        "### Leave the machine so",
        "### Repair",
        "acknowledged (15)",
        "Brazing with nitrogen",
        "Two good cycles followed: yes",
        "local codes win",
    ):
        assert words in ticket, words


def test_a_withheld_ticket_says_why_and_tells_no_repair() -> None:
    ticket = markdown_of(exported(spoken(REFUSED)))
    assert ticket.startswith("## Recommendation withheld\n")
    assert 'The caution "Brazing with nitrogen" was not acknowledged.' in ticket
    assert "REFUSED (1): Brazing with nitrogen" in ticket
    assert "### Leave the machine so" in ticket
    assert "### Repair" not in ticket
    assert "### Replace" not in ticket


def test_an_escalated_ticket_says_whom_to_call_and_blames_only_what_is_left() -> None:
    ticket = markdown_of(exported(spoken(ESCALATED)))
    assert "### Whom to call" in ticket
    assert "not proven sound" in ticket
    assert "### Repair" not in ticket


def test_a_machine_that_is_not_on_file_is_said_to_be_none() -> None:
    ticket = markdown_of(exported(spoken(NOT_ON_FILE)))
    assert "- **Machine:** not on file, R-404A" in ticket
    assert "altitude of the site 5,000 ft" in ticket or "altitude of the site 5000 ft" in ticket


def test_a_parked_call_says_until_when() -> None:
    parked = Parked("watch one freeze", "2026-01-05T09:40:00.000000+00:00")
    lines = [*spoken(FULL)[:40], (spoken(FULL)[40][0], "agent", parked)]
    ticket = markdown_of(exported(lines))
    heading = "## Not finished: no conclusion yet, parked until 2026-01-05 09:40 UTC"
    assert ticket.startswith(heading)
    assert "watch one freeze" not in ticket
