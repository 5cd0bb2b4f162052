"""Mean diameter and ovality of each row's section from two or three axes.

The axes see m + a cos(2 theta) + b sin(2 theta).  Three or more give m, a, b by least squares and
show 2 sqrt(a**2 + b**2); two a gap apart show |d1 - d2|; with random phase the mean square is

    E[shown**2] = gain * ovality**2 + noise              gain and method as in evidence/ovality.py

Noise is not supposed to be independent between the axes: filament that moves in the gauge makes
one axis read more when the other reads less, which cancels in the mean and doubles in the
difference.  It is taken from what is shown itself: with g(h) half the mean square of its change
over h rows, the part that is new in every row is 2 g(1) - g(2), the change of the section being
slow [1]_.  Never less than 0; nothing is removed where rows are few.

.. [1] Nugget of the variogram, continued linearly to 0: Cressie, Statistics for Spatial Data
   (1993), 2.4.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence.ovality import place_ovality
from lotqa.model import FloatArray

EVEN_DEG = {1: (0.0,), 2: (0.0, 90.0), 3: (0.0, 60.0, 120.0)}
MIN_ROWS = 100  # fewer do not tell noise from change of the section


@dataclass(frozen=True, slots=True, eq=False)
class Axes:
    """How the axes of a gauge combine: weights for the mean, and for what shows ovality."""

    directions_deg: tuple[float, ...]
    mean: FloatArray  # (a,)
    parts: FloatArray  # (2, a) or (1, a): combinations whose squares add up to shown**2
    gain: float


def axes_of(n_axes: int, directions_deg: tuple[float, ...] | None) -> Axes:
    """Weights for ``n_axes``; without directions two stand 90 degrees apart, three 60.

    Raises ValueError where the number of directions is not that of the axes.
    """
    angles = directions_deg if directions_deg is not None else EVEN_DEG.get(n_axes, ())
    if len(angles) != n_axes:
        raise ValueError(
            f"{n_axes} axes need {n_axes} directions, got {len(angles)}: give each one"
        )
    theta = 2 * np.deg2rad(np.asarray(angles))
    even = np.full(n_axes, 1.0 / n_axes)
    one = place_ovality(
        np.zeros(n_axes, dtype=np.int64), np.asarray(angles, dtype=np.float64), np.zeros(n_axes)
    )
    distinct = int(one.n_directions[0])
    if distinct < 2:
        return Axes(tuple(angles), even, np.zeros((0, n_axes)), float("nan"))
    if distinct == 2:
        first = np.abs(np.angle(np.exp(1j * (theta - theta[0])))) < 1e-6
        sides = (first / first.sum(), ~first / (~first).sum())
        return Axes(
            tuple(angles), 0.5 * (sides[0] + sides[1]), (sides[0] - sides[1])[None], one.gain[0]
        )
    solve = np.linalg.pinv(np.stack([np.ones(n_axes), np.cos(theta), np.sin(theta)], axis=1))
    return Axes(tuple(angles), solve[0], 2 * solve[1:], float(one.gain[0]))


def combined(weights: FloatArray, axes_mm: FloatArray) -> FloatArray:
    """Sum of weights (a,) times rows (a, n); plain sums, since a linear algebra library threads."""
    total = weights[0] * axes_mm[0]
    for weight, axis in zip(weights[1:], axes_mm[1:], strict=True):
        total += weight * axis
    return np.asarray(total)


class Shown:
    """What the axes show of ovality, and how much of it is new in every row."""

    def __init__(self, axes: Axes) -> None:
        self._axes = axes
        self._squares = np.zeros(2)  # of changes over one row and over two
        self._counts = np.zeros(2)
        self.largest_mm = 0.0

    def squares_mm2(self, axes_mm: FloatArray) -> FloatArray:
        """shown**2 of rows (a, n) that follow each other; (n,), zeros where one axis only."""
        total = np.zeros(axes_mm.shape[1])
        for weights in self._axes.parts:
            part = combined(weights, axes_mm)
            for i, lag in enumerate((1, 2)):
                change = part[lag:] - part[:-lag]
                change *= change
                self._squares[i] += float(change.sum())
            part *= part
            total += part
        for i, lag in enumerate((1, 2)):
            self._counts[i] += max(axes_mm.shape[1] - lag, 0)
        self.largest_mm = max(self.largest_mm, float(np.sqrt(total.max())))
        return total

    def noise_mm2(self) -> float:
        """Mean square of what is new in every row."""
        if self._counts[1] < MIN_ROWS:
            return 0.0
        g1, g2 = self._squares / self._counts / 2
        return float(np.clip(2 * g1 - g2, 0.0, g1))
