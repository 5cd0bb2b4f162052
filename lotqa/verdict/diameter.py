"""Checks of the diameter: spread first, then the mean, flow and centring, feed path, ovality."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from lotqa.criteria import Criteria, Stock
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.spool import LotEvidence
from lotqa.model import FloatArray
from lotqa.verdict.outcome import (
    PASS,
    REJECT,
    TUNE,
    Check,
    IntLevels,
    at_least,
    at_most,
    levels,
    stretched,
    stretched_index,
    within,
)
from lotqa.verdict.words import against, interval, number

REACH = float(ndtri(0.975))  # half width of a 95 % interval in standard uncertainties


def spread(evidence: LotEvidence, criteria: Criteria) -> Check:
    """No setting cures a filament that changes along its length: sd against tolerance / 3 Cp."""
    d, section = evidence.diameter, evidence.section
    cp_min = criteria["spread.cp_min"]
    limit = section.tolerance_mm / (3 * cp_min) if cp_min > 0 else np.inf
    ends = stretched(d.sd_mm, d.sd_lo_mm, d.sd_hi_mm, criteria)
    point, best, worst = at_most(d.sd_mm, *ends, limit, REJECT)

    def sentence(i: int) -> str:
        if d.n_places[i] < 2:
            return "The spread along the filament needs two places at least: not checked."
        if not d.resolved[i]:
            bound, top = against(d.sd_hi_mm[i], limit, 4)
            return (
                f"The spread along the filament is not resolvable with a step of "
                f"{evidence.step_mm:g} mm: it is at most {bound} mm (95 %); at +/- "
                f"{section.tolerance_mm:g} mm up to {top} mm is accepted."
            )
        value, top = against(d.sd_mm[i], limit, 4)
        cp = evidence.capability.cp[i]
        index = f"Cp {number(cp, 2)}" if np.isfinite(cp) else "Cp not resolved by this tool"
        return (
            f"The diameter varies along the filament by {value} mm (standard deviation; "
            f"{interval(d.sd_lo_mm[i], d.sd_hi_mm[i], 4)}); at +/- {section.tolerance_mm:g} mm up "
            f"to {top} mm is accepted ({index}, at least {cp_min:g} asked)."
        )

    return Check(
        key="diameter.spread",
        point=point,
        best=best,
        worst=worst,
        checked=d.n_places > 1,
        value=np.where(d.resolved, d.sd_mm, np.nan),
        limit=_everywhere(limit, d.sd_mm),
        unit="mm",
        sentence=sentence,
    )


def mean(evidence: LotEvidence, criteria: Criteria) -> Check:
    """The mean inside the label's tolerance."""
    d, section = evidence.diameter, evidence.section
    lsl, usl = section.lsl_mm, section.usl_mm
    ends = stretched(d.mean_mm, d.mean_lo_mm, d.mean_hi_mm, criteria)
    point, best, worst = within(d.mean_mm, *ends, lsl, usl, REJECT)
    nearer = np.where(d.mean_mm >= section.nominal_mm, usl, lsl)

    def sentence(i: int) -> str:
        if not d.n_places[i]:
            return "No diameter was read: not checked."
        value, limit = against(d.mean_mm[i], nearer[i], 3)
        where = "inside" if point[i] == PASS else f"outside the limit {limit} mm of"
        return (
            f"The mean diameter is {value} mm ({interval(d.mean_lo_mm[i], d.mean_hi_mm[i], 3)}), "
            f"{where} the label's {number(lsl, 3)} to {number(usl, 3)} mm."
        )

    return Check(
        key="diameter.mean",
        point=point,
        best=best,
        worst=worst,
        checked=d.n_places > 0,
        value=d.mean_mm,
        limit=nearer,
        unit="mm",
        sentence=sentence,
    )


def flow(evidence: LotEvidence, criteria: Criteria) -> Check:
    """Flow error small enough to print without a new setting."""
    f, n_places = evidence.flow, evidence.diameter.n_places
    limit = criteria["flow.error_max_pct"]
    point, best, worst = _flow_levels(evidence, criteria)
    section = evidence.section
    as_set = f"Set to {section.set_diameter_mm:g} mm"
    if section.multiplier != 1:
        as_set += f" and multiplier {section.multiplier:g}"
    if section.machine_residual != 1:
        as_set += f", and needing {section.machine_residual:.4g} of what a diameter says"

    def sentence(i: int) -> str:
        if not n_places[i]:
            return "No diameter was read: not checked."
        value, top = against(abs(f.error_pct[i]), limit, 1)
        way = "less" if f.error_pct[i] < 0 else "more"
        span = interval(f.error_lo_pct[i], f.error_hi_pct[i], 1)
        unit = " %" if np.isfinite(f.error_hi_pct[i]) else ""
        amount = "as much plastic as" if float(value) == 0 else f"{value} % {way} plastic than"
        return (
            f"{as_set}, the machine lays {amount} asked "
            f"({span}{unit}); up to {top} % either way needs no new setting."
        )

    return Check(
        key="diameter.flow",
        point=point,
        best=best,
        worst=worst,
        checked=n_places > 0,
        value=f.error_pct,
        limit=_everywhere(limit, f.error_pct),
        unit="%",
        sentence=sentence,
    )


def _flow_levels(
    evidence: LotEvidence, criteria: Criteria
) -> tuple[IntLevels, IntLevels, IntLevels]:
    f, limit = evidence.flow, criteria["flow.error_max_pct"]
    ends = stretched(f.error_pct, f.error_lo_pct, f.error_hi_pct, criteria)
    return within(f.error_pct, *ends, -limit, limit, TUNE)


def centring(evidence: LotEvidence, criteria: Criteria) -> Check:
    """The spread fits between the mean and the nearer limit; else one number puts it right."""
    c, d = evidence.capability, evidence.diameter
    limit = criteria["centring.cpk_min"]
    # Where no spread was seen any room is enough: the flow says whether the mean needs a number,
    # and the bound of the spread how sure that is.
    ends = stretched_index(c.cpk, c.cpk_lo, c.cpk_hi, criteria)
    point, best, worst = at_least(c.cpk, *ends, limit, TUNE)
    # A machine that is set to this filament already needs no second number.
    set_for_it = np.full(len(c.cpk), evidence.section.laid_for_mm != evidence.section.nominal_mm)
    flow_levels = _flow_levels(evidence, criteria)
    point, best, worst = (
        np.where(set_for_it & (by_flow == PASS), PASS, level).astype(np.int8)
        for level, by_flow in zip((point, best, worst), flow_levels, strict=True)
    )

    already = set_for_it & (flow_levels[0] == PASS)
    already &= np.where(d.sd_mm > 0, c.cpk, c.cpk_lo) < limit

    def sentence(i: int) -> str:
        if d.n_places[i] < 2:
            return "Cpk needs two places at least: not checked."
        off_mm = d.mean_mm[i] - evidence.section.nominal_mm
        value, bottom = against(c.cpk[i], limit, 2)
        text = value if np.isfinite(c.cpk[i]) else "not resolved by this tool"
        off = number(abs(off_mm), 3)
        side = "below" if off_mm < 0 else "above"
        place = "on nominal" if float(off) == 0 else f"{off} mm {side} nominal"
        return (
            f"Cpk is {text} ({interval(c.cpk_lo[i], c.cpk_hi[i], 2)}), at least {bottom} asked; "
            f"the mean sits {place}."
            + (" The machine is set to this filament already." if already[i] else "")
        )

    return Check(
        key="diameter.centring",
        point=point,
        best=best,
        worst=worst,
        checked=d.n_places > 1,
        value=c.cpk,
        limit=_everywhere(limit, c.cpk),
        unit="",
        sentence=sentence,
    )


def feed_thick(evidence: LotEvidence, stock: Stock | None) -> Check:
    """No reading so thick that it sticks; between warning and limit a ring pull is asked for."""
    d = evidence.diameter
    limit = stock.thick_reject_mm if stock else np.nan
    warn = stock.thick_warn_mm if stock else np.nan
    reach = REACH * _u_reading_mm(evidence)
    sticks = levels(d.high_mm < limit, REJECT)
    may_stick = (d.high_mm >= warn) & (d.high_mm < limit)

    def sentence(i: int) -> str:
        if stock is None or not d.n_places[i]:
            return "No feed limit is known for this diameter, or no reading: not checked."
        value, top = against(d.high_mm[i], limit, 3)
        lumps = "Lumps between the places are not found by spot readings."
        if may_stick[i]:
            return (
                f"The thickest reading is {value} mm: it passes {top} mm, but pull the filament "
                f"through a ring of {top} mm to be sure. {lumps}"
            )
        if sticks[i] == REJECT:
            return f"The thickest reading is {value} mm; from {top} mm on filament sticks."
        return f"The thickest reading is {value} mm, below {top} mm. {lumps}"

    return Check(
        key="feed.thick",
        point=sticks,
        best=levels(d.high_mm - reach < limit, REJECT),
        worst=levels((d.high_mm + reach < limit) & ~may_stick, REJECT),
        checked=(d.n_places > 0) & (stock is not None),
        value=d.high_mm,
        limit=_everywhere(limit, d.high_mm),
        unit="mm",
        sentence=sentence,
        undecided=may_stick,
    )


def feed_thin(evidence: LotEvidence, stock: Stock | None) -> Check:
    """No reading so thin that the drive slips."""
    d = evidence.diameter
    limit = stock.thin_reject_mm if stock else np.nan
    reach = REACH * _u_reading_mm(evidence)
    point = levels(d.low_mm > limit, REJECT)

    def sentence(i: int) -> str:
        if stock is None or not d.n_places[i]:
            return "No feed limit is known for this diameter, or no reading: not checked."
        value, bottom = against(d.low_mm[i], limit, 3)
        if point[i] == REJECT:
            return f"The thinnest reading is {value} mm; from {bottom} mm down the drive slips."
        return f"The thinnest reading is {value} mm, above {bottom} mm where the drive slips."

    return Check(
        key="feed.thin",
        point=point,
        best=levels(d.low_mm + reach > limit, REJECT),
        worst=levels(d.low_mm - reach > limit, REJECT),
        checked=(d.n_places > 0) & (stock is not None),
        value=d.low_mm,
        limit=_everywhere(limit, d.low_mm),
        unit="mm",
        sentence=sentence,
    )


def ovality(evidence: LotEvidence, limit_mm: float | None, criteria: Criteria) -> Check:
    """Ovality against the label's limit or the buyer's."""
    o = evidence.ovality
    limit = np.nan if limit_mm is None else limit_mm
    ends = stretched(o.mean_mm, o.lo_mm, o.hi_mm, criteria)
    point, best, worst = at_most(o.mean_mm, *ends, limit, REJECT)
    measured = np.isfinite(o.mean_mm)

    def sentence(i: int) -> str:
        if not measured[i]:
            return (
                "Ovality needs two directions at a place, 90 degrees apart or three 60 degrees "
                "apart: not checked."
            )
        if limit_mm is None:
            return f"Ovality is {number(o.mean_mm[i], 3)} mm; no limit is known: not checked."
        value, top = against(o.mean_mm[i], limit, 3)
        return (
            f"Ovality is {value} mm ({interval(o.lo_mm[i], o.hi_mm[i], 3)}), up to {top} mm is "
            "accepted. A section with three lobes reads round on this tool."
        )

    return Check(
        key="ovality.mean",
        point=point,
        best=best,
        worst=worst,
        checked=measured & (limit_mm is not None),
        value=o.mean_mm,
        limit=_everywhere(limit, o.mean_mm),
        unit="mm",
        sentence=sentence,
    )


def _u_reading_mm(evidence: LotEvidence) -> float:
    """Standard uncertainty of one single reading: scatter, rounding, offset."""
    return float(
        np.sqrt(
            evidence.scatter.sd_mm**2
            + rounding_variance_mm2(evidence.step_mm)
            + evidence.offset.u_mm**2
        )
    )


def _everywhere(limit: float, like: NDArray[np.float64]) -> FloatArray:
    return np.full(like.shape, limit, dtype=np.float64)
