"""What many dependent rows are worth: uncertainty of a mean from means over long stretches.

Neighbouring rows repeat each other, so the mean of n rows is known far worse than s / sqrt(n).  The
trace is cut into a batches; their means hardly depend on each other once a batch is much longer
than the dependence.  With u_j = sum over batch j of weight * (value - mean) and W all weight

    V_a = a / (a - 1) * sum u_j**2 / W**2                                 [1]_
    V = max(V_a, 2 V_a - V_2a)        removes the first-order bias of too short batches   [2]_

A batch count is taken from COUNTS, the first whose u_j do not follow their neighbours by more than
one standard error, 1/sqrt(a); Student with a - 1 degrees of freedom.  Where even the last count
does, the trace is too short for its own dependence, or drifts: ``settled`` is False.
n_effective = variance / V, never more than the rows; V itself may be less than s**2 / n, as rows
that swing about their mean tell more of it than their number.

The spread: the same for (value - mean)**2, limits on the logarithm, which the skewness asks for.

Kept are at most CELLS cells of equally many rows; when they are full, pairs are merged.

.. [1] Flegal & Jones, Annals of Statistics 38 (2010) 1034, batch means; Schmeiser, Operations
   Research 30 (1982) 556, for few batches and Student's factor.
.. [2] Vats & Flegal, Biometrika 109 (2022) 735, lugsail with r = 2, c = 1/2 (from memory).
"""

from dataclasses import dataclass

import numpy as np

from lotqa.model import FloatArray

CELLS = 4096
COUNTS = (32, 16, 8)  # more would be too short for strong dependence, fewer tell hardly anything
SUMS = 5  # weight, weight * y, weight * y**2, weight * shown**2, weight * position


@dataclass(frozen=True, slots=True)
class Worth:
    """Uncertainty of a mean of dependent rows."""

    u: float  # standard uncertainty; infinite where nothing can be told
    df: float
    settled: bool


class Batches:
    """Cells of equally many rows over the whole trace, sections laid end to end."""

    def __init__(self) -> None:
        self._sums = np.zeros((SUMS, CELLS))
        self._rows_a_cell = 1
        self._n = 0

    def add(self, sums: FloatArray) -> None:
        """``sums`` (SUMS, n) of consecutive rows."""
        n = sums.shape[1]
        while (self._n + n - 1) // self._rows_a_cell >= CELLS:
            self._sums[:, : CELLS // 2] = self._sums[:, 0::2] + self._sums[:, 1::2]
            self._sums[:, CELLS // 2 :] = 0.0
            self._rows_a_cell *= 2
        first = self._n // self._rows_a_cell
        last = (self._n + n - 1) // self._rows_a_cell
        starts = np.arange(first, last + 1) * self._rows_a_cell - self._n
        starts[0] = 0
        self._sums[:, first : last + 1] += np.add.reduceat(sums, starts, axis=1)
        self._n += n

    def cells(self) -> FloatArray:
        """(SUMS, cells) so far."""
        return self._sums[:, : -(-self._n // self._rows_a_cell)]


def worth(deviation: FloatArray, weight: FloatArray) -> Worth:
    """Uncertainty of a weighted mean from what cells deviate from it.

    ``deviation`` (c,) is the sum of weight * (value - mean) in each cell, ``weight`` (c,).
    """
    total = float(weight.sum())
    cells = len(deviation)
    counts = [a for a in COUNTS if cells >= 2 * a] or [cells // 2]
    found = Worth(float("inf"), 0.0, settled=False)
    for a in counts:
        if a < 2:
            break
        u = _in_batches(deviation, a)
        square = float(np.sum(u**2))
        if square == 0.0:
            return Worth(0.0, a - 1.0, settled=True)
        v_a = a / (a - 1) * square
        v_2a = 2 * a / (2 * a - 1) * float(np.sum(_in_batches(deviation, 2 * a) ** 2))
        follow = float(np.sum(u[1:] * u[:-1])) / square
        alone = bool(follow <= 1 / np.sqrt(a))
        u_mean = np.sqrt(max(v_a, 2 * v_a - v_2a)) / total
        found = Worth(float(u_mean), a - 1.0, settled=alone and a in COUNTS)
        if alone:
            break
    return found


def _in_batches(cells: FloatArray, n_batches: int) -> FloatArray:
    """Sums of nearly equal numbers of neighbouring cells."""
    bounds = np.round(np.linspace(0, len(cells), n_batches + 1)).astype(np.int64)
    return np.asarray(np.add.reduceat(cells, bounds[:-1]))
