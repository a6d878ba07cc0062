"""Events alone, append-only: the store as it was before it kept lists.

Stores of that time carry their version in a table of their own, which programs of that time read.
"""

from alembic import op

revision = "0001"
down_revision = None

FIRST = "0" * 64
NOT_NEXT = f"""
    NEW.sequence <> coalesce(
        (SELECT max(sequence) FROM triage_events WHERE session_id = NEW.session_id), 0) + 1
    OR NEW.previous_hash <> coalesce(
        (SELECT hash FROM triage_events WHERE session_id = NEW.session_id
         ORDER BY sequence DESC LIMIT 1), '{FIRST}')
"""
SQLITE = (
    "CREATE TABLE triage_schema_version (version INTEGER NOT NULL, PRIMARY KEY (version))",
    """CREATE TABLE triage_events (
        session_id TEXT NOT NULL, sequence INTEGER NOT NULL, recorded_at TEXT NOT NULL,
        speaker TEXT NOT NULL, content_version TEXT NOT NULL, event_format INTEGER NOT NULL,
        kind TEXT NOT NULL, data TEXT NOT NULL, previous_hash TEXT NOT NULL, hash TEXT NOT NULL,
        PRIMARY KEY (session_id, sequence)) WITHOUT ROWID""",
    f"""CREATE TRIGGER triage_events_insert BEFORE INSERT ON triage_events WHEN {NOT_NEXT}
    BEGIN SELECT RAISE(ABORT, 'triage_events: not the next event of its session'); END""",
    """CREATE TRIGGER triage_events_update BEFORE UPDATE ON triage_events
    BEGIN SELECT RAISE(ABORT, 'triage_events is append-only'); END""",
    """CREATE TRIGGER triage_events_delete BEFORE DELETE ON triage_events
    BEGIN SELECT RAISE(ABORT, 'triage_events is append-only'); END""",
)
POSTGRESQL = (
    "CREATE TABLE triage_schema_version (version INTEGER NOT NULL, PRIMARY KEY (version))",
    """CREATE TABLE triage_events (
        session_id TEXT COLLATE "C" NOT NULL, sequence INTEGER NOT NULL,
        recorded_at TEXT COLLATE "C" NOT NULL, speaker TEXT NOT NULL,
        content_version TEXT NOT NULL, event_format INTEGER NOT NULL, kind TEXT NOT NULL,
        data TEXT NOT NULL, previous_hash TEXT NOT NULL, hash TEXT NOT NULL,
        PRIMARY KEY (session_id, sequence))""",
    f"""CREATE FUNCTION triage_events_insert() RETURNS trigger LANGUAGE plpgsql
    SET search_path FROM CURRENT AS $$ BEGIN
        IF {NOT_NEXT} THEN
            RAISE EXCEPTION 'triage_events: not the next event of its session'
                USING ERRCODE = 'unique_violation';
        END IF;
        RETURN NEW;
    END $$""",
    """CREATE FUNCTION triage_events_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
        RAISE EXCEPTION 'triage_events is append-only' USING ERRCODE = 'restrict_violation';
    END $$""",
    """CREATE TRIGGER triage_events_insert BEFORE INSERT ON triage_events
    FOR EACH ROW EXECUTE FUNCTION triage_events_insert()""",
    """CREATE TRIGGER triage_events_change BEFORE UPDATE OR DELETE ON triage_events
    FOR EACH ROW EXECUTE FUNCTION triage_events_refuse()""",
    """CREATE TRIGGER triage_events_truncate BEFORE TRUNCATE ON triage_events
    FOR EACH STATEMENT EXECUTE FUNCTION triage_events_refuse()""",
)
INDEXES = (
    """CREATE INDEX triage_events_started ON triage_events (recorded_at, session_id)
    WHERE sequence = 1""",
    """CREATE INDEX triage_events_concluded ON triage_events (kind, session_id, sequence)
    WHERE kind = 'concluded'""",
)


def upgrade() -> None:
    """Create the tables, indexes and triggers of that time."""
    connection = op.get_bind()
    is_sqlite = connection.dialect.name == "sqlite"
    for statement in (*(SQLITE if is_sqlite else POSTGRESQL), *INDEXES):
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql("INSERT INTO triage_schema_version VALUES (1)")
