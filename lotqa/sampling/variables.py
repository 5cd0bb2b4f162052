"""Sampling by variables: the spool means judged together, spread between spools unknown.

n spool means, normal, with mean m and standard deviation s.  One limit U (k-method [1]_): taken if
(U - m) / s >= k.  With z the normal quantile of the good fraction the chance of that is

    P(t >= k sqrt(n)),    t noncentral with n - 1 degrees of freedom and delta = z sqrt(n)   [2]_

computed as an integral, since the inverse of the noncentral t is not dependable everywhere.  Two
limits (form 2 [1]_): taken if the fractions estimated beyond both are at most M together; how they
are estimated, and how often a lot is then taken, stands in variables_curves.py.

For one limit form 2 is the k-method with M = the estimate at Q = k, where k < (n - 1) / sqrt(n).
A larger k, which few spools and a strict demand ask for, gives M = 0, and form 2 takes more than k.

.. [1] MIL-STD-414 (1957), section B; ISO 3951-1, s-method; both forms from memory.
.. [2] Resnikoff & Lieberman, Tables of the Non-central t-distribution (1957) (from memory).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, ndtr, ndtri

from lotqa.evidence.roots import rising_root
from lotqa.model import FloatArray
from lotqa.sampling.variables_curves import (
    accept_probability_two_limits,
    acceptance_curve,
    check_limits,
    check_spools,
    chi_density,
    chi_window,
    estimated_fraction,
    gauss,
    maximum_sd_ratio,
)

__all__ = [  # with what variables_curves.py holds of the plan, so that one import will do
    "TwoLimits",
    "VariablesPlan",
    "accept_probability_one_limit",
    "accept_probability_two_limits",
    "acceptance_curve",
    "estimated_fraction",
    "judge_two_limits",
    "k_for",
    "maximum_sd_ratio",
    "most_fraction",
    "plan_for_risks_variables",
]

REACH = 9.0  # standard deviations of a mean; beyond lies 2e-19
MOST_SPOOLS = 1_000_000  # of a plan; who asks for more has set good and bad too near together


@dataclass(frozen=True, slots=True)
class VariablesPlan:
    """Measure n spools; take the lot if the limit lies k standard deviations from the mean."""

    n: int
    k: float
    producer_risk: float  # chance that a lot just good is rejected
    consumer_risk: float  # chance that a lot just bad is taken


@dataclass(frozen=True, slots=True)
class TwoLimits:
    """Fractions estimated beyond both limits, and whether they are few enough together."""

    below: float
    above: float
    accepted: bool


@lru_cache(maxsize=4096)
def k_for(fraction: float, accepted_with: float, n: int) -> float:
    """The k with which a lot with ``fraction`` beyond the limit is accepted with that chance [2]_.

    Raises ValueError below 2 spools, or where a fraction or a chance is not between 0 and 1.

    >>> round(k_for(0.05, 0.05, 10), 3)    # the factor of a one-sided tolerance limit, 95 %/95 %
    2.911
    """
    check_spools(n, 2)
    _check_share("fraction", fraction)
    _check_share("accepted_with", accepted_with)
    z = np.array([-ndtri(fraction)])

    def missing(k: float) -> float:
        return accepted_with - float(_chance(z, n, k)[0])

    low, high = -1.0, 1.0
    while missing(low) > 0:
        low *= 2
    while missing(high) < 0:
        high *= 2
    return rising_root(missing, low, high)


def accept_probability_one_limit(fraction: ArrayLike, n: int, k: float) -> FloatArray:
    """Chance (m,) that a lot with ``fraction`` (m,) beyond the limit is accepted [2]_; NaN stays.

    Raises ValueError below 2 spools, for a k that is not finite, for a fraction outside 0 to 1.

    >>> accept_probability_one_limit([0.01, 0.10], 5, 1.53).round(3).tolist()
    [0.898, 0.422]
    """
    check_spools(n, 2)
    if not np.isfinite(k):
        raise ValueError(f"k is {k:g}: write a finite number")
    shares = np.asarray(fraction, dtype=np.float64)
    wrong = (shares < 0) | (shares > 1)
    if wrong.any():
        raise ValueError(f"fraction is {shares[wrong][0]:g}: write a fraction from 0 to 1")
    chance = _chance(np.atleast_1d(-ndtri(shares)), n, k).reshape(shares.shape)
    return np.clip(chance, 0.0, 1.0)  # rounding may carry a certainty past 1


def plan_for_risks_variables(
    good: float, producer_risk: float, bad: float, consumer_risk: float
) -> VariablesPlan:
    """The fewest spools, and the k, that keep both risks at one limit.

    A lot with the fraction ``good`` beyond the limit is rejected with just ``producer_risk``, one
    with ``bad`` accepted with at most ``consumer_risk``.  Raises ValueError where these are not
    between 0 and 1, ``good`` is not below ``bad``, or more than MOST_SPOOLS would be needed.

    >>> plan = plan_for_risks_variables(0.01, 0.05, 0.08, 0.10)
    >>> plan.n, round(plan.k, 2)
    (28, 1.83)
    """
    for name, value in (
        ("good", good), ("bad", bad),
        ("producer_risk", producer_risk), ("consumer_risk", consumer_risk),
    ):  # fmt: skip
        _check_share(name, value)
    if not good < bad:
        raise ValueError(f"good is {good:g} and bad is {bad:g}: good must be less than bad")

    def taken(n: int) -> float:
        return _taken_at(bad, n, k_for(good, 1 - producer_risk, n))

    few, enough = 1, 2
    while not taken(enough) <= consumer_risk:
        few, enough = enough, 2 * enough
        if enough > MOST_SPOOLS:
            raise ValueError(
                f"good is {good:g} and bad is {bad:g}: no plan of up to {MOST_SPOOLS} spools "
                "keeps both risks, set good and bad further apart or allow more risk"
            )
    while enough - few > 1:
        middle = (few + enough) // 2
        few, enough = (few, middle) if taken(middle) <= consumer_risk else (middle, enough)
    k = k_for(good, 1 - producer_risk, enough)
    return VariablesPlan(enough, k, producer_risk, _taken_at(bad, enough, k))


def most_fraction(k: float, n: int) -> float:
    """The M of form 2 that belongs to k: the fraction estimated where Q is just k [1]_.

    0 for k of (n - 1) / sqrt(n) or more, see above.  Raises ValueError below 3 spools.

    >>> round(most_fraction(1.5, 5), 3)
    0.038
    """
    return float(estimated_fraction(k, n))


def judge_two_limits(
    mean: float, s: float, n: int, lsl: float, usl: float, most: float
) -> TwoLimits:
    """Judge ``n`` spool means by form 2: ``mean``, ``s``, ``lsl`` and ``usl`` in one unit.

    s of 0 puts all spools where the mean is.  A NaN is never accepted.  Raises ValueError below 3
    spools, for limits out of order, a negative s, or a ``most`` outside 0 to 1.

    >>> found = judge_two_limits(195.0, 8.8034, 5, 180.0, 209.0, 0.0332)    # example B-3
    >>> round(found.below, 4), round(found.above, 4), found.accepted
    (0.0062, 0.0218, True)
    """
    check_spools(n, 3)
    check_limits(lsl, usl)
    if s < 0:
        raise ValueError(f"s is {s:g}: a standard deviation is 0 or more")
    if not 0 <= most <= 1:
        raise ValueError(f"most is {most:g}: write a fraction from 0 to 1")
    room = np.array([mean - lsl, usl - mean])
    if s == 0:
        fractions = np.where(np.isnan(room), np.nan, (room < 0).astype(np.float64))
    else:
        fractions = estimated_fraction(room / s, n)
    below, above = (float(f) for f in fractions)
    return TwoLimits(below, above, below + above <= most)


def _chance(z: FloatArray, n: int, k: float) -> FloatArray:
    """P(m + k s <= z) for the standard normal, z (m,).

    For a small k over s, for a large one over m: so the factor that rises is never steep.
    """
    if k < 0:
        return 1 - _chance(-z, n, -k)
    df, root = n - 1, np.sqrt(n)
    if k < 1:
        s, weights = gauss(*chi_window(df))
        return np.asarray(ndtr(root * (z[:, None] - k * s)) @ (weights * chi_density(s, df)))
    y, weights = gauss(np.full(z.shape, -REACH), np.clip(z * root, -REACH, REACH))
    s = np.maximum(z[:, None] - y / root, 0.0) / k
    density = np.exp(-(y**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(np.sum(weights * density * gammainc(df / 2, df * s**2 / 2), axis=-1))


def _taken_at(fraction: float, n: int, k: float) -> float:
    return float(accept_probability_one_limit(fraction, n, k))


def _check_share(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name} is {value:g}: write a number between 0 and 1, ends excluded")
