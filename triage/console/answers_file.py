"""A scripted call: a mapping of reading ids to what a person would type.

Reserved keys besides the readings: `acknowledge` (the gate's cautions: all, none, or a list of
caution ids), `refuse` (a list of cautions refused wherever they come up), `voice` (agent or
technician), `units` (us or si), `about` (what the call shows), `notes` (free notes) and
`serial_number` (of the machine).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from triage.tree.content import Content
from triage.tree.errors import Mistakes, nearest, quoted
from triage.tree.marked_yaml import Items, Node, Scalar, read_marked

ALL = "all"
NONE = "none"
_RESERVED = ("acknowledge", "refuse", "voice", "units", "about", "notes", "serial_number")
_VOICES = ("agent", "technician")
_UNITS = ("us", "si")


class AnswersError(Exception):
    """The answers file cannot be read or does not fit the content; says where and how to mend."""


@dataclass(frozen=True, slots=True)
class AnswersFile:
    """What a caller says when asked; each reading has the texts typed one after another."""

    answers: Mapping[str, tuple[str, ...]]
    acknowledge: str | tuple[str, ...] = NONE
    refuse: tuple[str, ...] = ()
    voice: str | None = None
    units: str | None = None
    about: str = ""
    notes: tuple[str, ...] = ()
    serial_number: str = ""

    def acknowledges(self, caution: str) -> bool:
        """Whether the gate's caution is acknowledged."""
        if isinstance(self.acknowledge, str):
            return self.acknowledge == ALL
        return caution in self.acknowledge


_WANTED_OF_READING = "write unknown if it could not be had"
_WANTED = {
    "acknowledge": "write all, none or a list of caution ids",
    "refuse": "write a list of caution ids",
    "voice": "write agent or technician",
    "units": "write us or si",
    "about": "write what the call shows",
    "notes": "write a note or a list of them",
    "serial_number": "write it as on the data plate",
}
"""What belongs under each reserved key."""


def load_answers(path: Path, content: Content) -> AnswersFile:
    """Return the answers in a YAML or JSON file; raise AnswersError naming file, line, column."""
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        raise AnswersError(
            f"answers file {path}: {reason}; name a file that can be read"
        ) from error
    return read_answers(path.name, data, content)


def read_answers(name: str, data: bytes, content: Content) -> AnswersFile:
    """Return the answers in `data`, the bytes of the file `name`; raise AnswersError."""
    mistakes = Mistakes()
    is_json = name.lower().endswith(".json")
    first_line = (
        '{"caller_qualification": "yes both"}' if is_json else "caller_qualification: yes both"
    )
    table = read_marked(name, data, mistakes, first_line=first_line)
    if table is None and is_json:
        _check_json(name, data)
    answers: dict[str, tuple[str, ...]] = {}
    reserved: dict[str, tuple[str, ...]] = {}
    for key, entry in (table.entries if table else {}).items():
        if key in _RESERVED:
            reserved[key] = _texts(entry.value, key, mistakes)
        elif key in content.readings:
            answers[key] = _texts(entry.value, key, mistakes)
        else:
            known = (*content.readings, *_RESERVED)
            mistakes.add(
                entry.key.place,
                f"no reading is called {quoted(key)}{nearest(key, known)}; use an id of "
                "readings.yaml",
            )
    if table is not None:
        for key, allowed in (("voice", _VOICES), ("units", _UNITS)):
            _check_word(key, reserved, allowed, table.entries, mistakes)
        words = {"acknowledge": (ALL, NONE, *content.cautions), "refuse": (*content.cautions,)}
        for key, known in words.items():
            for caution in reserved.get(key, ()):
                if caution not in known:
                    mistakes.add(
                        table.entries[key].value.place,
                        f"no caution is called {quoted(caution)}{nearest(caution, known)}",
                    )
    if mistakes.found:
        raise AnswersError("\n".join(str(mistake) for mistake in mistakes.found))
    acknowledged = reserved.get("acknowledge", (NONE,))
    is_word = len(acknowledged) == 1 and acknowledged[0] in (ALL, NONE)
    return AnswersFile(
        answers,
        acknowledge=acknowledged[0] if is_word else acknowledged,
        refuse=reserved.get("refuse", ()),
        voice=next(iter(reserved.get("voice", ())), None),
        units=next(iter(reserved.get("units", ())), None),
        about=" ".join(reserved.get("about", ())),
        notes=reserved.get("notes", ()),
        serial_number=" ".join(reserved.get("serial_number", ())),
    )


def _check_json(name: str, data: bytes) -> None:
    """Raise AnswersError if `data` is no JSON: its own words fit such a file better than YAML's."""
    try:
        json.loads(data.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        raise AnswersError(
            f"{name}:{error.lineno}:{error.colno}: this is no JSON: {error.msg}; check commas, "
            "closing brackets and double quotes"
        ) from error
    except (UnicodeDecodeError, RecursionError):
        return  # what the reader of marked text says about it fits


def _check_word(
    key: str,
    reserved: Mapping[str, tuple[str, ...]],
    allowed: tuple[str, ...],
    entries: Mapping[str, object],
    mistakes: Mistakes,
) -> None:
    for word in reserved.get(key, ()):
        if word not in allowed:
            place = entries[key].value.place  # type: ignore[attr-defined]
            mistakes.add(place, f"{key} is {quoted(word)}; write {' or '.join(allowed)}")


def _texts(node: Node, key: str, mistakes: Mistakes) -> tuple[str, ...]:
    if isinstance(node, Scalar):
        if node.is_null:
            mistakes.add(node.place, f"{key} is empty; {_WANTED.get(key, _WANTED_OF_READING)}")
            return ()
        return (node.text,)
    if isinstance(node, Items):
        return tuple(text for item in node.items for text in _texts(item, key, mistakes))
    mistakes.add(node.place, f"{key} wants a text or a list of texts")
    return ()
