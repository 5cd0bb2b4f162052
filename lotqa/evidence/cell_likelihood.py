"""The restricted likelihood of values in cells in groups, and the variances at which it is highest.

A cell holds n values that differ at random with variance e; the mean of a cell has variance v
about the level of its group, and groups differ with variance b.  e and v are known parts plus
multiples of the components t.  With d = 1 / v, S = sum(d) of a group, h = 1 / (1 + b S) and T the
sum of S h over groups, minus twice the log likelihood of N values is [1]_

    (N - 1) log(2 pi) + sum((n - 1) log e + SS / e + log n + log v) + sum(log(1 + b S)) + log T
    + y' P y,    P = V^-1 - V^-1 1 1' V^-1 / T

Its maximum is sought by Newton's steps with the exact second derivatives, by those of the
expected ones (scoring) where the surface does not bend down, halved until the likelihood rises,
never below 0; from the best point of a grid on each face (each choice of components that are 0),
since unequal groups can have more than one top [2]_.

.. [1] Searle, Casella & McCulloch, Variance Components (1992), 6.6 (from memory).
.. [2] Derivatives: Gilmour, Thompson & Cullis, Biometrics 51 (1995) 1440 (from memory).
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from lotqa.model import FloatArray, IntArray

MOST_STEPS = 200
SETTLED = 1e-10  # relative length of a step; Newton has then twice as many digits
GRID = (0.03, 0.3, 1.0)  # of the variance of all values
PROMISED = 1e-4  # of the rise that the slope promises must come true (Armijo's rule)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Values summed up by cell; arrays (c,), slopes (k - 1, c) of the k components but the first.

    e = known_value + t[1:] @ slope_value, v = known_mean + t[1:] @ slope_mean, b = t[0].
    """

    group: IntArray
    n: FloatArray
    mean: FloatArray
    squares: FloatArray  # about the mean of the cell
    known_value: FloatArray
    known_mean: FloatArray
    slope_value: FloatArray
    slope_mean: FloatArray

    def sums(self, x: FloatArray) -> FloatArray:
        """Sums of ``x`` (c,) by group."""
        return np.bincount(self.group, x).astype(np.float64, copy=False)


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """The log likelihood at one choice of the components, and what it was computed from."""

    components: FloatArray  # (k,)
    value: float
    mean: float  # weighted by V^-1
    information: float  # of the mean: 1 over its variance, T above
    shifts: FloatArray  # of each group, best linear unbiased prediction
    e: FloatArray  # (c,)
    d: FloatArray  # (c,)
    S: FloatArray  # of each group
    h: FloatArray  # of each group
    q: FloatArray  # (c,) P y
    converged: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """Slope of the log likelihood (k,) and the information, minus its second derivatives."""

    slope: FloatArray
    observed: FloatArray  # (k, k)
    expected: FloatArray  # (k, k)


def checked_values(values: ArrayLike, *labels: ArrayLike) -> tuple[FloatArray, list[IntArray]]:
    """``values`` (N,) as floats, each of the ``labels`` (N,) as numbers from 0 in sorted order.

    Raises ValueError where lengths differ or a value is not finite.

    >>> checked_values([1.0, 2.0, 3.0], ["b", "a", "b"])[1]
    [array([1, 0, 1])]
    """
    y = np.asarray(values, dtype=np.float64)
    numbers = [np.unique(np.asarray(x), return_inverse=True)[1] for x in labels]
    if y.ndim != 1 or any(x.shape != y.shape for x in numbers):
        sizes = ", ".join(str(x.size) for x in numbers)
        raise ValueError(f"{y.size} values with {sizes} labels: give each value its label")
    if not np.isfinite(y).all():
        raise ValueError(
            f"components: {np.count_nonzero(~np.isfinite(y))} of {y.size} values are not finite "
            "numbers: leave them out"
        )
    return y, numbers


def summed(
    y: FloatArray, cell: IntArray, rounding_of: float = 0.0
) -> tuple[IntArray, FloatArray, FloatArray]:
    """How many of ``y`` (N,) are in each cell, their means and squares about them, all (c,).

    Squares that are no more than rounding of numbers as large as y or ``rounding_of`` are 0.

    >>> summed(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 1]))
    (array([2, 1]), array([2., 5.]), array([2., 0.]))
    """
    n = np.bincount(cell)
    reference = np.zeros(len(n))
    reference[cell] = y  # any value of the cell: equal values then differ by exactly 0
    rest = y - reference[cell]
    lift = np.bincount(cell, rest) / n
    squares = np.bincount(cell, (rest - lift[cell]) ** 2)
    largest = max(float(np.abs(y).max()), abs(rounding_of))
    rounding = n * (4 * np.finfo(np.float64).eps * largest) ** 2
    return n, reference + lift, np.where(squares > rounding, squares, 0.0)


def likelihood(cells: Cells, components: FloatArray) -> Point:
    """The log likelihood at ``components`` (k,); e and v must be above 0 there."""
    b, others = float(components[0]), components[1:]
    e = cells.known_value + others @ cells.slope_value
    v = cells.known_mean + others @ cells.slope_mean
    d = 1 / v
    S = cells.sums(d)
    h = 1 / (1 + b * S)
    T = float(np.sum(S * h))
    mean, apart, level = _split(cells, d, S, h, T, cells.mean)
    total = float(cells.n.sum()) - 1
    minus_two = (
        total * np.log(2 * np.pi)
        + float((cells.n - 1) @ np.log(e) + np.sum(cells.squares / e + np.log(cells.n * v)))
        + float(np.sum(np.log1p(b * S)))
        + np.log(T)
        + float(d @ apart**2 + (S * h) @ level**2)
    )
    q = d * (apart + (h * level)[cells.group])
    return Point(components, -float(minus_two) / 2, mean, T, b * S * h * level, e, d, S, h, q)


def _split(
    cells: Cells, d: FloatArray, S: FloatArray, h: FloatArray, T: float, f: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """f (c,) as its mean weighted by V^-1, what cells lie off their group, and groups off it.

    By differences from a value of the group: those of a lone cell are then exactly 0, which a
    variance v far below b would otherwise blow up.
    """
    some = np.zeros(len(S))
    some[cells.group] = f
    apart = f - some[cells.group]
    lift = cells.sums(d * apart) / S
    level = some + lift
    mean = float((S * h) @ level) / T
    return mean, apart - lift[cells.group], level - mean


def bend(cells: Cells, at: Point) -> Bend:
    """First and second derivatives by the components at a point [2]_."""
    b, d, S, h, T, q = float(at.components[0]), at.d, at.S, at.h, at.information, at.q
    group, sums = cells.group, cells.sums
    Sh, d2 = S * h, d * d
    A, C = cells.slope_mean, cells.slope_value / at.e
    bent = np.vstack([sums(q)[group], A * q])  # the derivatives of V, times P y
    through = []  # P times these
    for f in bent:
        _, apart, level = _split(cells, d, S, h, T, f)
        through.append(d * (apart + (h * level)[group]))
    squared = bent @ np.array(through).T
    # Traces of P V_k and of P V_k P V_l, V_k the derivative of V by component k.
    t = d * h[group]  # V^-1 1
    t2 = t * t
    own = (1 + b * (S[group] - d)) * t  # the diagonal of V^-1; as d - b d t it loses digits
    off = b * h  # off its diagonal V^-1 is -off d d'
    Sh2, Sh3, At2 = float(Sh @ Sh), float(Sh**2 @ Sh), A @ t2
    first = np.concatenate([[T - Sh2 / T], A @ own - At2 / T])
    weights = np.array([sums(a * t * d) for a in A])
    plain = np.array([sums(a * d2) for a in A])
    pairs = np.empty((len(A) + 1, len(A) + 1))
    pairs[0, 0] = Sh2 - 2 * Sh3 / T + (Sh2 / T) ** 2
    pairs[0, 1:] = pairs[1:, 0] = At2 - 2 * (A @ (Sh[group] * t2)) / T + Sh2 * At2 / T**2
    pairs[1:, 1:] = (
        (A * (own**2 - (off[group] * d2) ** 2 - 2 * d * t2 / T)) @ A.T
        + (plain * off**2) @ plain.T
        + 2 * (weights * off) @ weights.T / T
        + np.outer(At2, At2) / T**2
    )
    ratio, spare = cells.squares / at.e, cells.n - 1
    slope = (np.concatenate([[float(np.sum(sums(q) ** 2))], A @ q**2]) - first) / 2
    slope[1:] += C @ (ratio - spare) / 2
    observed, expected = squared - pairs / 2, pairs / 2
    observed[1:, 1:] += (C * (ratio - spare / 2)) @ C.T
    expected[1:, 1:] += (C * spare / 2) @ C.T
    return Bend(slope, observed, expected)


def highest(cells: Cells, least: FloatArray) -> Point:
    """The highest point found with components at or above ``least`` (k,), one climb a face.

    Values in units in which the variance of all of them is about 1.  ``least`` of a component
    without which e or v is 0 must be above 0.
    """
    best: Point | None = None
    for face in product((False, True), repeat=len(least)):
        if np.any(least[np.array(face)] > 0):
            continue  # a bound for the sake of computing only, with no top of its own
        starts = [np.array(t) for t in product(*((0.0,) if zero else GRID for zero in face))]
        top = max((likelihood(cells, t) for t in starts), key=_value)
        top = _climb(cells, top, least)
        best = top if best is None else max(best, top, key=_value)
    assert best is not None  # the face without a zero is always there
    return best


def _value(point: Point) -> float:
    return point.value


def _climb(cells: Cells, now: Point, least: FloatArray) -> Point:
    for _ in range(MOST_STEPS):
        here = bend(cells, now)
        step = _step(now.components, here, least)
        if step is None:
            return now
        length = float(np.max(np.abs(step) / np.maximum(now.components, 1e-30)))
        if length == 0:
            return replace(now, converged=True)
        share = 1.0
        for _ in range(60):
            moved = np.maximum(now.components + share * step, least)
            found = likelihood(cells, moved)
            promise = max(float(here.slope @ (moved - now.components)), 0.0)
            # At the top rounding hides the rise; a step that small is not judged by it.
            if length < 1e-6 or found.value >= now.value + PROMISED * promise:
                break
            share /= 2
        else:
            return now
        now = found
        if length < SETTLED:
            return replace(now, converged=True)
    return now


def _step(now: FloatArray, here: Bend, least: FloatArray) -> FloatArray | None:
    """Newton's step of the components that are free to move, else that of scoring.

    None where rounding has left nothing of the information.
    """
    at_least = now <= least
    free = ~at_least | (here.slope > 0)
    step = np.zeros(len(least))
    while free.any():
        if not np.all(np.diag(here.expected)[free] > 1e-300):
            return None
        for matrix in (here.observed, here.expected):
            part = matrix[np.ix_(free, free)]
            scale = np.sqrt(np.diag(here.expected)[free])
            unit = part / np.outer(scale, scale)
            if matrix is here.expected or np.linalg.eigvalsh(unit)[0] > 1e-8:
                break
        step[:] = 0.0
        step[free] = np.linalg.lstsq(unit, here.slope[free] / scale, rcond=1e-14)[0] / scale
        blocked = free & at_least & (step < 0)
        if not blocked.any():
            break
        free &= ~blocked
        step[:] = 0.0
    return step
