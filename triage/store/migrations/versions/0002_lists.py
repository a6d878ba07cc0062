"""Lists, register, purges, counts by month and text search beside the events.

What is in them follows from the events; it is filled in once all steps are done. Events get the
step of the program that wrote them.
"""

from alembic import op

revision = "0002"
down_revision = "0001"

SQLITE = (
    """CREATE TABLE triage_register (
        position INTEGER NOT NULL,
        session_id TEXT NOT NULL,
        first_hash TEXT NOT NULL,
        previous_link TEXT NOT NULL,
        link TEXT NOT NULL,
        PRIMARY KEY (position),
        UNIQUE (session_id)
    )""",
    """CREATE TABLE triage_purges (
        position INTEGER NOT NULL,
        session_id TEXT NOT NULL,
        purged_at TEXT NOT NULL,
        purged_by TEXT NOT NULL,
        reason TEXT NOT NULL,
        count INTEGER NOT NULL,
        head_hash TEXT NOT NULL,
        previous_link TEXT NOT NULL,
        link TEXT NOT NULL,
        PRIMARY KEY (position),
        UNIQUE (session_id)
    )""",
    """CREATE TABLE triage_sessions (
        number INTEGER NOT NULL,
        session_id TEXT NOT NULL,
        started_at TEXT NOT NULL,
        last_at TEXT NOT NULL,
        head_hash TEXT NOT NULL,
        tree TEXT NOT NULL,
        agent TEXT NOT NULL,
        desk TEXT NOT NULL,
        voice TEXT NOT NULL,
        content_version TEXT NOT NULL,
        machine TEXT NOT NULL,
        refrigerant TEXT NOT NULL,
        serial_number TEXT NOT NULL,
        serial_key TEXT NOT NULL,
        state TEXT NOT NULL,
        node TEXT NOT NULL,
        last_kind TEXT NOT NULL,
        result TEXT NOT NULL,
        ending TEXT NOT NULL,
        cause TEXT NOT NULL,
        likeliest TEXT NOT NULL,
        agreement TEXT NOT NULL,
        due_at TEXT NOT NULL,
        park_reason TEXT NOT NULL,
        outcome TEXT NOT NULL,
        reported_at TEXT NOT NULL,
        words TEXT NOT NULL,
        purged_at TEXT NOT NULL,
        count INTEGER NOT NULL,
        questions INTEGER NOT NULL,
        active_s FLOAT NOT NULL,
        had_two_good_cycles INTEGER,
        previous_number INTEGER,
        agent_key TEXT NOT NULL,
        desk_key TEXT NOT NULL,
        last_part TEXT NOT NULL,
        time_bin INTEGER NOT NULL,
        PRIMARY KEY (number),
        UNIQUE (session_id)
    )""",
    """CREATE TABLE triage_question_months (
        month TEXT NOT NULL,
        desk TEXT NOT NULL,
        node TEXT NOT NULL,
        asked INTEGER NOT NULL,
        unknown INTEGER NOT NULL,
        misunderstood INTEGER NOT NULL,
        looked INTEGER NOT NULL,
        refused INTEGER NOT NULL,
        seconds FLOAT NOT NULL,
        PRIMARY KEY (month, desk, node)
    )""",
    """CREATE VIRTUAL TABLE triage_notes USING fts5(
            words, content='triage_sessions', content_rowid='number',
            tokenize="unicode61 remove_diacritics 0", detail=none, prefix='1 2 3')""",
    "CREATE VIRTUAL TABLE triage_note_words USING fts5vocab(triage_notes, row)",
)
POSTGRESQL = (
    """CREATE TABLE triage_register (
        position BIGINT NOT NULL,
        session_id TEXT COLLATE "C" NOT NULL,
        first_hash TEXT NOT NULL,
        previous_link TEXT NOT NULL,
        link TEXT NOT NULL,
        PRIMARY KEY (position),
        UNIQUE (session_id)
    )""",
    """CREATE TABLE triage_purges (
        position BIGINT NOT NULL,
        session_id TEXT COLLATE "C" NOT NULL,
        purged_at TEXT COLLATE "C" NOT NULL,
        purged_by TEXT NOT NULL,
        reason TEXT NOT NULL,
        count INTEGER NOT NULL,
        head_hash TEXT NOT NULL,
        previous_link TEXT NOT NULL,
        link TEXT NOT NULL,
        PRIMARY KEY (position),
        UNIQUE (session_id)
    )""",
    """CREATE TABLE triage_sessions (
        number BIGINT NOT NULL,
        session_id TEXT COLLATE "C" NOT NULL,
        started_at TEXT COLLATE "C" NOT NULL,
        last_at TEXT COLLATE "C" NOT NULL,
        head_hash TEXT COLLATE "C" NOT NULL,
        tree TEXT COLLATE "C" NOT NULL,
        agent TEXT COLLATE "C" NOT NULL,
        desk TEXT COLLATE "C" NOT NULL,
        voice TEXT COLLATE "C" NOT NULL,
        content_version TEXT COLLATE "C" NOT NULL,
        machine TEXT COLLATE "C" NOT NULL,
        refrigerant TEXT COLLATE "C" NOT NULL,
        serial_number TEXT COLLATE "C" NOT NULL,
        serial_key TEXT COLLATE "C" NOT NULL,
        state TEXT COLLATE "C" NOT NULL,
        node TEXT COLLATE "C" NOT NULL,
        last_kind TEXT COLLATE "C" NOT NULL,
        result TEXT COLLATE "C" NOT NULL,
        ending TEXT COLLATE "C" NOT NULL,
        cause TEXT COLLATE "C" NOT NULL,
        likeliest TEXT COLLATE "C" NOT NULL,
        agreement TEXT COLLATE "C" NOT NULL,
        due_at TEXT COLLATE "C" NOT NULL,
        park_reason TEXT COLLATE "C" NOT NULL,
        outcome TEXT COLLATE "C" NOT NULL,
        reported_at TEXT COLLATE "C" NOT NULL,
        words TEXT COLLATE "C" NOT NULL,
        purged_at TEXT COLLATE "C" NOT NULL,
        count INTEGER NOT NULL,
        questions INTEGER NOT NULL,
        active_s FLOAT(53) NOT NULL,
        had_two_good_cycles INTEGER,
        previous_number BIGINT,
        agent_key TEXT COLLATE "C" NOT NULL,
        desk_key TEXT COLLATE "C" NOT NULL,
        last_part TEXT COLLATE "C" NOT NULL,
        time_bin INTEGER NOT NULL,
        PRIMARY KEY (number),
        UNIQUE (session_id)
    )
     WITH (fillfactor = 70)""",
    """CREATE TABLE triage_question_months (
        month TEXT COLLATE "C" NOT NULL,
        desk TEXT COLLATE "C" NOT NULL,
        node TEXT COLLATE "C" NOT NULL,
        asked BIGINT NOT NULL,
        unknown BIGINT NOT NULL,
        misunderstood BIGINT NOT NULL,
        looked BIGINT NOT NULL,
        refused BIGINT NOT NULL,
        seconds FLOAT(53) NOT NULL,
        PRIMARY KEY (month, desk, node)
    )""",
    """ALTER TABLE triage_sessions ADD COLUMN words_found tsvector
        GENERATED ALWAYS AS (array_to_tsvector(string_to_array(words, ' '))) STORED""",
    "CREATE INDEX triage_notes ON triage_sessions USING gin (words_found) WHERE words <> ''",
)
INDEXES = (
    "CREATE INDEX ix_triage_sessions_last_part ON triage_sessions (last_part)",
    """CREATE INDEX triage_sessions_by_agent_key ON triage_sessions (agent_key, number, desk_key,
            machine, refrigerant, cause, result, outcome)""",
    """CREATE INDEX triage_sessions_by_cause ON triage_sessions (cause, number, agent_key,
            desk_key, machine, refrigerant, result, outcome)""",
    """CREATE INDEX triage_sessions_by_desk_key ON triage_sessions (desk_key, number, agent_key,
            machine, refrigerant, cause, result, outcome)""",
    """CREATE INDEX triage_sessions_by_ending ON triage_sessions (result, ending, cause, number)
            WHERE result <> ''""",
    """CREATE INDEX triage_sessions_by_machine ON triage_sessions (machine, number, agent_key,
            desk_key, refrigerant, cause, result, outcome)""",
    """CREATE INDEX triage_sessions_by_outcome ON triage_sessions (outcome, number, agent_key,
            desk_key, machine, refrigerant, cause, result)""",
    """CREATE INDEX triage_sessions_by_refrigerant ON triage_sessions (refrigerant, number,
            agent_key, desk_key, machine, cause, result, outcome)""",
    """CREATE INDEX triage_sessions_by_result ON triage_sessions (result, number, agent_key,
            desk_key, machine, refrigerant, cause, outcome)""",
    """CREATE INDEX triage_sessions_by_serial_key ON triage_sessions (serial_key, number) WHERE
            serial_key <> ''""",
    """CREATE INDEX triage_sessions_disagreeing ON triage_sessions (agreement, number, agent_key,
            desk_key, machine, refrigerant, cause, result, outcome) WHERE agreement = 'disagree'""",
    """CREATE INDEX triage_sessions_ended ON triage_sessions (result, cause, agreement, serial_key,
            number) WHERE result <> ''""",
    """CREATE INDEX triage_sessions_followed ON triage_sessions (previous_number, number,
            serial_key) WHERE previous_number IS NOT NULL""",
    """CREATE INDEX triage_sessions_parked ON triage_sessions (state, due_at) WHERE state =
            'parked'""",
    """CREATE INDEX triage_sessions_reported ON triage_sessions (outcome, result, ending, cause,
            likeliest, had_two_good_cycles, desk, number) WHERE outcome <> ''""",
    """CREATE INDEX triage_sessions_reported_by_result ON triage_sessions (result, number) WHERE
            outcome <> ''""",
    "CREATE INDEX triage_sessions_times ON triage_sessions (desk, result, time_bin, number)",
)


def upgrade() -> None:
    """Create what stands beside the events."""
    connection = op.get_bind()
    op.execute("DROP INDEX triage_events_started")
    op.execute("DROP INDEX triage_events_concluded")
    op.execute("ALTER TABLE triage_events ADD COLUMN step INTEGER DEFAULT 0 NOT NULL")
    is_sqlite = connection.dialect.name == "sqlite"
    for statement in (*(SQLITE if is_sqlite else POSTGRESQL), *INDEXES):
        connection.exec_driver_sql(statement)
    op.execute("INSERT INTO triage_schema_version VALUES (2)")
