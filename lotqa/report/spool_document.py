"""The part of the inspection document that speaks of one spool."""

from typing import TYPE_CHECKING, Any

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.spool import LotEvidence
from lotqa.model import LotInput
from lotqa.verdict import drying
from lotqa.verdict.claim import claim
from lotqa.verdict.conformity import conformity
from lotqa.verdict.goods import Goods
from lotqa.verdict.moisture import plateau_text, reel_text, scale_text
from lotqa.verdict.wetness import Wetness, limits_of, wetness

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection


def number(value: Any) -> float | None:
    """A number for JSON; None where it is not known or not bounded."""
    return float(value) if np.isfinite(value) else None


def pair(lo: Any, hi: Any) -> list[float | None]:
    """An interval for JSON; None for an end that it does not have."""
    return [None if v is None else number(v) for v in (lo, hi)]


def diameter(evidence: LotEvidence, lot: LotInput, i: int) -> dict[str, Any]:
    """What the readings say of spool ``i``."""
    d, c, o = evidence.diameter, evidence.capability, evidence.order
    places = evidence.places
    first, last = np.searchsorted(places.spool, (i, i + 1))
    mine = slice(*np.searchsorted(lot.readings.spool, (i, i + 1)))
    directions = np.unique(lot.readings.direction_deg[mine])
    log = evidence.log_of(i)
    if log is not None and log.decides:
        directions = np.asarray(log.found.directions_deg)
    return {
        "places": int(d.n_places[i]),
        "readings": int(d.n_readings[i]),
        "directions": [float(v) for v in directions if np.isfinite(v)],
        "mean_mm": number(d.mean_mm[i]),
        "mean_ci95_mm": pair(d.mean_lo_mm[i], d.mean_hi_mm[i]),
        "sd_observed_mm": number(d.s_observed_mm[i]),
        "sd_mm": number(d.sd_mm[i]) if d.resolved[i] else None,
        "sd_resolved": bool(d.resolved[i]),
        "rounding": _rounding(evidence, i),
        "sd_ci95_mm": pair(d.sd_lo_mm[i], d.sd_hi_mm[i]),
        "min_mm": number(d.low_mm[i]),
        "max_mm": number(d.high_mm[i]),
        "median_mm": number(d.median_mm[i]),
        "quantiles_mm": {"p05": number(d.q05_mm[i]), "p95": number(d.q95_mm[i])},
        "cp": number(c.cp[i]),
        "cp_ci95": pair(c.cp_lo[i], c.cp_hi[i]),
        "cpk": number(c.cpk[i]),
        "cpk_ci95": pair(c.cpk_lo[i], c.cpk_hi[i]),
        "cpm": number(c.cpm[i]),
        "cpm_ci95": pair(c.cpm_lo[i], c.cpm_hi[i]),
        "uncertainty_mean_mm": number(2 * d.u_mean_mm[i]),
        "tolerance_interval_mm": pair(d.tolerance_lo_mm[i], d.tolerance_hi_mm[i]),
        "distribution_free": {
            "lo_mm": number(places.mean_mm[first:last].min(initial=np.inf)),
            "hi_mm": number(places.mean_mm[first:last].max(initial=-np.inf)),
            "coverage_pct": number(100 * o.free_coverage[i]),
        },
        "fraction_outside": number(c.outside[i]),
        "fraction_outside_ci95": pair(c.outside_lo[i], c.outside_hi[i]),
        "quantile_index": number(c.quantile_index[i]),
        "normality": {
            "statistic": number(o.anderson_darling[i]),
            "p": number(o.normal_p[i]),
            "judged": bool(o.shape_resolved[i] and np.isfinite(o.normal_p[i])),
        },
        "outliers": [
            {
                "place": int(p - first + 1),
                "position_m": number(places.position_m[p]),
                "mean_mm": number(places.mean_mm[p]),
            }
            for p in range(first, last)
            if evidence.outlier[p]
        ],
        "order": {
            "runs_p": number(o.runs_p[i]),
            "trend_mm_per_m": number(o.trend_per_m[i]),
            "trend_ci95": pair(o.trend_lo[i], o.trend_hi[i]),
            "trend_p": number(o.trend_p[i]),
            "lag1": number(o.lag1[i]),
            "lag1_p": number(o.lag1_p[i]),
            "positions_known": bool(o.positions_known[i] and d.n_places[i] > 0),
            "effective_places": number(d.n_effective[i]),
            "window": number(o.window[i]),
        },
    }


def _rounding(evidence: LotEvidence, i: int) -> str | None:
    """How rounding to the step was taken out of the spread."""
    d = evidence.diameter
    if d.n_places[i] < 2:
        return None
    log = evidence.log_of(i)
    if log is not None and log.decides and d.resolved[i]:
        return "left in, as logged"
    if not d.resolved[i]:
        return "not resolvable with this step, upper bound"
    if np.isfinite(d.ml_variance_mm2[i]):
        return "interval-censored maximum likelihood"
    return "Sheppard's correction"


def ovality(evidence: LotEvidence, i: int) -> dict[str, Any] | None:
    """Ovality of spool ``i``; None where one direction was read."""
    o = evidence.ovality
    if not np.isfinite(o.mean_mm[i]):
        return None
    n = int(o.n_directions[i])
    method = "two directions, root mean square" if n == 2 else f"{n} directions, least squares"
    log = evidence.log_of(i)
    if log is not None and log.decides:
        method = f"{method}, over the rows of the log"
    return {
        "mean_mm": number(o.mean_mm[i]),
        "mean_ci95_mm": pair(o.lo_mm[i], o.hi_mm[i]),
        "max_mm": number(o.max_mm[i]),
        "method": f"{method}, scatter removed",
    }


def flow(evidence: LotEvidence, i: int) -> dict[str, Any]:
    """Flow of spool ``i`` as the machine is set now, and the number to set instead."""
    f = evidence.flow
    return {
        "error_pct": number(f.error_pct[i]),
        "error_ci95_pct": pair(f.error_lo_pct[i], f.error_hi_pct[i]),
        "swing_pct": number(f.swing_pct[i]) if evidence.diameter.resolved[i] else None,
        "multiplier": number(f.multiplier[i]),
        "set_diameter_mm": number(f.set_diameter_mm[i]),
    }


def moisture(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    """Loss on drying; None where the spool was not dried."""
    w = inspection.prepared.case.goods.weights[i]
    if w is None or w.moisture is None:
        return None
    case = inspection.prepared.case
    reason = next(c for c in inspection.judgement.checks if c.key == "moisture.loss").reason(i)
    found = wetness(case.goods, case.criteria, i)
    practices = drying.document(case.goods, case.criteria)
    return {
        "loss_g": w.moisture.loss_g,
        "loss_pct": w.moisture.loss_pct,
        "loss_ci95_pct": [w.moisture.lo_pct, w.moisture.hi_pct],
        "hours": w.drying_hours,
        "temperature_c": w.drying_temperature_c,
        **({} if found is None else _wetness(found, case.goods, case.criteria)),
        "drying": {k: v for k, v in practices.items() if k != "cautions"},
        "cautions": practices["cautions"],
        "text": reason.text,
    }


def _wetness(found: Wetness, goods: Goods, criteria: Criteria) -> dict[str, Any]:
    p, reel, smallest, series = found.plateau, found.reel, found.detectable_g, found.loss.series
    return {
        "state": found.state,
        "filament_ci95_pct": [found.lo_pct, found.hi_pct],
        "detectable_pct": None
        if smallest is None or series is None
        else 100 * smallest / series.net_g,
        "scale_can_show": {
            "limit": found.can_show,
            "as_shipped": found.can_show_industrial,
            "text": scale_text(found, goods, limits_of(goods, criteria)),
        },
        "plateau": {
            "word": None if p is None else p.word,
            "difference_g": None if p is None else p.difference_g,
            "difference_ci95_g": None if p is None else [p.lo_g, p.hi_g],
            "hours": None if p is None else p.hours,
            "text": plateau_text(p),
        },
        "reel_share": {
            "known": found.reel_known,
            "lo_g": None if reel is None else reel.lo_g,
            "hi_g": None if reel is None else reel.hi_g,
            "text": reel_text(found),
        },
    }


def findings(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    """Findings by class; None where no findings were given."""
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


def conforming(inspection: "Inspection", i: int) -> dict[str, Any]:
    """How likely spool ``i`` truly conforms, and the risk of the verdict given."""
    found = conformity(inspection.prepared.case, inspection.judgement, i, inspection.prior)
    prior = found.prior
    return {
        "p_mean": found.p_mean,
        "p_spread": found.p_spread,
        "p_conforms": found.p_conforms,
        "risk": None
        if found.bearer is None
        else {"bearer": found.bearer, "probability": found.risk},
        "prior": None
        if prior is None
        else {"mean_mm": prior.mean_mm, "sd_mm": prior.sd_mm, "lots": prior.n_lots},
        "text": found.text,
    }


def claimable(inspection: "Inspection", i: int) -> dict[str, Any]:
    """What may be stated to the supplier about spool ``i``."""
    prepared = inspection.prepared
    found = claim(prepared.case, i, prepared.lot.sheet.label.ovality_mm)
    return {"shown": found.shown, "statements": list(found.statements), "rule": found.rule}
