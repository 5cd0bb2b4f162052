"""Sampling by variables with two limits: which means and spreads are taken, and how often.

The fraction beyond a limit that lies Q standard deviations s of n spool means from their mean is
estimated, without bias and with the least variance [1]_, as

    p(Q) = I_x(a, a),    x = 1/2 - Q / (2 B),    a = n/2 - 1,    B = (n - 1) / sqrt(n)

which is 0 from Q = B on.  Form 2 [2]_ takes a lot if p below L and above U are at most M together.
With r = s / (U - L) and m = (mean - L) / (U - L): up to r = 1 / (B + Q_M), where p(Q_M) = M, only
one limit counts and the edge is m = r Q_M; from there it bends to the middle, which it meets at the
largest spread.  With four spools it ends in a vertical line instead.  With three p falls fastest
just before B: a little beyond the largest spread of a mean in the middle, means on both sides of it
are still taken, and the curve given is the outer one.

The chance of acceptance is that of m between the edges, normal, integrated over s, which is
sigma chi / sqrt(n - 1) and independent of m.  Panels end where the edge bends.

.. [1] Lieberman & Resnikoff, JASA 50 (1955) 457 (from memory); MIL-STD-414, table B-5.
.. [2] MIL-STD-414 (1957), B-3, B-8; ISO 3951-2, s-method, acceptance curves (from memory).
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, betaincinv, betaln, chdtri, gammaincinv, ndtr

from lotqa.model import FloatArray

GAUSS_NODES = 192  # chances agree with scipy.stats.nct to 1e-12
TAIL = 1e-18  # of the chi distribution left out at each end
STEPS = 80  # of Newton's method kept in its bracket; ten do but for the very top of the curve
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(GAUSS_NODES)


def estimated_fraction(quality_index: ArrayLike, n: int) -> FloatArray:
    """Fraction (m,) beyond one limit, estimated from Q = (U - m) / s (m,) of ``n`` spools [1]_.

    A negative Q (mean beyond the limit) gives more than a half.  Raises ValueError below 3 spools.

    >>> estimated_fraction([1.2, 0.0], 4).round(4).tolist()
    [0.1, 0.5]
    """
    check_spools(n, 3)
    q = np.asarray(quality_index, dtype=np.float64)
    x = np.clip(0.5 - q * np.sqrt(n) / (2 * (n - 1)), 0.0, 1.0)
    return np.asarray(betainc(n / 2 - 1, n / 2 - 1, x))


def maximum_sd_ratio(most: float, n: int) -> float:
    """The largest s / (U - L) that is taken with the mean in the middle (factor F of [2]_, B-8).

    ``most`` is M; for a k write ``most_fraction(k, n)``.  Raises ValueError below 3 spools or for
    an M that is not a fraction below 1.

    >>> round(maximum_sd_ratio(0.0759, 3), 3)    # MIL-STD-414, letter B, AQL 2.5 %
    0.436
    """
    check_plan(n, most)
    return 1 / (2 * quality_index(most / 2, n))


def acceptance_curve(s_ratio: ArrayLike, n: int, most: float) -> FloatArray:
    """Lowest and highest (mean - L) / (U - L) taken at each s / (U - L) (m,): (m, 2).

    NaN where no mean is taken.  Raises ValueError below 3 spools, for a negative s, or for an M
    that is not a fraction below 1.

    >>> acceptance_curve([0.0, 0.2, 0.4], 10, 0.05).round(3).tolist()
    [[0.0, 1.0], [0.313, 0.687], [nan, nan]]
    """
    check_plan(n, most)
    ratio = np.asarray(s_ratio, dtype=np.float64)
    if (ratio < 0).any():
        raise ValueError(f"s_ratio is {ratio[ratio < 0][0]:g}: a standard deviation is 0 or more")
    low = np.full(ratio.shape, np.nan)
    bend, top = _bend(n, most), _top(n, most)
    straight, bent = ratio <= bend, (ratio > bend) & (ratio <= top)
    low[straight] = ratio[straight] * quality_index(most, n)
    low[bent] = _bent_edge(ratio[bent], n, most)
    return np.stack([low, 1 - low], axis=-1)


def accept_probability_two_limits(
    mu: ArrayLike, sigma: ArrayLike, lsl: float, usl: float, n: int, most: float
) -> FloatArray:
    """Chance (m,) that a lot of true mean and spread ``mu``, ``sigma`` (m,) is taken; NaN stays.

    All four in one unit; the error is below 1e-9.  Raises ValueError below 3 spools, for limits
    out of order, a negative sigma, or an M that is not a fraction below 1.

    >>> accept_probability_two_limits([1.75, 1.75], [0.01, 0.03], 1.70, 1.80, 5, 0.09).round(3)
    array([1.   , 0.584])
    """
    check_plan(n, most)
    check_limits(lsl, usl)
    mean, spread = np.broadcast_arrays(
        (np.asarray(mu, dtype=np.float64) - lsl) / (usl - lsl),
        np.asarray(sigma, dtype=np.float64) / (usl - lsl),
    )
    if (spread < 0).any():
        wrong = spread[spread < 0][0] * (usl - lsl)
        raise ValueError(f"sigma is {wrong:g}: a standard deviation is 0 or more")
    chance = np.where((mean >= 0) & (mean <= 1), 1.0, 0.0)  # without any spread
    chance[np.isnan(mean) | np.isnan(spread)] = np.nan
    spreads = spread > 0
    chance[spreads] = _chance(mean[spreads], spread[spreads], n, most)
    return np.clip(chance, 0.0, 1.0)  # rounding may carry a certainty past 1


def _chance(mean: FloatArray, spread: FloatArray, n: int, most: float) -> FloatArray:
    """The same for means and spreads (m,) in parts of U - L, spread above 0."""
    least, largest = chi_window(n - 1)
    bend, middle = _bend(n, most), maximum_sd_ratio(most, n)
    first, last = min(bend, middle), max(bend, middle)
    # First panel: straight edges, without a hole.
    ratio, weights = gauss(*(np.clip(v * spread, 0.0, first) for v in (least, largest)))
    chance = _between(ratio, ratio * quality_index(most, n), weights, mean, spread, n)
    if n == 4:  # which has no other panel
        return chance
    # Second panel: over the angle, since the edges rise like roots at its ends.
    centre, half = (first + last) / 2, (last - first) / 2
    reached = (largest * spread > first) & (least * spread < last) & (half > 0)
    mean, spread = mean[reached], spread[reached]
    angle, weights = gauss(
        *(np.arccos(np.clip((centre - v * spread) / half, -1.0, 1.0)) for v in (least, largest))
    )
    ratio, weights = centre - half * np.cos(angle), weights * half * np.sin(angle)
    if n == 3:
        outer = _between(ratio, ratio * quality_index(most, n), weights, mean, spread, n)
        chance[reached] += outer - _between(ratio, _hole(ratio, most), weights, mean, spread, n)
    else:
        edge = _bent_edge(ratio, n, most)
        chance[reached] += _between(ratio, edge, weights, mean, spread, n)
    return chance


def _between(
    ratio: FloatArray, edge: FloatArray, weights: FloatArray,
    mean: FloatArray, spread: FloatArray, n: int,
) -> FloatArray:  # fmt: skip
    """Integral over s of its density times the chance of a mean between edge and 1 - edge.

    ``ratio``, ``edge``, ``weights`` (m, q); ``mean``, ``spread`` (m,).
    """
    if ratio.size == 0:
        return np.zeros(mean.shape)
    mu, sigma = mean[:, None], spread[:, None]
    step = sigma / np.sqrt(n)
    inside = ndtr((1 - edge - mu) / step) - ndtr((edge - mu) / step)
    return np.asarray(np.sum(weights * chi_density(ratio / sigma, n - 1) / sigma * inside, axis=-1))


def _bend(n: int, most: float) -> float:
    """The s / (U - L) from which on the farther limit counts, too."""
    return 1 / ((n - 1) / float(np.sqrt(n)) + quality_index(most, n))


def _top(n: int, most: float) -> float:
    """The largest s / (U - L) that is taken with any mean."""
    return _bend(n, most) if n <= 4 else maximum_sd_ratio(most, n)


def _bent_edge(ratio: FloatArray, n: int, most: float) -> FloatArray:
    """The lower edge between bend and top, for five spools or more: Newton's method in a bracket.

    There p(m / r) + p((1 - m) / r) falls in m up to the middle, since p is steepest at Q = 0.
    """
    a, reach = n / 2 - 1, (n - 1) / np.sqrt(n)
    low, high = ratio * quality_index(most, n), np.full(ratio.shape, 0.5)
    edge: FloatArray = (low + high) / 2

    def tail(x: FloatArray) -> FloatArray:
        return np.asarray(np.clip(0.5 - x / ratio / (2 * reach), 0.0, 1.0))

    for _ in range(STEPS):
        x, y = tail(edge), tail(1 - edge)
        excess = betainc(a, a, x) + betainc(a, a, y) - most
        low, high = np.where(excess > 0, edge, low), np.where(excess > 0, high, edge)
        slope = ((y * (1 - y)) ** (a - 1) - (x * (1 - x)) ** (a - 1)) / np.exp(betaln(a, a))
        with np.errstate(divide="ignore", invalid="ignore"):
            tried = edge - excess * ratio * 2 * reach / slope
        # Written so that a NaN is halved, too.
        after = np.where((tried > low) & (tried < high), tried, (low + high) / 2)
        moved = np.abs(after - edge)
        edge = after
        if not np.any(moved > 1e-14):
            break
    return edge


def _hole(ratio: FloatArray, most: float) -> FloatArray:
    """Three spools: the lower end of the means about the middle that are not taken.

    p(Q) = arccos(Q / B) / pi.  With the two angles pi M / 2 + d and pi M / 2 - d, whose cosines add
    to 1 / (B r): cos d = 1 / (2 B r cos(pi M / 2)).
    """
    reach, half = 2 / np.sqrt(3), np.pi * most / 2
    d = np.arccos(np.clip(1 / (2 * reach * ratio * np.cos(half)), -1.0, 1.0))
    return np.asarray(ratio * reach * np.cos(half + d))


def quality_index(fraction: float, n: int) -> float:
    """The Q at which just this fraction is estimated."""
    return float((n - 1) / np.sqrt(n) * (1 - 2 * betaincinv(n / 2 - 1, n / 2 - 1, fraction)))


def gauss(low: ArrayLike, high: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights (m, GAUSS_NODES) of the Gauss-Legendre rule from low to high (m,)."""
    a, b = (np.asarray(v, dtype=np.float64)[..., None] for v in (low, high))
    return a + (b - a) * (_NODES + 1) / 2, (b - a) / 2 * _WEIGHTS


def chi_window(df: int) -> tuple[float, float]:
    """Between which values s / sigma lies but for TAIL at each end."""
    low, high = 2 * gammaincinv(df / 2, TAIL), chdtri(df, TAIL)
    return float(np.sqrt(low / df)), float(np.sqrt(high / df))


def chi_density(ratio: FloatArray, df: int) -> FloatArray:
    """Density of s / sigma with ``df`` degrees of freedom, at ratios above 0."""
    nodes, weights = gauss(*chi_window(df))
    # Its constant by the same rule: for many spools a difference of gamma functions loses digits.
    return np.asarray(_chi_shape(ratio, df) / np.sum(weights * _chi_shape(nodes, df)))


def _chi_shape(ratio: FloatArray, df: int) -> FloatArray:
    return np.asarray(np.exp((df - 1) * np.log(ratio) - df * (ratio**2 - 1) / 2))


def check_spools(n: int, least: int) -> None:
    """Raise ValueError below ``least`` spools."""
    if not n >= least:
        raise ValueError(f"n is {n}: measure {least} spools or more")


def check_limits(lsl: float, usl: float) -> None:
    """Raise ValueError where ``lsl`` is not below ``usl``."""
    if not lsl < usl:
        raise ValueError(f"lsl is {lsl:g} and usl is {usl:g}: the lower limit must be the smaller")


def check_plan(n: int, most: float) -> None:
    """Raise ValueError below 3 spools, or where ``most`` is no M below 1."""
    check_spools(n, 3)
    if not 0 <= most < 1:
        raise ValueError(
            f"most is {most:g}: write a fraction from 0 to below 1; for a k, most_fraction(k, n)"
        )
