"""Entering an empty reel: what was typed held against what the ledger knows."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Final

from lotqa.criteria import Criteria
from lotqa.errors import UnusableInput
from lotqa.evidence.hindsight import Outcome
from lotqa.evidence.tares import empty_reels, folded, record_for, tare_from_record
from lotqa.evidence.weight import interval, u_weighing_g
from lotqa.ledger import BenchScale, Ledger, ledger_exists
from lotqa.months import one_lot
from lotqa.report.tare_document import Spool, counted_again, tare_document
from lotqa.verdict.words import counted, number

FULL_RATIO: Final = 2.0  # so many times the heaviest usual reel: filament is still on it
LISTED: Final = 12  # spools of a lot named in a message


@dataclass(frozen=True, slots=True)
class Stated:
    """What the command line says of a reel; None is not said."""

    supplier: str | None = None
    reel: str | None = None
    material: str | None = None
    lot: str | None = None
    spool: str | None = None
    step_g: float | None = None
    limit_g: float | None = None
    weighed: date | None = None
    note: str | None = None
    new_supplier: bool = False
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Reel:
    """The reel meant, as the ledger knows it."""

    supplier: str
    kind: str | None
    material: str | None
    lot_id: int | None = None
    lot: str | None = None
    spool: str | None = None
    gross_g: float | None = None
    received: date | None = None


def listed(place: str, stated: Stated, limits: Criteria) -> dict[str, Any]:
    """The record, of all suppliers or of those asked for."""
    with Ledger.open(place, create=False) as book:
        supplier, lot_id = stated.supplier, None
        if stated.lot is not None:
            row = one_lot(book, stated.lot)
            supplier, lot_id = row.supplier, row.lot_id
        elif supplier is not None:
            supplier = _known_supplier(book, supplier, looking_up=True)
        document = _document(book, limits, supplier)
    kind = folded(stated.reel)
    for part in ("records", "weighings", "hindsight"):
        document[part] = [
            block
            for block in document[part]
            if (not kind or folded(block["reel_kind"]) == kind)
            and (not stated.material or block["reel_material"] == stated.material)
            and (lot_id is None or part == "records" or block["lot_id"] == lot_id)
        ]
    counted_again(document)
    return document


def entered(
    place: str, mass_g: float, typed: str, stated: Stated, limits: Criteria, now: datetime
) -> dict[str, Any]:
    """Enter one weighing; the document says what it settles.  Raises UnusableInput."""
    weighed = stated.weighed or now.astimezone().date()
    if weighed > now.astimezone().date():
        raise UnusableInput(
            f"--weighed is {weighed}, a day to come: write the day the reel was on the scale"
        )
    if stated.spool is not None and stated.lot is None:
        raise UnusableInput(f'--spool is "{stated.spool}": say of which lot, with --lot')
    needs_ledger = stated.lot is not None or ledger_exists(place)
    if needs_ledger:
        with Ledger.open(place, create=False) as book:
            reel = _reel(book, stated)
    else:
        reel = _without_ledger(stated)
    _plausible(mass_g, typed, reel, weighed, stated, limits)
    with Ledger.open(place) as book:
        before = _outcomes(book, limits, reel.supplier)
        surprise = _surprise(book, mass_g, reel, limits)
        entry = book.record_tare(
            mass_g,
            supplier=reel.supplier,
            weighed_at=weighed,
            now=now,
            reel_kind=reel.kind,
            reel_material=reel.material,
            lot_id=reel.lot_id,
            spool=reel.spool,
            scale_step_g=stated.step_g,
            limit_of_error_g=stated.limit_g,
            note=stated.note,
        )
        document = _document(book, limits, reel.supplier, before)
    document["records"] = [
        r
        for r in document["records"]
        if folded(r["reel_kind"]) == folded(reel.kind)
        and (reel.kind or r["reel_material"] == reel.material)
    ]
    document["entered"] = {
        "tare": entry.tare,
        "new": entry.new,
        "mass_g": mass_g,
        "supplier": reel.supplier,
        "reel_kind": reel.kind,
        "reel_material": reel.material,
        "lot_id": reel.lot_id,
        "lot": reel.lot,
        "spool": reel.spool,
        "weighed_at": weighed.isoformat(),
        "texts": [_said(entry.tare, entry.new, mass_g, reel, weighed), *surprise],
    }
    return document


def withdrawn(
    place: str, tare: int, stated: Stated, limits: Criteria, now: datetime
) -> dict[str, Any]:
    """Withdraw one weighing; the document says what is left of its record."""
    with Ledger.open(place, create=False) as book:
        entry = book.withdraw_tare(tare, now=now, note=stated.note)
        document = _document(book, limits, None)
    done = "is withdrawn: it stays in the ledger and counts no more"
    document["withdrawn"] = {
        "tare": tare,
        "by": entry.tare,
        "new": entry.new,
        "text": f"Tare {tare} {done}." if entry.new else f"Tare {tare} was withdrawn already.",
    }
    return document


def _scale(limits: Criteria) -> BenchScale:
    return BenchScale(limits["scale.step_g"], limits["scale.limit_of_error_g"])


def _document(
    book: Ledger,
    limits: Criteria,
    supplier: str | None,
    before: Mapping[Spool, Outcome | None] | None = None,
) -> dict[str, Any]:
    scale, like_sd_g = _scale(limits), limits["weight.tare_like_sd_g"]
    return tare_document(
        book.tares(supplier=supplier),
        book.hindsight(scale=scale, like_sd_g=like_sd_g, supplier=supplier),
        like_sd_g=like_sd_g,
        u_scale_g=u_weighing_g(scale.limit_of_error_g, scale.step_g),
        ledger=book.location,
        before=before,
    )


def _outcomes(book: Ledger, limits: Criteria, supplier: str) -> dict[Spool, Outcome | None]:
    spools = book.hindsight(
        scale=_scale(limits), like_sd_g=limits["weight.tare_like_sd_g"], supplier=supplier
    )
    return {(s.lot_id, s.spool): s.found.outcome for s in spools}


def _without_ledger(stated: Stated) -> Reel:
    if not folded(stated.supplier):
        raise UnusableInput("--supplier is missing: say whose reel it is, or name its --lot")
    return Reel(" ".join((stated.supplier or "").split()), stated.reel, stated.material)


def _reel(book: Ledger, stated: Stated) -> Reel:
    """The reel meant: by its lot, else by supplier and kind."""
    if stated.lot is None:
        reel = _without_ledger(stated)
        known = _known_supplier(book, reel.supplier, may_be_new=stated.new_supplier)
        return replace(reel, supplier=known)
    row = one_lot(book, stated.lot)
    found = book.reel_of(row.lot_id)
    assert found is not None  # the lot was just looked up, for the type checker
    lot, spools, gross = found
    supplier = lot.supplier or stated.supplier
    if not folded(supplier):
        raise UnusableInput(
            f"lot {lot.lot} names no supplier: say with --supplier whose reel it is"
        )
    if stated.supplier is not None and folded(stated.supplier) != folded(supplier):
        raise UnusableInput(
            f'--supplier is "{stated.supplier}", but lot {lot.lot} came from {supplier}: '
            "leave --supplier out, or name another lot"
        )
    spool = None if stated.spool is None else _spool(stated.spool, lot.lot, spools)
    return Reel(
        supplier=supplier or "",
        kind=stated.reel or lot.reel_kind,
        material=stated.material or lot.reel_material,
        lot_id=lot.lot_id,
        lot=lot.lot,
        spool=spool,
        gross_g=None if spool is None else gross.get(spool),
        received=row.received,
    )


def _spool(wanted: str, lot: str, spools: list[str]) -> str:
    """The spool as the ledger writes it."""
    if wanted in spools:
        return wanted
    same = [s for s in spools if folded(s) == folded(wanted)]
    if len(same) == 1:
        return same[0]
    shown = ", ".join(spools[:LISTED]) + (", ..." if len(spools) > LISTED else "")
    near = difflib.get_close_matches(wanted, spools, n=1)
    hint = f"did you mean {near[0]}? It has" if near else "it has"
    raise UnusableInput(
        f'--spool is "{wanted}", which is not among the spools inspected of lot {lot}: {hint} '
        f"{shown}; for another reel of the lot leave --spool out"
    )


def _known_supplier(
    book: Ledger, wanted: str, *, may_be_new: bool = False, looking_up: bool = False
) -> str:
    """The supplier as the ledger writes it."""
    names = {folded(r.supplier): r.supplier for r in book.lots() if r.supplier}
    for row in book.tares():
        names.setdefault(folded(row.supplier), row.supplier)
    if folded(wanted) in names:
        return names[folded(wanted)]
    if may_be_new or not names:
        return wanted
    near = difflib.get_close_matches(folded(wanted), list(names), n=1, cutoff=0.6)
    known = ", ".join(sorted(names.values()))
    hint = f"did you mean {names[near[0]]}?" if near else f"it knows {known}"
    if not looking_up:
        hint += ("" if near else ".") + " For a first reel of a supplier add --new-supplier"
    raise UnusableInput(f'supplier "{wanted}" is not in the ledger: {hint}')


def _plausible(
    mass_g: float, typed: str, reel: Reel, weighed: date, stated: Stated, limits: Criteria
) -> None:
    if reel.gross_g is not None and mass_g >= reel.gross_g:
        raise UnusableInput(
            f'MASS_G is "{typed}", but spool {reel.spool} of lot {reel.lot} weighed '
            f"{reel.gross_g:g} g with its filament on: weigh the reel when it is empty"
        )
    if reel.received is not None and weighed < reel.received:
        raise UnusableInput(
            f"--weighed is {weighed}, but lot {reel.lot} came on {reel.received}: write the day "
            "the reel was on the scale"
        )
    usual = limits.reel_for(reel.material)
    heaviest_g = limits["weight.tare_default_g"] + limits["weight.tare_half_width_g"]
    if usual is not None:
        heaviest_g = max(heaviest_g, usual.tare_hi_g)
    if mass_g > FULL_RATIO * heaviest_g and not stated.sure:
        raise UnusableInput(
            f'MASS_G is "{typed}", much for an empty reel, is filament still on it? Weigh it '
            "empty, or add --sure if the reel does weigh that much"
        )


def _surprise(book: Ledger, mass_g: float, reel: Reel, limits: Criteria) -> list[str]:
    """One sentence if the reels before lead to expect another mass."""
    reels = empty_reels(row.weighing for row in book.tares(supplier=reel.supplier))
    record = record_for(reels, reel.supplier, reel.kind, reel.material)
    if record is None or record.n_kinds is not None:
        return []
    scale = _scale(limits)
    lo_g, hi_g = interval(
        *tare_from_record(
            record,
            u_weighing_g(scale.limit_of_error_g, scale.step_g),
            limits["weight.tare_like_sd_g"],
        )
    )
    if lo_g <= mass_g <= hi_g:
        return []
    return [
        f"The {counted(record.n, 'reel')} weighed before lead to expect {number(lo_g, 0)} to "
        f"{number(hi_g, 0)} g: is this another kind of reel, or is something still on it? A kind "
        "of its own is named with --reel; a slip is withdrawn with --withdraw."
    ]


def _said(tare: int, new: bool, mass_g: float, reel: Reel, weighed: date) -> str:
    what = f"{mass_g:g} g, "
    what += f'reel "{reel.kind}" of {reel.supplier}' if reel.kind else f"reel of {reel.supplier}"
    if reel.lot is not None:
        what += f", lot {reel.lot}" + ("" if reel.spool is None else f", spool {reel.spool}")
    what += f", weighed {weighed}"
    if new:
        return f"Tare {tare}: {what}."
    return (
        f"Tare {tare} says the same already, nothing was entered: {what}. Another reel of the same "
        "mass needs a --note that tells it apart."
    )
