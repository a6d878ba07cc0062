"""The JSON Schema of each kind of content file, with the names of one content folder.

Draft 7, the version editors have understood longest; nothing here needs a later one. The keywords
`enumDescriptions` and `errorMessage` are notes that editors show and validators pass over.
"""

from __future__ import annotations

from collections.abc import Callable

from triage.tree.schema.bricks import Schema
from triage.tree.schema.graphs import part_schema, tree_schema
from triage.tree.schema.kinds import Kind
from triage.tree.schema.known import Known
from triage.tree.schema.lists import (
    causes_schema,
    cautions_schema,
    outcomes_schema,
    readings_schema,
)
from triage.tree.schema.machines import machine_schema

DRAFT = "http://json-schema.org/draft-07/schema#"
"""What a schema says it is written in."""

_MAKERS: dict[Kind, Callable[[Known], Schema]] = {
    Kind.READINGS: readings_schema,
    Kind.CAUSES: causes_schema,
    Kind.CAUTIONS: cautions_schema,
    Kind.TREE: tree_schema,
    Kind.PART: part_schema,
    Kind.MACHINE: machine_schema,
    Kind.OUTCOMES: outcomes_schema,
}


def schema_of(kind: Kind, known: Known) -> Schema:
    """Return the schema of one kind of content file as data ready for JSON."""
    return {"$schema": DRAFT, "title": f"{kind.value} of triage", **_MAKERS[kind](known)}
