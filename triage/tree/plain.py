"""Content as plain data and back, by the type hints of its dataclasses.

Each dataclass becomes a list of its field values, so the data carries no names and is quick to
read; it is meant for the same program version that wrote it.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Mapping
from enum import Enum
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

from triage.tree.content import Content


def to_plain(value: Any) -> Any:
    """Return a dataclass, mapping, tuple, set, enumeration or scalar as JSON-ready data."""
    if dataclasses.is_dataclass(value):
        return [to_plain(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, Mapping):
        return {key: to_plain(inner) for key, inner in value.items()}
    if isinstance(value, frozenset):
        return sorted(to_plain(inner) for inner in value)
    if isinstance(value, tuple):
        return [to_plain(inner) for inner in value]
    return value.value if isinstance(value, Enum) else value


def content_from_plain(data: Any) -> Content:
    """Return the content `to_plain` was given.

    Raises ValueError, TypeError, LookupError or AttributeError for data of another shape.
    """
    content = _reader(Content)(data)
    if not isinstance(content, Content):
        raise TypeError("the data holds no content")
    return content


@cache
def _reader(hint: Any) -> Callable[[Any], Any]:
    """Return the function that makes a value of type `hint` of plain data."""
    origin, parts = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        inner = _reader(next(part for part in parts if part is not type(None)))
        return lambda data: None if data is None else inner(data)
    if origin is Mapping:
        return _mapping_reader(_reader(parts[1]))
    if origin is frozenset:
        inner = _reader(parts[0])
        return lambda data: frozenset(map(inner, data))
    if origin is tuple:
        inner = _reader(parts[0])  # all content tuples are of one kind
        return lambda data: tuple(map(inner, data))
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _dataclass_reader(hint)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return {member.value: member for member in hint}.__getitem__
    return _scalar_reader(hint)


def _mapping_reader(inner: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda data: types.MappingProxyType({key: inner(value) for key, value in data.items()})


def _dataclass_reader(cls: type) -> Callable[[Any], Any]:
    hints = get_type_hints(cls)
    readers = [_reader(hints[field.name]) for field in dataclasses.fields(cls)]

    def read(data: Any) -> Any:
        return cls(*[reader(value) for reader, value in zip(readers, data, strict=True)])

    return read


def _scalar_reader(hint: type) -> Callable[[Any], Any]:
    allowed = (int, float) if hint is float else hint

    def read(data: Any) -> Any:
        if not isinstance(data, allowed):
            raise TypeError(f"{hint.__name__} wanted")
        return data

    return read
