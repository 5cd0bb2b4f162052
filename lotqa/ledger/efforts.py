"""How the lots of one supplier and material came out, and every change of effort they brought.

Each lot counts by its newest inspection, in the order of the lots' days (received, else first
inspected), then of their entry.  A change of effort is a row of its own, written in the transaction
of the inspection that brought it.  The rows of one supplier and material are a chain: each begins
where the one before it ended, the first at normal.  Nothing recorded is ever rewritten: what shows
later (a lot out of order, a lot inspected again, other rules) is a further row, a correction.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.evidence.tares import folded
from lotqa.ledger import schema
from lotqa.ledger.content import sha256_of_text
from lotqa.ledger.summary import Values, json_text, storable
from lotqa.model import StandingWord, VerdictWord
from lotqa.sampling.switching import LotOutcome, State

_CHANGE = schema.effort_change
_INSPECTION = schema.inspection
_LOT = schema.lot
_SPOOL = schema.spool_result

START: State = "normal"  # before anything was recorded


@dataclass(frozen=True, slots=True)
class KeptOutcome:
    """How one lot came out by its newest inspection."""

    lot_id: int
    product: str
    colour: str
    day: date  # received, else first inspected
    first_inspected: date
    outcome: LotOutcome


@dataclass(frozen=True, slots=True)
class EffortChange:
    """A change of effort to be recorded with the inspection that brings it."""

    before: State  # what was recorded last
    after: State
    why: str
    is_correction: bool = False

    def __post_init__(self) -> None:
        if self.before == self.after:
            raise ValueError(f"the effort stays {self.after}: record no change")


@dataclass(frozen=True, slots=True)
class EffortRow:
    """A change of effort as it was recorded."""

    number: int
    inspection: int  # that brought it
    supplier: str
    material: str
    lot: str
    day: date  # of that lot
    before: State
    after: State
    why: str
    is_correction: bool
    entered_at: datetime


def outcomes(connection: sa.Connection, supplier: str, material: str) -> list[KeptOutcome]:
    """The lots of a supplier and material; case and blanks of the names do not count.

    A spool that the inspection document does not grade has no critical finding.  A lot is measured
    if its document has a spool with places.
    """
    lots = [
        lot_id
        for lot_id, *names in connection.execute(
            sa.select(_LOT.c.id, _LOT.c.supplier, _LOT.c.material)
        )
        if [folded(name) for name in names] == [folded(supplier), folded(material)]
    ]
    newest = (
        sa.select(
            sa.func.max(_INSPECTION.c.id).label("inspection_id"),
            sa.func.min(_INSPECTION.c.inspected_at).label("first_inspected"),
        )
        .where(_INSPECTION.c.lot_id.in_(lots))
        .group_by(_INSPECTION.c.lot_id)
        .subquery()
    )
    statement = (
        sa.select(
            _INSPECTION.c.lot_id,
            _LOT.c.product,
            _LOT.c.colour,
            _LOT.c.lot,
            _INSPECTION.c.lot_date,
            newest.c.first_inspected,
            _INSPECTION.c.verdict,
            _INSPECTION.c.standing,
            sa.func.coalesce(sa.func.sum(_SPOOL.c.n_critical), 0).label("critical"),
            sa.func.coalesce(sa.func.max(_SPOOL.c.places), 0).label("places"),
        )
        .join_from(_INSPECTION, newest, newest.c.inspection_id == _INSPECTION.c.id)
        .join(_LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .outerjoin(_SPOOL, _SPOOL.c.inspection_id == _INSPECTION.c.id)
        .group_by(_INSPECTION.c.id, _LOT.c.id, newest.c.first_inspected)
        .order_by(_INSPECTION.c.lot_date, _INSPECTION.c.lot_id)
    )
    return [
        KeptOutcome(
            lot_id=row.lot_id,
            product=row.product,
            colour=row.colour,
            day=row.lot_date,
            first_inspected=date.fromisoformat(row.first_inspected[:10]),
            outcome=LotOutcome(
                lot=row.lot,
                day=row.lot_date.isoformat(),
                verdict=cast(VerdictWord, row.verdict),
                standing=cast(StandingWord, row.standing),
                critical=int(row.critical),
                measured=row.places > 0,
            ),
        )
        for row in connection.execute(statement)
    ]


def enter(connection: sa.Connection, change: EffortChange, inspection_id: int, shown: str) -> None:
    """Record a change with an inspection just entered; the caller holds the transaction.

    Raises LedgerError if the lot names no supplier or material, or if another bench has recorded a
    change since this one was worked out: the chain of changes would break.
    """
    lot = connection.execute(
        sa.select(
            _LOT.c.supplier,
            _LOT.c.material,
            _LOT.c.lot,
            _INSPECTION.c.lot_date,
            _INSPECTION.c.entered_at,
            _INSPECTION.c.program_version,
        )
        .join_from(_INSPECTION, _LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .where(_INSPECTION.c.id == inspection_id)
    ).one()
    supplier_key, material_key = folded(lot.supplier), folded(lot.material)
    if not supplier_key or not material_key:
        raise LedgerError(
            f"lot {lot.lot} cannot change the effort: name its supplier and its material"
        )
    recorded = recorded_state(connection, lot.supplier, lot.material)
    if recorded != change.before:
        raise LedgerError(
            f"ledger {shown}: the effort for {lot.supplier}, {lot.material} is {recorded} by now, "
            f"not {change.before}: nothing was entered, inspect the lot again"
        )
    row = {
        "inspection_id": inspection_id,
        "supplier": lot.supplier,
        "supplier_key": supplier_key,
        "material": lot.material,
        "material_key": material_key,
        "lot": lot.lot,
        "day": lot.lot_date,
        "state_before": change.before,
        "state_after": change.after,
        "why": storable(change.why),
        "is_correction": change.is_correction,
        "entered_at": lot.entered_at,
        "program_version": lot.program_version,
    }
    connection.execute(_CHANGE.insert(), {**row, "row_sha256": _row_hash(row)})


def recorded_state(connection: sa.Connection, supplier: str, material: str) -> State:
    """Where the chain of one supplier and material ends; normal if there is none."""
    found = connection.execute(
        sa.select(_CHANGE.c.state_after)
        .where(*_of(supplier, material))
        .order_by(_CHANGE.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    return START if found is None else cast(State, found)


def changes(
    connection: sa.Connection, supplier: str | None = None, material: str | None = None
) -> list[EffortRow]:
    """What was recorded, in the order it was; of one supplier or material where named."""
    statement = sa.select(_CHANGE).where(*_of(supplier, material)).order_by(_CHANGE.c.id)
    return [
        EffortRow(
            number=row.id,
            inspection=row.inspection_id,
            supplier=row.supplier,
            material=row.material,
            lot=row.lot,
            day=row.day,
            before=row.state_before,
            after=row.state_after,
            why=row.why,
            is_correction=row.is_correction,
            entered_at=datetime.fromisoformat(row.entered_at),
        )
        for row in connection.execute(statement)
    ]


def _of(supplier: str | None, material: str | None) -> Iterator[sa.ColumnElement[bool]]:
    if supplier is not None:
        yield _CHANGE.c.supplier_key == folded(storable(supplier))
    if material is not None:
        yield _CHANGE.c.material_key == folded(storable(material))


def check_efforts(connection: sa.Connection, advice: str) -> Iterator[str]:
    """What is wrong with the changes recorded, one sentence each, ending with ``advice``."""
    try:
        rows = connection.execute(sa.select(_CHANGE).order_by(_CHANGE.c.id)).mappings().all()
    except (ValueError, TypeError) as exc:  # what is no day in a column of days
        yield f"effort_change: a row cannot be read ({type(exc).__name__}: {exc}): {advice}"
        return
    last: dict[tuple[str, str], str] = {}
    for found in rows:
        where = f"effort_change {found['id']}"
        row = {k: v for k, v in found.items() if k not in ("id", "row_sha256")}
        if _row_hash(row) != found["row_sha256"]:
            yield f"{where}: the row differs from its hash: {advice}"
        key = row["supplier_key"], row["material_key"]
        if row["state_before"] != last.get(key, START):
            yield (
                f"{where}: it begins at {row['state_before']}, the change before it ended at "
                f"{last.get(key, START)}: {advice}"
            )
        last[key] = row["state_after"]
        unlike = _unlike_its_inspection(connection, row)
        if unlike:
            yield f"{where}: {unlike} differs from the inspection's: {advice}"


def _unlike_its_inspection(connection: sa.Connection, row: Values) -> str:
    """Columns that no longer say what the inspection says; '' where they agree."""
    kept = connection.execute(
        sa.select(_LOT.c.supplier, _LOT.c.material, _LOT.c.lot, _INSPECTION.c.lot_date.label("day"))
        .join_from(_INSPECTION, _LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .where(_INSPECTION.c.id == row["inspection_id"])
    ).mappings()
    # An inspection that is not there was reported with the references already.
    return ", ".join(key for lot in kept for key, value in lot.items() if row[key] != value)


def _row_hash(row: Values) -> str:
    return sha256_of_text(json_text(dict(sorted(row.items()))))
