"""Rows gathered into cells of equal length along the filament, block after block.

Cell i holds the rows from i to i + 1 widths.  Sums are added, largest and smallest values kept.
The last cell of a block may go on in the next: it is held back until a row beyond it, or the end
of the section, closes it.  Cells without rows are left out, so that wide steps make one row a cell.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.model import FloatArray, IntArray

SNAP = 1e-6  # of a width: 0.03 m is the third cell of 10 mm, whatever its binary digits


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Closed cells in order; arrays (c,) or (k, c)."""

    number: IntArray
    n_rows: IntArray
    sums: FloatArray
    highs: FloatArray
    lows: FloatArray

    def __len__(self) -> int:
        return len(self.number)


class LengthCells:
    """Gathers rows of one section after the other into cells ``width_m`` long."""

    def __init__(self, width_m: float) -> None:
        self._width_m = width_m
        self._open: Cells | None = None

    def add(
        self, position_m: FloatArray, sums: FloatArray, highs: FloatArray, lows: FloatArray
    ) -> Cells:
        """Cells closed by rows at ``position_m`` (n,), n > 0; the rows' values are (k, n)."""
        cell = np.floor(position_m / self._width_m + SNAP).astype(np.int64)
        starts = np.concatenate(([0], np.flatnonzero(cell[1:] != cell[:-1]) + 1))
        if len(starts) == len(cell):  # a row a cell: nothing to gather
            count = np.ones(len(cell), dtype=np.int64)
            found = Cells(cell, count, sums.copy(), highs.copy(), lows.copy())
        else:
            found = Cells(
                number=cell[starts],
                n_rows=np.diff(np.append(starts, len(cell))),
                sums=np.add.reduceat(sums, starts, axis=1),
                highs=np.maximum.reduceat(highs, starts, axis=1),
                lows=np.minimum.reduceat(lows, starts, axis=1),
            )
        if self._open is not None:
            found = _joined(self._open, found)
        self._open = part_of(found, slice(-1, None))
        return part_of(found, slice(0, -1))

    def close(self) -> Cells | None:
        """The cell held back, at the end of a section; None where there is none."""
        last, self._open = self._open, None
        return last


def part_of(cells: Cells, which: slice) -> Cells:
    """Some of the cells, as a view."""
    return Cells(
        cells.number[which],
        cells.n_rows[which],
        cells.sums[:, which],
        cells.highs[:, which],
        cells.lows[:, which],
    )


def copied(cells: Cells) -> Cells:
    """The same in memory of their own."""
    return Cells(
        cells.number.copy(),
        cells.n_rows.copy(),
        cells.sums.copy(),
        cells.highs.copy(),
        cells.lows.copy(),
    )


def _joined(held: Cells, found: Cells) -> Cells:
    """``found`` with the held cell before it, or in its first cell where both are one."""
    if held.number[0] != found.number[0]:
        return appended(held, found)
    found.n_rows[0] += held.n_rows[0]
    found.sums[:, 0] += held.sums[:, 0]
    found.highs[:, 0] = np.maximum(found.highs[:, 0], held.highs[:, 0])
    found.lows[:, 0] = np.minimum(found.lows[:, 0], held.lows[:, 0])
    return found


def appended(first: Cells, second: Cells) -> Cells:
    """Both, one behind the other."""
    return Cells(
        np.concatenate((first.number, second.number)),
        np.concatenate((first.n_rows, second.n_rows)),
        np.concatenate((first.sums, second.sums), axis=1),
        np.concatenate((first.highs, second.highs), axis=1),
        np.concatenate((first.lows, second.lows), axis=1),
    )
