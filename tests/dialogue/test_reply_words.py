"""Cleaning of text that comes from people and files."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.strategies import FIXED
from triage.dialogue.words import agreement, fold, plain_text, unknown_reason


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("62 psi", "62 psi"),
        ("  62 \t psi\r\n", "62 psi"),
        ("a\nb\x0bc\u2028d\x85e", "a b c d e"),
        ("\x1b[31mred\x1b[0m", "[31mred[0m"),
        ("\x1b]0;title\x07text", "]0;titletext"),
        ("a\u202eb\u2066c\u2069", "abc"),
        ("ze\u200bro\u200d wi\u2060dth\ufeff", "zero width"),
        ("so\u00adft", "soft"),
        ("６２ ｐｓｉ", "62 psi"),
        ("18.5 ℃", "18.5 °C"),
        ("5 ㎜", "5 mm"),
        ("6½ min", "6½ min"),
        ("10²", "10²"),
        ("①", "①"),
        ("cafe\u0301", "café"),
        ("nul\x00l", "null"),
        ("c1\x9bm", "c1m"),
        ("private\ue000", "private"),
        ("lone\ud800", "lone"),
        ("tag\U000e0041", "tag"),
        ("blank\u3164\u2800!", "blank!"),
        ("\N{NO-BREAK SPACE}x\N{EM SPACE}", "x"),
    ],
)
def test_only_visible_characters_on_one_line_remain(text: str, plain: str) -> None:
    assert plain_text(text) == plain


def test_stacked_marks_are_thinned() -> None:
    assert len(plain_text("a" + "\u0335" * 50)) <= 3


def test_a_long_text_is_cut_visibly() -> None:
    assert plain_text("x" * 600, 500) == "x" * 499 + "…"
    assert plain_text("x" * 500, 500) == "x" * 500


@FIXED
@given(st.text(max_size=200), st.integers(5, 120))
def test_plain_text_is_visible_short_and_stays_as_it_is(text: str, limit: int) -> None:
    plain = plain_text(text, limit)
    assert len(plain) <= limit
    assert plain_text(plain, limit) == plain
    assert plain == plain.strip()
    forbidden = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert not forbidden & {unicodedata.category(character) for character in plain}


def test_folding_keeps_letters_and_digits() -> None:
    assert fold("Can't reach-it, R-404A!") == "cant reach it r 404a"


@FIXED
@given(st.text(max_size=100))
def test_no_text_is_yes_and_unknown_at_once(text: str) -> None:
    assert agreement(text) is None or unknown_reason(text) is None
