"""The worst stretch of a trace: by flow error, and by spread.

Stretches of each length slide along a section in steps of a hundredth of the shortest, over cells
of that length (a row each where rows stand wider), so a stretch is exact to the cell.  Across
blocks the sums go on; a stretch never crosses the border of a section, and lies wholly inside it:
at least FULL of its length carries rows.  The flow error is that of the mean square, as for the
spool.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence.traces.cells import Cells, LengthCells, appended, part_of
from lotqa.model import FloatArray, IntArray

CELLS_A_STRETCH = 100  # of the shortest
FULL = 0.95
MIN_ROWS = 5  # fewer show no spread


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of a trace."""

    length_m: float
    position_m: float  # where it begins
    mean_mm: float
    sd_mm: float
    flow_error_pct: float


@dataclass(frozen=True, slots=True)
class WorstStretches:
    """The worst stretches of one length; None where no section is as long."""

    length_m: float
    by_flow: Stretch | None
    by_spread: Stretch | None


class Stretches:
    """Finds the worst stretches of several lengths; ``add`` block by block."""

    def __init__(self, lengths_m: tuple[float, ...], nominal_mm: float, set_mm: float) -> None:
        self._lengths_m = tuple(sorted(lengths_m))
        self._width_m = self._lengths_m[0] / CELLS_A_STRETCH
        self._nominal_mm, self._set_mm = nominal_mm, set_mm
        self._gather = LengthCells(self._width_m)
        self._tail: Cells | None = None
        self._worst: dict[tuple[float, str], tuple[float, Stretch]] = {}

    def add(self, position_m: FloatArray, sums: FloatArray, *, closes: bool) -> None:
        """Rows of a block: ``sums`` (3, n) of weight, weight * y, weight * y**2, y off nominal."""
        none = sums[:0]
        self._slide(self._gather.add(position_m, sums, none, none))
        if closes:
            last = self._gather.close()
            if last is not None:
                self._slide(last)
            self._tail = None

    def _slide(self, fresh: Cells) -> None:
        if not len(fresh):
            return
        cells = fresh if self._tail is None else appended(self._tail, fresh)
        new = len(cells) - len(fresh)
        zero = np.zeros((4, 1))
        running = np.cumsum(np.concatenate((cells.sums, cells.n_rows[None])), axis=1)
        running = np.concatenate((zero, running), axis=1)
        ends = np.arange(new, len(cells))
        is_unbroken = int(cells.number[-1] - cells.number[0]) == len(cells) - 1
        for length in self._lengths_m:
            span = round(length / self._width_m)
            # A stretch ends with a cell that has rows; those are the ones that can be worst.
            if is_unbroken and new >= span - 1:
                begin = new - span + 1
                sums = running[:, new + 1 :] - running[:, begin : begin + len(ends)]
            else:
                starts = np.searchsorted(cells.number, cells.number[ends] - span + 1)
                sums = running[:, ends + 1] - running[:, starts]
            weight, wy, wyy, rows = sums
            whole = (weight >= FULL * length) & (rows >= MIN_ROWS)
            if whole.any():
                at = np.flatnonzero(whole)
                first = cells.number[ends[at]] - span + 1
                self._meet(length, first, wy[at] / weight[at], wyy[at] / weight[at])
        reach = round(self._lengths_m[-1] / self._width_m)
        kept = int(np.searchsorted(cells.number, cells.number[-1] - reach + 1))
        self._tail = part_of(cells, slice(kept, None))

    def _meet(self, length: float, first: IntArray, mean: FloatArray, square: FloatArray) -> None:
        variance = np.maximum(square - mean**2, 0.0)
        nominal, set_mm = self._nominal_mm, self._set_mm
        error = 100 * ((nominal**2 + 2 * nominal * mean + square) / set_mm**2 - 1)
        for kind, size in (("flow", np.abs(error)), ("spread", variance)):
            at = int(np.argmax(size))
            key = (length, kind)
            if key not in self._worst or size[at] > self._worst[key][0]:
                stretch = Stretch(
                    length_m=length,
                    position_m=float(first[at] * self._width_m),
                    mean_mm=float(nominal + mean[at]),
                    sd_mm=float(np.sqrt(variance[at])),
                    flow_error_pct=float(error[at]),
                )
                self._worst[key] = (float(size[at]), stretch)

    def finish(self) -> tuple[WorstStretches, ...]:
        """The worst of each length, shortest first."""

        def worst(length: float, kind: str) -> Stretch | None:
            found = self._worst.get((length, kind))
            return None if found is None else found[1]

        return tuple(
            WorstStretches(m, worst(m, "flow"), worst(m, "spread")) for m in self._lengths_m
        )
