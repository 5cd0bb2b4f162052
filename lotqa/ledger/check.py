"""Is everything in the ledger as it was entered?

Looked at: the database file itself, references between tables, the append-only guards, the hash
of every raw file and of the criteria, the content hash, the summary columns against the
document they were taken from, the number of rows against the number entered, and the chain of
the changes of effort.
"""

import hashlib
import json
import zlib
from collections.abc import Iterator

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import schema
from lotqa.ledger.content import content_hash, sha256_of_text
from lotqa.ledger.efforts import check_efforts
from lotqa.ledger.studies import check_studies
from lotqa.ledger.summary import IDENTITY, Values, identity, lot_summary, spool_summary, utc_text
from lotqa.ledger.tares import check_tares

GUARDS = ("no_update", "no_delete", "no_replace")
RESTORE = "keep this file and restore a backup"


def check(connection: sa.Connection) -> list[str]:
    """What is wrong, one sentence each; [] when the ledger is sound."""
    found: list[str] = []
    try:
        if connection.dialect.name == "sqlite":
            found += _file(connection)
            found += _references(connection)
            found += _guards(connection)
        for inspection in connection.execute(sa.select(schema.inspection.c.id)).scalars().all():
            found += _inspection(connection, inspection)
        found += check_studies(connection, RESTORE)
        found += check_tares(connection, RESTORE)
        found += check_efforts(connection, RESTORE)
    except sa.exc.DatabaseError as exc:
        text = " ".join(str(exc.orig).split())
        found.append(f"the database cannot be read to its end ({text}): {RESTORE}")
    return found


def _file(connection: sa.Connection) -> Iterator[str]:
    for text in connection.exec_driver_sql("PRAGMA integrity_check").scalars():
        if text != "ok":
            yield f"the database file is damaged ({' '.join(text.split())}): {RESTORE}"


def _references(connection: sa.Connection) -> Iterator[str]:
    broken: dict[tuple[str, str], int] = {}
    for table, _row, parent, _key in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        broken[table, parent] = broken.get((table, parent), 0) + 1
    for (table, parent), count in broken.items():
        yield f"{table}: {count} rows point to a {parent} that is not there: {RESTORE}"


def _guards(connection: sa.Connection) -> Iterator[str]:
    triggers = set(
        connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).scalars()
    )
    for table in schema.metadata.sorted_tables:
        missing = [guard for guard in GUARDS if f"{table.name}_{guard}" not in triggers]
        if missing:
            yield (
                f"{table.name}: the guards {', '.join(missing)} were removed, so rows may have "
                "been changed: compare with a backup"
            )


def _inspection(connection: sa.Connection, inspection_id: int) -> Iterator[str]:
    where = f"inspection {inspection_id}"
    table = schema.inspection
    statement = sa.select(table).where(table.c.id == inspection_id)
    row: Values = dict(connection.execute(statement).mappings().one())
    yield from _row_counts(connection, row, where)
    yield from _files(connection, inspection_id, where)
    if sha256_of_text(row["criteria_text"]) != row["criteria_sha256"]:
        yield f"{where}: the criteria differ from their hash: {RESTORE}"
    try:
        document = json.loads(row["document"])
        yield from _content(connection, row, document, where)
        yield from _summaries(connection, row, document, where)
    except (LedgerError, ValueError, TypeError, KeyError, AttributeError) as exc:
        yield f"{where}: the document cannot be read ({type(exc).__name__}: {exc}): {RESTORE}"


def _row_counts(connection: sa.Connection, row: Values, where: str) -> Iterator[str]:
    for column, table in schema.ROW_COUNTS.items():
        count, last = connection.execute(
            sa.select(sa.func.count(), sa.func.coalesce(sa.func.max(table.c.n), 0)).where(
                table.c.inspection_id == row["id"]
            )
        ).one()
        if (count, last) != (row[column], row[column]):
            yield (
                f"{where}: {table.name} has {count} rows up to number {last}, "
                f"entered were {row[column]}: {RESTORE}"
            )
    reading, spools = schema.reading, schema.spool_result
    counted = connection.execute(
        sa.select(reading.c.spool_id, sa.func.count().label("found"))
        .where(reading.c.inspection_id == row["id"])
        .group_by(reading.c.spool_id)
    )
    counts = {row.spool_id: row.found for row in counted}
    for spool_id, spool, entered in connection.execute(
        sa.select(spools.c.id, spools.c.spool, spools.c.n_readings).where(
            spools.c.inspection_id == row["id"]
        )
    ):
        count = counts.get(spool_id, 0)
        if count != entered:
            yield (
                f'{where}: spool "{spool}" has {count} readings, entered were {entered}: {RESTORE}'
            )


def _files(connection: sa.Connection, inspection_id: int, where: str) -> Iterator[str]:
    table = schema.source_file
    rows = connection.execute(
        sa.select(table.c.name, table.c.sha256, table.c.n_bytes, table.c.content_zlib)
        .where(table.c.inspection_id == inspection_id)
        .order_by(table.c.n)
    )
    for name, sha256, n_bytes, packed in rows:
        try:
            content = zlib.decompress(packed)
        except zlib.error as exc:
            yield f"{where}: file {name} cannot be unpacked ({exc}): {RESTORE}"
            continue
        if hashlib.sha256(content).hexdigest() != sha256 or len(content) != n_bytes:
            yield f"{where}: file {name} differs from its hash: {RESTORE}"


def _content(connection: sa.Connection, row: Values, document: Values, where: str) -> Iterator[str]:
    table = schema.source_file
    hashes = connection.execute(
        sa.select(table.c.sha256).where(table.c.inspection_id == row["id"])
    ).scalars()
    sheet = json.loads(row["lot_sheet"])
    if content_hash(hashes.all(), sheet, document, row["criteria_text"]) != row["content_hash"]:
        yield f"{where}: what was given differs from the content hash: {RESTORE}"


def _summaries(
    connection: sa.Connection, row: Values, document: Values, where: str
) -> Iterator[str]:
    """The document is what was entered; columns taken from it must still say the same."""
    expected = lot_summary(document)
    if document.get("inspected_at"):
        expected["inspected_at"] = utc_text(document["inspected_at"])
    yield from _differences(where, expected, row)

    lot = connection.execute(
        sa.select(*(schema.lot.c[key] for key in IDENTITY)).where(schema.lot.c.id == row["lot_id"])
    ).mappings()
    # A lot that is not there was reported with the references already.
    for kept_lot in lot:
        yield from _differences(f"{where}, lot {row['lot_id']}", identity(document), dict(kept_lot))

    spools = schema.spool_result
    kept = {
        spool["spool"]: dict(spool)
        for spool in connection.execute(
            sa.select(spools).where(spools.c.inspection_id == row["id"])
        ).mappings()
    }
    for block in document.get("spools") or []:
        expected = spool_summary(block)
        name = expected["spool"]
        if name in kept:
            yield from _differences(f'{where}, spool "{name}"', expected, kept[name])
        else:
            yield f'{where}: spool "{name}" of the document has no row: {RESTORE}'


def _differences(where: str, expected: Values, found: Values) -> Iterator[str]:
    for column, value in expected.items():
        if found[column] != value:
            yield (
                f"{where}: column {column} is {found[column]}, the document says {value}: {RESTORE}"
            )
