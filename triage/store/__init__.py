"""Sessions kept as append-only events on disk or on a database server."""

from triage.store.open import open_store, warm_up
from triage.store.record import new_session_id

__all__ = ["new_session_id", "open_store", "warm_up"]
