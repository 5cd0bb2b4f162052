"""The inspection document, ``lotqa.inspection.v1``: what ``inspect --json`` prints.

Keys may be added, never renamed.  Unknown numbers are None, never NaN; an interval without an
end has None there.  Numbers are not rounded.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

import lotqa
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.weight import interval as normal_interval
from lotqa.model import LotInput, Problem
from lotqa.verdict.more import more_places
from lotqa.verdict.outcome import Reason
from lotqa.verdict.spool import action

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

SCHEMA = "lotqa.inspection.v1"
MORE_PLACES_SPOOLS = 200  # an archive of thousands of spools is not measured on at the bench


def inspection_document(inspection: "Inspection", now: datetime) -> dict[str, Any]:
    """The document of one inspection; ``now`` is when it was made."""
    prepared = inspection.prepared
    lot, case = prepared.lot, prepared.case
    return {
        "schema": SCHEMA,
        "program_version": lotqa.__version__,
        "inspected_at": now.isoformat(timespec="seconds"),
        "lot": _lot(inspection),
        "label": {
            "nominal_mm": case.evidence.section.nominal_mm,
            "tolerance_mm": case.evidence.section.tolerance_mm,
            "net_g": lot.sheet.label.net_g,
            "ovality_mm": case.ovality_limit_mm,
            "sources": dict(prepared.sources),
        },
        "print": {
            "line_width_mm": lot.sheet.print_settings.line_width_mm,
            "layer_height_mm": lot.sheet.print_settings.layer_height_mm,
            "set_diameter_mm": case.evidence.section.set_diameter_mm,
            "multiplier": lot.sheet.print_settings.multiplier,
        },
        "criteria": {
            "name": case.criteria.name,
            "sha256": case.criteria.sha256,
            "text": case.criteria.text,
            "limits": [
                {"key": x.key, "value": x.value, "unit": x.unit, "why": x.why}
                for x in case.criteria.limits()
            ],
            "feed": None
            if case.stock is None
            else {
                "thick_reject_mm": case.stock.thick_reject_mm,
                "thick_warn_mm": case.stock.thick_warn_mm,
                "thin_reject_mm": case.stock.thin_reject_mm,
            },
        },
        "instruments": _instruments(inspection),
        "spools": [_spool(inspection, i) for i in range(len(inspection.spools))],
        "files": [
            {
                "name": f.name,
                "sha256": f.sha256,
                "bytes": len(f.content),
                "rows_read": f.rows_read,
                "rows_used": f.rows_used,
                "rows_reported": f.rows_reported,
            }
            for f in lot.files
        ],
        "missing": missing(lot, case.evidence),
        "cautions": cautions(lot),
        "problems": [_problem(p) for p in (*lot.problems, *prepared.problems)],
        "ledger": None,
    }


def _lot(inspection: "Inspection") -> dict[str, Any]:
    prepared, verdict = inspection.prepared, inspection.lot
    sheet = prepared.lot.sheet
    until = prepared.claim_until
    nets = [w.net_g for w in prepared.case.goods.weights if w and w.net_g is not None]
    net = float(np.mean(nets)) if nets else None
    unopened = verdict.unopened
    return {
        "supplier": sheet.supplier,
        "product": sheet.product,
        "material": sheet.material,
        "colour": sheet.colour,
        "lot": prepared.lot_code,
        "lot_self_assigned": prepared.lot_self_assigned,
        "ordered": None if sheet.ordered is None else sheet.ordered.isoformat(),
        "received": None if sheet.received is None else sheet.received.isoformat(),
        "claim_days": sheet.claim_days,
        "claim_until": None if until is None else until.isoformat(),
        "price": sheet.price,
        "currency": sheet.currency,
        "verdict": verdict.verdict,
        "standing": verdict.standing,
        "reasons": [_reason(r) for r in verdict.reasons],
        "action": verdict.action,
        "spools_received": sheet.spools_received,
        "spools_inspected": len(inspection.spools),
        "accepted": verdict.accepted,
        "tuned": verdict.tuned,
        "rejected": verdict.rejected,
        "mean_mm": verdict.numbers.mean_mm,
        "mean_ci95_mm": _pair(*(verdict.numbers.mean_ci95_mm or (None, None))),
        "between_spool_sd_mm": verdict.numbers.between_spool_sd_mm,
        "within_spool_sd_mm": verdict.numbers.within_spool_sd_mm,
        "within_spool_sd_ci95_mm": _pair(
            *(verdict.numbers.within_spool_sd_ci95_mm or (None, None))
        ),
        "multiplier": verdict.multiplier,
        "net_g": net,
        "price_per_litre": _price_per_litre(inspection, net),
        "unopened": None
        if unopened is None
        else {
            "spools": unopened.spools,
            "bad_upper95": unopened.bad_upper,
            "text": unopened.text,
        },
    }


def _price_per_litre(inspection: "Inspection", net_g: float | None) -> float | None:
    """Price of a spool over its volume; by the label's net mass where none was weighed."""
    sheet, material = inspection.prepared.lot.sheet, inspection.prepared.case.goods.material
    mass_g = sheet.label.net_g if net_g is None else net_g
    if sheet.price is None or material is None or not mass_g or mass_g <= 0:
        return None
    return sheet.price / (mass_g / material.density_g_cm3 / 1000)


def _spool(inspection: "Inspection", i: int) -> dict[str, Any]:
    prepared, judgement = inspection.prepared, inspection.judgement
    case = prepared.case
    until = prepared.claim_until
    few = len(inspection.spools) <= MORE_PLACES_SPOOLS
    return {
        "spool": inspection.spools[i],
        "verdict": judgement.verdict(i),
        "standing": judgement.standing(i),
        "more_places": more_places(case, judgement, i) if few else None,
        "action": action(case, judgement, i, None if until is None else until.isoformat()),
        "reasons": [_reason(r) for r in judgement.reasons(i)],
        "diameter": _diameter(case.evidence, prepared.lot, i),
        "ovality": _ovality(case.evidence, i),
        "flow": _flow(case.evidence, i),
        "weight": _weight(inspection, i),
        "moisture": _moisture(inspection, i),
        "findings": _findings(inspection, i),
    }


def _diameter(evidence: LotEvidence, lot: LotInput, i: int) -> dict[str, Any]:
    d, c, o = evidence.diameter, evidence.capability, evidence.order
    places = evidence.places
    first, last = np.searchsorted(places.spool, (i, i + 1))
    mine = slice(*np.searchsorted(lot.readings.spool, (i, i + 1)))
    directions = np.unique(lot.readings.direction_deg[mine])
    return {
        "places": int(d.n_places[i]),
        "readings": int(d.n_readings[i]),
        "directions": [float(v) for v in directions if np.isfinite(v)],
        "mean_mm": _number(d.mean_mm[i]),
        "mean_ci95_mm": _pair(d.mean_lo_mm[i], d.mean_hi_mm[i]),
        "sd_observed_mm": _number(d.s_observed_mm[i]),
        "sd_mm": _number(d.sd_mm[i]),
        "sd_ci95_mm": _pair(d.sd_lo_mm[i], d.sd_hi_mm[i]),
        "min_mm": _number(d.low_mm[i]),
        "max_mm": _number(d.high_mm[i]),
        "median_mm": _number(d.median_mm[i]),
        "quantiles_mm": {"p05": _number(d.q05_mm[i]), "p95": _number(d.q95_mm[i])},
        "cp": _number(c.cp[i]),
        "cp_ci95": _pair(c.cp_lo[i], c.cp_hi[i]),
        "cpk": _number(c.cpk[i]),
        "cpk_ci95": _pair(c.cpk_lo[i], c.cpk_hi[i]),
        "cpm": _number(c.cpm[i]),
        "cpm_ci95": _pair(c.cpm_lo[i], c.cpm_hi[i]),
        "uncertainty_mean_mm": _number(2 * d.u_mean_mm[i]),
        "tolerance_interval_mm": _pair(d.tolerance_lo_mm[i], d.tolerance_hi_mm[i]),
        "distribution_free": {
            "lo_mm": _number(places.mean_mm[first:last].min(initial=np.inf)),
            "hi_mm": _number(places.mean_mm[first:last].max(initial=-np.inf)),
            "coverage_pct": _number(100 * o.free_coverage[i]),
        },
        "fraction_outside": _number(c.outside[i]),
        "fraction_outside_ci95": _pair(c.outside_lo[i], c.outside_hi[i]),
        "quantile_index": _number(c.quantile_index[i]),
        "normality": {
            "statistic": _number(o.anderson_darling[i]),
            "p": _number(o.normal_p[i]),
            "judged": bool(o.shape_resolved[i] and np.isfinite(o.normal_p[i])),
        },
        "outliers": [
            {
                "place": int(p - first + 1),
                "position_m": _number(places.position_m[p]),
                "mean_mm": _number(places.mean_mm[p]),
            }
            for p in range(first, last)
            if evidence.outlier[p]
        ],
        "order": {
            "runs_p": _number(o.runs_p[i]),
            "trend_mm_per_m": _number(o.trend_per_m[i]),
            "trend_ci95": _pair(o.trend_lo[i], o.trend_hi[i]),
            "trend_p": _number(o.trend_p[i]),
            "lag1": _number(o.lag1[i]),
            "lag1_p": _number(o.lag1_p[i]),
            "positions_known": bool(o.positions_known[i] and d.n_places[i] > 0),
        },
    }


def _ovality(evidence: LotEvidence, i: int) -> dict[str, Any] | None:
    o = evidence.ovality
    if not np.isfinite(o.mean_mm[i]):
        return None
    n = int(o.n_directions[i])
    method = "two directions, root mean square" if n == 2 else f"{n} directions, least squares"
    return {
        "mean_mm": _number(o.mean_mm[i]),
        "mean_ci95_mm": _pair(o.lo_mm[i], o.hi_mm[i]),
        "max_mm": _number(o.max_mm[i]),
        "method": f"{method}, scatter removed",
    }


def _flow(evidence: LotEvidence, i: int) -> dict[str, Any]:
    f = evidence.flow
    return {
        "error_pct": _number(f.error_pct[i]),
        "error_ci95_pct": _pair(f.error_lo_pct[i], f.error_hi_pct[i]),
        "swing_pct": _number(f.swing_pct[i]),
        "multiplier": _number(f.multiplier[i]),
        "set_diameter_mm": _number(f.set_diameter_mm[i]),
    }


def _weight(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    goods = inspection.prepared.case.goods
    w = goods.weights[i]
    if w is None:
        return None
    net = w.net_g
    reason = next(c for c in inspection.judgement.checks if c.key == "weight.net").reason(i)
    net_ci = None if net is None or w.u_net_g is None else normal_interval(net, w.u_net_g)
    short_ci = (
        None
        if w.shortfall_g is None or w.u_net_g is None
        else normal_interval(w.shortfall_g, w.u_net_g)
    )
    length_ci = (
        None
        if w.length_m is None or w.u_length_m is None
        else normal_interval(w.length_m, w.u_length_m)
    )
    return {
        "net_g": net,
        "net_ci95_g": _pair(*(net_ci or (None, None))),
        "uncertainty_g": None if w.u_net_g is None else 2 * w.u_net_g,
        "shortfall_g": w.shortfall_g,
        "shortfall_ci95_g": _pair(*(short_ci or (None, None))),
        "gross_g": w.gross_g,
        "tare_g": None if w.tare is None else w.tare.mass_g,
        "tare_source": None if w.tare is None else w.tare.source,
        "length_m": w.length_m,
        "length_ci95_m": _pair(*(length_ci or (None, None))),
        "volume_ml": w.volume_ml,
        "linear_density_g_per_m": w.linear_density_g_per_m,
        "apparent_density_g_cm3": w.apparent_density_g_cm3,
        "density_g_cm3": None if goods.material is None else goods.material.density_g_cm3,
        "text": reason.text,
    }


def _moisture(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    w = inspection.prepared.case.goods.weights[i]
    if w is None or w.moisture is None:
        return None
    reason = next(c for c in inspection.judgement.checks if c.key == "moisture.loss").reason(i)
    return {
        "loss_g": w.moisture.loss_g,
        "loss_pct": w.moisture.loss_pct,
        "loss_ci95_pct": [w.moisture.lo_pct, w.moisture.hi_pct],
        "hours": w.drying_hours,
        "temperature_c": w.drying_temperature_c,
        "text": reason.text,
    }


def _findings(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    goods = inspection.prepared.case.goods
    if not goods.findings_given:
        return None
    rows = goods.findings[i]
    counts = {
        grade: sum(f.count for f in rows if f.grade == grade)
        for grade in ("critical", "major", "minor")
    }
    return {
        **counts,
        "items": [
            {
                "finding": f.finding,
                "class": f.grade,
                "count": f.count,
                "position_m": f.position_m,
                "note": f.note,
            }
            for f in rows
        ],
    }


def _instruments(inspection: "Inspection") -> list[dict[str, Any]]:
    prepared = inspection.prepared
    tool, scale = prepared.tool, prepared.scale
    offset, scatter = prepared.case.evidence.offset, prepared.case.evidence.scatter
    if offset.n_pin_readings:
        text = (
            f"read {offset.offset_mm:+.4f} mm on the pin, taken off every reading "
            f"(standard uncertainty {offset.u_mm:.4f} mm)"
        )
    else:
        text = "no pin was read: the limit of error stays in every mean in full"
    rows = [
        {
            "kind": tool.kind,
            "name": tool.name,
            "resolution_mm": tool.step_mm,
            "limit_of_error_mm": tool.limit_of_error_mm,
            "repeatability_sd_mm": scatter.sd_mm,
            "repeatability_source": scatter.source,
            "offset_mm": offset.offset_mm if offset.n_pin_readings else None,
            "offset_uncertainty_mm": offset.u_mm,
            "pin_readings": offset.n_pin_readings,
            "shift_mm": offset.shift_mm,
            "text": text,
        }
    ]
    if prepared.lot.weigh_ins:
        named = next(
            (x for x in prepared.lot.sheet.instruments if x.kind in ("scale", "balance")), None
        )
        rows.append(
            {
                "kind": "scale",
                "name": "not named" if named is None else named.name,
                "resolution_g": scale.step_g,
                "limit_of_error_g": scale.limit_of_error_g,
                "text": "not verified for trade: good to check goods, not to sell by",
            }
        )
    return rows


def missing(lot: LotInput, evidence: LotEvidence) -> list[str]:
    """What was not given, and what that costs."""
    sheet, readings = lot.sheet, lot.readings
    said = []
    if not sheet.supplier:
        said.append("No supplier is named: the lot cannot be compared with others of its maker.")
    if not sheet.material:
        said.append("No material is named: no volume, price per litre or moisture limit.")
    if sheet.received is None:
        said.append("No date of receipt: the lot has no place in time and no claim window.")
    elif sheet.claim_days is None:
        said.append("No claim window is stated: ask the seller how many days there are.")
    if sheet.spools_received is None:
        said.append("The number of spools received is not known: the lot is taken as inspected.")
    if not len(readings):
        said.append("No diameter was read.")
    else:
        if not np.isfinite(readings.position_m).all():
            said.append("Positions are missing: drift along the spool can be seen in order only.")
        if not evidence.offset.n_pin_readings:
            said.append("No pin was read with the tool: its limit of error stays in every mean.")
        if (evidence.ovality.n_directions < 2).all():
            said.append(
                "One direction only: ovality is not seen, and what there is counts as spread."
            )
    if not lot.weigh_ins:
        said.append("No weigh-in: short weight cannot be seen.")
    elif sheet.label.net_g is None:
        said.append("The label's net mass is not stated: short weight cannot be seen.")
    if not any(f.name.casefold().startswith("findings") for f in lot.files):
        said.append("No findings file: winding, colour, dirt and bubbles were not judged.")
    return said


def cautions(lot: LotInput) -> list[str]:
    """What can hurt someone, or someone's standing, where this lot touches it."""
    said = [
        "Spot readings do not find lumps; a ring pull over tens of metres does. Wear glasses when "
        "cutting bands and at snap tests: wound filament whips.",
        "Printing gives off fumes and fine particles: ventilate. No statement here says that a "
        "filament or a print is fit for contact with food.",
        "Do not name a supplier in public as faulty on provisional readings; keep the raw values.",
    ]
    kinds = {w.kind for w in lot.weigh_ins}
    if kinds:
        said.append(
            "A kitchen scale may check goods; selling, refilling or stating net weight needs a "
            "verified scale and follows local law."
        )
    if kinds & {"before_drying", "after_drying"}:
        said.append(
            "Dry in a dryer made for it, never in an oven used for food; stay near, keep below "
            "what the reel stands, and ventilate."
        )
    return said


def _problem(p: Problem) -> dict[str, Any]:
    return {
        "file": p.file,
        "line": p.line,
        "column": p.column,
        "value": p.value,
        "message": p.message,
        "row_used": p.row_used,
    }


def _reason(r: Reason) -> dict[str, Any]:
    return {
        "check": r.check,
        "outcome": r.outcome,
        "value": r.value,
        "limit": r.limit,
        "unit": r.unit,
        "text": r.text,
        "standing": r.standing,
    }


def _number(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _pair(lo: Any, hi: Any) -> list[float | None]:
    return [None if v is None else _number(v) for v in (lo, hi)]


def plain(document: Mapping[str, Any]) -> str:
    """The document as JSON text; NaN is refused, since it must never be there."""
    import json

    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
