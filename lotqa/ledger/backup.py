"""A copy of a ledger file, made while the ledger is in use.

The copy is one unchanging state of the ledger, written by SQLite's online backup [1] under a
passing name, verified, and only then given its own name: a file called what you asked for is
whole.  An existing file is never overwritten.

1. SQLite documentation, "SQLite Backup API".
"""

import os
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger.migrations import VERSION_TABLE
from lotqa.ledger.schema import metadata


def backup(connection: sa.Connection, target: Path, shown: str) -> None:
    """Copy what the connection's transaction sees; raises LedgerError and leaves no file then."""
    if connection.dialect.name != "sqlite":
        raise LedgerError(
            f"ledger {shown} is not a file: back it up with the tools of its database server"
        )
    if os.path.lexists(target):
        raise LedgerError(_exists(target))
    passing: Path | None = None
    try:
        handle, name = tempfile.mkstemp(
            dir=target.parent, prefix=f".{target.name}-", suffix=".part"
        )
        os.close(handle)
        passing = Path(name)
        _copy(connection, passing, target)
        _name(passing, target)
    except FileExistsError:
        raise LedgerError(_exists(target)) from None
    except OSError as exc:
        reason = (exc.strerror or str(exc)).lower()
        raise LedgerError(
            f"backup {target} cannot be written ({reason}): name a place that can be written"
        ) from exc
    except sqlite3.Error as exc:
        raise LedgerError(
            f"backup {target} cannot be written ({exc}): no backup was made, "
            "check the disk and repeat"
        ) from exc
    finally:
        if passing is not None:
            passing.unlink(missing_ok=True)


def _copy(connection: sa.Connection, passing: Path, target: Path) -> None:
    wanted = _row_counts(connection)  # the first question fixes the state that is copied
    source = connection.connection.driver_connection
    assert isinstance(source, sqlite3.Connection)  # a promise of the dialect, for the type checker
    with closing(sqlite3.connect(passing)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, readable from a read-only disk
        verdict = [row[0] for row in copy.execute("PRAGMA integrity_check")]
        found = {
            name: copy.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in wanted
        }
    if verdict != ["ok"] or found != wanted:
        lost = [name for name in wanted if found[name] != wanted[name]]
        raise LedgerError(
            f"backup {target} does not agree with the ledger "
            f"({', '.join(lost) or verdict[0]}): no backup was made, run `lotqa ledger check`"
        )


def _row_counts(connection: sa.Connection) -> dict[str, int]:
    names = [table.name for table in metadata.sorted_tables] + [VERSION_TABLE]
    return {
        name: connection.execute(
            sa.select(sa.func.count()).select_from(sa.table(name))
        ).scalar_one()
        for name in names
    }


def _name(passing: Path, target: Path) -> None:
    """Give the file its name unless that name is taken by now."""
    try:
        os.link(passing, target)  # unlike a rename, never replaces a file
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.lexists(target):
            raise FileExistsError(target) from None
        passing.rename(target)


def _exists(target: Path) -> str:
    return f"backup {target} exists already and is not overwritten: choose another name"
