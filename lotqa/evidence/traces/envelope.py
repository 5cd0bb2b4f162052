"""Smallest, largest and mean diameter of a trace in a bounded number of columns, for drawing.

Columns are equally wide.  When the trace outgrows COLUMNS of them, neighbours are merged in pairs
and the width doubles, so that memory does not grow with the trace, no extreme is ever lost, and
at least half of the columns are in use.  Columns without rows (gaps) hold NaN.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.model import FloatArray

COLUMNS = 2048  # more than the pixels of any strip on a page
FIRST_WIDTH_M = 2.0**-10  # about a millimetre


@dataclass(frozen=True, slots=True, eq=False)
class Strand:
    """The filament as it is drawn; arrays (columns,)."""

    from_m: float  # where the first column begins
    width_m: float  # of a column
    low_mm: FloatArray  # narrowest axis
    high_mm: FloatArray  # widest axis
    mean_mm: FloatArray  # of the axes, over the rows

    def __len__(self) -> int:
        return len(self.low_mm)

    @property
    def middle_m(self) -> FloatArray:
        """Middle of each column."""
        return np.asarray(self.from_m + (np.arange(len(self)) + 0.5) * self.width_m)

    def coarser(self, most: int) -> "Strand":
        """The same in at most ``most`` columns; no extreme is lost."""
        each = -(-len(self) // most) if len(self) else 1
        if each == 1:
            return self
        pad = -len(self) % each
        low, high, mean = (
            np.concatenate((x, np.full(pad, np.nan))).reshape(-1, each)
            for x in (self.low_mm, self.high_mm, self.mean_mm)
        )
        known = np.isfinite(low)
        empty = ~known.any(axis=1)
        n = np.maximum(known.sum(axis=1), 1)
        return Strand(
            self.from_m,
            self.width_m * each,
            np.where(empty, np.nan, np.where(known, low, np.inf).min(axis=1)),
            np.where(empty, np.nan, np.where(known, high, -np.inf).max(axis=1)),
            np.where(empty, np.nan, np.where(known, mean, 0.0).sum(axis=1) / n),
        )


class Envelope:
    """Gathers rows at rising positions into at most ``columns`` columns."""

    def __init__(self, columns: int = COLUMNS) -> None:
        self._columns = columns
        self._width_m = FIRST_WIDTH_M
        self._first: int | None = None  # number of the first column, counted from position 0
        self._low = np.full(columns, np.inf)
        self._high = np.full(columns, -np.inf)
        self._sum = np.zeros(columns)
        self._n = np.zeros(columns)

    def add(
        self, position_m: FloatArray, mean_mm: FloatArray, high_mm: FloatArray, low_mm: FloatArray
    ) -> None:
        """Rows (n,), n > 0, at or beyond the position of those already added."""
        if self._first is None:
            self._first = int(np.floor(position_m[0] / self._width_m))
        while int(np.floor(position_m[-1] / self._width_m)) - self._first >= self._columns:
            self._merge()
        column = np.floor(position_m / self._width_m).astype(np.int64) - self._first
        np.maximum(column, 0, out=column)
        starts = np.concatenate(([0], np.flatnonzero(np.diff(column)) + 1))
        at = column[starts]
        self._low[at] = np.minimum(self._low[at], np.minimum.reduceat(low_mm, starts))
        self._high[at] = np.maximum(self._high[at], np.maximum.reduceat(high_mm, starts))
        self._sum[at] += np.add.reduceat(mean_mm, starts)
        self._n[at] += np.diff(np.append(starts, len(column)))

    def finish(self) -> Strand:
        """The columns from the first to the last that has rows."""
        used = int(np.flatnonzero(self._n)[-1]) + 1 if self._n.any() else 0
        n = self._n[:used]
        empty = n == 0
        mean = np.divide(self._sum[:used], n, out=np.full(used, np.nan), where=~empty)
        return Strand(
            (self._first or 0) * self._width_m,
            self._width_m,
            np.where(empty, np.nan, self._low[:used]),
            np.where(empty, np.nan, self._high[:used]),
            mean,
        )

    def _merge(self) -> None:
        """Twice as wide columns; one that begins at an odd number joins the one before it."""
        assert self._first is not None
        odd = self._first % 2
        for values, empty, join in (
            (self._low, np.inf, np.minimum),
            (self._high, -np.inf, np.maximum),
            (self._sum, 0.0, np.add),
            (self._n, 0.0, np.add),
        ):
            padded = np.concatenate((np.full(odd, empty), values, np.full(2 - odd, empty)))
            half = join(padded[0::2], padded[1::2])
            values[:] = empty
            values[: min(len(half), len(values))] = half[: len(values)]
        self._first //= 2
        self._width_m *= 2
