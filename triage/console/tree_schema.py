"""`triage tree schema`: what an editor needs to complete and check content files while typing."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from triage.console.aside import write_aside
from triage.tree.files import read_files, shown_name
from triage.tree.schema.kinds import Kind, patterns_of
from triage.tree.schema.known import Known, known_in
from triage.tree.schema.schemas import schema_of
from triage.tree.where import content_folder

_BY_HAND = frozenset(Kind) - {Kind.OUTCOMES}
"""What a person writes; outcomes.json is written by `triage tree priors`."""

_TO_DO = """
A file is completed and checked while you type if your editor has a YAML language server and this is
the first line of the file:
{lines}
Or once for all files, in the settings of that server:
{settings}
Run this again when a reading, cause, caution, hazard or part comes, goes or is renamed. Whether a
node named in a file is there, sums, and units are not for a schema: triage tree check tells those.
"""


def write_schema(options: argparse.Namespace) -> int:
    """Print the schema of one kind of file, or write those of all; return the exit code.

    Raises ContentFolderMissing, or ContentErrors for a file that cannot be read at all.
    """
    folder = content_folder(options.trees)
    known = known_in(read_files(folder))
    if options.write is None:
        sys.stdout.write(_text(Kind(options.kind or Kind.TREE), known))
    else:
        kinds = [Kind(options.kind)] if options.kind else list(Kind)
        options.write.mkdir(parents=True, exist_ok=True)
        for kind in kinds:
            path = _path(options.write, kind)
            path.write_text(_text(kind, known), encoding="utf-8")
            sys.stdout.write(f"written: {path}\n")
        sys.stdout.write(
            _TO_DO.format(
                lines="\n".join(_first_lines(kinds, folder, options.write)),
                settings=json.dumps(_settings(kinds, folder, options.write), indent=2),
            )
        )
    _tell_gaps(known)
    return 0


def _text(kind: Kind, known: Known) -> str:
    return json.dumps(schema_of(kind, known), indent=2, ensure_ascii=False) + "\n"


def _path(folder: Path, kind: Kind) -> Path:
    return folder / f"{kind.value}.schema.json"


def _first_lines(kinds: Sequence[Kind], trees: Path, schemas: Path) -> Iterator[str]:
    """Yield the line for each file pattern of each kind; paths in it start at the file."""
    for kind in kinds:
        for pattern in patterns_of(kind) if kind in _BY_HAND else ():
            if not pattern.startswith("!"):
                path = _path(schemas, kind).resolve()
                relative = _relative(path, (trees / pattern).resolve().parent)
                yield f"  {pattern:<16} # yaml-language-server: $schema={relative}"


def _settings(kinds: Sequence[Kind], trees: Path, schemas: Path) -> dict[str, dict[str, list[str]]]:
    name = trees.resolve().name
    return {
        "yaml.schemas": {
            str(_path(schemas, kind).resolve()): [
                f"!{name}/{pattern[1:]}" if pattern.startswith("!") else f"{name}/{pattern}"
                for pattern in patterns_of(kind)
            ]
            for kind in kinds
            if kind in _BY_HAND
        }
    }


def _relative(path: Path, start: Path) -> str:
    try:
        return Path(os.path.relpath(path, start)).as_posix()
    except ValueError:  # on another drive there is no way from one to the other
        return path.as_uri()


def _tell_gaps(known: Known) -> None:
    gaps = [shown_name(name) for name in known.not_read]
    gaps += [name for name, reading in known.readings.items() if reading is None]
    if gaps:
        write_aside(
            f"left open, as it could not be read: {', '.join(gaps)}; triage tree check says why"
        )
