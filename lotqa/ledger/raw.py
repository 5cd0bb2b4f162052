"""Readings as they were read: beside the row as typed, and gathered by place."""

import io
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from lotqa.ledger import schema
from lotqa.ledger.queries import sources
from lotqa.ledger.rows import RawRow, SpoolPlaces
from lotqa.model import FloatArray, IntArray

FETCH_ROWS = 50_000  # rows at a time as Python numbers; what is kept of them are arrays

_READING = schema.reading
_SPOOL = schema.spool_result


def raw_rows(
    connection: sa.Connection, inspection_id: int, *, spool: str | None = None
) -> list[RawRow]:
    """All readings of an inspection, or of one of its spools, each beside its row as typed."""
    file = connection.execute(
        sa.select(schema.inspection.c.readings_file).where(schema.inspection.c.id == inspection_id)
    ).scalar_one_or_none()
    name = file or ""
    lines = _typed_lines(name, sources(connection, inspection_id))
    columns = [c for c in _READING.c if c.name not in ("inspection_id", "spool_id")]
    statement = (
        sa.select(*columns, _SPOOL.c.spool)
        .join_from(_READING, _SPOOL, _SPOOL.c.id == _READING.c.spool_id)
        .where(_READING.c.inspection_id == inspection_id)
        .order_by(_READING.c.n)
    )
    if spool is not None:
        statement = statement.where(_SPOOL.c.spool == spool)
    return [
        RawRow(
            **row,
            file=name,
            text=lines[row["line"] - 1] if 0 < row["line"] <= len(lines) else None,
        )
        for row in connection.execute(statement).mappings()
    ]


def places(
    connection: sa.Connection, inspection_id: int, *, spools: Sequence[str] | None = None
) -> list[SpoolPlaces]:
    """The places of each spool (or of those named) that has readings, in the ledger's order."""
    statement = sa.select(_SPOOL.c.id, _SPOOL.c.spool).where(
        _SPOOL.c.inspection_id == inspection_id, _SPOOL.c.n_readings > 0
    )
    if spools is not None:
        statement = statement.where(_SPOOL.c.spool.in_(spools))
    names = connection.execute(statement.order_by(_SPOOL.c.n)).all()
    keys = None if spools is None else [key for key, _ in names]
    columns = _arrays(connection, inspection_id, keys)
    spool_id, position_m, low_mm, high_mm, mean_mm = gather(**columns)
    found = []
    for key, name in names:
        mine = slice(*np.searchsorted(spool_id, [key, key + 1]))
        number = np.arange(1, mine.stop - mine.start + 1)
        number.flags.writeable = False
        found.append(
            SpoolPlaces(name, number, position_m[mine], low_mm[mine], high_mm[mine], mean_mm[mine])
        )
    return found


def gather(
    spool_id: IntArray,
    place: IntArray,
    position_m: FloatArray,
    direction_deg: FloatArray,
    diameter_mm: FloatArray,
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Gather readings by spool and place: spool_id, position_m, low_mm, high_mm, mean_mm.

    One element a place, sorted by spool, then place; read-only.  The inputs are equally long.

    >>> turned, at = np.array([0.0, 0.0, 90.0]), np.zeros(3)
    >>> ids = np.zeros(3, dtype=np.int64)
    >>> *_, low_mm, high_mm, mean_mm = gather(ids, ids, at, turned, np.array([1.74, 1.76, 1.77]))
    >>> [round(float(x[0]), 3) for x in (low_mm, high_mm, mean_mm)]
    [1.75, 1.77, 1.76]
    """
    # A reading without direction keeps a key of its own: it may have been turned or not.
    unknown = np.isnan(direction_deg)
    group = np.where(unknown, np.arange(len(place)), -1)
    turn = np.where(unknown, 0.0, direction_deg)
    order = np.lexsort((group, turn, place, spool_id))
    spool_id, place = spool_id[order], place[order]
    by_direction = _starts(spool_id, place, turn[order], group[order])
    width_mm = _means(diameter_mm[order], by_direction)
    by_place = _starts(spool_id[by_direction], place[by_direction])
    first = by_direction[by_place]  # a reading at each place
    gathered = (
        spool_id[first],
        position_m[order][first],
        np.minimum.reduceat(width_mm, by_place) if len(first) else width_mm,
        np.maximum.reduceat(width_mm, by_place) if len(first) else width_mm,
        _means(width_mm, by_place),
    )
    for array in gathered:
        array.flags.writeable = False
    return gathered


def _starts(*keys: np.ndarray[Any, Any]) -> IntArray:
    """Where a new combination of sorted keys begins."""
    changed = np.zeros(len(keys[0]), dtype=bool)
    changed[:1] = True
    for key in keys:
        changed[1:] |= key[1:] != key[:-1]
    return np.flatnonzero(changed)


def _means(values: FloatArray, starts: IntArray) -> FloatArray:
    if not len(starts):
        return np.empty(0)
    sizes = np.diff(np.append(starts, len(values)))
    means: FloatArray = np.add.reduceat(values, starts) / sizes
    return means


def _arrays(
    connection: sa.Connection, inspection_id: int, spool_ids: Sequence[int] | None
) -> dict[str, np.ndarray[Any, Any]]:
    """The columns that :func:`gather` takes, of all spools or of some; unknown becomes NaN."""
    kinds: dict[str, type[np.int64 | np.float64]] = {
        "spool_id": np.int64,
        "place": np.int64,
        "position_m": np.float64,
        "direction_deg": np.float64,
        "diameter_mm": np.float64,
    }
    statement = (
        sa.select(*(_READING.c[name] for name in kinds))
        .where(_READING.c.inspection_id == inspection_id)
        .order_by(_READING.c.n)
    )
    if spool_ids is not None:
        statement = statement.where(_READING.c.spool_id.in_(spool_ids))
    parts: dict[str, list[np.ndarray[Any, Any]]] = {name: [] for name in kinds}
    result = connection.execution_options(yield_per=FETCH_ROWS).execute(statement)
    for rows in result.partitions():
        for (name, kind), column in zip(kinds.items(), zip(*rows, strict=True), strict=True):
            parts[name].append(np.array(column, dtype=kind))
    return {
        name: np.concatenate(parts[name]) if parts[name] else np.empty(0, kind)
        for name, kind in kinds.items()
    }


def _typed_lines(name: str, files: Sequence[tuple[str, bytes]]) -> list[str]:
    """The lines of the readings file as an editor counts them; a sheet's cells joined by tabs."""
    content = next((content for file, content in files if file == name), b"")
    if content.startswith(b"PK\x03\x04"):  # a workbook is a zip archive
        return list(_sheet_lines(content))
    return [line.rstrip("\r\n") for line in io.StringIO(_decode(content), newline="")]


def _decode(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", "replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _sheet_lines(content: bytes) -> Iterator[str]:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    named = {sheet.title.strip().casefold(): sheet for sheet in book.worksheets}
    for cells in named.get("readings", book.worksheets[0]).iter_rows(values_only=True):
        yield "\t".join("" if cell is None else str(cell) for cell in cells)
