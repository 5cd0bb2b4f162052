"""Entering one inspection: everything that was given and everything that came out.

The work that needs no database (hashing, compressing, writing JSON) is done in ``prepare``,
before the write lock is taken; ``enter`` then only inserts.  Readings go in by chunks, so memory
stays bounded for millions of them.
"""

import json
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import schema
from lotqa.ledger.content import content_hash, sha256_of_text
from lotqa.ledger.queries import earlier_inspections
from lotqa.ledger.summary import (
    Values,
    document_text,
    identity,
    kept_json,
    lot_summary,
    spool_summary,
    storable,
    utc_text,
)
from lotqa.model import FloatArray, LotInput, Readings, SourceFile

CHUNK_ROWS = 50_000  # readings a batch: a few tens of megabytes as Python numbers
ZLIB_LEVEL = 3  # measurement files shrink about as well as at 6, in less than half the time


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """An inspection ready to be inserted; rows lack only the keys that the database gives."""

    identity: Values
    inspection: Values
    received: date | None
    spools: list[Values]
    readings: Readings
    details: dict[str, list[Values]]  # table name -> rows


@dataclass(frozen=True, slots=True)
class Entered:
    """The keys of an inspection, just entered or found again."""

    inspection: int
    lot_id: int
    new: bool
    earlier_inspections: int


def prepare(
    lot: LotInput, document: Mapping[str, Any], *, now: datetime, criteria_text: str
) -> Prepared:
    """Work out every row but the readings; raises LedgerError if the document has a hole."""
    details = {
        "weigh_in": [_values(item) for item in lot.weigh_ins],
        "finding": [_values(item) for item in lot.findings],
        "pin_check": [_values(item, when="when_read") for item in lot.pin_checks],
        "problem": [_values(item, column="column_name") for item in lot.problems],
        "source_file": [_file_values(file) for file in lot.files],
    }
    summary = lot_summary(document)
    criteria_text = storable(criteria_text)
    kept_document = document_text(document)
    sheet_text = kept_json(asdict(lot.sheet), "lot sheet")
    inspection = {
        **summary,
        "content_hash": content_hash(
            (file.sha256 for file in lot.files), json.loads(sheet_text), document, criteria_text
        ),
        "inspected_at": utc_text(document.get("inspected_at") or now),
        "entered_at": utc_text(now),
        "criteria_sha256": sha256_of_text(criteria_text),
        "criteria_text": criteria_text,
        "lot_sheet": sheet_text,
        "document": kept_document,
        "readings_file": storable(lot.readings.file),
        "n_readings": len(lot.readings),
        **{
            column: len(details[table.name])
            for column, table in schema.ROW_COUNTS.items()
            if table.name in details
        },
    }
    return Prepared(
        identity=identity(document),
        inspection=inspection,
        received=summary["received"],
        spools=_spool_rows(lot.readings, document),
        readings=lot.readings,
        details=details,
    )


def enter(connection: sa.Connection, prepared: Prepared) -> Entered:
    """Insert the inspection unless its content is there; the caller holds the transaction."""
    known = _same_content(connection, prepared.inspection["content_hash"])
    if known is not None:
        return known
    lot_id = _lot_id(connection, prepared)
    inspection_id = _insert_inspection(connection, prepared, lot_id)
    spool_ids = _insert_spools(connection, prepared, inspection_id)
    _insert_readings(connection, prepared.readings, inspection_id, spool_ids)
    for table_name, rows in prepared.details.items():
        if rows:
            keyed = [{"inspection_id": inspection_id, "n": n, **r} for n, r in enumerate(rows, 1)]
            connection.execute(schema.metadata.tables[table_name].insert(), keyed)
    return Entered(
        inspection_id, lot_id, True, earlier_inspections(connection, inspection_id, lot_id)
    )


def _same_content(connection: sa.Connection, content: str) -> Entered | None:
    table = schema.inspection
    row = connection.execute(
        sa.select(table.c.id, table.c.lot_id).where(table.c.content_hash == content)
    ).one_or_none()
    if row is None:
        return None
    return Entered(row.id, row.lot_id, False, earlier_inspections(connection, row.id, row.lot_id))


def _lot_id(connection: sa.Connection, prepared: Prepared) -> int:
    """The lot's number; the lot is entered if it is new."""
    table = schema.lot
    same = sa.and_(*(table.c[key] == value for key, value in prepared.identity.items()))
    found = connection.execute(sa.select(table.c.id).where(same)).scalar_one_or_none()
    if found is not None:
        return int(found)
    row = {**prepared.identity, "entered_at": prepared.inspection["entered_at"]}
    return int(connection.execute(table.insert().returning(table.c.id), row).scalar_one())


def _insert_inspection(connection: sa.Connection, prepared: Prepared, lot_id: int) -> int:
    table = schema.inspection
    lot_date = prepared.received
    if lot_date is None:
        # Measuring again later must not move the lot in the order of dates.
        first = connection.execute(
            sa.select(sa.func.min(table.c.inspected_at)).where(table.c.lot_id == lot_id)
        ).scalar_one()
        day_text = min(filter(None, (first, prepared.inspection["inspected_at"])))[:10]
        lot_date = date.fromisoformat(day_text)
    row = {**prepared.inspection, "lot_id": lot_id, "lot_date": lot_date}
    return int(connection.execute(table.insert().returning(table.c.id), row).scalar_one())


def _spool_rows(readings: Readings, document: Mapping[str, Any]) -> list[Values]:
    """One row a spool: those of the document, then those that have readings only."""
    rows = [spool_summary(spool) for spool in document.get("spools") or []]
    n_readings = np.bincount(readings.spool, minlength=len(readings.spools)).tolist()
    counts = dict(zip(map(storable, readings.spools), n_readings, strict=True))
    named: set[str] = set()
    for row in rows:
        if row["spool"] in named:
            raise LedgerError(
                f'the inspection document names spool "{row["spool"]}" twice: name it once'
            )
        named.add(row["spool"])
    rows += [spool_summary({"spool": spool}) for spool in counts if spool not in named]
    return [
        {"n": n, "n_readings": counts.get(row["spool"], 0), **row}
        for n, row in enumerate(rows, start=1)
    ]


def _insert_spools(
    connection: sa.Connection, prepared: Prepared, inspection_id: int
) -> dict[str, int]:
    table = schema.spool_result
    if prepared.spools:
        rows = [{"inspection_id": inspection_id, **row} for row in prepared.spools]
        connection.execute(table.insert(), rows)
    found = connection.execute(
        sa.select(table.c.spool, table.c.id).where(table.c.inspection_id == inspection_id)
    )
    return {row.spool: row.id for row in found}


def _insert_readings(
    connection: sa.Connection, readings: Readings, inspection_id: int, spool_ids: dict[str, int]
) -> None:
    """Chunks of positional rows: a dict a reading would take twice the time."""
    compiled = schema.reading.insert().compile(dialect=connection.dialect)
    statement, order = str(compiled), [column.name for column in schema.reading.columns]
    keys = np.array([spool_ids[storable(spool)] for spool in readings.spools], dtype=np.int64)
    for start in range(0, len(readings), CHUNK_ROWS):
        chunk = slice(start, min(start + CHUNK_ROWS, len(readings)))
        rows = _reading_rows(readings, chunk, inspection_id, keys)
        if compiled.positional:
            connection.exec_driver_sql(statement, list(rows))
        else:
            connection.execute(
                schema.reading.insert(), [dict(zip(order, row, strict=True)) for row in rows]
            )


def _reading_rows(
    readings: Readings, chunk: slice, inspection_id: int, keys: np.ndarray[Any, Any]
) -> Iterator[tuple[Any, ...]]:
    """Rows in the order of the columns of the table ``reading``."""
    size = chunk.stop - chunk.start
    operators = [*map(storable, readings.operators), None]  # index -1 is 'not given'
    return zip(
        [inspection_id] * size,
        range(chunk.start + 1, chunk.stop + 1),
        keys[readings.spool[chunk]].tolist(),
        readings.place[chunk].tolist(),
        _nullable(readings.position_m[chunk]),
        _nullable(readings.direction_deg[chunk]),
        readings.diameter_mm[chunk].tolist(),
        readings.trial[chunk].tolist(),
        [operators[index] for index in readings.operator[chunk].tolist()],
        readings.line[chunk].tolist(),
        strict=True,
    )


def _nullable(values: FloatArray) -> list[float | None]:
    """NaN means 'not given' in memory, NULL in the ledger."""
    numbers: list[float | None] = values.tolist()
    for index in np.flatnonzero(np.isnan(values)).tolist():
        numbers[index] = None
    return numbers


def _values(item: Any, **renamed: str) -> Values:
    """A record of the model as columns; text made storable, some fields under another name."""
    return {
        renamed.get(key, key): storable(value) if isinstance(value, str) else value
        for key, value in asdict(item).items()
    }


def _file_values(file: SourceFile) -> Values:
    return {
        "name": storable(file.name),
        "sha256": file.sha256,
        "n_bytes": len(file.content),
        "content_zlib": zlib.compress(file.content, ZLIB_LEVEL),
        "rows_read": file.rows_read,
        "rows_used": file.rows_used,
        "rows_reported": file.rows_reported,
    }
