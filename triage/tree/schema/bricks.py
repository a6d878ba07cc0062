"""The pieces a schema is made of, each with the words an editor shows for it.

A file is checked as the data a YAML 1.2 editor makes of it. Where the loader takes any single text,
a bare number is a text as well; a bare `true`, `false` or `null` wants quotes here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from triage.tree.sections import ID, RESERVED_IDS

Schema = dict[str, Any]
"""A JSON Schema as data."""


def text(description: str) -> Schema:
    """Return the schema of one text that says something."""
    return {"description": description, "type": ["string", "number"], "pattern": r"\S"}


def number(description: str, least: float, greatest: float) -> Schema:
    """Return the schema of a number from `least` to `greatest`."""
    return {"description": description, "type": "number", "minimum": least, "maximum": greatest}


def whole(description: str, least: int, greatest: int) -> Schema:
    """Return the schema of a whole number from `least` to `greatest`."""
    return {"description": description, "type": "integer", "minimum": least, "maximum": greatest}


def flag(description: str) -> Schema:
    """Return the schema of true or false."""
    return {"description": description, "type": "boolean"}


def one_of(description: str, names: Mapping[str, str]) -> Schema:
    """Return the schema of one of these names; their values say what each stands for."""
    return {"description": description, **_among(names)}


def known_one(description: str, what: str, names: Mapping[str, str]) -> Schema:
    """Return the schema of a name of the content folder, such as a reading's."""
    return {"description": description, **_among(names), "errorMessage": _stale(what)}


def _among(names: Mapping[str, str]) -> Schema:
    return {"enum": list(names), "enumDescriptions": list(names.values())}


def _stale(what: str) -> str:
    return f"This is no {what}. If it is a new one, write the schemas anew: triage tree schema."


def name_of(description: str, *, except_for: Iterable[str] = ()) -> Schema:
    """Return the schema of a name that something is given, or that is looked up in its own file."""
    return {"description": description, "type": "string", **_like_a_name(except_for)}


def _like_a_name(except_for: Iterable[str]) -> Schema:
    told = "A name has small letters, digits and _, starts with a letter, and is no special word."
    return {"pattern": id_pattern(except_for), "errorMessage": told}


def id_pattern(except_for: Iterable[str] = ()) -> str:
    """Return the pattern of a name; words with a meaning of their own are none."""
    taken = "|".join(sorted({*RESERVED_IDS, *except_for}))
    return f"^(?!(?:{taken})$){ID}$"


def listed(description: str, item: Schema, *, at_least: int = 0) -> Schema:
    """Return the schema of a list of `item`, each once."""
    schema: Schema = {
        "description": description, "type": "array", "items": item, "uniqueItems": True,
    }  # fmt: skip
    return {**schema, "minItems": at_least} if at_least else schema


def texts(description: str, *, at_least: int = 0) -> Schema:
    """Return the schema of a list of texts, each once."""
    return listed(description, {"type": ["string", "number"], "pattern": r"\S"}, at_least=at_least)


def known_ones(
    description: str, what: str, names: Mapping[str, str], *, at_least: int = 0
) -> Schema:
    """Return the schema of a list of names of the content folder, each once."""
    item = {**_among(names), "errorMessage": _stale(what)}
    return listed(description, item, at_least=at_least)


def section(description: str, keys: Mapping[str, Schema], *, required: Sequence[str]) -> Schema:
    """Return the schema of a mapping with these keys and no others."""
    return {
        "description": description,
        "type": "object",
        "properties": dict(keys),
        "required": list(required),
        "additionalProperties": False,
    }


def named(description: str, inner: Schema, *, except_for: Iterable[str] = ()) -> Schema:
    """Return the schema of a mapping from names of the writer's own to `inner`."""
    return {
        "description": description,
        "type": "object",
        "propertyNames": _like_a_name(except_for),
        "additionalProperties": inner,
    }


def by_name(description: str, inner: Mapping[str, Schema]) -> Schema:
    """Return the schema of a mapping whose keys are among these names, each with its own value."""
    return section(description, inner, required=())


def where(key: str, values: Sequence[str], then: Schema, otherwise: Schema | None = None) -> Schema:
    """Return the schema that asks for `then` where the value of `key` is one of `values`."""
    condition: Schema = {"required": [key], "properties": {key: {"enum": list(values)}}}
    schema: Schema = {"if": condition, "then": then}
    return schema if otherwise is None else {**schema, "else": otherwise}


def with_keys(**keys: Schema | bool) -> Schema:
    """Return what a condition says of single keys; False for one that must not be there."""
    return {"properties": keys}
