"""Printed coupons of earlier lots: the one that the coupons of a lot are compared with.

Each lot counts by its newest inspection, on its day (received, else first inspected), lots of one
day in the order of their entry.  What a coupon showed is read from the inspection document, newest
lot first, and only of the lots whose sheet may be meant.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.evidence.tares import folded
from lotqa.ledger import schema
from lotqa.ledger.queries import newest_inspections
from lotqa.ledger.summary import IDENTITY, finite, storable
from lotqa.model import CouponReference, KeptResidual

_INSPECTION = schema.inspection
_LOT = schema.lot

ROUTES = ("wall", "mass")
FEW = 5  # names that fit into a sentence


class NoReference(LedgerError):
    """The coupon that was named is no reference; the message is about the key in the lot sheet."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a lot asks the ledger for."""

    named: str | None = None  # LOT/SPOOL, or SUPPLIER/LOT/SPOOL where lots share a code
    machine: str | None = None
    route: str | None = None  # wall or mass; None: any


@dataclass(frozen=True, slots=True)
class _Kept:
    """One lot by its newest inspection, its document not read yet."""

    inspection: int
    lot_id: int
    identity: Mapping[str, str]
    day: date
    coupon: Mapping[str, Any]  # the settings of its lot sheet

    @property
    def lot(self) -> str:
        return self.identity["lot"]


def coupon_reference(
    connection: sa.Connection,
    own: Mapping[str, str | None],
    received: date | None,
    asked: Asked,
) -> CouponReference | None:
    """The coupon that was named, else the newest earlier one of the machine; None without either.

    ``own`` is the identity of the lot that asks (see IDENTITY) and ``received`` its day; where that
    is not known, every lot in the ledger is earlier, or was entered before it.  Raises NoReference
    if the named one is not there, not earlier, of another machine, or says nothing.
    """
    if asked.named is None and not folded(asked.machine):
        return None
    lots = _lots(connection)
    mine = [folded(own.get(key)) for key in IDENTITY]
    itself = [k for k in lots if [folded(k.identity[key]) for key in IDENTITY] == mine]
    day = received or (itself[0].day if itself else date.max)
    own_place = (day, itself[0].lot_id if itself else float("inf"))
    others = [k for k in lots if k not in itself]
    earlier = [k for k in others if (k.day, k.lot_id) < own_place]
    if asked.named is None:
        return _newest(connection, earlier, asked)

    def refusal(why: str, right: str | None = None) -> NoReference:
        other = right or _such_as(connection, earlier, asked)
        return NoReference(f'reference is "{asked.named}", {why}: no reference is used; {other}')

    lot, spool = _meant(lots, asked.named, refusal)
    if lot in itself:
        raise refusal("which is of this lot itself")
    if lot.day > day:
        raise refusal(f"and lot {lot.lot} of {lot.day} came later than this one")
    return _named(connection, lot, spool, asked, refusal)


def _lots(connection: sa.Connection) -> list[_Kept]:
    """All lots, newest first."""
    newest = newest_inspections()
    rows = connection.execute(
        sa.select(
            _INSPECTION.c.id,
            _INSPECTION.c.lot_id,
            *(_LOT.c[key] for key in IDENTITY),
            _INSPECTION.c.lot_date,
            _INSPECTION.c.lot_sheet,
        )
        .join_from(_INSPECTION, newest, newest.c.inspection_id == _INSPECTION.c.id)
        .join(_LOT, _LOT.c.id == _INSPECTION.c.lot_id)
        .order_by(_INSPECTION.c.lot_date.desc(), _INSPECTION.c.lot_id.desc())
    ).mappings()
    return [
        _Kept(
            row["id"],
            row["lot_id"],
            {key: row[key] for key in IDENTITY},
            row["lot_date"],
            # A lot that an older version entered may have no such part.
            json.loads(row["lot_sheet"]).get("coupon") or {},
        )
        for row in rows
    ]


def _newest(
    connection: sa.Connection, earlier: list[_Kept], asked: Asked
) -> CouponReference | None:
    """The newest coupon of the machine whose spool was firmly accepted.

    One that disagreed with a reference of its own is passed over: wet filament would else become
    what all later lots are held against.
    """
    passed_over: list[str] = []
    for lot in earlier:
        if folded(lot.coupon.get("machine")) != folded(asked.machine):
            continue
        fit = []
        for spool in _spools_with_coupon(connection, lot):
            found = _reference(lot, spool, asked)
            if not found.residuals or (found.verdict, found.standing) != ("accept", "firm"):
                continue
            if _disagreed(spool["coupon"]):
                passed_over.append(f"{found.lot}/{found.spool}")
            else:
                fit.append(found)
        if fit:
            sharpest = min(fit, key=lambda f: min(r.hi / r.lo for r in f.residuals))
            return replace(sharpest, passed_over=tuple(passed_over))
    return None


def _disagreed(coupon: Mapping[str, Any]) -> bool:
    """Whether its sharpest route found a gap to a reference that is not diameter."""
    judged = coupon.get(coupon.get("by") or "") or {}
    return bool(judged.get("against_reference")) and judged.get("word") == "not_diameter"


def _meant(lots: list[_Kept], named: str, refusal: Callable[..., NoReference]) -> tuple[_Kept, str]:
    """The one lot that is named, and the spool as it was named.

    Both may have a slash in them, so every lot is tried, and the longest name of a lot wins.  What
    is written exactly so wins over what differs in upper and lower case.
    """
    for fold in (_as_written, _by_parts):
        text = fold(named)
        found = [
            (lot, len(start))
            for lot in lots
            for start in map(fold, (f"{lot.lot}/", f"{lot.identity['supplier']}/{lot.lot}/"))
            if text.startswith(start) and text != start
        ]
        longest = max((n for _, n in found), default=0)
        same = [lot for lot, n in found if n == longest]
        if len(same) == 1:
            return same[0], text[longest:]
        if same:
            raise refusal(*_which(same, text[longest:]))
    if "/" not in named.strip("/"):
        raise refusal("which is no lot and spool")
    raise refusal("and the ledger has no such lot")


def _as_written(text: str) -> str:
    return storable(text).strip()


def _by_parts(text: str) -> str:
    """Without case and blanks that do not count, before and after a slash neither."""
    return "/".join(folded(part) for part in storable(text).split("/"))


def _which(lots: list[_Kept], spool: str) -> tuple[str, str]:
    """What to write where several lots go by one code."""
    suppliers = sorted({lot.identity["supplier"] or "nobody named" for lot in lots})
    why = f"and the ledger has {len(lots)} lots of that code, from {' and '.join(suppliers)}"
    if len(suppliers) < len(lots):
        return why, "write reference_residual"
    name = f"{suppliers[0]}/{lots[0].lot}/{spool}"
    return why, f'write the supplier, too, such as "{name}"'


def _named(
    connection: sa.Connection,
    lot: _Kept,
    spool: str,
    asked: Asked,
    refusal: Callable[..., NoReference],
) -> CouponReference:
    there = list(_spools_with_coupon(connection, lot))
    same = [s for s in there if _as_written(s["spool"]) == spool] or [
        s for s in there if _by_parts(s["spool"]) == _by_parts(spool)
    ]
    if not same:
        if not there:
            raise refusal(f"and lot {lot.lot} has no printed coupon in the ledger")
        names = ", ".join(f'"{lot.lot}/{s["spool"]}"' for s in there[:FEW])
        raise refusal(
            f"and lot {lot.lot} has no coupon of such a spool in the ledger", f"it has {names}"
        )
    found = _reference(lot, same[0], asked, is_named=True)
    machine = folded(found.machine)
    if machine and folded(asked.machine) and machine != folded(asked.machine):
        raise refusal(f'which was printed on machine "{found.machine}", not "{asked.machine}"')
    if not found.residuals:
        by = "" if asked.route is None else f" by {asked.route}"
        raise refusal(f"and its coupon could not be compared with its diameter{by}")
    return found


def _such_as(connection: sa.Connection, earlier: list[_Kept], asked: Asked) -> str:
    """What would be right: an earlier coupon that says something, if there is one."""
    for lot in earlier:
        machine = folded(lot.coupon.get("machine"))
        if not any(v is not None for v in lot.coupon.values()) or (
            machine and folded(asked.machine) and machine != folded(asked.machine)
        ):
            continue
        for spool in _spools_with_coupon(connection, lot):
            if _reference(lot, spool, asked).residuals:
                name = f"{lot.lot}/{spool['spool']}"
                return f'write lot and spool of an earlier coupon, such as "{name}"'
    return "the ledger has no earlier coupon that would do: write reference_residual"


def _spools_with_coupon(connection: sa.Connection, lot: _Kept) -> Iterator[Mapping[str, Any]]:
    text = connection.execute(
        sa.select(_INSPECTION.c.document).where(_INSPECTION.c.id == lot.inspection)
    ).scalar_one()
    for spool in json.loads(text).get("spools") or ():
        if spool.get("coupon"):
            yield spool


def _reference(
    lot: _Kept, spool: Mapping[str, Any], asked: Asked, *, is_named: bool = False
) -> CouponReference:
    """The coupon of one spool as a reference; without residuals where it says nothing."""
    coupon = spool["coupon"]
    kept = (_residual(r, coupon.get(r) or {}) for r in ROUTES if asked.route in (None, r))
    return CouponReference(
        supplier=lot.identity["supplier"] or None,
        lot=lot.lot,
        spool=spool["spool"],
        day=lot.day,
        machine=coupon.get("machine"),
        verdict=spool.get("verdict"),
        standing=spool.get("standing"),
        residuals=tuple(r for r in kept if r is not None),
        is_named=is_named,
    )


def _residual(route: str, judged: Mapping[str, Any]) -> KeptResidual | None:
    lo, hi = judged.get("residual_ci95") or (None, None)
    numbers = [
        finite(v)
        for v in (
            judged.get("residual"),
            judged.get("residual_u"),
            judged.get("residual_u_tools"),
            lo,
            hi,
        )
    ]
    known = [v for v in numbers if v is not None]
    return KeptResidual(route, *known) if len(known) == len(numbers) else None
