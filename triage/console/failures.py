"""The last border: every error becomes one message and the exit code that the door documents."""

from __future__ import annotations

import os
import traceback
from datetime import UTC, datetime
from pathlib import Path

from triage.console.answers_file import AnswersError
from triage.console.asked import UsageError
from triage.exits import BAD_CONTENT, BAD_INPUT, BAD_STORE, NO_RECOMMENDATION
from triage.physics.errors import PhysicsError
from triage.physics.quantity import QuantityError
from triage.store.errors import SessionAmbiguous, SessionNotFound, StoreError
from triage.tree.errors import TreeError, UnknownTree

_CODES: tuple[tuple[type[Exception], int], ...] = (
    (SessionNotFound, BAD_INPUT),
    (SessionAmbiguous, BAD_INPUT),
    (UnknownTree, BAD_INPUT),
    (StoreError, BAD_STORE),
    (TreeError, BAD_CONTENT),
    (AnswersError, BAD_INPUT),
    (UsageError, BAD_INPUT),
    (PhysicsError, BAD_INPUT),
    (QuantityError, BAD_INPUT),
)


def exit_code_of(error: Exception) -> tuple[int, str]:
    """Return the exit code for `error` and what to say about it.

    An error nobody foresaw goes to a log file as a whole; the message says where.
    """
    for kind, code in _CODES:
        if isinstance(error, kind):
            return code, str(error)
    if isinstance(error, OSError):
        reason = error.strerror or type(error).__name__
        if error.filename is None:
            return (
                BAD_INPUT,
                f"the output cannot be written ({reason}); make room or send it elsewhere",
            )
        return BAD_INPUT, f"{error.filename}: {reason}; name one that can be used"
    return NO_RECOMMENDATION, (
        f"something went wrong inside the program ({type(error).__name__}); every answer given "
        f"so far is kept. {_logged(error)}"
    )


def _logged(error: Exception) -> str:
    from platformdirs import user_state_path

    path = user_state_path("triage") / "errors.log"
    trace = "".join(traceback.format_exception(error))
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(descriptor, "a", encoding="utf-8") as log:
            log.write(f"{datetime.now(UTC).isoformat()}\n{trace}\n")
    except OSError:
        return f"No log could be written to {path}."
    return f"The details are in {Path(path)}."
