"""Lists, register, purges, counts by month and text search beside the events.

What is in them follows from the events; it is filled in once all steps are done.
"""

from alembic import op

from triage.store.guards import create_guards, drop_guards
from triage.store.schema import create_search, events, metadata

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Create what stands beside the events, and the guards that know of it."""
    connection = op.get_bind()
    drop_guards(connection)
    op.execute("DROP INDEX triage_events_started")
    op.execute("DROP INDEX triage_events_concluded")
    beside = [table for table in metadata.sorted_tables if table is not events]
    metadata.create_all(connection, tables=beside, checkfirst=False)
    create_search(connection)
    create_guards(connection)
    op.execute("INSERT INTO triage_schema_version VALUES (2)")
