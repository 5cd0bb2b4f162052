"""Points spread evenly in many dimensions, and the quantiles that turn them into draws.

The n points in the open unit cube are

    x_i = ((i + 1/2) / n, frac(1/2 + i a), frac(1/2 + i a**2), ...),   a = 1 / root

with the root above 1 of root**d = root + 1, d the dimensions after the first [1]_: an additive
recurrence.  They are the same at every call, so that a verdict is, and leave an error that falls
nearly as 1/n where random numbers leave one as 1/sqrt(n) [2]_.

Quantiles of chi-square are read between nodes that are even in the normal score, where their
logarithm bends so little that 6 digits are right; scipy's inverse at every point would be 50
times as slow.

.. [1] The plastic constant for d = 2, and its like: Roberts, The unreasonable effectiveness of
   quasirandom sequences (2018) (from memory).
.. [2] Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992), ch. 3 (from
   memory).
"""

from functools import lru_cache

import numpy as np
from scipy.special import chdtri, ndtr, ndtri

from lotqa.model import FloatArray

NODES = 1025  # for chi-square; 4.3 / 512 apart in the normal score


@lru_cache(maxsize=8)
def normal_scores(dimensions: int, n: int) -> FloatArray:
    """The points as normal quantiles (dimensions, n), read-only.

    Raises ValueError below one dimension or one point.

    >>> normal_scores(1, 3).round(3).tolist()
    [[-0.967, 0.0, 0.967]]
    """
    if dimensions < 1 or n < 1:
        raise ValueError(f"{n} points in {dimensions} dimensions: ask for one or more of both")
    index = np.arange(n, dtype=np.float64)
    points = np.empty((dimensions, n))
    points[0] = (index + 0.5) / n
    root = _root(dimensions - 1)
    for j in range(1, dimensions):
        points[j] = (0.5 + index * root**-j) % 1.0
    # 0 itself would be minus infinity; no point of the recurrence comes as near as this.
    scores = ndtri(np.clip(points, 0.01 / n, 1 - 0.01 / n))
    scores.flags.writeable = False
    return np.asarray(scores)


def _root(d: int) -> float:
    root = 2.0
    for _ in range(64):  # a contraction: x = (1 + x) ** (1 / (d + 1))
        root = (1 + root) ** (1 / (d + 1))
    return root


def chi_square_at(scores: FloatArray, df: float) -> FloatArray:
    """Quantiles of chi-square with ``df`` above 0 at normal scores (m,).

    >>> chi_square_at(np.array([-1.959964, 0.0, 1.959964]), 4.0).round(4).tolist()
    [0.4844, 3.3567, 11.1433]
    """
    if not 0 < df < np.inf:
        raise ValueError(f"{df} degrees of freedom: chi-square needs a finite number above 0")
    nodes = np.linspace(float(scores.min()), float(scores.max()), NODES)
    log_values = np.log(chdtri(df, ndtr(-nodes)))
    return np.asarray(np.exp(np.interp(scores, nodes, log_values)))
