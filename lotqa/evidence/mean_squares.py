"""Intervals of sums and differences of independent mean squares (modified large sample).

A variance component is a combination gamma = sum(c_i theta_i) of the expectations of mean squares
S_i with n_i degrees of freedom, n_i S_i / theta_i chi-square.  With a = (1 - confidence) / 2,

    G_i = 1 - n_i / chi2(1 - a, n_i),   H_i = n_i / chi2(a, n_i) - 1

* all c_i >= 0 [1]_: g - sqrt(sum (G_i c_i S_i)**2) to g + sqrt(sum (H_i c_i S_i)**2)
* some c_i < 0 [2]_: the same with G and H exchanged for them, plus a term for each pair of unlike
  sign, which makes the limits exact where either of the two vanishes, and one for each pair of
  like sign on the side that [2]_ names.

One mean square alone gets its exact chi-square interval.  Supposes normal effects, balanced data.

.. [1] Graybill & Wang, JASA 75 (1980) 869, eq. (2.3).
.. [2] Ting, Burdick, Graybill, Jeyaratnam & Lu, J. Statist. Comput. Simul. 35 (1990) 135; the same
   in Burdick & Graybill, Confidence Intervals on Variance Components (1992), 3.3.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, fdtri

from lotqa.model import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """Factors of mean squares with ``df`` degrees of freedom for one confidence."""

    df: FloatArray
    tail: float
    G: FloatArray
    H: FloatArray


def bounds(df: ArrayLike, confidence: float = 0.95) -> Bounds:
    """G and H of mean squares with ``df`` (k,) degrees of freedom.

    >>> round(float(bounds([9.0]).G[0]), 4), round(float(bounds([9.0]).H[0]), 4)
    (0.5269, 2.3329)
    """
    n = np.asarray(df, dtype=np.float64)
    tail = (1 - confidence) / 2
    return Bounds(n, tail, 1 - n / chdtri(n, tail), n / chdtri(n, 1 - tail) - 1)


def combination_interval(
    coefficient: ArrayLike, mean_square: ArrayLike, df: ArrayLike, confidence: float = 0.95
) -> tuple[float, float, float]:
    """(estimate, lower, upper) of sum(coefficient * theta); nothing is clipped at 0.

    All arguments (k,).  Entries with coefficient 0 take no part.

    >>> [round(v, 3) for v in combination_interval([1.0, 0.0], [4.0, 9.0], [19, 5])]
    [4.0, 2.313, 8.533]
    """
    c = np.asarray(coefficient, dtype=np.float64)
    used = np.abs(c) > 1e-12 * np.abs(c).max(initial=0.0)  # differences of equal weights are 0
    x = (c * np.asarray(mean_square, dtype=np.float64))[used]  # signed share of each mean square
    factor = bounds(np.asarray(df, dtype=np.float64)[used], confidence)
    size, plus = np.abs(x), c[used] > 0
    estimate = float(np.sum(x))
    down = float(np.sum((np.where(plus, factor.G, factor.H) * size) ** 2))
    up = float(np.sum((np.where(plus, factor.H, factor.G) * size) ** 2))
    if not plus.all():
        for q in np.flatnonzero(plus).tolist():
            for r in np.flatnonzero(~plus).tolist():
                down += _unlike(factor, q, r, lower=True) * size[q] * size[r]
                up += _unlike(factor, q, r, lower=False) * size[q] * size[r]
        down += _like(factor, size, np.flatnonzero(plus))
        up += _like(factor, size, np.flatnonzero(~plus))
    return estimate, estimate - float(max(down, 0.0) ** 0.5), estimate + float(max(up, 0.0) ** 0.5)


def _unlike(factor: Bounds, q: int, r: int, *, lower: bool) -> float:
    """Cross term of a mean square added (q) and one taken away (r) [2]_."""
    tail = 1 - factor.tail if lower else factor.tail
    F = float(fdtri(factor.df[q], factor.df[r], tail))
    own, other = (factor.G, factor.H) if lower else (factor.H, factor.G)
    return float(((F - 1) ** 2 - (own[q] * F) ** 2 - other[r] ** 2) / F)


def _like(factor: Bounds, size: FloatArray, rows: IntArray) -> float:
    """Cross terms of all pairs of mean squares of one sign, shared out among them [2]_."""
    index = rows.tolist()
    total = 0.0
    for k, a in enumerate(index):
        for b in index[k + 1 :]:
            n, m = factor.df[a], factor.df[b]
            joint = 1 - (n + m) / chdtri(n + m, factor.tail)
            term = joint**2 * (n + m) ** 2 / (n * m)
            term -= factor.G[a] ** 2 * n / m + factor.G[b] ** 2 * m / n
            total += float(term) * size[a] * size[b] / (len(index) - 1)
    return total
