"""Intervals that the suppliers room shares.

A scatter u_s estimated with few degrees of freedom and an uncertainty u_f that does not shrink
with more lots: their half widths, not their variances, add as squares [1]_,

    value +/- sqrt((t(df) * u_s)**2 + (1.96 * u_f)**2)

With u_f = 0 this is Student's interval and exact; otherwise it covers at least what it says.
Effective degrees of freedom (GUM, G.4.1) would not: for two spools and u_f a fifth of the
scatter they cover 87 % in place of 95 %, since a scatter small by luck makes them large.
A share of n is given the exact binomial interval [2]_; it supposes independent spools, and
spools of one lot share much of their fate, so with few lots it is narrower than the truth.

.. [1] Zou & Donner, Statistics in Medicine 27 (2008) 1693, section 2, for a sum.
.. [2] Clopper & Pearson, Biometrika 26 (1934) 404.
"""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv

from lotqa.evidence.summary import student_quantile
from lotqa.model import FloatArray


def combined_interval(
    value: ArrayLike,
    u_scatter: ArrayLike,
    df: ArrayLike,
    u_fixed: ArrayLike,
    confidence: float = 0.95,
) -> tuple[FloatArray, FloatArray]:
    """Interval of a value [1]_; unbounded where df is 0.

    NaN where an uncertainty is NaN or where both are 0: values that all read the same hide a
    scatter below their step and do not show that there is none.

    >>> lo, hi = combined_interval(0.0, 3.0, np.inf, 4.0)    # known: 1.96 * 5
    >>> round(float(hi), 2)
    9.8
    """
    scatter, fixed = (np.asarray(v, dtype=np.float64) for v in (u_scatter, u_fixed))
    with np.errstate(invalid="ignore"):  # an infinite factor times a scatter of 0
        of_scatter = np.where(scatter == 0, 0.0, student_quantile(df, confidence) * scatter)
    half = np.hypot(of_scatter, student_quantile(np.inf, confidence) * fixed)
    half = np.where(half > 0, half, np.nan)
    centre = np.asarray(value, dtype=np.float64)
    return centre - half, centre + half


def share_interval(n_good: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact binomial interval of the share ``n_good / n`` [2]_; (0, 1) for n = 0.

    >>> [round(v, 4) for v in share_interval(0, 10)]    # 1 - 0.025**(1/10)
    [0.0, 0.3085]
    """
    tail = (1 - confidence) / 2
    low = betaincinv(n_good, n - n_good + 1, tail) if n_good > 0 else 0.0
    high = betaincinv(n_good + 1, n - n_good, 1 - tail) if n_good < n else 1.0
    return float(low), float(high)


def known(value: float | None) -> float | None:
    """``value`` as a plain number for a document; None where it is not finite."""
    return None if value is None or not math.isfinite(value) else float(value)


def pair(low: float, high: float) -> list[float | None] | None:
    """An interval for a document; None for an open end, None alone if both are open."""
    ends = [known(low), known(high)]
    return None if ends == [None, None] else ends
