"""Content files as an editor sees them: the data YAML 1.2 makes of them, and what it marks there.

Plain scalars are resolved by the core schema of YAML 1.2.2, section 10.3.2 "Tag Resolution"; the
marking is that of a general JSON Schema validator.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from jsonschema import Draft7Validator, ValidationError

from triage.tree.errors import Mistakes
from triage.tree.marked_yaml import Items, Node, Table, read_marked
from triage.tree.schema.kinds import Kind, kind_of
from triage.tree.schema.known import Known, known_in
from triage.tree.schema.schemas import schema_of

NULL = re.compile(r"null|Null|NULL|~|")
TRUE, FALSE = re.compile(r"true|True|TRUE"), re.compile(r"false|False|FALSE")
INTEGER = {10: re.compile(r"[-+]?[0-9]+"), 8: re.compile(r"0o[0-7]+"),
           16: re.compile(r"0x[0-9a-fA-F]+")}  # fmt: skip
FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
INFINITE = re.compile(r"([-+]?)(\.inf|\.Inf|\.INF)")
NO_NUMBER = re.compile(r"\.nan|\.NaN|\.NAN")


def data_of(node: Node) -> Any:
    """Return what JSON would hold for a node of a file."""
    if isinstance(node, Table):
        return {key: data_of(entry.value) for key, entry in node.entries.items()}
    if isinstance(node, Items):
        return [data_of(item) for item in node.items]
    return _resolved(node.text) if node.is_plain else node.text


def _resolved(text: str) -> Any:
    if NULL.fullmatch(text):
        return None
    if TRUE.fullmatch(text) or FALSE.fullmatch(text):
        return text.lower() == "true"
    for base, pattern in INTEGER.items():
        if pattern.fullmatch(text):
            return int(text, base)
    if FLOAT.fullmatch(text):
        return float(text)
    if infinite := INFINITE.fullmatch(text):
        return float(f"{infinite[1]}inf")
    return float("nan") if NO_NUMBER.fullmatch(text) else text


def table_of(name: str, data: bytes) -> Table:
    """Return a file that is sound YAML as a table."""
    mistakes = Mistakes()
    table = read_marked(name, data, mistakes)
    assert table is not None, [str(each) for each in mistakes.found]
    return table


def marks(files: Mapping[str, bytes], known: Known | None = None) -> Iterator[str]:
    """Yield what an editor marks in the files of a folder: file, spot and message.

    known: the names the schemas were made with; those of the files if None.
    """
    known = known or known_in(files)
    validators: dict[Kind, Draft7Validator] = {}
    for name, data in files.items():
        kind = kind_of(name)
        if kind is None:
            continue
        if kind not in validators:
            validators[kind] = Draft7Validator(schema_of(kind, known))
        for error in validators[kind].iter_errors(data_of(table_of(name, data))):
            yield f"{name}: {_spot(error)}: {error.message[:200]}"


def _spot(error: ValidationError) -> str:
    return ".".join(map(str, error.absolute_path)) or "the file"
