"""What the tests of the review share."""

from __future__ import annotations

import pytest

from tests.conversation import FEED_FAILED
from tests.review.stored_calls import call_of
from triage.store.record import StoredEvent


@pytest.fixture(scope="session")
def sound() -> list[StoredEvent]:
    """A call nobody hurried, from its start to the repair."""
    return call_of(FEED_FAILED)
