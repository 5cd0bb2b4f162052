"""Capability of a spool against limits LSL, USL, with intervals.

    Cp  = (USL - LSL) / (6 sd)               Cpk = min(USL - m, m - LSL) / (3 sd)        [1]_
    Cpm = (USL - LSL) / (6 tau),  tau**2 = mean of (x - target)**2                       [2]_

Cp: chi-square interval of sd.  Cpk: recovered from the intervals of mean and sd (MOVER [3]_);
Bissell's normal approximation [4]_ is kept as cross-check.  Cpm: Boyles' chi-square [5]_.
Fraction outside: normal, each limit by the noncentral t [6]_, half of alpha a limit, hence
conservative.  All suppose independent places; an sd of 0 gives an infinite index.

.. [1] NIST/SEMATECH e-Handbook 6.1.6; ISO 22514-2:2017 for the terms.
.. [2] Chan, Cheng & Spiring, J. Quality Technology 20 (1988) 162.
.. [3] Zou & Donner, Statistics in Medicine 27 (2008) 1693.
.. [4] Bissell, Applied Statistics 39 (1990) 331; printed in NIST e-Handbook 6.1.6.
.. [5] Boyles, J. Quality Technology 23 (1991) 17.
.. [6] Owen & Hua, Commun. Statist. B6 (1977) 285: limits on a normal tail area.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, nctdtr, nctdtrinc, ndtr, ndtri

from lotqa.evidence.summary import chi_square_factors
from lotqa.model import FloatArray

NODES = 257  # of the interpolation in fraction_outside: error below 3e-4 in z, tested
NUDGE = 1e-3  # of the numerical derivative of the noncentral t


def cp(sd: ArrayLike, lsl: ArrayLike, usl: ArrayLike) -> FloatArray:
    """Potential capability [1]_; infinite for sd = 0.

    >>> float(cp(2.0, 8.0, 20.0))
    1.0
    """
    with np.errstate(divide="ignore"):
        width = np.asarray(usl, dtype=np.float64) - np.asarray(lsl, dtype=np.float64)
        return np.asarray(width / (6 * np.asarray(sd, dtype=np.float64)))


def cp_interval(
    cp_value: ArrayLike, df: ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Chi-square interval of Cp from an sd with ``df`` degrees of freedom [1]_."""
    low, high = chi_square_factors(df, confidence)
    value = np.asarray(cp_value, dtype=np.float64)
    return value / high, value / low


def cpk(mean: ArrayLike, sd: ArrayLike, lsl: ArrayLike, usl: ArrayLike) -> FloatArray:
    """Capability with centring [1]_; negative when the mean is outside.

    >>> round(float(cpk(16.0, 2.0, 8.0, 20.0)), 4)
    0.6667
    """
    room = room_to_limit(mean, lsl, usl)
    with np.errstate(divide="ignore", invalid="ignore"):
        index = np.asarray(room / (3 * np.asarray(sd, dtype=np.float64)))
    # Just on the limit without any spread: no room is no capability, not an unknown one.
    return np.where((room == 0) & (np.asarray(sd) == 0), 0.0, index)


def room_to_limit(mean: ArrayLike, lsl: ArrayLike, usl: ArrayLike) -> FloatArray:
    """Distance from the mean to the nearer limit; negative outside."""
    centre = np.asarray(mean, dtype=np.float64)
    return np.minimum(
        np.asarray(usl, dtype=np.float64) - centre, centre - np.asarray(lsl, dtype=np.float64)
    )


def cpk_interval(
    mean: ArrayLike,
    mean_half_width: ArrayLike,
    sd: ArrayLike,
    sd_lo: ArrayLike,
    sd_hi: ArrayLike,
    lsl: ArrayLike,
    usl: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Interval of Cpk recovered from the intervals of the mean and of sd [3]_.

    The part of the mean is taken at sd, the part of sd at the mean, and both are added as
    squares.  Where sd is 0 the lower limit is the worst corner and the upper limit infinite.

    >>> lo, hi = cpk_interval(50.0, 0.0, 1.0, 0.5, 2.0, 44.0, 56.0)    # Cp interval when m is known
    >>> float(lo), float(hi)
    (1.0, 4.0)
    """
    room = room_to_limit(mean, lsl, usl)
    half = np.asarray(mean_half_width, dtype=np.float64)
    spread, low, high = (np.asarray(v, dtype=np.float64) for v in (sd, sd_lo, sd_hi))
    with np.errstate(divide="ignore", invalid="ignore"):
        value = room / (3 * spread)
        by_mean = half / (3 * spread)
        at_high, at_low = room / (3 * high), room / (3 * low)
        inside = room >= 0  # outside the limits a larger sd makes Cpk larger
        down = value - np.where(inside, at_high, at_low)
        up = np.where(inside, at_low, at_high) - value
        lower, upper = value - np.hypot(by_mean, down), value + np.hypot(by_mean, up)
        corner = room - half
        worst = corner / (3 * np.where(corner >= 0, high, low))
        lower = np.where(spread > 0, lower, worst)
        # Outside by more than the mean's own interval, even the largest sd keeps it negative.
        far = room + half
        best = np.where(far < 0, far / (3 * high), np.inf)
    upper = np.where(spread > 0, upper, best)
    return np.where(np.isnan(lower), -np.inf, lower), np.where(np.isnan(upper), np.inf, upper)


def bissell_interval(
    cpk_value: ArrayLike, n: ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Bissell's normal approximation for Cpk from n values [4]_, the printed cross-check."""
    value, size = np.asarray(cpk_value, dtype=np.float64), np.asarray(n, dtype=np.float64)
    half = ndtri(0.5 + confidence / 2) * np.sqrt(1 / (9 * size) + value**2 / (2 * (size - 1)))
    return value - half, value + half


def root_mean_square_about(
    mean: ArrayLike, s: ArrayLike, n: ArrayLike, target: ArrayLike
) -> FloatArray:
    """tau of Cpm [2]_ from mean and s (n - 1) of n values."""
    size = np.asarray(n, dtype=np.float64)
    variance = np.asarray(s, dtype=np.float64) ** 2 * (size - 1) / size
    offset = np.asarray(mean, dtype=np.float64) - np.asarray(target, dtype=np.float64)
    return np.sqrt(variance + offset**2)


def cpm(
    mean: ArrayLike, s: ArrayLike, n: ArrayLike, lsl: ArrayLike, usl: ArrayLike, target: ArrayLike
) -> FloatArray:
    """Capability about a target [2]_."""
    return cp(root_mean_square_about(mean, s, n, target), lsl, usl)


def cpm_interval(
    cpm_value: ArrayLike,
    mean: ArrayLike,
    s: ArrayLike,
    n: ArrayLike,
    target: ArrayLike,
    confidence: float = 0.95,
) -> tuple[FloatArray, FloatArray]:
    """Boyles' interval of Cpm: chi-square with nu = n (1 + x2)**2 / (1 + 2 x2) [5]_.

    x2 is ((mean - target) / sigma)**2 with sigma by n.
    """
    size = np.asarray(n, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.asarray(s, dtype=np.float64) ** 2 * (size - 1) / size
        offset2 = (np.asarray(mean) - np.asarray(target)) ** 2 / variance
        nu = size * (1 + offset2) ** 2 / (1 + 2 * offset2)
        alpha = 1 - confidence
        value = np.asarray(cpm_value, dtype=np.float64)
        low = value * np.sqrt(chdtri(nu, 1 - alpha / 2) / nu)
        high = value * np.sqrt(chdtri(nu, alpha / 2) / nu)
    return np.where(np.isnan(low), 0.0, low), np.where(np.isnan(high), np.inf, high)


def quantile_index(
    q_low: ArrayLike, q_high: ArrayLike, lsl: ArrayLike, usl: ArrayLike, coverage: float
) -> FloatArray:
    """Cp without normality: limits over the span of the middle ``coverage`` of the places.

    ISO 22514-2 takes the span of 99.73 %, which 20 places cannot show; the span of a smaller
    share is scaled up as a normal would be.

    >>> round(float(quantile_index(1.70, 1.80, 1.70, 1.80, 0.9973)), 3)
    1.0
    """
    scale = 3.0 / ndtri(0.5 + coverage / 2)
    with np.errstate(divide="ignore"):
        span = (np.asarray(q_high) - np.asarray(q_low)) * scale
        return np.asarray((np.asarray(usl) - np.asarray(lsl)) / span)


def fraction_outside(
    mean: ArrayLike,
    s: ArrayLike,
    n: int,
    lsl: ArrayLike,
    usl: ArrayLike,
    confidence: float = 0.95,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fraction of a normal spool outside the limits: estimate and conservative interval [6]_.

    ``mean``, ``s`` (k,) from ``n`` places each; (0, 0, 1) is never returned for s = 0: the
    upper limit is then NaN, because nothing was seen of the spread.
    """
    centre, spread = np.asarray(mean, dtype=np.float64), np.asarray(s, dtype=np.float64)
    lower, upper = np.asarray(lsl, dtype=np.float64), np.asarray(usl, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        z_up, z_down = (upper - centre) / spread, (centre - lower) / spread
    estimate = ndtr(-z_up) + ndtr(-z_down)
    alpha = (1 - confidence) / 2  # a limit; again halved for the two sides of each interval
    low = ndtr(-_z_limit(z_up, n, 1 - alpha / 2)) + ndtr(-_z_limit(z_down, n, 1 - alpha / 2))
    high = ndtr(-_z_limit(z_up, n, alpha / 2)) + ndtr(-_z_limit(z_down, n, alpha / 2))
    unknown = ~(spread > 0)
    return (
        np.where(unknown, np.nan, estimate),
        np.where(unknown, np.nan, low),
        np.where(unknown, np.nan, np.minimum(high, 1.0)),
    )


def _z_limit(z: FloatArray, n: int, probability: float) -> FloatArray:
    """Confidence limit of (limit - mu) / sigma from its estimate z: noncentral t solved for delta.

    ``probability`` near 1 gives the upper limit.  For many spools the smooth, nearly straight
    function is computed on a grid and interpolated.
    """
    root = np.sqrt(n)
    finite = np.where(np.isfinite(z), z, 0.0)
    # scipy's inverse is dependable only inside this range; outside, the fraction is 0 or 1 to
    # any digit that a handful of places can carry.
    clipped = np.clip(finite, -37.0, 37.0)

    def exact(values: FloatArray) -> FloatArray:
        t = values * root
        delta = nctdtrinc(n - 1, 1 - probability, t)
        for _ in range(2):  # the inverse takes |t| below 0.1 for 0; the function itself does not
            error = nctdtr(n - 1, delta, t) - (1 - probability)
            slope = (nctdtr(n - 1, delta + NUDGE, t) - nctdtr(n - 1, delta - NUDGE, t)) / NUDGE / 2
            delta = delta - error / slope
        return np.asarray(delta / root)

    if clipped.size <= NODES:
        return exact(clipped)
    # Nodes are dense near 0, where the function bends.
    span = float(np.max(np.abs(clipped))) or 1.0
    grid = np.sinh(np.linspace(-1, 1, NODES) * np.arcsinh(span))
    return np.asarray(np.interp(clipped, grid, exact(grid)))
