"""A store on a PostgreSQL server, for a hotline of many desks.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

import logging
from typing import Any

from sqlalchemy import create_engine, event
from sqlalchemy.engine import URL, Engine

from triage.store.errors import StoreUnreachable, shown

# A commit must be on disk when it returns, even where a server or role says otherwise; what is
# stricter than "on" stays. A lock is waited for, never forever. Unless the server was told what its
# disk is like, reading a line by an index is not taken for as dear as on a disk that turns: else
# a page that few calls fit is looked for in the whole list.
_SETTINGS = """
SELECT set_config('lock_timeout', %s, false),
    CASE WHEN current_setting('synchronous_commit') IN ('off', 'local')
    THEN set_config('synchronous_commit', 'on', false) END,
    CASE WHEN current_setting('random_page_cost') = '4'
    THEN set_config('random_page_cost', '1.1', false) END
"""


def server_engine(url: URL, patience_s: float) -> Engine:
    """Return an engine on the server at `url`; nothing is sent yet.

    patience_s: how long to wait for an answer to connecting, and for a lock [s]
    Raises StoreUnreachable if the driver is not installed.
    """
    patience_ms = max(1, round(1000 * patience_s))
    # What the address itself sets wins. A dead line is noticed while the caller is still there.
    defaults: dict[str, Any] = {
        "connect_timeout": max(2, round(patience_s)),
        "tcp_user_timeout": 2 * patience_ms,
        "application_name": "triage",
    }
    try:
        engine = create_engine(
            url.set(drivername="postgresql+psycopg"),
            connect_args={name: value for name, value in defaults.items() if name not in url.query},
            pool_pre_ping=True,
            pool_timeout=patience_s,
            hide_parameters=True,
        )
    except ImportError as error:
        raise StoreUnreachable(
            f"{address_of(url)} needs the PostgreSQL driver ({shown(error)}); install it with "
            "pip install 'triage[postgresql]'"
        ) from error

    # The driver logs what it also raises; without a handler that would be printed amid the call.
    logging.getLogger("psycopg").addHandler(logging.NullHandler())

    @event.listens_for(engine, "connect")
    def set_session(connection: Any, _record: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute(_SETTINGS, (f"{patience_ms}ms",))
        connection.commit()

    return engine


def address_of(url: URL) -> str:
    """Return `url` for a message: the password hidden, and the options, which may hold another."""
    return shown(url.set(query={}).render_as_string(hide_password=True))
