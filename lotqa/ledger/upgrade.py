"""Bring a ledger to the present shape.

A ledger that is up to date is recognised by one plain query; Alembic is imported only when a
migration has to run.
"""

from importlib import resources
from importlib.resources.abc import Traversable

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger.engine import WRITES, not_a_ledger
from lotqa.ledger.location import Place
from lotqa.ledger.migrations import HEAD, REVISIONS, VERSION_TABLE


def bring_up_to_date(engine: sa.Engine, place: Place, *, create: bool) -> None:
    """Migrate if needed, in one transaction; raises LedgerError and changes nothing else."""
    with engine.connect() as connection:
        if _present_shape(connection, place, create=create) == HEAD:
            return
    with engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
        _lock(connection)
        # Asked again under the lock: another process may have migrated in between.
        if _present_shape(connection, place, create=create) != HEAD:
            run_migrations(connection)


def _present_shape(connection: sa.Connection, place: Place, *, create: bool) -> str | None:
    """The revision of this ledger; None for an empty database that may become one."""
    inspector = sa.inspect(connection)
    if inspector.has_table(VERSION_TABLE):
        rows = connection.exec_driver_sql(f"SELECT version_num FROM {VERSION_TABLE}").all()
        found = [str(row[0]) for row in rows]
        if len(found) == 1 and found[0] in REVISIONS:
            return found[0]
        if len(found) == 1 and found[0].startswith("lotqa_"):
            raise LedgerError(
                f"ledger {place.shown} was written by a newer lotqa (its shape is {found[0]}, "
                f"this lotqa knows up to {HEAD}): install the newer lotqa; nothing was changed"
            )
        if found or inspector.get_table_names() != [VERSION_TABLE]:
            raise LedgerError(not_a_ledger(place))
    elif inspector.get_table_names():
        raise LedgerError(not_a_ledger(place))
    if not create:
        raise LedgerError(no_ledger(place))
    return None


def no_ledger(place: Place) -> str:
    """The message for a place where no ledger has been started."""
    return f"ledger {place.shown} does not exist yet: inspect a lot first or name another ledger"


def _lock(connection: sa.Connection) -> None:
    if connection.dialect.name == "postgresql":
        # SQLite holds its write lock already; here two first-time openers must queue up.
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtext('lotqa ledger'))")


def migration_folder() -> Traversable:
    """Where the migrations stand in the installed package."""
    return resources.files("lotqa.ledger") / "migrations"


def run_migrations(connection: sa.Connection) -> None:
    """Run all pending migrations inside the transaction that the connection is in."""
    from alembic import command
    from alembic.config import Config

    with resources.as_file(migration_folder()) as folder:
        config = Config()
        # A percent sign in the path would be read as interpolation.
        config.set_main_option("script_location", str(folder).replace("%", "%%"))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
