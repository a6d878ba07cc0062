"""A content folder read into checked, immutable content; every mistake of every file told at once.

`load_content` reads and checks the files alone. A call wants `triage.tree.cache.checked_content`,
which also proves the graphs and remembers having done so.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from triage.physics.machine import Machine
from triage.tree.content import LIKELIHOODS, OUTCOMES, Content, Place, Stakes, Tree
from triage.tree.errors import Mistakes, quoted
from triage.tree.files import MACHINES, content_version, read_files, shown_name
from triage.tree.likelihoods import check_likelihoods
from triage.tree.load_machine import ID_KEY, check_spoken, read_machine
from triage.tree.load_readings import (
    Names,
    Readings,
    names_under,
    read_causes,
    read_cautions,
    read_readings,
    read_stakes,
)
from triage.tree.load_tree import read_tree
from triage.tree.marked_yaml import read_marked
from triage.tree.priors import read_outcomes, with_outcomes
from triage.tree.sections import Section

FORMAT = 1
"""Version of the layout of content files; every file starts with it."""

READINGS, CAUTIONS, CAUSES = "readings.yaml", "cautions.yaml", "causes.yaml"

_THE_FILE = "the file"


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
    for name in (READINGS, CAUTIONS, CAUSES):
        if name not in files:
            mistakes.add(Place(name, 1, 1), "the file is missing; add it to the content folder")
    sections = {
        name: section
        for name, data in files.items()
        if name != LIKELIHOODS
        and (section := _opened(shown_name(name), data, mistakes)) is not None
    }
    cautions_file, causes_file = sections.get(CAUTIONS), sections.get(CAUSES)
    readings_file = sections.get(READINGS)
    readings = (
        read_readings(
            readings_file, names_under(cautions_file, "cautions") if cautions_file else None
        )
        if readings_file
        else None
    )
    cautions = read_cautions(cautions_file) if cautions_file else None
    hazards = (
        None
        if cautions is None
        else frozenset(hazard for caution in cautions.values() for hazard in caution.hazards)
    )
    causes = read_causes(causes_file, readings, hazards) if causes_file else {}
    stakes = read_stakes(causes_file) if causes_file else Stakes()
    machines = _machines(sections, readings)
    trees = _trees(
        sections, readings, names_under(causes_file, "causes") if causes_file else None, mistakes
    )
    outcomes_file = sections.get(OUTCOMES)
    cause_names = names_under(causes_file, "causes") if causes_file else None
    confirmed = read_outcomes(outcomes_file, cause_names) if outcomes_file else {}
    for section in sections.values():
        section.finish()
    likelihoods = check_likelihoods(files.get(LIKELIHOODS), mistakes)
    mistakes.raise_if_any(folder)
    content = Content(
        version=content_version(files),
        readings=MappingProxyType(
            {name: each for name, each in (readings or {}).items() if each is not None}
        ),
        cautions=MappingProxyType(cautions or {}),
        causes=MappingProxyType(causes),
        machines=MappingProxyType({name: machine for name, (_, machine) in machines.items()}),
        trees=MappingProxyType(trees),
        machine_places=MappingProxyType(
            {name: section.place_of(ID_KEY) for name, (section, _) in machines.items()}
        ),
        stakes=stakes,
        likelihoods=likelihoods,
    )
    return with_outcomes(content, confirmed)


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
    sections: Mapping[str, Section],
    readings: Readings,
    causes: Names,
    mistakes: Mistakes,
) -> dict[str, Tree]:
    trees: dict[str, Tree] = {}
    for name, section in sections.items():
        if "/" in name or name in (READINGS, CAUTIONS, CAUSES, OUTCOMES):
            continue
        tree = read_tree(section, readings, causes)
        if tree is None:
            continue
        if tree.id in trees:
            section.complain(
                tree.place, f"holds the tree {quoted(tree.id)}, as {trees[tree.id].place.file} "
                "does; rename one"
            )  # fmt: skip
            continue
        trees[tree.id] = tree
    if not trees and not mistakes.found:
        mistakes.add(
            Place(READINGS, 1, 1), "the folder holds no tree; add a file with tree:, as in tree: id"
        )
    return trees
