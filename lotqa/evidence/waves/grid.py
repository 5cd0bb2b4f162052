"""Rows of a log, as they come, on an even grid of length.

Rows denser than the grid are averaged in bins of one step, both length and diameter, and the grid
is read off between the bin means; sparser rows are read off directly.  Single wild values, a lump
or a misread, are drawn in to CLIP robust standard deviations of their block, since one spike lifts
the whole spectrum [1]_; a wave never reaches so far (a sine goes to 0.95 of them).  Nothing is
read across a gap.  The grid does not depend on how the rows are cut into chunks, save for the
step, which is the median step of the first rows.

.. [1] Percival & Walden, Spectral Analysis for Physical Applications (1993), 1.3 (outliers as
   broadband power); robust scale 1.4826 MAD: Hampel, J. Amer. Statist. Assoc. 69 (1974) 383.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from lotqa.model import FloatArray

FINEST_STEP_M = 0.00125  # waves below a few of these the melt averages (common practice, no source)
BLOCK = 512  # grid points that share one clip limit
CLIP = 5.0  # robust standard deviations
MAD_TO_SD = 1.4826
LOOK = 4.0  # plain standard deviations; a block within them has no single wild value
GAP_STEPS = 16  # a wider jump of the length is a gap even if nobody said so
FIRST_ROWS = 256  # that the step is taken from
ROWS_PER_STEP = 1.5  # more of them are averaged


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Consecutive grid values; ``ends`` tells that the section is over after them."""

    values: FloatArray
    ends: bool


@dataclass(slots=True, eq=False)
class Grid:
    """Turns rows into pieces of an even grid; keeps no more than a block."""

    step_m: float | None = None
    _early: list[tuple[FloatArray, FloatArray, bool]] = field(default_factory=list)
    _n_early: int = 0
    _averages: bool = False
    _bin: int = 0
    _sums: tuple[float, float, int] = (0.0, 0.0, 0)  # of length, diameter, rows in the open bin
    _last: tuple[float, float] | None = None  # the point that the grid has been read up to
    _last_length: float = np.nan
    _origin: float = 0.0
    _next: int = 0  # number of the next grid point
    _block: FloatArray = field(default_factory=lambda: np.empty(0))

    def add(self, length_m: FloatArray, x: FloatArray, new_section: bool) -> list[Piece]:
        """Pieces that rows ``length_m`` (n,), rising, and ``x`` (n,) complete."""
        if len(x) == 0:
            return []
        if self.step_m is None:
            self._early.append((length_m, x, new_section))
            self._n_early += len(x)
            return self._start() if self._n_early >= FIRST_ROWS else []
        return self._rows(length_m, x, new_section)

    def finish(self) -> list[Piece]:
        """The pieces that were still held back."""
        found = self._start() if self.step_m is None and self._early else []
        return [*found, *self._end()]

    def _start(self) -> list[Piece]:
        steps = np.concatenate([np.diff(length) for length, _, _ in self._early])
        steps = steps[steps > 0]
        if len(steps) == 0:
            # A log that stands still has no length to put a wave on: one row of it is enough.
            length_m, x, new_section = self._early[0]
            self._early, self._n_early = [(length_m[:1], x[:1], new_section)], 1
            return []
        median = float(np.median(steps))
        self.step_m = max(median, FINEST_STEP_M)
        self._averages = self.step_m > ROWS_PER_STEP * median
        early, self._early = self._early, []
        return [piece for rows in early for piece in self._rows(*rows)]

    def _rows(self, length_m: FloatArray, x: FloatArray, new_section: bool) -> list[Piece]:
        assert self.step_m is not None
        jump = np.diff(length_m, prepend=self._last_length)
        cuts = np.flatnonzero(jump > GAP_STEPS * self.step_m)
        if new_section and (len(cuts) == 0 or cuts[0] != 0):
            cuts = np.concatenate([[0], cuts])
        edges = [0, *cuts.tolist(), len(x)]
        found: list[Piece] = []
        for i, (begin, end) in enumerate(pairwise(edges)):
            if i:
                found += self._end()
            if begin < end:
                found += self._within(length_m[begin:end], x[begin:end])
        self._last_length = float(length_m[-1])
        return found

    def _within(self, length_m: FloatArray, x: FloatArray) -> list[Piece]:
        if self._last is None and self._sums[2] == 0:
            self._origin, self._next, self._bin = float(length_m[0]), 0, 0
        if self._averages:
            length_m, x = self._bin_means(length_m, x)
        return self._read_off(length_m, x)

    def _bin_means(self, length_m: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Means of the bins that are full; the open one is carried on."""
        assert self.step_m is not None
        number = ((length_m - self._origin) / self.step_m).astype(np.int64)
        starts = np.concatenate([[0], np.flatnonzero(number[1:] != number[:-1]) + 1])
        counts = np.diff(starts, append=len(x)).astype(np.float64)
        sums, sums_x = np.add.reduceat(length_m, starts), np.add.reduceat(x, starts)
        before, before_x, before_n = self._sums
        if before_n and number[0] == self._bin:
            sums[0] += before
            sums_x[0] += before_x
            counts[0] += before_n
        elif before_n:
            sums = np.concatenate([[before], sums])
            sums_x = np.concatenate([[before_x], sums_x])
            counts = np.concatenate([[before_n], counts])
        self._bin = int(number[-1])
        self._sums = (float(sums[-1]), float(sums_x[-1]), int(counts[-1]))
        return sums[:-1] / counts[:-1], sums_x[:-1] / counts[:-1]

    def _read_off(self, length_m: FloatArray, x: FloatArray) -> list[Piece]:
        if self._last is not None:
            length_m = np.concatenate([[self._last[0]], length_m])
            x = np.concatenate([[self._last[1]], x])
        moves = np.diff(length_m) > 0
        if not moves.all():
            kept = np.concatenate([[True], moves])
            length_m, x = length_m[kept], x[kept]
        if len(x) == 0:
            return []
        assert self.step_m is not None
        self._last = (float(length_m[-1]), float(x[-1]))
        end = int(np.floor((length_m[-1] - self._origin) / self.step_m)) + 1
        if end <= self._next:
            return []
        where = self._origin + self.step_m * np.arange(self._next, end)
        self._next = end
        # The first bin mean lies a little beyond the origin; there the grid repeats it.
        values = np.concatenate([self._block, np.interp(where, length_m, x)])
        n_full = len(values) // BLOCK * BLOCK
        self._block = values[n_full:]
        return [Piece(_clipped(values[:n_full]), False)] if n_full else []

    def _end(self) -> list[Piece]:
        found: list[Piece] = []
        length, x, n = self._sums
        if n:
            found += self._read_off(np.array([length / n]), np.array([x / n]))
        found.append(Piece(_clipped(self._block), True))
        self._sums, self._last, self._block = (0.0, 0.0, 0), None, np.empty(0)
        return found


def _clipped(values: FloatArray) -> FloatArray:
    """``values`` with the wild ones of each block drawn in; a last short block counts as one."""
    if len(values) < BLOCK:
        return _clip(values[None, :])[0] if len(values) else values
    return _clip(values.reshape(-1, BLOCK)).reshape(-1)


def _clip(blocks: FloatArray) -> FloatArray:
    """``blocks`` (k, n) clipped; medians are taken only where a value passes LOOK."""
    mean, sd = blocks.mean(axis=1), blocks.std(axis=1)
    furthest = np.maximum(blocks.max(axis=1) - mean, mean - blocks.min(axis=1))
    looked_at = furthest > LOOK * sd
    if looked_at.any():
        blocks = blocks.copy()
        blocks[looked_at] = _clip_to_median(blocks[looked_at])
    return blocks


def _clip_to_median(blocks: FloatArray) -> FloatArray:
    centre = np.median(blocks, axis=1, keepdims=True)
    mad = np.median(np.abs(blocks - centre), axis=1, keepdims=True)
    # Where more than half the values are alike (a coarse step) nothing can be called wild.
    reach = np.where(mad > 0, CLIP * MAD_TO_SD * mad, np.inf)
    clipped: FloatArray = np.clip(blocks, centre - reach, centre + reach)
    return clipped
