"""The shipped likelihoods are those of the shipped content and of this virtual machine.

If this fails, machines, readings, faults or callers have changed since the file was computed: run
`triage tree likelihoods` and look at the benchmark of accuracy again.
"""

from __future__ import annotations

import json

from tests.conversation import shipped_engine
from triage.learning.compute import changed_since
from triage.tree.likelihoods import staleness

CONTENT = shipped_engine().content


def test_the_shipped_likelihoods_belong_to_the_shipped_content() -> None:
    assert staleness(CONTENT) == ""


def test_the_shipped_likelihoods_are_fresh() -> None:
    assert changed_since(CONTENT) == []


def test_the_shipped_likelihoods_say_by_which_command_they_came_about() -> None:
    provenance = json.loads(CONTENT.likelihoods)["provenance"]
    counts = (provenance["places"], provenance["draws"], provenance["seed"])
    assert provenance["command"] == (
        "triage tree likelihoods --places {} --draws {} --seed {}".format(*counts)
    )
    assert provenance["made_up_calls"] > 1000
