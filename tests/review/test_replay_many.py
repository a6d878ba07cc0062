"""How stored calls are dealt out to processes."""

from __future__ import annotations

import os
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tree.miniature import sound_draft
from triage.review import replay_many as many
from triage.tree.content import Content


@given(st.lists(st.sampled_from("abcde"), max_size=90))
def test_calls_at_the_same_conditions_go_to_one_process_and_none_is_lost(places: list[str]) -> None:
    conditions = {number: (place,) for number, place in enumerate(places)}
    batches = many.batches_of(conditions)
    assert sorted(number for batch in batches for number in batch) == list(conditions)
    for batch, following in pairwise(batches):
        assert many.BATCH <= len(batch) <= many.LARGEST_BATCH
        is_split = conditions[batch[-1]] == conditions[following[0]]
        assert not is_split or len(batch) == many.LARGEST_BATCH


class Told:
    """Tells of a number which process it was in."""

    def __init__(self, content: Content) -> None:
        self._version = content.version

    def __call__(self, number: int) -> tuple[int, str, int]:
        return number, self._version, os.getpid()


@pytest.mark.parametrize("count", [many.BATCH, many.BATCH + 4])
def test_items_come_back_in_their_order_many_of_them_from_other_processes(
    count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(many.os, "cpu_count", lambda: 2)
    content = sound_draft().content()
    progress: list[tuple[int, int | None]] = []
    found = list(
        many.each_item(Told, content, list(range(count)), lambda *done: progress.append(done))
    )
    assert [number for number, _, _ in found] == list(range(count))
    assert {version for _, version, _ in found} == {content.version}
    assert (os.getpid() in {process for _, _, process in found}) == (count <= many.BATCH)
    assert progress == [(done, count) for done in range(count + 1)]
