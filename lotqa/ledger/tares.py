"""Empty reels in the ledger: those entered by hand, and those weighed with an inspected lot.

A supplier and a reel kind are the same whatever the case and the blanks they were typed with.
The same line (reel, mass, day, note) is entered once.  A slip is never taken out: a further row
withdraws it, and neither counts from then on.  Of a lot its newest inspection speaks.
"""

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.evidence.tares import TareWeighing, folded
from lotqa.ledger import queries, schema
from lotqa.ledger.content import sha256_of_text
from lotqa.ledger.summary import Values, finite, json_text, storable, text_or_none, utc_text

_TARE = schema.tare
_LOT = schema.lot
_INSPECTION = schema.inspection
_WEIGH_IN = schema.weigh_in

# What makes two lines the same line; the rest (step of the scale, clock) may differ.
_SAME = ("supplier_key", "reel_kind_key", "reel_material", "lot_id", "spool", "mass_g",
         "weighed_at", "note", "withdraws")  # fmt: skip


@dataclass(frozen=True, slots=True)
class TareEntry:
    """Where a weighing stands in the ledger."""

    tare: int
    new: bool  # False: the same line was already there and nothing was entered
    location: str


@dataclass(frozen=True, slots=True)
class TareRow:
    """One weighing of one empty reel, entered by hand or with an inspection."""

    tare: int | None  # its number; None if it came with an inspection
    inspection: int | None
    supplier: str
    reel_kind: str | None
    reel_material: str | None
    lot_id: int | None
    lot: str | None
    spool: str | None
    mass_g: float
    scale_step_g: float | None
    limit_of_error_g: float | None
    weighed_at: date
    note: str | None

    @property
    def reel(self) -> str:
        """The same text for the same reel; a reel that no spool names is one of its own."""
        if self.lot_id is not None and self.spool:
            return f"lot {self.lot_id}, {self.spool}"
        return f"tare {self.tare}"

    @property
    def weighing(self) -> TareWeighing:
        """The row as the evidence room takes it."""
        return TareWeighing(
            self.supplier,
            self.reel_kind,
            self.reel_material,
            self.reel,
            self.mass_g,
            self.weighed_at.isoformat(),
        )


@dataclass(frozen=True, slots=True)
class NewestLot:
    """What the newest inspection of a lot says that bears on its reels."""

    inspection: int
    lot_id: int
    supplier: str
    lot: str
    day: date  # received, else first inspected
    reel_kind: str | None
    reel_material: str | None


def prepare(
    *,
    supplier: str,
    mass_g: float,
    weighed_at: date,
    now: datetime,
    reel_kind: str | None,
    reel_material: str | None,
    lot_id: int | None,
    spool: str | None,
    scale_step_g: float | None,
    limit_of_error_g: float | None,
    note: str | None,
    program_version: str,
) -> Values:
    """The row of a weighing, its lot's code and its hashes still to be filled in."""
    kind = _text(reel_kind)
    if not folded(storable(supplier)):
        raise LedgerError("the tare names no supplier: say whose reel it is")
    mass = finite(mass_g)
    if mass is None or mass <= 0:
        raise LedgerError(f"the tare is {mass_g:g} g: an empty reel weighs more than nothing")
    return {
        "supplier": storable(supplier).strip(),
        "supplier_key": folded(storable(supplier)),
        "reel_kind": kind,
        "reel_kind_key": folded(kind),
        "reel_material": None if reel_material is None else folded(reel_material) or None,
        "lot_id": lot_id,
        "lot": None,
        "spool": _text(spool),
        "mass_g": mass,
        "scale_step_g": finite(scale_step_g),
        "limit_of_error_g": finite(limit_of_error_g),
        "weighed_at": weighed_at,
        "entered_at": utc_text(now),
        "note": _text(note),
        "withdraws": None,
        "program_version": storable(program_version),
    }


def enter(connection: sa.Connection, row: Values, shown: str) -> tuple[int, bool]:
    """(number, new) of a weighing; the caller holds the transaction."""
    if row["lot_id"] is not None:
        (lot,) = _newest_lots(connection, lot_id=row["lot_id"]) or (None,)
        if lot is None:
            raise LedgerError(f"ledger {shown} has no lot {row['lot_id']}: see lotqa ledger list")
        row = {**row, "lot": lot.lot}
    return _insert(connection, row)


def withdraw(
    connection: sa.Connection, number: int, note: str | None, now: datetime, shown: str
) -> tuple[int, bool]:
    """(number, new) of the row that withdraws another; that row itself stays."""
    found = connection.execute(sa.select(_TARE).where(_TARE.c.id == number)).mappings().first()
    if found is None or found["withdraws"] is not None:
        raise LedgerError(
            f"ledger {shown} has no tare {number}: `lotqa ledger tare` lists their numbers"
        )
    done = connection.execute(
        sa.select(_TARE.c.id).where(_TARE.c.withdraws == number)
    ).scalar_one_or_none()
    if done is not None:
        return int(done), False
    row = {k: v for k, v in found.items() if k not in ("id", "content_hash", "row_sha256")}
    return _insert(
        connection,
        {**row, "note": _text(note), "withdraws": number, "entered_at": utc_text(now)},
    )


def _insert(connection: sa.Connection, row: Values) -> tuple[int, bool]:
    content = _content_hash(row)
    found = connection.execute(
        sa.select(_TARE.c.id).where(_TARE.c.content_hash == content)
    ).scalar_one_or_none()
    if found is not None:
        if found in _withdrawn(connection):
            raise LedgerError(
                f"the same line was entered as tare {found} and withdrawn: add --note to say why "
                "it holds after all"
            )
        return int(found), False
    whole = {**row, "content_hash": content, "row_sha256": _row_hash(row)}
    return int(connection.execute(_TARE.insert().returning(_TARE.c.id), whole).scalar_one()), True


def _withdrawn(connection: sa.Connection) -> set[int]:
    column = _TARE.c.withdraws
    return set(connection.execute(sa.select(column).where(column.is_not(None))).scalars())


def tare_rows(connection: sa.Connection, *, supplier: str | None = None) -> list[TareRow]:
    """All weighings that count, of one supplier or of all: with lots first, then by hand."""
    return [*_of_lots(connection, supplier), *_by_hand(connection, supplier)]


def _by_hand(connection: sa.Connection, supplier: str | None) -> Iterator[TareRow]:
    withdrawn = _withdrawn(connection)
    statement = sa.select(_TARE).where(_TARE.c.withdraws.is_(None)).order_by(_TARE.c.id)
    if supplier is not None:
        statement = statement.where(_TARE.c.supplier_key == folded(supplier))
    for row in connection.execute(statement).mappings():
        if row["id"] not in withdrawn:
            shared = {k: row[k] for k in TareRow.__slots__ if k not in ("tare", "inspection")}
            yield TareRow(tare=row["id"], inspection=None, **shared)


def _of_lots(connection: sa.Connection, supplier: str | None) -> Iterator[TareRow]:
    lots = {lot.inspection: lot for lot in newest_lots(connection, supplier)}
    newest = queries.newest_inspections()
    statement = (
        sa.select(_WEIGH_IN)
        .join(newest, newest.c.inspection_id == _WEIGH_IN.c.inspection_id)
        .where(_WEIGH_IN.c.kind.in_(("gross", "tare")))
        .order_by(_WEIGH_IN.c.inspection_id, _WEIGH_IN.c.n)
    )
    rows = [r for r in connection.execute(statement).mappings() if r["inspection_id"] in lots]
    gross_g: dict[tuple[int, str], float] = {}
    for row in rows:
        if row["kind"] == "gross":
            key = row["inspection_id"], row["spool"]
            gross_g[key] = min(row["mass_g"], gross_g.get(key, math.inf))
    for row in rows:
        key = row["inspection_id"], row["spool"]
        # A reel cannot weigh as much as itself with filament on it: two columns were swapped.
        if row["kind"] == "tare" and row["mass_g"] < gross_g.get(key, math.inf):
            yield _of_lot(lots[row["inspection_id"]], row)


def _of_lot(lot: NewestLot, row: sa.RowMapping) -> TareRow:
    return TareRow(
        tare=None,
        inspection=lot.inspection,
        supplier=lot.supplier,
        reel_kind=lot.reel_kind,
        reel_material=lot.reel_material,
        lot_id=lot.lot_id,
        lot=lot.lot,
        spool=row["spool"],
        mass_g=row["mass_g"],
        scale_step_g=row["scale_step_g"],
        limit_of_error_g=None,
        weighed_at=lot.day,
        note=row["note"],
    )


def newest_lots(connection: sa.Connection, supplier: str | None = None) -> list[NewestLot]:
    """Lots with a weigh-in of a whole spool or an empty reel, each by its newest inspection."""
    weighed = sa.select(_WEIGH_IN.c.inspection_id).where(_WEIGH_IN.c.kind.in_(("gross", "tare")))
    return _newest_lots(connection, _INSPECTION.c.id.in_(weighed), supplier=supplier)


def lot_of(connection: sa.Connection, lot_id: int) -> NewestLot | None:
    """One lot by its number, weighed or not."""
    return next(iter(_newest_lots(connection, lot_id=lot_id)), None)


def _newest_lots(
    connection: sa.Connection,
    *conditions: sa.ColumnElement[bool],
    supplier: str | None = None,
    lot_id: int | None = None,
) -> list[NewestLot]:
    newest = queries.newest_inspections()
    statement = (
        sa.select(
            _INSPECTION.c.id,
            _INSPECTION.c.lot_id,
            _LOT.c.supplier,
            _LOT.c.lot,
            _INSPECTION.c.lot_date,
            _INSPECTION.c.lot_sheet,
        )
        .join_from(_INSPECTION, _LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .join(newest, newest.c.inspection_id == _INSPECTION.c.id)
        .where(*conditions)
        .order_by(_INSPECTION.c.lot_date, _INSPECTION.c.lot_id)
    )
    if lot_id is not None:
        statement = statement.where(_LOT.c.id == lot_id)
    if supplier is not None:
        names = connection.execute(sa.select(_LOT.c.supplier).distinct()).scalars()
        same = [name for name in names if folded(name) == folded(supplier)]
        statement = statement.where(_LOT.c.supplier.in_(same))
    return [
        NewestLot(key, lot, name, code, day, *_reel(sheet))
        for key, lot, name, code, day, sheet in connection.execute(statement).all()
    ]


def _reel(sheet: str) -> tuple[str | None, str | None]:
    """Kind and material of the reel; sheets of an older lotqa know none."""
    reel = json.loads(sheet).get("reel") or {}
    return _text(reel.get("kind")), _text(reel.get("material"))


def weigh_ins(
    connection: sa.Connection, inspection_id: int, *kinds: str
) -> Sequence[sa.RowMapping]:
    """The weigh-ins of some kinds of one inspection, in their order."""
    statement = (
        sa.select(_WEIGH_IN)
        .where(_WEIGH_IN.c.inspection_id == inspection_id, _WEIGH_IN.c.kind.in_(kinds))
        .order_by(_WEIGH_IN.c.n)
    )
    return connection.execute(statement).mappings().all()


def spools_of(connection: sa.Connection, inspection_id: int) -> list[str]:
    """Names of the spools that an inspection read or weighed, in their order."""
    read, weighed = schema.spool_result, _WEIGH_IN
    found = connection.execute(
        sa.select(read.c.spool).where(read.c.inspection_id == inspection_id).order_by(read.c.n)
    ).scalars()
    more = connection.execute(
        sa.select(weighed.c.spool)
        .where(weighed.c.inspection_id == inspection_id)
        .order_by(weighed.c.n)
    ).scalars()
    return list(dict.fromkeys([*found, *more]))


def check_tares(connection: sa.Connection, advice: str) -> Iterator[str]:
    """What is wrong with what was entered by hand, one sentence each, ending with ``advice``."""
    try:
        rows = connection.execute(sa.select(_TARE).order_by(_TARE.c.id)).mappings().all()
    except (ValueError, TypeError) as exc:  # what is no day in a column of days
        yield f"tare: a row cannot be read ({type(exc).__name__}: {exc}): {advice}"
        return
    for found in rows:
        row = {k: v for k, v in found.items() if k not in ("id", "content_hash", "row_sha256")}
        where = f"tare {found['id']}"
        expected = {"content_hash": _content_hash(row), "row_sha256": _row_hash(row)}
        if any(found[column] != value for column, value in expected.items()):
            yield f"{where}: the row differs from its hash: {advice}"


def _content_hash(row: Values) -> str:
    return sha256_of_text(json_text([row[column] for column in _SAME]))


def _row_hash(row: Values) -> str:
    return sha256_of_text(json_text(dict(sorted(row.items()))))


def _text(value: Any) -> str | None:
    return (text_or_none(value) or "").strip() or None
