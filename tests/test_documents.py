"""The documents tell everything there is to type, and the tables in them are those of the content.

The reference tables of DEVELOPERS.md stand between markers and are rewritten by
`REWRITE_SNAPSHOTS=1 python -m pytest tests/test_documents.py`.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.command_line import ROOT
from tests.conversation import shipped_engine
from triage import exits
from triage.cli import build_parser
from triage.console import answers_file
from triage.dialogue.engine import Engine
from triage.physics.faults import DOWN, EITHER, FAULTS, UP, Fault, parts_with
from triage.physics.machine import HEALTHY
from triage.physics.observed import JUDGED
from triage.physics.refrigerant import REFRIGERANTS

README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
ENGINE: Engine = shipped_engine()


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def both() -> str:
    return text_of(README) + text_of(DEVELOPERS)


# What there is to type.


def commands(
    parser: argparse.ArgumentParser, name: str = "triage"
) -> Iterator[tuple[str, argparse.ArgumentParser, str]]:
    """Yield every command that can be run: its words, its parser and what it is for."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            helps = {item.dest: item.help or "" for item in action._choices_actions}
            for word, child in action.choices.items():
                inner = list(commands(child, f"{name} {word}"))
                yield from inner or [(f"{name} {word}", child, helps.get(word, ""))]


def options_of(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Yield the options and arguments of a command that its help shows."""
    for action in parser._actions:
        if action.help != argparse.SUPPRESS and action.dest != "help":
            yield action


def usage_of(action: argparse.Action) -> str:
    """Return an option as it is typed."""
    if action.option_strings:
        choices = "|".join(map(str, action.choices or ()))
        value = "" if action.nargs == 0 else choices or action.metavar or action.dest.upper()
        return f"{action.option_strings[-1]} {value}".strip()
    name = str(action.metavar or action.dest).upper()
    return f"[{name}]" if action.nargs == "?" else name


COMMANDS = {name: (parser, purpose) for name, parser, purpose in commands(build_parser())}


# The reference tables.


def commands_table() -> str:
    rows = ["| command | what it does | options |", "|---|---|---|"]
    for name, (parser, purpose) in COMMANDS.items():
        typed = ", ".join(f"`{usage_of(action)}`" for action in options_of(parser))
        typed = typed.replace("|", r"\|")
        rows.append(f"| `{name}` | {purpose} | {typed} |")
    return "\n".join(rows)


def readings_table() -> str:
    rows = [
        "| reading | what it is | kind | licensed | answers |",
        "|---|---|---|---|---|",
    ]
    for reading in ENGINE.content.readings.values():
        choices = ", ".join(f"`{choice.id}`" for choice in reading.choices)
        licensed = "yes" if reading.is_licensed else ""
        rows.append(
            f"| `{reading.id}` | {reading.name} | {reading.kind.value} | {licensed} | {choices} |"
        )
    return "\n".join(rows)


def causes_table() -> str:
    rows = ["| cause | what it is | side |", "|---|---|---|"]
    rows += [
        f"| `{cause.id}` | {cause.name} | {cause.side.value} |"
        for cause in ENGINE.content.causes.values()
    ]
    return "\n".join(rows)


MADE_ON = "nordhang_rv300"
"""The machine on file that has every part there is to fail."""


def faults_table() -> str:
    rows = [
        "| cause | what is changed, at severity 1 | readings that rise | readings that fall "
        "| either way | rests on judgement |",
        "|---|---|---|---|---|---|",
    ]
    for cause_id, fault in FAULTS.items():
        looks = ", ".join(f"`{look}`" for look, item in JUDGED.items() if cause_id in item.causes)
        judged = "<br>".join(filter(None, [fault.judged, f"Looks: {looks}." if looks else ""]))
        cells = [
            f"`{cause_id}`", changes(cause_id, fault),
            *("<br>".join(told_moves(fault, way)) for way in (UP, DOWN, EITHER)), judged,
        ]  # fmt: skip
        rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows)


def changes(cause_id: str, fault: Fault) -> str:
    """Return the parts that each variant turns, variants that turn the same together."""
    machine = ENGINE.content.machines[MADE_ON]
    told: dict[str, list[str]] = {}
    for variant in fault.variants:
        parts = parts_with(cause_id, 1.0, machine, variant)
        turned = ", ".join(
            f"`{name}` {usual:g} to {getattr(parts, name):.3g}"
            for name in type(HEALTHY).__dataclass_fields__
            if getattr(parts, name) != (usual := getattr(HEALTHY, name))
        )
        told.setdefault(turned, []).append(variant)
    return "<br>".join(
        f"{', '.join(variants)}: {turned}" if all(variants) else turned or "nothing"
        for turned, variants in told.items()
    )


def told_moves(fault: Fault, way: int) -> Iterator[str]:
    for move in fault.moves:
        if move.direction == way:
            only = ", ".join(item for item in fault.variants if move.on and move.holds_on(item))
            yield f"`{move.reading}`{f' ({only})' if only else ''}: {move.why}"


def looks_table() -> str:
    rows = ["| look or value | what it goes by | causes that plainly change it |", "|---|---|---|"]
    for look, item in JUDGED.items():
        causes = ", ".join(f"`{cause}`" for cause in item.causes)
        rows.append(f"| `{look}` | {item.follows} | {causes} |")
    return "\n".join(rows)


def cautions_table() -> str:
    rows = ["| caution | what it warns of |", "|---|---|"]
    rows += [f"| `{item.id}` | {item.title} |" for item in ENGINE.content.cautions.values()]
    return "\n".join(rows)


TABLES = {
    "commands": commands_table,
    "readings": readings_table,
    "causes": causes_table,
    "cautions": cautions_table,
    "faults": faults_table,
    "looks": looks_table,
}


@pytest.mark.parametrize("name", TABLES)
def test_a_reference_table_is_what_program_and_content_say(name: str) -> None:
    begin, end = f"<!-- {name}: generated -->\n", f"\n<!-- end of {name} -->"
    document = text_of(DEVELOPERS)
    assert document.count(begin) == 1, f"DEVELOPERS.md lacks the markers of {name}"
    before, rest = document.split(begin)
    table, after = rest.split(end)
    if os.environ.get("REWRITE_SNAPSHOTS"):
        table = TABLES[name]()
        DEVELOPERS.write_text(before + begin + table + end + after, encoding="utf-8")
    assert table == TABLES[name]()


def test_no_table_has_a_cell_that_breaks_its_row() -> None:
    for make in TABLES.values():
        head, *rows = make().splitlines()
        columns = head.count("|")
        assert all(len(re.findall(r"(?<!\\)\|", row)) == columns for row in rows)


# What the documents tell.


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_with_an_example(command: str) -> None:
    assert command in text_of(README)


@pytest.mark.parametrize(
    ("command", "option"),
    [
        (name, option)
        for name, (parser, _) in COMMANDS.items()
        for action in options_of(parser)
        for option in action.option_strings
    ],
)
def test_every_option_is_documented_and_has_a_help(command: str, option: str) -> None:
    assert re.search(rf"{re.escape(option)}\b", both())
    parser, _ = COMMANDS[command]
    assert all(action.help for action in options_of(parser))


def test_every_command_tells_what_it_is_for() -> None:
    assert all(purpose for _, purpose in COMMANDS.values())


def test_every_exit_code_is_documented_where_users_and_developers_look() -> None:
    codes = {value for name, value in vars(exits).items() if name.isupper()}
    assert codes == {0, 1, 2, 3, 4, 130}
    for code in codes:
        assert re.search(rf"^\| {code} \|", text_of(README), re.MULTILINE)
        assert re.search(rf"\b{code} [a-z]", text_of(DEVELOPERS))
        assert re.search(rf"\b{code} [a-z]", build_parser().epilog or "")


def test_every_key_of_an_answers_file_is_in_the_readme() -> None:
    for key in answers_file._RESERVED:
        assert re.search(rf"\b{key}\b", text_of(README)), key


def test_every_word_that_steers_a_call_is_in_the_readme() -> None:
    for word in ("back", "change", "unknown", "why", "how", "note", "case", "stop", "help"):
        assert f"`{word}" in text_of(README)


def test_every_refrigerant_is_in_the_readme() -> None:
    assert all(item in text_of(README) for item in REFRIGERANTS)


def test_every_dependency_is_told_with_its_reason() -> None:
    project = tomllib.loads(text_of(ROOT / "pyproject.toml"))["project"]
    needed = [*project["dependencies"], *project["optional-dependencies"]["postgresql"],
              *project["optional-dependencies"]["test"]]  # fmt: skip
    told = text_of(DEVELOPERS).lower()
    for line in needed:
        name = re.split(r"[\[<>=]", line)[0]
        assert name.lower() in told, name


def test_every_room_is_told() -> None:
    for folder in (ROOT / "triage").iterdir():
        if (folder / "__init__.py").exists():
            assert f"  {folder.name}/" in text_of(DEVELOPERS)


# The README itself.


def test_the_readme_begins_with_what_the_program_is_for() -> None:
    title, blank, first, *_ = text_of(README).splitlines()
    assert title == "# triage"
    assert blank == ""
    assert len(first) > 200
    assert "ice-machine hotline" in first


def test_the_readme_has_its_two_commands() -> None:
    for name in ("first-command", "second-command"):
        block = re.search(rf"<!-- {name} -->\n```sh\n(.+)\n```", text_of(README))
        assert block is not None
        assert "pip install" in block[1]


def test_links_between_the_documents_lead_somewhere() -> None:
    for path in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#]+)\)", text_of(path)):
            assert "://" in target or (ROOT / target).exists(), target


def test_files_named_in_the_developers_page_exist() -> None:
    words = re.findall(r"`(?:python )?([a-z_]+/[\w./]+\.(?:py|yaml|md))`", text_of(DEVELOPERS))
    named = [word for word in words if "NAME" not in word]
    assert named
    for name in named:
        assert any((base / name).exists() for base in (ROOT, ROOT / "triage")), name


# What must not be in any file.

_NOT_OURS = re.compile(
    # Written in pieces, so that this file does not find itself.
    "|".join(["/wo" "rk/", "/ro" "ot/", r"/tm" r"p/", r"\bpypi\." "org", "pythonhos" "ted",
              "DESIGN" r"\.md", r"\bissue " r"[0-9]"])
)  # fmt: skip


def our_files() -> list[Path]:
    """Return the files that belong to the project, known to git or not yet."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, check=False,
    )  # fmt: skip
    if listed.returncode != 0:
        return [path for path in ROOT.rglob("*") if path.is_file() and ".git" not in path.parts]
    return [ROOT / name for name in listed.stdout.decode().split("\0") if name]


def test_no_file_names_a_folder_of_one_machine() -> None:
    found = []
    for path in our_files():
        if path.is_file():
            text = path.read_bytes().decode("utf-8", errors="replace")
            found += [f"{path.relative_to(ROOT)}: {match[0]}" for match in _NOT_OURS.finditer(text)]
    assert found == []


def test_the_readmes_excerpt_is_what_the_demo_call_shows() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    excerpt = readme.split("<!-- excerpt -->")[1].split("```")[1].strip("\n").splitlines()
    stored = ROOT / "transcripts_demo" / "01_receiver_vapor_feed_agent_us.txt"
    shown = iter(stored.read_text(encoding="utf-8").splitlines())
    for line in excerpt:
        assert line == "[…]" or line in shown, f"not in the demo call, or not in this order: {line}"
