"""What the database itself refuses, whoever asks: triggers that keep the record append-only.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.engine import Connection

from triage.store import schema
from triage.store.record import FIRST_PREVIOUS_HASH

_CHAINED = ("triage_register", "triage_purges")
_GUARDED = ("triage_events", *_CHAINED, "triage_sessions")

_EVENT_NOT_NEXT = f"""
    NEW.sequence <> coalesce(
        (SELECT max(sequence) FROM triage_events WHERE session_id = NEW.session_id), 0) + 1
    OR NEW.previous_hash <> coalesce(
        (SELECT hash FROM triage_events WHERE session_id = NEW.session_id
         ORDER BY sequence DESC LIMIT 1), '{FIRST_PREVIOUS_HASH}')
    OR EXISTS (SELECT 1 FROM triage_purges WHERE session_id = NEW.session_id)
"""
_LINK_NOT_NEXT = f"""
    NEW.position <> coalesce((SELECT max(position) FROM {{table}}), 0) + 1
    OR NEW.previous_link <> coalesce(
        (SELECT link FROM {{table}} ORDER BY position DESC LIMIT 1), '{FIRST_PREVIOUS_HASH}')
"""
_EVENT_KEPT = "NOT EXISTS (SELECT 1 FROM triage_purges WHERE session_id = OLD.session_id)"

# A line of the list may be brought up to date, but never say less than there is.
_LINE_UNTRUE = """NOT EXISTS (SELECT 1 FROM triage_events WHERE session_id = NEW.session_id
    AND sequence = NEW.count AND hash = NEW.head_hash)"""
_LINE_THERE = "EXISTS (SELECT 1 FROM triage_sessions WHERE session_id = NEW.session_id)"
_LINE_SHRINKS = """NEW.session_id <> OLD.session_id OR NEW.number <> OLD.number
    OR NEW.count < OLD.count"""
_LINE_HIDDEN = """NEW.purged_at <> OLD.purged_at AND NOT EXISTS (SELECT 1 FROM triage_purges
    WHERE session_id = NEW.session_id AND purged_at = NEW.purged_at)"""


OLDER_PROGRAM = "triage_events: written by a program of another step"


def _refusals() -> Iterator[tuple[str, str, str, str, str]]:
    """Yield name, moment, table, condition ("" for always) and message of every refusal."""
    yield (
        "triage_events_insert", "INSERT", "triage_events", _EVENT_NOT_NEXT,
        "triage_events: not the next event of its session",
    )  # fmt: skip
    yield (
        "triage_events_step", "INSERT", "triage_events", f"NEW.step <> {schema.STEP}",
        OLDER_PROGRAM,
    )  # fmt: skip
    yield (
        "triage_events_update", "UPDATE", "triage_events", "", "triage_events is append-only"
    )  # fmt: skip
    yield (
        "triage_events_delete", "DELETE", "triage_events", _EVENT_KEPT,
        "triage_events is append-only",
    )  # fmt: skip
    for table in _CHAINED:
        condition = _LINK_NOT_NEXT.format(table=table)
        yield f"{table}_insert", "INSERT", table, condition, f"{table}: not the next row"
        for moment in ("UPDATE", "DELETE"):
            yield f"{table}_{moment.lower()}", moment, table, "", f"{table} is append-only"
    yield (
        "triage_sessions_insert", "INSERT", "triage_sessions",
        f"{_LINE_UNTRUE} OR {_LINE_THERE} OR NEW.purged_at <> ''",
        "triage_sessions: does not fit the events",
    )  # fmt: skip
    yield (
        "triage_sessions_update", "UPDATE", "triage_sessions",
        f"{_LINE_SHRINKS} OR (NEW.count <> OLD.count AND {_LINE_UNTRUE}) OR ({_LINE_HIDDEN})",
        "triage_sessions: does not fit the events",
    )  # fmt: skip
    yield (
        "triage_sessions_delete", "DELETE", "triage_sessions", "",
        "triage_sessions: lines stay",
    )  # fmt: skip


def create_guards(connection: Connection) -> None:
    """Create every trigger; none of them may be there."""
    if connection.dialect.name == "sqlite":
        for name, moment, table, condition, message in _refusals():
            when = f"WHEN {condition}" if condition else ""
            # The trigger before an insert also stops INSERT OR REPLACE, which fires no delete one.
            connection.exec_driver_sql(
                f"CREATE TRIGGER {name} BEFORE {moment} ON {table} {when} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )
        return
    place = connection.exec_driver_sql("SELECT quote_ident(current_schema())").scalar_one()
    for name, moment, table, condition, message in _refusals():
        # They look at the tables beside them, and never first at a desk's own temporary ones.
        error = "unique_violation" if moment == "INSERT" else "restrict_violation"
        passed = "OLD" if moment == "DELETE" else "NEW"
        connection.exec_driver_sql(
            f"""CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql
            SET search_path = {place}, pg_temp AS $$ BEGIN
                IF {condition or "true"} THEN
                    RAISE EXCEPTION '{message}' USING ERRCODE = '{error}';
                END IF;
                RETURN {passed};
            END $$"""
        )
        connection.exec_driver_sql(
            f"CREATE TRIGGER {name} BEFORE {moment} ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {name}()"
        )
    connection.exec_driver_sql(
        """CREATE FUNCTION triage_truncate() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
            RAISE EXCEPTION '%% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
        END $$"""
    )
    for table in _GUARDED:
        connection.exec_driver_sql(
            f"CREATE TRIGGER {table}_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION triage_truncate()"
        )


def missing_guards(connection: Connection) -> list[str]:
    """Return the names of the triggers that are not there, or there and switched off."""
    if connection.dialect.name == "sqlite":
        wanted = {name for name, *_ in _refusals()}
        statement = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        wanted = {name for name, *_ in _refusals()} | {f"{table}_truncate" for table in _GUARDED}
        statement = (
            "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A') AND "
            "tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace = "
            "(SELECT relnamespace FROM pg_class WHERE oid = 'triage_events'::regclass))"
        )
    return sorted(wanted - set(connection.exec_driver_sql(statement).scalars()))


def drop_guards(connection: Connection) -> None:
    """Drop every trigger of ours, for a migration that creates them anew."""
    if connection.dialect.name == "sqlite":
        names = connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'triage_%'"
        ).scalars()
        for name in names.all():
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        return
    for name, table in connection.exec_driver_sql(
        """SELECT tgname, relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid
        WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace
            AND relname LIKE 'triage%%'"""
    ).all():
        connection.exec_driver_sql(f'DROP TRIGGER "{name}" ON "{table}"')
    for name in (
        connection.exec_driver_sql(
            """SELECT proname FROM pg_proc WHERE pronamespace = current_schema()::regnamespace
            AND proname LIKE 'triage%%' AND prorettype = 'trigger'::regtype"""
        )
        .scalars()
        .all()
    ):
        connection.exec_driver_sql(f'DROP FUNCTION "{name}"()')
