"""Questions to the ledger.  Lists read summary columns only; no reading is scanned for them."""

import json
import zlib
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import schema
from lotqa.ledger.rows import InspectionRow, LotRow, SpoolRow
from lotqa.ledger.summary import IDENTITY, Values

_INSPECTION = schema.inspection
_LOT = schema.lot
_SPOOL = schema.spool_result

_SHARED = ("lot_date", "inspected_at", "nominal_mm", "tolerance_mm", "label_net_g")
_NOT_LISTED = {"id", "document", "criteria_text", "lot_sheet", "readings_file"}
_NOT_LISTED_SPOOL = {"id", "inspection_id", "n", "n_readings"}


def inspections(connection: sa.Connection, lot_id: int) -> list[InspectionRow]:
    """All inspections of a lot in the order they were entered."""
    statement = _inspection_rows().where(_INSPECTION.c.lot_id == lot_id)
    rows = connection.execute(statement.order_by(_INSPECTION.c.id)).mappings()
    return [InspectionRow(**_as_kept(row)) for row in rows]


def lots(
    connection: sa.Connection,
    *,
    supplier: str | None = None,
    material: str | None = None,
    lot_ids: Sequence[int] | None = None,
) -> list[LotRow]:
    """Each lot as its newest inspection sees it, in the order of their dates."""
    newest = newest_inspections()
    statement = (
        _inspection_rows(newest.c.n_inspections)
        .join(newest, newest.c.inspection_id == _INSPECTION.c.id)
        .where(*_chosen(connection, supplier=supplier, material=material))
        .order_by(_INSPECTION.c.lot_date, _INSPECTION.c.lot_id)
    )
    if lot_ids is not None:
        statement = statement.where(_LOT.c.id.in_(lot_ids))
    rows = connection.execute(statement).mappings()
    return [LotRow(**_as_kept(row)) for row in rows]


def spool_summaries(
    connection: sa.Connection, *, supplier: str | None = None, material: str | None = None
) -> list[SpoolRow]:
    """The spools of each lot's newest inspection, in the order of the lots' dates."""
    newest = newest_inspections()
    columns = [
        _INSPECTION.c.id.label("inspection"),
        _INSPECTION.c.lot_id,
        *(_LOT.c[key] for key in IDENTITY),
        *(_INSPECTION.c[key] for key in _SHARED),
        *(column for column in _SPOOL.c if column.name not in _NOT_LISTED_SPOOL),
    ]
    statement = (
        sa.select(*columns)
        .join_from(_SPOOL, _INSPECTION, _SPOOL.c.inspection_id == _INSPECTION.c.id)
        .join(_LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .join(newest, newest.c.inspection_id == _INSPECTION.c.id)
        .where(*_chosen(connection, supplier=supplier, material=material))
        .order_by(_INSPECTION.c.lot_date, _INSPECTION.c.lot_id, _SPOOL.c.n)
    )
    rows = connection.execute(statement).mappings()
    return [SpoolRow(**_with_times(dict(row))) for row in rows]


def find(connection: sa.Connection, text: str) -> list[LotRow]:
    """Lots whose code is the text; else those of ``supplier/lot``; else the one of that number.

    A lot written exactly so wins over one that differs in upper and lower case.
    """
    wanted = text.strip()
    names = connection.execute(sa.select(_LOT.c.id, _LOT.c.supplier, _LOT.c.lot)).all()
    for same in (str, str.casefold):
        by_code = [row.id for row in names if same(row.lot) == same(wanted)]
        by_both = [row.id for row in names if same(f"{row.supplier}/{row.lot}") == same(wanted)]
        if by_code or by_both:
            return lots(connection, lot_ids=by_code or by_both)
    by_id = [row.id for row in names if str(row.id) == wanted.removeprefix("#")]
    return lots(connection, lot_ids=by_id)


def lot_id_of(connection: sa.Connection, lot_key: str | int, shown: str) -> int:
    """The number of the one lot meant; raises LedgerError if there is none or more than one."""
    if isinstance(lot_key, int):
        found = lots(connection, lot_ids=[lot_key])
    else:
        found = find(connection, lot_key)
    if not found:
        raise LedgerError(
            f'ledger {shown} has no lot "{lot_key}": `lotqa ledger list` shows what it has'
        )
    if len(found) > 1:
        by_number = sorted(found, key=lambda row: row.lot_id)
        which = ", ".join(
            f"#{row.lot_id} ({row.supplier or 'supplier unknown'})" for row in by_number
        )
        raise LedgerError(f'ledger {shown} has {len(found)} lots "{lot_key}": say which: {which}')
    return found[0].lot_id


def document(connection: sa.Connection, inspection_id: int, shown: str) -> dict[str, Any]:
    """The inspection document, with its place in the ledger filled in."""
    row = connection.execute(
        sa.select(_INSPECTION.c.document, _INSPECTION.c.lot_id).where(
            _INSPECTION.c.id == inspection_id
        )
    ).one_or_none()
    if row is None:
        raise LedgerError(no_inspection(inspection_id, shown))
    earlier = earlier_inspections(connection, inspection_id, row.lot_id)
    kept: dict[str, Any] = json.loads(row.document)
    kept["ledger"] = {
        "ledger": shown,
        "inspection": inspection_id,
        "lot_id": row.lot_id,
        "new": False,
        "earlier_inspections": earlier,
    }
    return kept


def earlier_inspections(connection: sa.Connection, inspection_id: int, lot_id: int) -> int:
    """How many inspections of the lot were entered before this one."""
    statement = (
        sa.select(sa.func.count())
        .select_from(_INSPECTION)
        .where(_INSPECTION.c.lot_id == lot_id, _INSPECTION.c.id < inspection_id)
    )
    return int(connection.execute(statement).scalar_one())


def sources(connection: sa.Connection, inspection_id: int) -> list[tuple[str, bytes]]:
    """The files exactly as they came, in their order."""
    table = schema.source_file
    rows = connection.execute(
        sa.select(table.c.name, table.c.content_zlib)
        .where(table.c.inspection_id == inspection_id)
        .order_by(table.c.n)
    )
    return [(name, zlib.decompress(content)) for name, content in rows]


def require_inspection(connection: sa.Connection, inspection_id: int, shown: str) -> None:
    found = connection.execute(
        sa.select(_INSPECTION.c.id).where(_INSPECTION.c.id == inspection_id)
    ).one_or_none()
    if found is None:
        raise LedgerError(no_inspection(inspection_id, shown))


def no_inspection(inspection_id: int, shown: str) -> str:
    return (
        f"ledger {shown} has no inspection {inspection_id}: `lotqa ledger list` shows what it has"
    )


def _inspection_rows(*more: sa.ColumnElement[Any]) -> sa.Select[Any]:
    columns = [column for column in _INSPECTION.c if column.name not in _NOT_LISTED]
    counts = [c for c in schema.ROW_COUNTS if c != "n_readings"]
    return sa.select(
        _INSPECTION.c.id.label("inspection"),
        *(_LOT.c[key] for key in IDENTITY),
        *(column for column in columns if column.name not in counts),
        *more,
    ).join_from(_INSPECTION, _LOT, _LOT.c.id == _INSPECTION.c.lot_id)


def newest_inspections() -> sa.Subquery:
    """Of each lot the inspection entered last; a clock set back cannot change which."""
    return (
        sa.select(
            sa.func.max(_INSPECTION.c.id).label("inspection_id"),
            sa.func.count().label("n_inspections"),
        )
        .group_by(_INSPECTION.c.lot_id)
        .subquery()
    )


def _chosen(connection: sa.Connection, **wanted: str | None) -> Iterable[sa.ColumnElement[bool]]:
    """Conditions for supplier and material; case and outer blanks do not count.

    The names are compared here, since databases differ in what they take for lower case.
    """
    for key, text in wanted.items():
        if text is None:
            continue
        column = _LOT.c[key]
        names = connection.execute(sa.select(column).distinct()).scalars()
        folded = text.strip().casefold()
        yield column.in_([name for name in names if name.casefold() == folded])


def _as_kept(row: sa.RowMapping) -> Values:
    values = _with_times(dict(row))
    ends = values.pop("mean_lo_mm"), values.pop("mean_hi_mm")
    return {**values, "mean_ci95_mm": None if ends == (None, None) else ends}


def _with_times(values: Values) -> Values:
    for key in ("inspected_at", "entered_at"):
        if key in values:
            values[key] = datetime.fromisoformat(values[key])
    return values
