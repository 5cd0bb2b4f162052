"""Sampling by attributes: n spools are inspected, the lot is taken with up to c bad ones.

Of a lot of N spools with D bad (type A, hypergeometric) or of a process that makes a fraction p
bad (type B, binomial, the lot without end) [1]_:

    P = sum over k <= c of C(D, k) C(N - D, n - k) / C(N, n)
    P = sum over k <= c of C(n, k) p**k (1 - p)**(n - k) = 1 - I_p(c + 1, n - c)

The smallest plan that keeps two risks [2]_: for c = 0, 1, 2 ... the fewest spools that keep the
consumer's, until they keep the producer's, too.  More spools need more allowed bad ones, so the
first found is the smallest.  Supposes that a bad spool is seen to be bad, and a random sample.

.. [1] Schilling & Neubauer, Acceptance Sampling in Quality Control, chapter 5 (from memory).
.. [2] Guenther, J. Quality Technology 1 (1969) 46 (from memory); NIST/SEMATECH e-Handbook 6.2.3.2.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor, log, log1p

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincc, betainccinv

from lotqa.model import FloatArray

ROUNDING = 1e-12  # a risk that is met exactly is met, although its last digit may not show it
DECIMALS = 1e-9  # the same of 29 % of 100 spools, which is a little less in binary
MOST_SPOOLS = 1_000_000  # of a plan; who asks for more has set good and bad too near together


@dataclass(frozen=True, slots=True)
class AttributesPlan:
    """Inspect n spools, take the lot with up to ``acceptance`` bad ones."""

    n: int
    acceptance: int
    producer_risk: float  # chance that a lot just good is rejected
    consumer_risk: float  # chance that a lot just bad is taken


def acceptance_probability(n_bad: ArrayLike, n_lot: int, n: int, c: int) -> FloatArray:
    """Chance (m,) that a lot of ``n_lot`` spools with ``n_bad`` (m,) bad is taken [1]_.

    Raises ValueError where the lot does not hold so many bad spools or the sample, or for c < 0.

    >>> acceptance_probability([0, 1, 2], 10, 3, 0).round(4).tolist()
    [1.0, 0.7, 0.4667]
    """
    bad = np.asarray(n_bad, dtype=np.float64)
    _check_allowed(c)
    if not 0 <= n <= n_lot:
        raise ValueError(f"n is {n}: a sample from a lot of {n_lot} is 0 to {n_lot} spools")
    wrong = ~((bad >= 0) & (bad <= n_lot))
    if wrong.any():
        raise ValueError(f"n_bad is {bad[wrong][0]:g}: write 0 to {n_lot}, the spools of the lot")
    # From each number of bad spools to the next by a factor, and normed at the end: no digit is
    # lost however large the lot, as it would be in a difference of log factorials.
    found = np.arange(n + 1)
    few, many = np.maximum(0, n - (n_lot - bad))[..., None], np.minimum(n, bad)[..., None]
    rises = (found > few) & (found <= many)
    up = np.where(rises, (bad[..., None] - found + 1) * (n - found + 1), 1.0)
    down = np.where(rises, found * (n_lot - bad[..., None] - n + found), 1.0)
    weight = np.cumsum(np.log(up / down), axis=-1)
    weight = np.where((found >= few) & (found <= many), weight, -np.inf)
    weight = np.exp(weight - weight.max(axis=-1, keepdims=True))
    return np.asarray(weight[..., : c + 1].sum(axis=-1) / weight.sum(axis=-1))


def process_probability(p: ArrayLike, n: int, c: int) -> FloatArray:
    """Chance (m,) that a lot of a process with the fraction ``p`` (m,) bad is taken [1]_.

    NaN stays.  Raises ValueError for a fraction outside 0 to 1, for n < 0 or c < 0.

    >>> process_probability([0.0, 0.1, 1.0], 2, 0).round(4).tolist()
    [1.0, 0.81, 0.0]
    """
    fraction = np.asarray(p, dtype=np.float64)
    _check_allowed(c)
    if not n >= 0:
        raise ValueError(f"n is {n}: write a number of spools, 0 or more")
    wrong = (fraction < 0) | (fraction > 1)
    if wrong.any():
        raise ValueError(f"p is {fraction[wrong][0]:g}: write a fraction from 0 to 1")
    if c >= n:
        return np.where(np.isnan(fraction), np.nan, 1.0)
    return np.asarray(betaincc(c + 1, n - c, fraction))


def fraction_accepted_with(pa: float, n: int, c: int) -> float:
    """The fraction bad of a process that is taken with the chance ``pa``; needs c < n.

    Raises ValueError for a chance that is not between 0 and 1, or for c outside 0 to n - 1.

    >>> round(fraction_accepted_with(0.10, 20, 0), 4)    # what 20 good spools let through
    0.1087
    """
    _check_chance("pa", pa)
    _check_allowed(c)
    if not c < n:
        raise ValueError(
            f"c is {c}: of {n} spools at most {n - 1} can be allowed, else all is taken"
        )
    return float(betainccinv(c + 1, n - c, pa))


def zero_acceptance_size(n_bad: int, risk: float, n_lot: int) -> int:
    """The fewest spools, none allowed bad, so that ``n_bad`` of ``n_lot`` are missed with ``risk``.

    At most that chance.  Raises ValueError for a risk that is not between 0 and 1, or where the
    lot does not hold 1 or more such spools.

    >>> zero_acceptance_size(2, 0.10, 20)
    14
    """
    _check_chance("risk", risk)
    if not 1 <= n_bad <= n_lot:
        raise ValueError(f"n_bad is {n_bad}: write 1 to {n_lot}, the spools of the lot")
    drawn = np.arange(n_lot - n_bad + 1)
    missed = np.cumprod((n_lot - n_bad - drawn) / (n_lot - drawn))
    return int(np.argmax(missed <= risk * (1 + ROUNDING))) + 1


def zero_acceptance_size_endless(fraction: float, risk: float) -> int:
    """The same for a process that makes ``fraction`` bad: (1 - fraction)**n <= risk.

    Raises ValueError for a risk that is not between 0 and 1, or a fraction not above 0.

    >>> zero_acceptance_size_endless(0.10, 0.10)
    22
    """
    _check_chance("risk", risk)
    if not 0 < fraction <= 1:
        raise ValueError(f"fraction is {fraction:g}: write a fraction above 0, 1 at most")
    if fraction == 1:
        return 1
    return max(1, ceil((log(risk) + ROUNDING) / log1p(-fraction)))


def plan_for_risks(
    good: float,
    producer_risk: float,
    bad: float,
    consumer_risk: float,
    lot_size: int | None = None,
) -> AttributesPlan:
    """The smallest plan that keeps both risks [2]_, of a process or of a lot of ``lot_size``.

    A lot with the fraction ``good`` bad is rejected with at most ``producer_risk``, one with
    ``bad`` taken with at most ``consumer_risk``.  In a lot both are whole spools: good is rounded
    down, bad up.  Where no sample keeps the risks all spools are inspected.  Raises ValueError
    where these are not between 0 and 1, ``good`` is not below ``bad``, the lot has no spool, or a
    process asks for more than MOST_SPOOLS.

    >>> plan = plan_for_risks(0.01, 0.05, 0.10, 0.10)
    >>> plan.n, plan.acceptance, round(plan.producer_risk, 3), round(plan.consumer_risk, 3)
    (52, 2, 0.015, 0.097)
    """
    _check_chance("producer_risk", producer_risk)
    _check_chance("consumer_risk", consumer_risk)
    _check_chance("good", good)
    _check_chance("bad", bad)
    if not good < bad:
        raise ValueError(f"good is {good:g} and bad is {bad:g}: good must be less than bad")
    if lot_size is not None and not lot_size >= 1:
        raise ValueError(f"lot_size is {lot_size}: write a number of spools, 1 or more")

    def taken(fraction: float, n: int, c: int) -> float:
        if lot_size is None:
            return float(process_probability(fraction, n, c))
        spools = fraction * lot_size
        whole = floor(spools + DECIMALS) if fraction == good else ceil(spools - DECIMALS)
        return float(acceptance_probability(whole, lot_size, n, c))

    def kept(n: int, c: int) -> bool:
        return taken(bad, n, c) <= consumer_risk + ROUNDING

    most = MOST_SPOOLS if lot_size is None else lot_size
    n, c = 1, 0
    while True:
        n = _first(kept, c, n, most)
        if taken(good, n, c) >= 1 - producer_risk - ROUNDING:
            return AttributesPlan(n, c, 1 - taken(good, n, c), taken(bad, n, c))
        c += 1


def _first(holds: Callable[[int, int], bool], c: int, start: int, most: int) -> int:
    """The first n from start to most from which on it holds with c, by doubling and halving."""
    if holds(start, c):
        return start
    fails, step = start, 1
    while not holds(min(fails + step, most), c):
        if fails + step >= most:
            raise ValueError(
                f"no plan of up to {most} spools keeps both risks: set good and bad further apart "
                "or allow more risk"
            )
        fails, step = fails + step, 2 * step
    found = min(fails + step, most)
    while found - fails > 1:
        middle = (fails + found) // 2
        fails, found = (fails, middle) if holds(middle, c) else (middle, found)
    return found


def _check_allowed(c: int) -> None:
    if not c >= 0:
        raise ValueError(f"c is {c}: write a number of spools allowed bad, 0 or more")


def _check_chance(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name} is {value:g}: write a number between 0 and 1, ends excluded")
