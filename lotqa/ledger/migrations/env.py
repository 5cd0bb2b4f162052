"""Run by Alembic.  The connection, with its transaction already begun, comes from the caller.

Alembic opens no transaction of its own then, so all pending migrations and the record that they
happened are committed together or not at all.
"""

from alembic import context

from lotqa.ledger.migrations import VERSION_TABLE
from lotqa.ledger.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
)
with context.begin_transaction():
    context.run_migrations()
