"""Mean, spread and their intervals, for many spools at once.

    mean +/- t(1 - a/2, df) * s / sqrt(n)                       Student [1]_
    s * sqrt(df / chi2(1 - a/2, df)) ... s * sqrt(df / chi2(a/2, df))   [2]_

The sums are taken in two passes with the residual of the mean put back, so that readings with a
large common part keep their digits.  Both intervals suppose independent, normal places.

.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2, confidence limits for the mean.
.. [2] NIST/SEMATECH e-Handbook, 7.2.3.1, confidence interval for the standard deviation.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, stdtrit

from lotqa.evidence.arrays import as_matrix
from lotqa.model import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Summary:
    """Plain statistics of k spools with n places each; arrays of shape (k,)."""

    n: int
    mean: FloatArray
    s: FloatArray  # n - 1 in the denominator; NaN for one place
    low: FloatArray
    high: FloatArray
    median: FloatArray
    q05: FloatArray
    q95: FloatArray


def mean_and_s(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation (n - 1) along the last axis; s is NaN when n is 1.

    >>> mean_and_s(np.array([[1.0, 2.0, 3.0]]))
    (array([2.]), array([1.]))
    """
    n = x.shape[-1]
    first = np.mean(x, axis=-1)
    mean = first + np.mean(x - first[..., None], axis=-1)
    if n < 2:
        return mean, np.full(mean.shape, np.nan)
    residual = x - mean[..., None]
    squares = np.sum(residual**2, axis=-1) - np.sum(residual, axis=-1) ** 2 / n
    return mean, np.sqrt(np.maximum(squares, 0.0) / (n - 1))


def summarise(x: ArrayLike) -> Summary:
    """Summarise ``x`` (k, n).  Quantiles are the median-unbiased ones (Hyndman & Fan 1996, no. 8).

    Raises TooFewReadings without any place.

    >>> round(float(summarise([1.74, 1.75, 1.76]).s[0]), 6)
    0.01
    """
    matrix = as_matrix(x, what="a summary")
    mean, s = mean_and_s(matrix)
    q05, median, q95 = np.quantile(matrix, (0.05, 0.5, 0.95), axis=-1, method="median_unbiased")
    return Summary(
        n=matrix.shape[-1],
        mean=mean,
        s=s,
        low=matrix.min(axis=-1),
        high=matrix.max(axis=-1),
        median=median,
        q05=q05,
        q95=q95,
    )


def student_quantile(df: ArrayLike, confidence: float = 0.95) -> FloatArray:
    """Two-sided Student factor t(1 - a/2, df); infinite where df is 0 or NaN.

    >>> round(float(student_quantile(19.0)), 3)
    2.093
    """
    df_array = np.asarray(df, dtype=np.float64)
    known = df_array > 0  # NaN is not
    # Beyond 1e9 Student is normal to 9 digits, and the inverse is not asked to go further.
    factor = stdtrit(np.where(known, np.minimum(df_array, 1e9), 1.0), 0.5 + confidence / 2)
    return np.where(known, factor, np.inf)


def mean_interval(
    mean: ArrayLike, s: ArrayLike, n: ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Student's interval of the mean from n independent places [1]_; unbounded for n = 1."""
    mean_array = np.asarray(mean, dtype=np.float64)
    n_array = np.asarray(n, dtype=np.float64)
    with np.errstate(invalid="ignore"):  # infinite factor times an unknown s
        half = student_quantile(n_array - 1, confidence) * np.asarray(s) / np.sqrt(n_array)
    half = np.where(np.isnan(half), np.inf, half)
    return mean_array - half, mean_array + half


def chi_square_factors(df: ArrayLike, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Factors (low, high) that turn s with ``df`` degrees of freedom into its interval [2]_.

    (0, infinity) where df is 0 or NaN; (1, 1) where df is infinite: the value is known.
    """
    df_array = np.asarray(df, dtype=np.float64)
    usable = (df_array > 0) & np.isfinite(df_array)
    safe = np.where(usable, df_array, 1.0)
    alpha = 1 - confidence
    low = np.sqrt(safe / chdtri(safe, alpha / 2))  # chdtri takes the upper tail
    high = np.sqrt(safe / chdtri(safe, 1 - alpha / 2))
    known = np.isposinf(df_array)
    return (
        np.where(known, 1.0, np.where(usable, low, 0.0)),
        np.where(known, 1.0, np.where(usable, high, np.inf)),
    )


def sd_interval(
    s: ArrayLike, df: ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Chi-square interval of a standard deviation [2]_.

    >>> [round(float(v), 4) for v in sd_interval(1.0, 19)]
    [0.7605, 1.4606]
    """
    low, high = chi_square_factors(df, confidence)
    s_array = np.asarray(s, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        upper = s_array * high
    return s_array * low, np.where(np.isnan(upper), np.inf, upper)
