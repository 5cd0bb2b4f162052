"""Does the order along the filament matter?  Runs, trend, and correlation of neighbours.

Runs about the median [1]_: too few runs mean drift, too many mean a wave of twice the spacing.
Trend: least squares of diameter on position with Student's interval of the slope [2]_.
Lag-1 autocorrelation r1 = sum (x_i - m)(x_(i+1) - m) / sum (x_i - m)**2 [3]_, judged by its
moments under random order [4]_.  Only the order is used by runs and lag 1: uneven spacing is
right for finding waves but weakens them.

.. [1] NIST/SEMATECH e-Handbook 1.3.5.13 (values equal to the median count as above).
.. [2] NIST/SEMATECH e-Handbook 1.4.2.6 (t of the slope as a test of location drift).
.. [3] NIST/SEMATECH e-Handbook 1.3.5.12; StRD univariate certificates use the same r1.
.. [4] Moran, Biometrika 35 (1948) 255, for r1 as above: E = -1/n, variance
   (n-2)**2 / (n**2 (n-1)), taken as normal.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtr

from lotqa.evidence.arrays import as_matrix
from lotqa.evidence.summary import student_quantile
from lotqa.model import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Runs above and below the median; arrays (k,).  z and p are NaN if one side is empty."""

    n_runs: IntArray
    n_above: IntArray
    n_below: IntArray
    z: FloatArray
    p: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """Slope per unit of position with interval, t and p; arrays (k,)."""

    slope: FloatArray
    lo: FloatArray
    hi: FloatArray
    t: FloatArray
    p: FloatArray


def runs_test(x: ArrayLike) -> Runs:
    """Runs about the median of each row of ``x`` (k, n), in the order along the filament [1]_."""
    matrix = as_matrix(x, least=2, what="a runs test")
    n = matrix.shape[-1]
    above = matrix >= np.median(matrix, axis=-1)[:, None]
    n_above = above.sum(axis=-1)
    n_below = n - n_above
    n_runs = 1 + np.count_nonzero(above[:, 1:] != above[:, :-1], axis=-1)
    product = 2.0 * n_above * n_below
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = product / n + 1
        sd = np.sqrt(product * (product - n) / (n**2 * (n - 1.0)))
        z = np.where(sd > 0, (n_runs - expected) / sd, np.nan)
    return Runs(n_runs, n_above, n_below, z, 2 * ndtr(-np.abs(z)))


def trend(position: ArrayLike, x: ArrayLike, confidence: float = 0.95) -> Trend:
    """Slope of ``x`` (k, n) on ``position`` (n,) or (k, n) [2]_.

    NaN where all positions are equal; a perfect line has p = 0.
    """
    matrix = as_matrix(x, least=3, what="a trend")
    n = matrix.shape[-1]
    where = np.broadcast_to(np.atleast_2d(np.asarray(position, dtype=np.float64)), matrix.shape)
    u = where - where.mean(axis=-1)[:, None]
    y = matrix - matrix.mean(axis=-1)[:, None]
    sxx = np.sum(u**2, axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.sum(u * y, axis=-1) / sxx
        residual = np.sum((y - slope[:, None] * u) ** 2, axis=-1) / (n - 2)
        se = np.sqrt(residual / sxx)
        # A flat line read without any scatter has no trend: 0/0 is t = 0, not unknown.
        t = np.where((slope == 0) & (se == 0), 0.0, slope / se)
    half = student_quantile(n - 2.0, confidence) * se
    p = 2 * stdtr(n - 2.0, -np.abs(t))
    return Trend(slope, slope - half, slope + half, t, p)


def autocorrelation(x: ArrayLike, max_lag: int) -> FloatArray:
    """Autocorrelation of each row of ``x`` (k, n) at lags 0 .. max_lag [3]_: (k, max_lag + 1)."""
    matrix = as_matrix(x, least=max_lag + 1, what="an autocorrelation")
    centred = matrix - matrix.mean(axis=-1)[:, None]
    centred = centred - centred.mean(axis=-1)[:, None]  # second pass: digits of large means
    total = np.sum(centred**2, axis=-1)
    n = matrix.shape[-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        columns = [
            np.sum(centred[:, : n - lag] * centred[:, lag:], axis=-1) / total
            for lag in range(max_lag + 1)
        ]
    return np.stack(columns, axis=-1)


def lag1(x: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """(r1, p) of each row of ``x`` (k, n): are neighbours alike?  NaN where all are equal.

    p is two-sided by Moran's moments under random order [4]_.
    """
    matrix = as_matrix(x, least=3, what="a lag-1 correlation")
    n = matrix.shape[-1]
    r1 = autocorrelation(matrix, 1)[:, 1]
    sd = (n - 2) / (n * np.sqrt(n - 1.0))
    z = (r1 + 1 / n) / sd
    return r1, 2 * ndtr(-np.abs(z))
