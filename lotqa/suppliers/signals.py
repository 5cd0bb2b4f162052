"""Is a lot what the lots before it led one to expect?

Mean.  m earlier lots with mean c and standard deviation s of their deviations from nominal
predict the next one within c +/- t(m - 1) * s * sqrt(1 + 1/m) [1]_, two-sided.  s holds the
scatter between lots and each lot's own uncertainty; it is never taken smaller than the latter.
A lot that is less well known than the earlier ones (fewer spools), or was read with another
instrument, gets the difference added (module ``intervals``) and alarms more rarely.
Spread.  F = s_new**2 / s_earlier**2 of the pooled readings, upper tail only [2]_.

The false-alarm rate holds for each comparison of each lot.  It is exact for lots that scatter
normally and are measured alike; the spread is taken to be the same in all lots, and places as
independent, so a supplier whose spread varies a little from lot to lot is signalled more often.
An earlier lot stays in the comparison whether it gave a signal or not.

.. [1] Hahn & Meeker, Statistical Intervals (1991), chapter 4: prediction of a future value.
.. [2] NIST/SEMATECH e-Handbook 1.3.5.9, F-test for equality of two variances.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc, fdtri

from lotqa.evidence.summary import mean_and_s, student_quantile
from lotqa.model import FloatArray
from lotqa.suppliers.history import LotEstimate
from lotqa.suppliers.intervals import combined_interval

MIN_EARLIER = 2  # fewer lots have no scatter to predict from


@dataclass(frozen=True, slots=True)
class MeanComparison:
    """A lot mean against its prediction; all as deviations from nominal."""

    deviation_mm: float
    lo_mm: float
    hi_mm: float
    n_earlier: int
    is_signal: bool


@dataclass(frozen=True, slots=True)
class SpreadComparison:
    """A spread as read against that of the earlier lots."""

    sd_mm: float
    earlier_mm: float
    limit_mm: float
    p: float
    n_earlier: int
    is_signal: bool


def compare_mean(
    new: LotEstimate, earlier: Sequence[LotEstimate], false_alarm: float
) -> MeanComparison | None:
    """Compare the mean of ``new``; None where it cannot be done."""
    usable = [lot for lot in earlier if np.isfinite(lot.deviation_mm)]
    m = len(usable)
    if m < MIN_EARLIER or not np.isfinite(new.deviation_mm):
        return None
    centre, s = mean_and_s(np.array([lot.deviation_mm for lot in usable]))
    own, own_new = _own_variances(usable, new)
    own_mean = float(np.mean(own))
    scatter = np.sqrt(max(float(s) ** 2, own_mean) * (1 + 1 / m))
    fixed = max(own_new - own_mean, 0.0)
    if len({lot.record.instrument for lot in (*usable, new)}) > 1:
        # One instrument's error is in all lots alike and cancels; two instruments' do not.
        fixed += new.u_instrument_mm**2 + float(np.mean([v.u_instrument_mm**2 for v in usable]))
    lo, hi = (
        float(v) for v in combined_interval(centre, scatter, m - 1, np.sqrt(fixed), 1 - false_alarm)
    )
    if np.isnan(lo):
        return None  # all lots read the same to the last digit: no scatter to judge by
    return MeanComparison(
        deviation_mm=new.deviation_mm,
        lo_mm=lo,
        hi_mm=hi,
        n_earlier=m,
        is_signal=not lo <= new.deviation_mm <= hi,
    )


def compare_spread(
    new: LotEstimate, earlier: Sequence[LotEstimate], false_alarm: float
) -> SpreadComparison | None:
    """Compare the spread of ``new``; None where it cannot be done."""
    usable = [lot for lot in earlier if lot.df_sd > 0]
    if len(usable) < MIN_EARLIER or not new.df_sd > 0:
        return None
    pooled, df = _pooled(
        np.array([lot.sd_observed_mm for lot in usable]), np.array([lot.df_sd for lot in usable])
    )
    if not pooled > 0:
        return None  # nothing but the step of the instrument was read
    ratio = (new.sd_observed_mm / pooled) ** 2
    limit = pooled * float(np.sqrt(fdtri(new.df_sd, df, 1 - false_alarm)))
    return SpreadComparison(
        sd_mm=new.sd_observed_mm,
        earlier_mm=pooled,
        limit_mm=limit,
        p=float(fdtrc(new.df_sd, df, ratio)),
        n_earlier=len(usable),
        is_signal=new.sd_observed_mm > limit,
    )


def detectable_shift(n_earlier: int, false_alarm: float) -> float:
    """How far a mean must lie from the earlier ones to give a signal, in their scatter s.

    >>> round(detectable_shift(2, 0.01)), round(detectable_shift(9, 0.01), 1)
    (78, 3.5)
    """
    factor = float(student_quantile(n_earlier - 1, 1 - false_alarm))
    return factor * float(np.sqrt(1 + 1 / n_earlier))


def _own_variances(earlier: Sequence[LotEstimate], new: LotEstimate) -> tuple[FloatArray, float]:
    """Variance of each lot mean by its own sampling, without the scatter between lots.

    Taken from what the earlier lots have in common and from the size of each sample, not from
    the few spools of one lot: that would widen the prediction by luck.
    """
    lots = (*earlier, new)
    k = np.array([lot.n_spools for lot in lots], dtype=np.float64)
    df_spools = np.maximum(k[:-1] - 1, 0)
    df_places = np.array([lot.df_sd for lot in earlier])
    if df_spools.any():
        s, _ = _pooled(np.array([lot.s_spools_mm for lot in earlier]), df_spools)
        own = s**2 / np.maximum(k, 1)
    elif df_places.any():
        s, _ = _pooled(np.array([lot.sd_observed_mm for lot in earlier]), df_places)
        own = s**2 / np.maximum(np.array([lot.n_places for lot in lots]), 1)
    else:
        own = np.zeros(len(lots))
    return own[:-1], float(own[-1])


def _pooled(sd: FloatArray, df: FloatArray) -> tuple[float, float]:
    """Standard deviations pooled by degrees of freedom, those with none left out."""
    counts = df > 0
    total = float(np.sum(df[counts]))
    return float(np.sqrt(np.sum(df[counts] * sd[counts] ** 2) / total)), total
