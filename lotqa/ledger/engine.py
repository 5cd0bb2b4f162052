"""Connections to the ledger, and database errors in plain words.

SQLite: foreign keys on; recursive_triggers on, since without it REPLACE slips past a DELETE
trigger; synchronous FULL, so what was acknowledged survives a power cut; a busy timeout.  A
transaction that will write takes the write lock at its beginning (BEGIN IMMEDIATE): one that
reads first and writes later could be refused at once, without waiting [1].

1. SQLite documentation, "Transactions", 2.2 DEFERRED, IMMEDIATE, and EXCLUSIVE transactions.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger.location import Place

WRITES = "lotqa_writes"  # execution option of a connection whose transactions will write


def make_engine(place: Place, timeout_s: float) -> sa.Engine:
    """An engine for the place; connects to nothing yet."""
    if place.path is None:
        try:
            return sa.create_engine(place.url)
        except ModuleNotFoundError as exc:
            raise LedgerError(
                f"ledger {place.shown}: the driver {exc.name} is not installed: pip install psycopg"
            ) from None
    engine = sa.create_engine(place.url, connect_args={"timeout": timeout_s})

    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # transactions begin below, not inside the driver
        for pragma in ("foreign_keys = ON", "recursive_triggers = ON", "synchronous = FULL"):
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get(WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def plain_words(place: Place, timeout_s: float) -> Iterator[None]:
    """Turn what a database driver raises into one LedgerError that says what to do."""
    try:
        yield
    except sa.exc.DBAPIError as exc:
        raise LedgerError(_explain(exc.orig, place, timeout_s)) from exc
    except sqlite3.Error as exc:
        raise LedgerError(_explain(exc, place, timeout_s)) from exc
    except ModuleNotFoundError as exc:
        raise LedgerError(
            f"ledger {place.shown}: the driver {exc.name} is not installed: pip install psycopg"
        ) from exc
    except OverflowError as exc:
        raise LedgerError(
            f"ledger {place.shown}: a number is too large to keep ({exc}): nothing was changed"
        ) from exc


def _explain(error: Any, place: Place, timeout_s: float) -> str:
    where = f"ledger {place.shown}"
    text = " ".join(str(error).split())
    name = str(getattr(error, "sqlite_errorname", None) or "")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return (
            f"{where} is in use by another process (waited {timeout_s:g} s): "
            "try again when that one is done"
        )
    if name == "SQLITE_NOTADB":
        return not_a_ledger(place)
    if name.startswith("SQLITE_CORRUPT"):
        return f"{where} is damaged ({text}): keep the file and restore a backup"
    if name.startswith("SQLITE_READONLY"):
        return f"{where} is read-only: ask for write permission or name another ledger"
    if name.startswith("SQLITE_CANTOPEN"):
        return (
            f"{where} cannot be opened: see that the file and its folder may be read and written, "
            "or name another ledger"
        )
    if name == "SQLITE_FULL":
        return f"{where} cannot grow, the disk is full: nothing was changed, make room and repeat"
    if name.startswith("SQLITE_IOERR"):
        return (
            f"{where}: the disk reports an error ({name}): nothing was changed, "
            "check the disk and repeat"
        )
    return f"{where}: the database refused ({text}): nothing was changed"


def not_a_ledger(place: Place) -> str:
    """The message for a file or database that holds something else."""
    return f"ledger {place.shown} is not a ledger: name another file; nothing was changed"
