"""A content folder read into checked, immutable content; every mistake of every file told at once.

`load_content` reads and checks the files alone. A call wants `triage.tree.cache.checked_content`,
which also proves the graphs and remembers having done so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from triage.physics.machine import Machine
from triage.tree.compose import Fragment, check_uses, compose
from triage.tree.content import LIKELIHOODS, OUTCOMES, Content, Place, Stakes, Tree
from triage.tree.errors import Mistakes, quoted
from triage.tree.files import (
    CAUSES,
    CAUTIONS,
    MACHINES,
    PARTS,
    READINGS,
    content_version,
    read_files,
    shown_name,
)
from triage.tree.likelihoods import check_likelihoods
from triage.tree.load_machine import ID_KEY, check_spoken, read_machine
from triage.tree.load_outcomes import read_outcomes
from triage.tree.load_readings import (
    Names,
    Readings,
    names_under,
    read_causes,
    read_cautions,
    read_readings,
    read_stakes,
)
from triage.tree.load_tree import read_part, read_tree
from triage.tree.marked_yaml import Table, read_marked
from triage.tree.sections import Section

FORMAT = 1
"""Version of the layout of content files; every file starts with it."""

_THE_FILE = "the file"

Found = TypeVar("Found")
Sections = Mapping[str, Section]


def load_content(folder: Path) -> Content:
    """Return the checked content of a folder.

    Raises ContentFolderMissing, or ContentErrors with every mistake in file order.
    """
    return content_from_files(folder, read_files(folder))


def content_from_files(folder: Path, files: Mapping[str, bytes]) -> Content:
    """Return the checked content of files already in memory; `folder` is for messages only.

    Raises ContentErrors with every mistake in file order.
    """
    mistakes = Mistakes()
    for kind in (READINGS, CAUTIONS, CAUSES):
        if not any(_is_of(kind, name) for name in files):
            name = f"{kind}.yaml"
            mistakes.add(Place(name, 1, 1), "the file is missing; add it to the content folder")
    sections = {
        name: section
        for name, data in files.items()
        if name != LIKELIHOODS
        and (section := _opened(shown_name(name), data, mistakes)) is not None
    }
    caution_names = _names(CAUTIONS, sections, files)
    cause_names = _names(CAUSES, sections, files)
    found, twice = _merged(
        READINGS, sections, lambda section: read_readings(section, caution_names), mistakes
    )
    readings: Readings = None
    if _names(READINGS, sections, files) is not None:
        # Which of two is meant nobody knows, so nothing is held against either.
        readings = {**found, **dict.fromkeys(twice)}
    cautions, cautions_twice = _merged(CAUTIONS, sections, read_cautions, mistakes)
    hazards = None
    if caution_names is not None:
        hazards = frozenset(
            tag
            for caution in (*cautions.values(), *cautions_twice.values())
            for tag in caution.hazards
        )
    causes, _ = _merged(
        CAUSES, sections, lambda section: read_causes(section, readings, hazards), mistakes
    )
    stakes_file = sections.get(f"{CAUSES}.yaml")
    stakes = read_stakes(stakes_file) if stakes_file else Stakes()
    machines = _machines(sections, readings)
    trees = _trees(sections, readings, cause_names, mistakes)
    outcomes_file = sections.get(OUTCOMES)
    confirmed = read_outcomes(outcomes_file, trees, cause_names) if outcomes_file else {}
    for section in sections.values():
        section.finish()
    likelihoods = check_likelihoods(files.get(LIKELIHOODS), mistakes)
    mistakes.raise_if_any(folder)
    return Content(
        version=content_version(files),
        readings=MappingProxyType(
            {name: each for name, each in (readings or {}).items() if each is not None}
        ),
        cautions=MappingProxyType(cautions),
        causes=MappingProxyType(causes),
        machines=MappingProxyType({name: machine for name, (_, machine) in machines.items()}),
        trees=MappingProxyType(trees),
        machine_places=MappingProxyType(
            {name: section.place_of(ID_KEY) for name, (section, _) in machines.items()}
        ),
        stakes=stakes,
        likelihoods=likelihoods,
        outcomes=confirmed,
    )


def _is_of(kind: str, name: str) -> bool:
    """Whether a file holds readings, cautions or causes: `causes.yaml`, or one in `causes/`."""
    return name == f"{kind}.yaml" or name.startswith(f"{kind}/")


def _names(kind: str, sections: Sections, files: Mapping[str, bytes]) -> Names:
    """Return the ids of one kind over all its files; None if any of them could not be read."""
    found: set[str] = set()
    for name in files:
        if _is_of(kind, name):
            section = sections.get(name)
            names = names_under(section, kind) if section is not None else None
            if names is None:
                return None
            found |= names
    return frozenset(found)


def _merged(
    kind: str,
    sections: Sections,
    read: Callable[[Section], Mapping[str, Found]],
    mistakes: Mistakes,
) -> tuple[dict[str, Found], dict[str, Found]]:
    """Return what all files of one kind hold, by id, and what they hold a second time.

    A mistake is kept for an id told twice, with both places.
    """
    merged: dict[str, Found] = {}
    twice: dict[str, Found] = {}
    owners: dict[str, Place] = {}
    # The one file comes first, then those of the folder by name.
    for name in sorted(
        filter(partial(_is_of, kind), sections), key=lambda each: ("/" in each, each)
    ):
        section = sections[name]
        for found_id, found in read(section).items():
            table = section.table.entries[kind].value
            assert isinstance(table, Table)
            place = table.entries[found_id].key.place
            if found_id in owners:
                mistakes.add(
                    place, f"{quoted(found_id)} stands among the {kind} twice, here and at "
                    f"{owners[found_id]}; rename one, or drop it"
                )  # fmt: skip
                twice[found_id] = found
                continue
            owners[found_id] = place
            merged[found_id] = found
    return merged, twice


def _opened(name: str, data: bytes, mistakes: Mistakes) -> Section | None:
    table = read_marked(name, data, mistakes)
    if table is None:
        return None
    section = Section(table, _THE_FILE, mistakes)
    first = next(iter(table.entries), None)
    version = section.number("format", FORMAT, FORMAT)
    if version is not None and first != "format":
        section.complain(
            table.entries["format"].key.place, "names its format too late; make it the first line"
        )
    return section


def _machines(
    sections: Mapping[str, Section], readings: Readings
) -> dict[str, tuple[Section, Machine]]:
    machines: dict[str, tuple[Section, Machine]] = {}
    for name, section in sections.items():
        if not name.startswith(f"{MACHINES}/"):
            continue
        section.what = f"machine {quoted(Path(name).stem)}"
        machine = read_machine(section, readings)
        if machine is None:
            continue
        if machine.id in machines:
            first = machines[machine.id][0].table.place.file
            section.complain(
                section.place_of(ID_KEY), f"is called {quoted(machine.id)}, as the one in {first}; "
                "rename one"
            )  # fmt: skip
            continue
        machines[machine.id] = (section, machine)
    check_spoken(machines)
    return machines


def _trees(
    sections: Sections,
    readings: Readings,
    causes: Names,
    mistakes: Mistakes,
) -> dict[str, Tree]:
    trees: dict[str, Fragment] = {}
    parts: dict[str, Fragment] = {}
    for name, section in sections.items():
        is_part = name.startswith(f"{PARTS}/")
        if not is_part and ("/" in name or name == OUTCOMES):
            continue
        if not is_part and any(_is_of(kind, name) for kind in (READINGS, CAUTIONS, CAUSES)):
            continue
        found = (read_part if is_part else read_tree)(section, readings, causes)
        if found is None:
            continue
        kind, known = ("part", parts) if is_part else ("tree", trees)
        if found.id in known:
            section.complain(
                found.place, f"holds the {kind} {quoted(found.id)}, as "
                f"{known[found.id].place.file} does; rename one"
            )  # fmt: skip
            continue
        known[found.id] = found
    if not trees and not mistakes.found:
        mistakes.add(
            Place(f"{READINGS}.yaml", 1, 1),
            "the folder holds no tree; add a file with tree:, as in tree: id",
        )
    fragments = {**{f"tree {key}": each for key, each in trees.items()}}
    fragments |= {f"part {key}": each for key, each in parts.items()}
    check_uses(fragments, parts, mistakes)
    _check_parts_are_used(fragments, parts, mistakes)
    if mistakes.found:  # a route may lead nowhere
        return {}
    return {name: compose(fragment, parts) for name, fragment in trees.items()}


def _check_parts_are_used(
    fragments: Mapping[str, Fragment], parts: Mapping[str, Fragment], mistakes: Mistakes
) -> None:
    used = {use.part for fragment in fragments.values() for use in fragment.uses.values()}
    for name, part in parts.items():
        if name not in used:
            mistakes.add(part.place, f"part {quoted(name)} is used nowhere; use it or delete it")
