"""Variances: taken apart by one-way analysis, and taken from each other with an interval.

For groups of unequal size n_i, N in all, a groups [1]_:

    between = (MSB - MSW) / n0,   n0 = (N - sum(n_i**2) / N) / (a - 1)

A negative estimate is kept as it comes out by ``oneway``; readers clip it at 0 where a standard
deviation is wanted.  The interval of a difference v1 - w * v2 of two independent variances with
chi-square limits (l, u) of each is recovered from those limits [2]_ (MOVER):

    lower = d - sqrt((v1 - l1)**2 + (w * (u2 - v2))**2)
    upper = d + sqrt((u1 - v1)**2 + (w * (v2 - l2))**2)

Where v2 is no estimate but supposed to lie in a range, luck does not cancel: the ends add up, so
that the interval holds wherever in its range v2 is.

Whether groups have one variance at all: Bartlett's test [3]_.

.. [1] Searle, Casella & McCulloch, Variance Components (1992), 3.6, eq. (16)-(18).
.. [2] Zou & Donner, Statistics in Medicine 27 (2008) 1693, eq. (4); the same form for variances:
   Graybill & Wang, JASA 75 (1980) 869 (modified large sample).
.. [3] Bartlett, Proc. Royal Soc. A 160 (1937) 268; NIST/SEMATECH e-Handbook 1.3.5.7.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, chdtri

from lotqa.errors import TooFewReadings
from lotqa.evidence.summary import chi_square_factors
from lotqa.model import FloatArray


@dataclass(frozen=True, slots=True)
class Components:
    """Variance components of one-way data; ``between`` may come out negative."""

    between: float
    within: float
    df_between: int
    df_within: int
    n0: float
    mean: float


def oneway(values: ArrayLike, group: ArrayLike) -> Components:
    """ANOVA estimates of the between- and within-group variance [1]_; any group sizes.

    ``values`` (N,), ``group`` (N,) labels.  Raises TooFewReadings below two groups or without
    a group that has two values.

    >>> oneway([1.0, 3.0, 5.0, 7.0], [0, 0, 1, 1])    # MSB 16, MSW 2, n0 2
    Components(between=7.0, within=2.0, df_between=1, df_within=2, n0=2.0, mean=4.0)
    """
    y = np.asarray(values, dtype=np.float64)
    _, index = np.unique(np.asarray(group), return_inverse=True)
    sizes = np.bincount(index)
    n_groups, n_all = len(sizes), len(y)
    if n_groups < 2 or n_all == n_groups:
        raise TooFewReadings(
            "components need 2 groups and a group of 2 values, "
            f"got {n_groups} groups and {n_all} values: measure more"
        )
    grand = float(np.mean(y))
    centred = y - grand  # a large common part must not eat the digits
    means = np.bincount(index, centred) / sizes
    ss_within = float(np.sum((centred - means[index]) ** 2))
    ss_between = float(np.sum(sizes * (means - np.mean(centred)) ** 2))
    df_between, df_within = n_groups - 1, n_all - n_groups
    n0 = (n_all - float(np.sum(sizes**2)) / n_all) / df_between
    within = ss_within / df_within
    return Components(
        between=(ss_between / df_between - within) / n0,
        within=within,
        df_between=df_between,
        df_within=df_within,
        n0=n0,
        mean=grand,
    )


def difference_interval(
    v1: ArrayLike,
    df1: ArrayLike,
    v2: ArrayLike,
    df2: ArrayLike,
    weight: ArrayLike = 1.0,
    confidence: float = 0.95,
    v1_ceiling: ArrayLike | None = None,
    v2_limits: tuple[float, float] | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Estimate and interval of the variance difference ``v1 - weight * v2`` [2]_, not clipped.

    ``df2`` infinite means that v2 is known; ``v2_limits`` are the range of one that is supposed.
    ``v1_ceiling`` replaces v1 in its upper limit where it is larger: rounding can make an
    observed variance smaller than it can really be.

    >>> [round(float(v), 3) for v in difference_interval(4.0, 19, 1.0, np.inf)]
    [3.0, 1.313, 7.533]
    """
    first = np.asarray(v1, dtype=np.float64)
    second = np.asarray(weight, dtype=np.float64) * np.asarray(v2, dtype=np.float64)
    low1, high1 = chi_square_factors(df1, confidence)
    low2, high2 = chi_square_factors(df2, confidence)
    ceiling = first if v1_ceiling is None else np.maximum(first, v1_ceiling)
    with np.errstate(invalid="ignore", over="ignore"):  # 0 * infinity where df is 0
        down1, up1 = first * (1 - low1**2), ceiling * high1**2 - first
        if v2_limits is None:
            down = np.hypot(down1, second * (high2**2 - 1))
            up = np.hypot(up1, second * (1 - low2**2))
        else:
            share = np.asarray(weight, dtype=np.float64)
            down, up = down1 + share * v2_limits[1] - second, up1 + second - share * v2_limits[0]
    difference = first - second
    down, up = (np.where(np.isnan(v), np.inf, v) for v in (down, up))
    return difference, difference - down, difference + up


def median_unbiased_variance(v1: ArrayLike, df1: ArrayLike, removed: ArrayLike) -> FloatArray:
    """``v1 - removed``, as likely too large as too small; below 0 where too much is removed.

    v1 with ``df1`` falls below the variance it estimates more often than above it; over its
    chi-square median it does not, nor does any rising function of it, such as the standard
    deviation or Cp.  Never more than v1: nothing is added to what was observed.

    >>> [round(float(v), 3) for v in median_unbiased_variance(4.0, [9.0, 1e9], 1.0)]
    [3.315, 3.0]
    """
    freedom = np.asarray(df1, dtype=np.float64)
    usable = (freedom > 0) & np.isfinite(freedom)
    safe = np.where(usable, freedom, 1.0)
    first = np.asarray(v1, dtype=np.float64)
    centred = np.where(usable, safe / chdtri(safe, 0.5), 1.0) * first
    return np.asarray(np.minimum(centred - np.asarray(removed, dtype=np.float64), first))


def bartlett_p(s: ArrayLike, df: ArrayLike) -> float:
    """p of Bartlett's test that standard deviations ``s`` (k,) with ``df`` (k,) are one [3]_.

    1 for a single one; 0 when some are zero and others not.

    >>> round(bartlett_p([1.0, 1.0, 1.0], [9, 9, 9]), 3)
    1.0
    """
    variance = np.asarray(s, dtype=np.float64) ** 2
    freedom = np.asarray(df, dtype=np.float64)
    k, total = len(variance), float(freedom.sum())
    if k < 2 or not (variance > 0).any():
        return 1.0
    if not (variance > 0).all():
        return 0.0
    pooled = float(np.sum(freedom * variance)) / total
    statistic = total * np.log(pooled) - float(np.sum(freedom * np.log(variance)))
    correction = 1 + (float(np.sum(1 / freedom)) - 1 / total) / (3 * (k - 1))
    return float(chdtrc(k - 1, statistic / correction))
