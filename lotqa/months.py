"""The memory put to use: from what the ledger keeps to the records of the suppliers room.

Reads summaries only; the readings of a lot are fetched when its strips are drawn.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import fields
from datetime import date
from typing import Any

import numpy as np

from lotqa.errors import UnusableInput
from lotqa.evidence.money import handling_of
from lotqa.evidence.weight import interval as normal_interval
from lotqa.ledger import InspectionRow, Ledger, LotRow, SpoolRow
from lotqa.materials import material_for, read_materials
from lotqa.report import Strip, SupplierLot
from lotqa.suppliers.mass_flow import SpoolCut, lot_grams_per_m
from lotqa.suppliers.records import LotRecord


def records(ledger: Ledger, materials_text: str | None = None) -> list[LotRecord]:
    """One record a lot, by its newest inspection."""
    materials = read_materials(materials_text)
    spools: dict[int, list[SpoolRow]] = defaultdict(list)
    for row in ledger.spool_summaries():
        spools[row.inspection].append(row)
    out = []
    for lot in ledger.lots():
        material = material_for(lot.material, materials)
        density = None if material is None else material.density_g_cm3
        document = ledger.document(lot.inspection)
        out.append(_record(lot, spools[lot.inspection], density, document))
    return out


def _limits(document: dict[str, Any]) -> dict[str, float]:
    """The limits that the lot was judged by, by their keys."""
    limits = (document.get("criteria") or {}).get("limits") or []
    return {x["key"]: x["value"] for x in limits}


def _tool(document: dict[str, Any]) -> dict[str, Any]:
    tools = document.get("instruments") or [{}]
    return dict(tools[0])


def _record(
    lot: LotRow, spools: Sequence[SpoolRow], density: float | None, document: dict[str, Any]
) -> LotRecord:
    tool = _tool(document)
    read = [s for s in spools if s.mean_mm is not None and s.places]
    u_means = [s.u_mean_mm for s in read if s.u_mean_mm is not None]
    return LotRecord(
        supplier=lot.supplier,
        product=lot.product,
        material=lot.material,
        colour=lot.colour,
        lot=lot.lot,
        received=lot.received,
        inspected_at=lot.inspected_at,
        verdict=lot.verdict,
        standing=lot.standing,
        spools_received=lot.spools_received,
        spools_inspected=lot.spools_inspected,
        spools_accepted=lot.accepted,
        spools_tuned=lot.tuned,
        spools_rejected=lot.rejected,
        nominal_mm=lot.nominal_mm,
        tolerance_mm=lot.tolerance_mm,
        mean_mm=lot.mean_mm,
        u_mean_mm=float(np.sqrt(np.mean(np.square(u_means)))) if u_means else None,
        between_spool_sd_mm=lot.between_spool_sd_mm,
        within_spool_sd_mm=lot.within_spool_sd_mm,
        spool_means_mm=tuple(_nan(s.mean_mm) for s in read),
        spool_sds_mm=tuple(_nan(s.sd_observed_mm) for s in read),
        spool_places=tuple(_nan(s.places) for s in read),
        ovality_mm=lot.ovality_mm,
        net_g=lot.net_g,
        label_net_g=lot.label_net_g,
        u_net_g=_u_net(document),
        **_grams_per_m(lot, document),
        price=lot.price,
        currency=lot.currency,
        density_g_cm3=density,
        handling=handling_of(_limits(document)),
        instrument=tool.get("name"),
        pin_checked=bool(tool.get("pin_readings")),
    )


def _weights(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Weights of the spools whose reel is known; a supposed reel tells nothing of a supplier."""
    told = [s["weight"] for s in document["spools"] if s["weight"] is not None]
    return [w for w in told if w["net_g"] is not None and w.get("tare_known") != "supposed"]


def _u_net(document: dict[str, Any]) -> float | None:
    """Standard uncertainty of the mean net mass: the reel and the scale are common to all spools,
    so that it does not shrink with their number."""
    expanded = [w["uncertainty_g"] for w in _weights(document)]
    return float(np.mean(expanded)) / 2 if expanded else None


def _grams_per_m(lot: LotRow, document: dict[str, Any]) -> dict[str, Any]:
    """What the weighed lengths say of the lot's grams per metre."""
    cuts = []
    for spool in document["spools"]:
        weight = spool["weight"] or {}
        cut, of_spool = weight.get("cut"), weight.get("grams_per_m_ci95")
        if cut is None or of_spool is None or None in of_spool:
            continue
        u_cut, u_spool = (
            (hi - lo) / 2 / normal_interval(0.0, 1.0)[1]
            for lo, hi in (cut["linear_density_ci95"], of_spool)
        )
        cuts.append(SpoolCut(cut["linear_density_g_per_m"], u_cut, u_spool))
    between = 0.0
    if lot.between_spool_sd_mm and lot.mean_mm:
        between = 2 * lot.between_spool_sd_mm / lot.mean_mm  # the section goes with the square
    found = lot_grams_per_m(cuts, between)
    if found is None:
        return {}
    return {"g_per_m": found[0], "u_g_per_m": found[1], "n_cuts": len(cuts)}


def _nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def name_in_ledger(wanted: str, names: Sequence[str]) -> str:
    """The supplier as the ledger writes it; case and spaces may differ.

    Raises UnusableInput, with the names that are there, if none fits.
    """
    folded = {" ".join(n.split()).casefold(): n for n in names}
    found = folded.get(" ".join(wanted.split()).casefold())
    if found is not None:
        return found
    known = ", ".join(sorted(set(names))) or "none yet"
    raise UnusableInput(f'supplier "{wanted}" is not in the ledger: it knows {known}')


def supplier_lots(
    ledger: Ledger, supplier: str, *, material: str | None = None, colour: str | None = None
) -> list[SupplierLot]:
    """All lots of a supplier in date order with the strips of their spools, offset removed."""
    out = []
    for lot in ledger.lots(supplier=supplier, material=material):
        if colour is not None and lot.colour.casefold() != colour.casefold():
            continue
        document = ledger.document(lot.inspection)
        out.append(_supplier_lot(ledger, lot, document))
    return out


def _supplier_lot(ledger: Ledger, lot: LotRow, document: dict[str, Any]) -> SupplierLot:
    spread, spread_ci = _pooled_spread(document)
    ci = lot.mean_ci95_mm or (None, None)
    shortfalls = [w["shortfall_g"] for w in _weights(document) if w["shortfall_g"] is not None]
    limits = [
        r["limit"]
        for s in document["spools"]
        for r in s["reasons"]
        if r["check"] == "diameter.spread"
    ]
    return SupplierLot(
        lot=lot.lot,
        received=None if lot.received is None else lot.received.isoformat(),
        product=lot.product or None,
        material=lot.material or None,
        verdict=lot.verdict,
        standing=lot.standing,
        mean_mm=lot.mean_mm,
        mean_ci95_mm=(ci[0], ci[1]),
        sd_mm=spread,
        sd_ci95_mm=spread_ci,
        net_shortfall_g=float(np.mean(shortfalls)) if shortfalls else None,
        price_per_litre=lot.price_per_litre,
        currency=lot.currency,
        nominal_mm=lot.nominal_mm,
        tolerance_mm=lot.tolerance_mm,
        strips=tuple(supplier_strips(ledger, lot.inspection, document)),
        sd_limit_mm=limits[0] if limits else None,
    )


def supplier_strips(ledger: Ledger, inspection: int, document: dict[str, Any]) -> list[Strip]:
    """The places of every spool of one inspection, offset removed, for drawing."""
    offset = _tool(document).get("offset_mm") or 0.0
    told = {s["spool"]: s for s in document["spools"]}
    strips = []
    for places in ledger.places(inspection):
        spool = told[places.spool]
        known = bool(np.isfinite(places.position_m).all())
        order = np.argsort(places.position_m, kind="stable") if known else slice(None)
        lo, hi = spool["diameter"]["mean_ci95_mm"]
        strips.append(
            Strip(
                spool=places.spool,
                position_m=(places.position_m if known else places.place.astype(float))[order],
                position_known=known,
                low_mm=places.low_mm[order] - offset,
                high_mm=places.high_mm[order] - offset,
                mean_mm=places.mean_mm[order] - offset,
                verdict=spool["verdict"],
                standing=spool["standing"],
                mean_ci95_mm=(_nan(lo), _nan(hi)),
            )
        )
    return strips


def one_lot(ledger: Ledger, text: str) -> LotRow:
    """The one lot that ``text`` names.  Raises UnusableInput if there is none, or several."""
    found = ledger.find(text)
    if len(found) == 1:
        return found[0]
    if not found:
        raise UnusableInput(f'lot "{text}" is not in the ledger: see lotqa ledger list')
    listed = ", ".join(f"{r.lot_id} ({r.supplier}/{r.lot})" for r in found)
    raise UnusableInput(f'lot "{text}" fits several, {listed}: give the number')


def lot_summary(row: InspectionRow) -> dict[str, Any]:
    """A row of the ledger for a JSON document; dates as text."""
    return {
        f.name: value.isoformat() if isinstance(value := getattr(row, f.name), date) else value
        for f in fields(row)
    }


def _pooled_spread(
    document: dict[str, Any],
) -> tuple[float | None, tuple[float | None, float | None]]:
    """The lot's spread within spools, with the interval that the lot's own reason was judged by."""
    lot = document["lot"]
    interval = lot.get("within_spool_sd_ci95_mm") or (None, None)
    return lot["within_spool_sd_mm"], (interval[0], interval[1])
