"""What is loaded when: a fact about modules, not a clock."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {"sqlalchemy", "psycopg", "platformdirs", "numpy"}


def loaded_after(code: str) -> set[str]:
    """The heavy modules a bare interpreter holds after `code`."""
    ending = f"\nimport sys; print(*({HEAVY!r} & set(sys.modules)))"
    answer = subprocess.run(
        [sys.executable, "-c", code + ending], capture_output=True, text=True, check=True
    )
    return set(answer.stdout.split())


@pytest.mark.parametrize(
    "module", ["triage.store", "triage.store.open", "triage.store.record", "triage.store.errors"]
)
def test_naming_the_store_loads_nothing_heavy(module: str) -> None:
    assert loaded_after(f"import {module}") == set()


def test_warming_up_loads_what_a_file_needs_and_no_driver_of_a_server() -> None:
    assert loaded_after("from triage.store.open import warm_up; warm_up()") == {"sqlalchemy"}


def test_a_store_in_memory_needs_nothing_more_than_warming_up_loaded() -> None:
    code = (
        "from triage.store.open import open_store, warm_up; warm_up(); import sys\n"
        "before = set(sys.modules); open_store(':memory:').sessions()\n"
        "late = [name for name in set(sys.modules) - before if name.startswith('triage')]\n"
        "assert not late, late"
    )
    assert loaded_after(code) == {"sqlalchemy"}
