"""All diameter evidence of a lot's spools, gathered once: the room where the answers meet.

Which statistic needs how many places is a matter of its validity and stands here; what is good
enough to accept stands in the criteria.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from lotqa.evidence import capability, flow
from lotqa.evidence.arrays import rows_of_equal_count
from lotqa.evidence.diameter import DiameterEvidence, Places, diameter_evidence, places_of
from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.normality import MIN_PLACES as MIN_NORMALITY
from lotqa.evidence.normality import anderson_darling
from lotqa.evidence.order import lag1, runs_test, trend
from lotqa.evidence.outliers import generalized_esd
from lotqa.evidence.ovality import Ovality, ovality_evidence, place_ovality
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.rounding import Rounded, censored_normal
from lotqa.evidence.tolerance import distribution_free_coverage
from lotqa.evidence.window import hidden_window
from lotqa.model import BoolArray, FloatArray, Readings

if TYPE_CHECKING:  # logged.py puts logs into this evidence
    from lotqa.evidence.logged import SpoolLog

COARSE = 0.6  # steps of observed spread below which s**2 - q**2/12 is no fair estimate any more
MIN_ORDER = 10  # below, the normal approximations of runs and lag 1 are not fair
MIN_OUTLIERS = 10  # Rosner: fair from 15; at 10 a gross slip is still found
OUTLIER_SHARE = 5  # one place of five may be tested for being out of line
QUANTILE_COVERAGE = 0.90  # between the 5 % and 95 % quantiles


@dataclass(frozen=True, slots=True)
class Section:
    """What the readings are held against: label limits and the diameter set in the machine."""

    nominal_mm: float
    tolerance_mm: float
    set_diameter_mm: float
    multiplier: float = 1.0  # set in the machine now
    machine_residual: float = 1.0  # what the machine needs over what the diameter says
    u_residual_rel: float = 0.0  # standard uncertainty of that, as a share of it

    @property
    def laid_for_mm(self) -> float:
        """The diameter for which the machine, as it is set now, lays what is asked."""
        return self.set_diameter_mm / float(np.sqrt(self.multiplier / self.machine_residual))

    @property
    def lsl_mm(self) -> float:
        return self.nominal_mm - self.tolerance_mm

    @property
    def usl_mm(self) -> float:
        return self.nominal_mm + self.tolerance_mm


@dataclass(frozen=True, slots=True, eq=False)
class CapabilityEvidence:
    """Indices against the label's limits; arrays (k,), NaN or infinite where not bounded."""

    cp: FloatArray
    cp_lo: FloatArray
    cp_hi: FloatArray
    cpk: FloatArray
    cpk_lo: FloatArray
    cpk_hi: FloatArray
    cpm: FloatArray
    cpm_lo: FloatArray
    cpm_hi: FloatArray
    quantile_index: FloatArray
    outside: FloatArray  # fraction of the places as read, scatter not removed
    outside_lo: FloatArray
    outside_hi: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class OrderEvidence:
    """Shape and order; arrays (k,), NaN where there are too few places."""

    anderson_darling: FloatArray
    normal_p: FloatArray
    shape_resolved: BoolArray  # the step is small enough against s to judge the shape
    free_coverage: FloatArray  # share of metres between smallest and largest place, 95 % sure
    runs_p: FloatArray
    trend_per_m: FloatArray
    trend_lo: FloatArray
    trend_hi: FloatArray
    trend_p: FloatArray
    lag1: FloatArray
    lag1_p: FloatArray
    positions_known: BoolArray
    window: FloatArray  # share to which the places meet one phase of some wave; NaN: not known


@dataclass(frozen=True, slots=True, eq=False)
class FlowEvidence:
    """Flow against the diameter set in the machine; arrays (k,)."""

    error_pct: FloatArray
    error_lo_pct: FloatArray
    error_hi_pct: FloatArray
    swing_pct: FloatArray
    multiplier: FloatArray  # the one to set, the diameter entry left as it is
    set_diameter_mm: FloatArray  # the diameter to enter instead, the multiplier left as it is


@dataclass(frozen=True, slots=True, eq=False)
class LotEvidence:
    """Diameter evidence of every spool of a lot, in the order of ``spools``."""

    spools: tuple[str, ...]
    section: Section
    scatter: Scatter
    offset: Offset
    step_mm: float
    places: Places
    diameter: DiameterEvidence
    capability: CapabilityEvidence
    order: OrderEvidence
    outlier: BoolArray  # one element a place
    ovality: Ovality
    flow: FlowEvidence
    logs: "tuple[SpoolLog | None, ...]" = ()  # one a spool; empty: no spool has an in-line log

    def log_of(self, i: int) -> "SpoolLog | None":
        """The in-line log of spool ``i``."""
        return self.logs[i] if self.logs else None


def lot_evidence(
    readings: Readings,
    section: Section,
    scatter: Scatter,
    offset: Offset,
    step_mm: float,
    outlier_alpha: float,
) -> LotEvidence:
    """Gather the evidence of ``readings``; every spool in it gets one element of each array."""
    k = len(readings.spools)
    shown = place_ovality(readings.place, readings.direction_deg, readings.diameter_mm)
    places = places_of(
        readings.spool,
        readings.place,
        readings.position_m,
        readings.diameter_mm,
        offset.offset_mm,
        shown,
    )
    coarse = coarse_spools(readings, places, k, step_mm)
    diameter = diameter_evidence(places, k, scatter, offset, step_mm, coarse)
    rounding = rounding_variance_mm2(step_mm)
    u_reading = float(np.sqrt(scatter.sd_mm**2 + rounding))
    supposed = scatter.variance_limits_mm2(rounding)
    u_limits = None if supposed is None else (supposed[0] ** 0.5, supposed[1] ** 0.5)
    return LotEvidence(
        spools=readings.spools,
        section=section,
        scatter=scatter,
        offset=offset,
        step_mm=step_mm,
        places=places,
        diameter=diameter,
        capability=capability_evidence(diameter, section),
        order=order_evidence(places, k, diameter, step_mm),
        outlier=outliers_of(places, k, outlier_alpha),
        ovality=ovality_evidence(places.spool, k, shown, u_reading, u_limits),
        flow=flow_evidence(diameter, section),
    )


def coarse_spools(
    readings: Readings, places: Places, n_spools: int, step_mm: float
) -> Rounded | None:
    """Likelihood for spools whose readings spread by less than COARSE steps; None if none does."""
    if step_mm <= 0 or not len(readings):
        return None
    # Deviations, so that a common diameter does not eat the digits.
    n = np.bincount(readings.spool, minlength=n_spools).clip(1)
    middle = np.bincount(readings.spool, readings.diameter_mm, minlength=n_spools) / n
    off = readings.diameter_mm - middle[readings.spool]
    spread = np.sqrt(np.bincount(readings.spool, off**2, minlength=n_spools) / n)
    some = np.bincount(places.spool, minlength=n_spools) > 1
    coarse = some & (spread < COARSE * step_mm)
    if not coarse.any():
        return None
    rows = coarse[readings.spool]
    return censored_normal(
        readings.spool[rows],
        n_spools,
        readings.diameter_mm[rows],
        1.0 / places.n_readings[readings.place[rows]],  # the readings of a place tell one fact
        step_mm,
    )


def capability_evidence(
    diameter: DiameterEvidence, section: Section, *, with_outside: bool = True
) -> CapabilityEvidence:
    """Indices of every spool against the limits of ``section``.

    The fraction outside costs more than the rest and decides nothing; it is NaN without.
    """
    d, lsl, usl = diameter, section.lsl_mm, section.usl_mm
    cpk_lo, cpk_hi = capability.cpk_interval(
        d.mean_mm, d.mean_hi_mm - d.mean_mm, d.sd_mm, d.sd_lo_mm, d.sd_hi_mm, lsl, usl
    )
    n = d.n_places.astype(np.float64)
    cpm = capability.cpm(d.mean_mm, d.sd_mm, n, lsl, usl, section.nominal_mm)
    cpm_lo, cpm_hi = capability.cpm_interval(cpm, d.mean_mm, d.sd_mm, n, section.nominal_mm)
    outside, outside_lo, outside_hi = (np.full(len(d.mean_mm), np.nan) for _ in range(3))
    for size in np.unique(d.n_places[d.n_places > 1]) if with_outside else ():
        rows = np.flatnonzero(d.n_places == size)
        outside[rows], outside_lo[rows], outside_hi[rows] = capability.fraction_outside(
            d.mean_mm[rows], d.s_observed_mm[rows], int(size), lsl, usl
        )
    return CapabilityEvidence(
        cp=capability.cp(d.sd_mm, lsl, usl),
        cp_lo=capability.cp(d.sd_hi_mm, lsl, usl),
        cp_hi=capability.cp(d.sd_lo_mm, lsl, usl),
        cpk=capability.cpk(d.mean_mm, d.sd_mm, lsl, usl),
        cpk_lo=cpk_lo,
        cpk_hi=cpk_hi,
        cpm=cpm,
        cpm_lo=cpm_lo,
        cpm_hi=cpm_hi,
        quantile_index=capability.quantile_index(d.q05_mm, d.q95_mm, lsl, usl, QUANTILE_COVERAGE),
        outside=outside,
        outside_lo=outside_lo,
        outside_hi=outside_hi,
    )


def order_evidence(
    places: Places, n_spools: int, diameter: DiameterEvidence, step_mm: float
) -> OrderEvidence:
    """Shape and order of the places of every spool, in order along the filament."""
    names = ("a2", "p", "free", "runs", "slope", "lo", "hi", "t", "lag", "lag_p", "window")
    out = {name: np.full(n_spools, np.nan) for name in names}
    known = np.ones(n_spools, dtype=bool)
    known[places.spool[~np.isfinite(places.position_m)]] = False
    for spools, items in rows_of_equal_count(places.spool, n_spools):
        rows = places.along[items]
        x, position = places.mean_mm[rows], places.position_m[rows]
        n = x.shape[-1]
        out["free"][spools] = distribution_free_coverage(n)
        out["window"][spools] = hidden_window(position)
        if n >= MIN_NORMALITY:
            out["a2"][spools], out["p"][spools] = anderson_darling(x)
        if n >= MIN_ORDER:
            out["runs"][spools] = runs_test(x).p
            out["lag"][spools], out["lag_p"][spools] = lag1(x)
            along = np.where(known[spools][:, None], position, np.arange(n, dtype=np.float64))
            line = trend(along, x)
            out["t"][spools] = line.p
            in_metres = known[spools]
            for name, value in (("slope", line.slope), ("lo", line.lo), ("hi", line.hi)):
                out[name][spools] = np.where(in_metres, value, np.nan)
    # Rounding of a place mean against s: above one half the steps themselves look non-normal.
    step_of_mean = step_mm * np.sqrt(diameter.reading_weight)
    return OrderEvidence(
        anderson_darling=out["a2"],
        normal_p=out["p"],
        shape_resolved=step_of_mean <= diameter.s_observed_mm / 2,
        free_coverage=out["free"],
        runs_p=out["runs"],
        trend_per_m=out["slope"],
        trend_lo=out["lo"],
        trend_hi=out["hi"],
        trend_p=out["t"],
        lag1=out["lag"],
        lag1_p=out["lag_p"],
        positions_known=known,
        window=out["window"],
    )


def outliers_of(places: Places, n_spools: int, alpha: float) -> BoolArray:
    """Mark the places out of line with their spool; (p,)."""
    marked = np.zeros(len(places.mean_mm), dtype=bool)
    for _, rows in rows_of_equal_count(places.spool, n_spools):
        n = rows.shape[-1]
        if n < MIN_OUTLIERS:
            continue
        found = generalized_esd(places.mean_mm[rows], n // OUTLIER_SHARE, alpha)
        rank = np.arange(found.order.shape[-1]) < found.n_outliers[:, None]
        owner, step = np.nonzero(rank)
        marked[rows[owner, found.order[owner, step]]] = True
    return marked


def flow_evidence(diameter: DiameterEvidence, section: Section) -> FlowEvidence:
    """Flow of every spool as the machine lays it now: lotqa.evidence.tuning has the formulas."""
    d, set_mm = diameter, section.laid_for_mm
    # One place shows no spread; sd**2 is a ten-thousandth of d**2 and does not hide the mean.
    sd_mm = np.where(np.isnan(d.sd_mm) & (d.n_places > 0), 0.0, d.sd_mm)
    error = flow.error_pct(d.mean_mm, sd_mm, set_mm)
    lo_mm, hi_mm = limits_as_laid_mm(d, section)
    return FlowEvidence(
        error_pct=error,
        # A diameter is never below 0, however wide its interval; its square would rise again.
        error_lo_pct=np.where(
            np.isneginf(lo_mm),
            -np.inf,
            flow.error_pct(np.maximum(lo_mm, 0.0), sd_mm, set_mm),
        ),
        error_hi_pct=flow.error_pct(hi_mm, sd_mm, set_mm),
        swing_pct=flow.swing_pct(d.mean_mm, d.sd_mm, set_mm),
        multiplier=section.multiplier * flow.multiplier(error),
        set_diameter_mm=flow.diameter_to_enter_mm(d.mean_mm, sd_mm)
        * (section.set_diameter_mm / set_mm),
    )


def limits_as_laid_mm(
    diameter: DiameterEvidence, section: Section
) -> tuple[FloatArray, FloatArray]:
    """95 % limits of the mean, widened by what is not known of the machine; arrays (k,).

    Flow goes with the square, so a share u of the flow is u / 2 of the diameter; relative
    variances add (JCGM 100:2008, 5.1.6).
    """
    d = diameter
    if not section.u_residual_rel:
        return d.mean_lo_mm, d.mean_hi_mm
    machine_mm = ndtri(0.975) * section.u_residual_rel / 2 * d.mean_mm
    return (
        d.mean_mm - np.hypot(d.mean_mm - d.mean_lo_mm, machine_mm),
        d.mean_mm + np.hypot(d.mean_hi_mm - d.mean_mm, machine_mm),
    )
