"""Which stored calls a command is about: those named, else all that the filters let through."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from triage.console.asked import UsageError
from triage.store import open_store
from triage.store.errors import SessionNotFound, StoreMissing, shown
from triage.store.listing import SessionFilter, SessionSummary
from triage.store.record import StoredEvent
from triage.tree.content import Content

if TYPE_CHECKING:
    from triage.store.sql import Store

Chosen = tuple[SessionSummary, list[StoredEvent]]
"""The line and the events of a call; a damaged one has a fault in its line and no events."""


@contextmanager
def opened_record(options: argparse.Namespace) -> Iterator[Store | None]:
    """Open the record that the options name; None while no call was ever stored.

    Raises StoreError: StoreMissing if a record was named that is not there, SessionNotFound if
    calls are named while there is none.
    """
    try:
        store = open_store(options.store, must_exist=True)
    except StoreMissing as error:
        if options.store is not None:  # a slip of the hand, more likely than an empty record
            raise
        if options.session:
            raise SessionNotFound(
                f'no session "{shown(options.session[0])}": no call is stored yet; triage log list '
                "shows those there are"
            ) from error
        yield None
        return
    with store:
        yield store


def chosen(options: argparse.Namespace, store: Store, content: Content | None) -> Iterator[Chosen]:
    """Yield the calls that the options choose: those named in their order, else the latest first.

    `options.most` limits how many. Names are resolved before the first call is yielded. Purged and
    damaged calls raise StoreError where they are named; else purged ones are left out, and damaged
    ones come with their fault. Raises UsageError for names together with filters.
    """
    from triage.review.filters import filter_of

    where = filter_of(options, content)
    if not options.session:
        return store.each_session(where, options.most)
    if where != SessionFilter():
        raise UsageError("name sessions or filter them; the two do not go together")
    named = list(dict.fromkeys(map(store.resolve, options.session)))[: options.most]
    return ((store.summary(session_id), store.events(session_id)) for session_id in named)
