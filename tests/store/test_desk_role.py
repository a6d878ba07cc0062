"""A desk's own role on the server can take calls, and nothing it could do harms the record."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from tests.command_line import ROOT
from tests.store.samples import CALL, CONTENT, NOW, SESSION
from triage.store.open import open_store


def documented_grants() -> list[str]:
    """The statements that DEVELOPERS.md gives to whoever runs the server."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(r"<!-- grants -->\n```sql\n(.*?)```", page, re.DOTALL)
    assert block is not None
    return [item.strip() for item in block[1].split(";") if item.strip()]


@pytest.fixture
def desk_address(server_address: str) -> Iterator[str]:
    """Address of a made store, for a role that has just what is documented."""
    with open_store(server_address) as store:
        store.append("20261125-0000-aaaa", CALL, CONTENT, NOW, 0)
    role = f"triage_desk_{secrets.token_hex(6)}"
    admin = create_engine(server_address, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        schema = connection.execute(text("SELECT current_schema()")).scalar_one()
        connection.execute(text(f"CREATE ROLE {role} LOGIN"))
        for statement in documented_grants():
            made = re.sub(r"\bdesk\b", role, statement).replace("SCHEMA public", f"SCHEMA {schema}")
            connection.execute(text(made))
        try:
            yield make_url(server_address).set(username=role).render_as_string(hide_password=False)
        finally:
            connection.execute(text(f"DROP OWNED BY {role}"))
            connection.execute(text(f"DROP ROLE {role}"))
    admin.dispose()


def test_a_desk_takes_and_reads_calls_with_the_rights_documented(desk_address: str) -> None:
    with open_store(desk_address) as store:
        written = store.append(SESSION, CALL, CONTENT, NOW, 0)
        assert store.events(SESSION) == written
        assert len(store.sessions()) == 2
        assert store.verify().faults == ()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE triage_events SET speaker = 'x'",
        "DELETE FROM triage_events",
        "TRUNCATE triage_events",
        "ALTER TABLE triage_events DISABLE TRIGGER ALL",
        "SET session_replication_role = replica",
        "DROP TABLE triage_register CASCADE",
        "DELETE FROM triage_sessions",
        "INSERT INTO triage_purges VALUES (1, 'a', 'now', '', '', 1, 'x', 'y', 'z')",
    ],
)
def test_a_desk_cannot_harm_the_record(desk_address: str, statement: str) -> None:
    engine = create_engine(desk_address)
    with (
        pytest.raises(DBAPIError, match=r"permission denied|must be owner"),
        engine.begin() as connection,
    ):
        connection.execute(text(statement))
    engine.dispose()
