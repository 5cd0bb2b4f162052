"""What the whole procedure for a lot lets through, by the diameters of the spools measured.

A maker turns out spools whose true means are normal between spools; a fraction of them lies beyond
one limit of the label.  Of a lot n are measured at so many places each.  A spool is rejected where
its estimated mean is outside the label, or its spread, with what hand and tool add taken off,
above its limit; the lot where more spools are rejected than may be, or where the means together
fail the plan by variables [1]_, or their spread together is above its limit.  All come from the
same readings, so their chances cannot simply be multiplied: lots are drawn, with a seed of their
own, and judged.

Readings enter by their sufficient numbers (mean and variance of a spool), not one by one; steps,
waves and ovality are left out.  Shortage, lumps, wet and findings are not of this.  Nor is what
chance does to two estimates: places that look dependent (dependence.py) cost up to 1.5 points near
the limit of spread, a supposed scatter that readings move (gauge.py) gives up to one point back.

A share below that of a lot about nominal, which is bad beyond both limits, is told as that lot.

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
    """Lots as their readings show them."""

    shift_mm: FloatArray  # (lots, n) estimated mean less the centre of the lot
    spread_mm: FloatArray  # (lots, n) estimated spread within the spool
    pooled_mm: FloatArray  # (lots,) the same from all spools of the lot together


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
    z = ndtri(bad)
    with np.errstate(invalid="ignore"):  # spools all alike, and none or all of them bad
        reach_mm = np.where(np.isfinite(z), z * lots.between_sd_mm, z)
    # Below nominal the other limit would be crossed more often than this one.
    centre_mm = np.maximum(procedure.half_tolerance_mm + reach_mm, 0.0)
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
        return Drawn(shift, np.zeros(shape), np.zeros(shape[0]))
    variance = observed * rng.chisquare(df, shape) / df
    own, together = median_unbiased_variance(variance, df, reading), variance.mean(axis=1) - reading
    return Drawn(shift, *(np.sqrt(np.maximum(v, 0.0)) for v in (own, together)))


def accepted(drawn: Drawn, centre_mm: float, procedure: Procedure) -> BoolArray:
    """Which of the drawn lots (lots,) are taken when they lie about ``centre_mm`` from nominal."""
    if np.isposinf(centre_mm):  # all of them bad
        return np.zeros(len(drawn.shift_mm), dtype=bool)
    half = procedure.half_tolerance_mm
    means = centre_mm + drawn.shift_mm
    good = (np.abs(means) <= half) & (drawn.spread_mm <= procedure.spread_max_mm)
    taken = np.count_nonzero(~good, axis=1) <= procedure.rejected_max
    n = procedure.n_spools
    if n > 1:  # matters only where spools may be rejected: else one of them fails before all do
        taken &= drawn.pooled_mm <= procedure.spread_max_mm
    if procedure.most_fraction is not None and n >= LEAST_SPOOLS:
        mean, s = means.mean(axis=1), means.std(axis=1, ddof=1)
        with np.errstate(divide="ignore"):
            outside = sum(estimated_fraction((half - side * mean) / s, n) for side in (-1, 1))
        taken &= outside <= procedure.most_fraction
    return np.asarray(taken)
