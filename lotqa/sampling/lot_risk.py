"""What the whole procedure for a lot lets through, by the diameters of the spools measured.

A maker turns out spools whose true means are normal between spools; a fraction of them lies beyond
one limit of the label.  Of a lot n are measured at so many places each.  A spool is rejected where
its estimated mean is outside the label, or its spread, with what hand and tool add taken off,
above its limit; the lot where more spools are rejected than may be, or where the means together
fail the plan by variables [1]_.  Both come from the same readings, so their chances cannot simply
be multiplied: lots are drawn, with a seed of their own, and judged.

Readings enter by their sufficient numbers (mean and variance of a spool), not one by one; steps,
waves and ovality are left out.  Shortage, lumps, wet and findings are not of this.

.. [1] variables.py: sd unknown, two limits, as the estimated fraction outside.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lotqa.evidence.variances import median_unbiased_variance
from lotqa.model import BoolArray, FloatArray
from lotqa.sampling.variables import estimated_fraction

LOTS = 20_000  # a chance near 1 in 2 is then known to 0.7 percentage points (95 %)
MOST_SPOOLS_DRAWN = 2_000_000
SEED = 20_000  # of these lots only: the same plan states the same risk
LEAST_SPOOLS = 3  # with two, the fraction outside has no estimate


@dataclass(frozen=True, slots=True)
class Procedure:
    """What is measured of a lot and what is taken; lengths in mm."""

    n_spools: int
    n_places: int
    half_tolerance_mm: float
    spread_max_mm: float  # infinite: the spread is not judged
    most_fraction: float | None  # of the plan by variables; None: means are not judged together
    rejected_max: int = 0


@dataclass(frozen=True, slots=True)
class Lots:
    """How the lots vary that the risk is stated for; standard deviations in mm."""

    between_sd_mm: float
    within_sd_mm: float
    place_reading_sd_mm: float  # of a place mean: hand, step and tool
    u_offset_mm: float = 0.0  # of the tool, common to all spools of a lot


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Lots as their readings show them; arrays (lots, n)."""

    shift_mm: FloatArray  # estimated mean less the centre of the lot
    spread_mm: FloatArray  # estimated spread within the spool


def probability_accept_lot(
    bad_fraction: ArrayLike, procedure: Procedure, lots: Lots, n_lots: int = LOTS
) -> FloatArray:
    """Chance that a lot is not rejected, by the fraction (m,) of spools beyond one limit; (m,).

    Raises ValueError for a fraction outside 0 to 1.

    >>> wide = Procedure(2, 20, 0.05, np.inf, None)
    >>> sure = Lots(between_sd_mm=0.01, within_sd_mm=0.0, place_reading_sd_mm=0.0)
    >>> bool(abs(probability_accept_lot(0.5, wide, sure) - 0.25) < 0.01)    # neither of two is bad
    True
    """
    bad = np.asarray(bad_fraction, dtype=np.float64)
    if not np.all((bad >= 0) & (bad <= 1)):
        raise ValueError(f"bad fraction from {bad.min():g} to {bad.max():g}: write 0 to 1")
    drawn = draw(procedure, lots, n_lots)
    with np.errstate(divide="ignore"):
        centre_mm = procedure.half_tolerance_mm + ndtri(bad) * lots.between_sd_mm
    return np.array([np.mean(accepted(drawn, c, procedure)) for c in centre_mm.ravel()]).reshape(
        bad.shape
    )


def draw(procedure: Procedure, lots: Lots, n_lots: int = LOTS) -> Drawn:
    """Lots about a centre of 0 as their readings show them."""
    rng = np.random.default_rng(SEED)
    n, places = procedure.n_spools, procedure.n_places
    shape = (max(min(n_lots, MOST_SPOOLS_DRAWN // n), 1), n)
    reading = lots.place_reading_sd_mm**2
    observed = lots.within_sd_mm**2 + reading
    shift = np.hypot(lots.between_sd_mm, np.sqrt(observed / places)) * rng.standard_normal(shape)
    shift += lots.u_offset_mm * rng.standard_normal((shape[0], 1))
    df = places - 1
    if df < 1:
        return Drawn(shift, np.zeros(shape))
    variance = observed * rng.chisquare(df, shape) / df
    spread = np.sqrt(np.maximum(median_unbiased_variance(variance, df, reading), 0.0))
    return Drawn(shift, spread)


def accepted(drawn: Drawn, centre_mm: float, procedure: Procedure) -> BoolArray:
    """Which of the drawn lots (lots,) are taken when they lie about ``centre_mm`` from nominal."""
    if not np.isfinite(centre_mm):  # none bad at all, or all of them
        return np.full(len(drawn.shift_mm), centre_mm < 0)
    half = procedure.half_tolerance_mm
    means = centre_mm + drawn.shift_mm
    good = (np.abs(means) <= half) & (drawn.spread_mm <= procedure.spread_max_mm)
    taken = np.count_nonzero(~good, axis=1) <= procedure.rejected_max
    n = procedure.n_spools
    if procedure.most_fraction is not None and n >= LEAST_SPOOLS:
        mean, s = means.mean(axis=1), means.std(axis=1, ddof=1)
        with np.errstate(divide="ignore"):
            outside = sum(estimated_fraction((half - side * mean) / s, n) for side in (-1, 1))
        taken &= outside <= procedure.most_fraction
    return np.asarray(taken)
