"""The worked examples in the docstrings of the chat surface hold."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest


@pytest.mark.parametrize("module", ["evidence", "figures", "gauge", "prompt_line", "telling"])
def test_examples_in_docstrings_hold(module: str) -> None:
    result = doctest.testmod(import_module(f"triage.console.{module}"))
    assert result.attempted > 0
    assert result.failed == 0
