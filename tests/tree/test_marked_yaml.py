"""What makes a content file hard to trust is refused, with its place and how to mend it."""

from __future__ import annotations

import pytest
import yaml

from triage.tree.content import Place
from triage.tree.errors import Mistakes
from triage.tree.files import LARGEST_FILE_BYTES
from triage.tree.marked_yaml import (
    DEEPEST_NESTING,
    Items,
    Scalar,
    Table,
    read_marked,
)

LOADERS = [yaml.SafeLoader, yaml.CSafeLoader] if hasattr(yaml, "CSafeLoader") else [yaml.SafeLoader]


def told(data: str | bytes, loader: type | None = None) -> list[str]:
    mistakes = Mistakes()
    raw = data if isinstance(data, bytes) else data.encode()
    read_marked("x.yaml", raw, mistakes, loader)
    return [str(mistake) for mistake in mistakes.found]


@pytest.fixture(params=LOADERS, ids=lambda each: each.__name__)
def loader(request: pytest.FixtureRequest) -> type:
    loader = request.param
    assert isinstance(loader, type)
    return loader


class TestReading:
    def test_every_value_knows_its_place(self, loader: type) -> None:
        mistakes = Mistakes()
        table = read_marked("x.yaml", b"a: 1\nb: [x, 'y']\n", mistakes, loader)
        assert not mistakes.found
        assert table is not None
        b = table.entries["b"]
        assert b.key.place == Place("x.yaml", 2, 1)
        assert b.value == Items(
            (
                Scalar("x", True, Place("x.yaml", 2, 5)),
                Scalar("y", False, Place("x.yaml", 2, 8)),
            ),
            Place("x.yaml", 2, 4),
        )

    @pytest.mark.parametrize("word", ["no", "on", "11:00", "1e3", "0x1f", "2026-11-25", "null x"])
    def test_plain_words_stay_as_written(self, word: str) -> None:
        mistakes = Mistakes()
        table = read_marked("x.yaml", f"a: {word}\n{word}: b\n".encode(), mistakes)
        assert isinstance(table, Table)
        value = table.entries["a"].value
        assert isinstance(value, Scalar)
        assert value.text == word
        assert word in table.entries

    def test_windows_line_ends_and_byte_order_mark_are_no_mistake(self) -> None:
        assert told(b"\xef\xbb\xbfa: 1\r\nb: >-\r\n  folded\r\n  text\r\n") == []

    def test_text_in_any_script_is_no_mistake(self) -> None:
        assert told("a: größer, 氷, می\u200cخواهم\n") == []

    def test_non_ascii_before_a_mistake_does_not_shift_its_column(self, loader: type) -> None:
        assert told("a: [ö, &x 1]\n", loader) == [
            "x.yaml:1:8 &x is an anchor; delete it and write values out"
        ]


class TestRefusing:
    def test_an_alias_is_refused(self, loader: type) -> None:
        assert told("a: &x 1\nb: *x\n", loader) == [
            "x.yaml:1:4 &x is an anchor; delete it and write values out",
            "x.yaml:2:4 *x is an alias; write the value out",
        ]

    def test_a_bomb_of_aliases_is_refused_at_its_first_one(self) -> None:
        bomb = "a: &a [x, x]\n" + "".join(
            f"k{i}: &k{i} [*{'a' if i == 0 else f'k{i - 1}'}, *a]\n" for i in range(30)
        )
        assert told(bomb)[-1] == "x.yaml:2:10 *a is an alias; write the value out"

    def test_a_tag_is_refused(self, loader: type) -> None:
        assert told("a: !!str 1\nb: !thing {}\n", loader) == [
            "x.yaml:1:4 str is a tag; delete it (the !…)",
            "x.yaml:2:4 !thing is a tag; delete it (the !…)",
        ]

    def test_a_tag_that_would_run_code_is_only_told(self) -> None:
        assert told("a: !!python/object/apply:os.system ['true']\n") == [
            "x.yaml:1:4 os.system is a tag; delete it (the !…)"
        ]

    def test_a_duplicate_key_is_refused_with_the_line_of_the_first(self, loader: type) -> None:
        assert told("a: 1\nb:\n  c: 1\n  c: 2\na: 3\n", loader) == [
            'x.yaml:4:3 the key "c" stands here a second time (first in line 3); keep one',
            'x.yaml:5:1 the key "a" stands here a second time (first in line 1); keep one',
        ]

    def test_a_second_document_is_refused(self, loader: type) -> None:
        assert told("a: 1\n---\nb: 2\n", loader) == [
            "x.yaml:2:1 a second document starts here; put it in its own file"
        ]

    def test_a_directive_is_refused(self, loader: type) -> None:
        assert "a % directive stands here; delete it" in told("%YAML 1.1\n---\na: 1\n", loader)[0]

    def test_a_key_that_is_a_list_is_refused(self, loader: type) -> None:
        assert told("? [a, b]\n: 1\n", loader) == [
            "x.yaml:1:3 this key is no text; write one word before the :"
        ]

    def test_an_oversized_file_is_refused_unread(self) -> None:
        size = LARGEST_FILE_BYTES + 1
        assert told(b"\xff" * size) == [
            "x.yaml:1:1 the file has 512 kB, more than the 512 kB allowed; split it"
        ]
        assert told(b"a: 1\n" + b"#" * (LARGEST_FILE_BYTES - 6) + b"\n") == []

    def test_nesting_is_allowed_to_the_stated_depth_and_no_further(self, loader: type) -> None:
        inner = DEEPEST_NESTING - 1
        assert told("a: " + "[" * inner + "]" * inner, loader) == []
        assert told("a: " + "[" * (inner + 1) + "]" * (inner + 1), loader) == [
            f"x.yaml:1:{4 + inner} nested more than {DEEPEST_NESTING} deep; flatten it"
        ]

    def test_a_hundred_thousand_brackets_are_refused_calmly(self, loader: type) -> None:
        (line,) = told("a: " + "[" * 100_000, loader)
        assert "nest" in line

    def test_other_encodings_are_refused_where_they_start(self) -> None:
        assert told(b"a: 1\nb: caf" + b"\xe9\n") == [
            "x.yaml:2:7 the file is not UTF-8 from here on; save it as UTF-8"
        ]

    @pytest.mark.parametrize("char", ["\x00", "\x1b", "\x85", "\u202e", "\u2028", "\ufeff"])
    def test_a_raw_character_that_cannot_be_shown_is_refused(self, char: str) -> None:
        assert told(f"a: 1\nb: x{char}y\n") == [
            f"x.yaml:2:5 the character U+{ord(char):04X} cannot be shown; delete it"
        ]

    def test_an_escaped_control_character_is_refused(self, loader: type) -> None:
        assert told('a: ok\nb: "red \\e[31m"\n', loader) == [
            "x.yaml:2:4 this text holds the character U+001B, which cannot be shown; delete it"
        ]

    def test_broken_yaml_is_told_in_one_line_with_its_place(self, loader: type) -> None:
        (line,) = told("a: 1\nb: c: d\n", loader)
        assert line.startswith("x.yaml:2:5 this is no YAML: mapping values are not allowed")
        assert line.endswith("quote text that holds a colon")

    def test_a_tab_as_indentation_is_told_with_its_place(self, loader: type) -> None:
        (line,) = told("a:\n\tb: 1\n", loader)
        assert line.startswith("x.yaml:2:1 this is no YAML")

    @pytest.mark.parametrize("text", ["", "# nothing\n", "- a\n- b\n", "word\n"])
    def test_a_file_without_a_mapping_is_refused(self, text: str, loader: type) -> None:
        assert told(text, loader) == [
            "x.yaml:1:1 the file holds no mapping; start it with the line: format: 1"
        ]
