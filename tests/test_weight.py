"""What may be loaded when: facts about modules, not clocks."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.command_line import ROOT, UNLICENSED, answers_file, environment, program
from tests.conversation import FEED_FAILED

HEAVY = {
    "rich", "prompt_toolkit", "networkx", "CoolProp", "sqlalchemy", "numpy", "yaml", "alembic",
    "jinja2", "matplotlib",
}  # fmt: skip
PACKAGE = ROOT / "triage"

MAY_IMPORT_NUMPY = {"learning/modes.py"}
MAY_IMPORT_COOLPROP = {"physics/build_tables.py", "physics/exact.py"}
"""The builder of the tables and `triage gas --exact`; everything else reads the tables."""


def loaded_by(code: str, env: dict[str, str], heavy: set[str] = HEAVY) -> set[str]:
    """Return which heavy modules a fresh interpreter holds after `code`."""
    ending = (
        "\nimport json, sys"
        f"\nsys.stderr.write('\\n' + json.dumps(sorted({heavy!r} & set(sys.modules))))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code + ending],
        env=env, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(json.loads(ended.stderr.splitlines()[-1]))


def main_with(*arguments: str | Path) -> str:
    """Return a program that goes through the door with these arguments."""
    return f"from triage.cli import main; main({[str(item) for item in arguments]!r})"


@pytest.mark.parametrize(
    "code",
    [
        "import triage",
        "import triage.cli",
        "from triage.cli import build_parser; build_parser()",
        main_with("--version"),
        main_with("--help"),
        main_with("call", "--help"),
        main_with("log", "show", "--help"),
        main_with("log", "export", "--help"),
    ],
    ids=[
        "package", "door", "parser", "--version", "--help", "call --help", "log show --help",
        "log export --help",
    ],
)  # fmt: skip
def test_nothing_heavy_is_loaded_to_read_the_command_line(
    own_folders: dict[str, str], code: str
) -> None:
    assert loaded_by(code, own_folders) == set()


def test_a_mistyped_command_loads_nothing_heavy(own_folders: dict[str, str]) -> None:
    assert loaded_by(main_with("cal"), own_folders) == set()


@pytest.mark.parametrize(
    ("arguments", "needless"),
    [
        (("gas", "R-404A", "--pressure", "62"), {"networkx", "sqlalchemy", "yaml", "numpy"}),
        (("expect", "gletsch_r500"), {"networkx", "sqlalchemy", "yaml", "numpy"}),
        (("call", "--answers", "nowhere.yaml"), {"sqlalchemy", "numpy"}),
        (("demo",), {"sqlalchemy", "numpy"}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_command_loads_what_it_needs_and_never_coolprop(
    own_folders: dict[str, str], arguments: tuple[str, ...], needless: set[str]
) -> None:
    loaded_by(main_with("expect"), own_folders)  # the content is remembered from here on
    assert (
        loaded_by(main_with(*arguments), own_folders) & (needless | {"CoolProp", "prompt_toolkit"})
        == set()
    )


@pytest.fixture(scope="module")
def with_a_call(
    tmp_path_factory: pytest.TempPathFactory, content_cache: Path
) -> tuple[dict[str, str], str]:
    """The environment of a user whose record holds one call, and its id."""
    home = tmp_path_factory.mktemp("home")
    env = environment(home, content_cache)
    path = answers_file(home, FEED_FAILED, acknowledge="all")
    taken = program("call", "--answers", path, "--json", env=env)
    return env, json.loads(taken.stdout)["session_id"]


@pytest.mark.parametrize(
    ("command", "besides"),
    [
        ("parked", set()),
        ("log list", set()),
        ("log verify", set()),
        ("log audit", set()),
        ("log audit --rules", set()),
        ("log figures", set()),
        ("log figures --images plots", {"matplotlib", "numpy"}),
        ("log purge --before 2020-01-01 --yes", set()),
        ("outcome SESSION --found no_fault_found", set()),
        ("tree priors", {"yaml"}),
        ("log show SESSION", {"networkx"}),
        ("log replay", {"networkx"}),
        ("log export --as jsonl", {"networkx"}),
        ("log export --as csv", {"networkx"}),
        ("log export --as markdown", {"networkx"}),
        ("log export --as html", {"networkx", "jinja2", "matplotlib", "numpy"}),
    ],
)
def test_a_command_over_the_record_loads_the_store_the_screen_and_what_it_draws(
    with_a_call: tuple[dict[str, str], str], tmp_path: Path, command: str, besides: set[str]
) -> None:
    """The store is there already, so nothing lifts it either."""
    env, session_id = with_a_call
    words = command.replace("SESSION", session_id).replace("plots", str(tmp_path / "plots"))
    code = f"from triage.cli import main; assert main({words.split()!r}) in (0, 1)"
    loaded = loaded_by(code, env)
    assert loaded - {"rich", "sqlalchemy"} <= besides


@pytest.mark.parametrize("answers", [FEED_FAILED, UNLICENSED], ids=["recommended", "handed over"])
def test_a_whole_scripted_call_needs_neither_coolprop_nor_numpy_nor_the_line_editor(
    tmp_path: Path, own_folders: dict[str, str], answers: dict[str, str]
) -> None:
    path = answers_file(tmp_path, answers, acknowledge="all")
    loaded = loaded_by(main_with("call", "--answers", path, "--json"), own_folders)
    assert not loaded & {"CoolProp", "numpy", "prompt_toolkit"}


def test_the_first_question_waits_for_no_graph_no_store_and_no_yaml(
    own_folders: dict[str, str],
) -> None:
    loaded_by(main_with("expect"), own_folders)
    code = """
from datetime import UTC, datetime
from triage.console.desk import Desk
from triage.console.call import content_of, engine_of, store_opener
from triage.dialogue.events import Started
import argparse
content = content_of(argparse.Namespace(trees=None))
engine = engine_of(content, "will_not_release")
desk = Desk.start(engine, store_opener(None), lambda: datetime.now(UTC), "x", "agent",
                  Started("will_not_release", content.version, "agent", "us"))
assert desk.prompt.node == "opening.caller_qualification"
"""
    needless = {"networkx", "sqlalchemy", "yaml", "numpy", "CoolProp", "prompt_toolkit"}
    assert not loaded_by(code, own_folders) & needless


def test_numpy_may_be_missing_altogether_for_a_call(
    tmp_path: Path, own_folders: dict[str, str]
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    code = f"""
import sys
for name in ("numpy", "CoolProp", "scipy", "pandas"):
    sys.modules[name] = None
from triage.cli import main
assert main(["call", "--answers", {str(path)!r}, "--json"]) == 0
"""
    ended = subprocess.run([sys.executable, "-c", code], env=own_folders, cwd=ROOT, check=False,
                           capture_output=True, text=True)  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    assert json.loads(ended.stdout)["result"] == "recommended"


def imports_of(path: Path) -> set[str]:
    """Return the modules a file imports, at its head or anywhere inside."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


SOURCES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_one_way_and_heavy_ones_stay_in_their_place(path: Path) -> None:
    name = path.relative_to(PACKAGE).as_posix()
    imported = imports_of(path)
    tops = {module.split(".")[0] for module in imported}
    if "numpy" in tops:
        assert name in MAY_IMPORT_NUMPY
    if "CoolProp" in tops:
        assert name in MAY_IMPORT_COOLPROP
    rooms = {module.split(".")[1] for module in imported if module.startswith("triage.")}
    room = name.split("/")[0] if "/" in name else ""
    forbidden = {
        "physics": {"tree", "dialogue", "store", "drill", "learning", "console", "review", "cli"},
        "tree": {"dialogue", "store", "drill", "learning", "console", "review", "cli"},
        "dialogue": {"store", "drill", "learning", "console", "review", "cli"},
        "store": {"physics", "tree", "drill", "learning", "console", "review", "cli"},
        "drill": {"learning", "console", "review", "cli"},
        "learning": {"console", "review", "cli"},
        "console": {"review", "cli"},
        "review": {"cli"},
    }
    assert not rooms & forbidden.get(room, set())
    if room in ("physics", "tree", "dialogue"):
        assert not tops & {"rich", "prompt_toolkit", "sqlalchemy", "random", "time"}
    if room in ("physics", "tree"):
        assert "datetime" not in tops


@pytest.mark.parametrize("path", sorted((PACKAGE / "dialogue").glob("*.py")), ids=lambda p: p.name)
def test_the_dialogue_is_told_the_time_and_the_zone_and_asks_no_computer_for_them(
    path: Path,
) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            assert node.func.attr not in {"now", "today", "utcnow", "fromtimestamp", "localtime"}
            assert node.func.attr != "astimezone" or node.args


PURE = [
    *(
        f"dialogue/{name}.py"
        for name in ("engine", "judge", "rank", "gate", "parking", "repair", "standing", "words")
    ),
    *(f"store/{name}.py" for name in ("summary", "chain_faults", "links", "listing", "tallies")),
    *(
        f"review/{name}.py"
        for name in (
            "replay", "audit", "audit_call", "audit_care", "audit_safety", "figures",
            "figures_data", "figures_words", "measures",
        )
    ),
    *(
        f"review/export/{name}.py"
        for name in (
            "call", "talk", "told", "cycle", "redaction", "markdown", "jsonl", "csv_table",
            "gauge_place", "outcome_words",
        )
    ),
]  # fmt: skip
"""What is given all it needs: nothing is read, written, asked of a clock or drawn by lot."""


@pytest.mark.parametrize("name", PURE)
def test_what_is_pure_reads_no_clock_and_no_file_and_writes_nothing(name: str) -> None:
    path = PACKAGE / name
    calls = [
        node.func
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
    ]
    names = {func.id for func in calls if isinstance(func, ast.Name)}
    attributes = {func.attr for func in calls if isinstance(func, ast.Attribute)}
    assert not names & {"print", "open", "input", "open_store"}
    assert not attributes & {
        "now", "today", "utcnow", "open", "read_text", "write_text", "read_bytes", "write_bytes",
    }  # fmt: skip
    tops = {module.split(".")[0] for module in imports_of(path)}
    assert not tops & {"os", "sys", "random", "secrets", "time", "pathlib", "sqlalchemy"}
