"""Rows of a log cut into blocks of constant size, whatever the size of the chunks they came in.

Everything after this sees the same blocks, so the evidence does not depend on how the log was cut
when it was read, to the last bit.  Blocks never cross the border of a section.  A block carries up
to HALO rows of its neighbours on each side.  Each row stands for half the way to the row before
and half the way to the row after; the outer rows of a section for a whole step.  Where a section's
length falls back behind what was passed, it is laid behind it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lotqa.model import FloatArray, TraceChunk

HALO = 2  # rows of the neighbours that a block carries on each side
LEAST_WEIGHT_M = 1e-9  # rows logged at one length still count where there is nothing else


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Consecutive rows of one section, with ``before`` and ``after`` rows of its neighbours."""

    position_m: FloatArray  # (before + n + after,)
    axes_mm: FloatArray  # (axes, before + n + after), as read
    before: int
    after: int
    opens: bool  # first block of its section
    closes: bool  # last block of its section

    def __len__(self) -> int:
        return len(self.position_m) - self.before - self.after

    @property
    def own(self) -> slice:
        """The block's own rows among those it carries."""
        return slice(self.before, self.before + len(self))

    def weight_m(self) -> FloatArray:
        """Metres that each own row stands for; (n,)."""
        x = self.position_m
        if len(x) == 1:
            return np.full(1, LEAST_WEIGHT_M)
        bounds = np.empty(len(x) + 1)
        bounds[1:-1] = 0.5 * (x[1:] + x[:-1])
        bounds[0] = 1.5 * x[0] - 0.5 * x[1]
        bounds[-1] = 1.5 * x[-1] - 0.5 * x[-2]
        return np.maximum(np.diff(bounds)[self.own], LEAST_WEIGHT_M)


class Blocks:
    """Turns chunks into blocks; ``add`` yields those that are full, ``close`` the last one."""

    def __init__(self, block_rows: int) -> None:
        self._size = block_rows
        self._rest: FloatArray | None = None  # (1 + axes, rows): what is not handed on, with halo
        self._halo = 0
        self._shift_m = 0.0
        self._last_m: float | None = None

    def add(self, chunk: TraceChunk) -> Iterator[Block]:
        """Blocks that ``chunk`` fills."""
        if not len(chunk):
            return
        if chunk.new_section:
            yield from self.close()
        first = float(chunk.length_m[0])
        if self._last_m is not None and first + self._shift_m < self._last_m:
            self._shift_m = self._last_m - first
        n_rest = 0 if self._rest is None else self._rest.shape[1]
        rows = np.empty((1 + chunk.diameter_mm.shape[1], n_rest + len(chunk)))
        if self._rest is not None:
            rows[:, :n_rest] = self._rest
        np.add(chunk.length_m, self._shift_m, out=rows[0, n_rest:])
        rows[1:, n_rest:] = chunk.diameter_mm.T
        self._last_m = float(rows[0, -1])
        while rows.shape[1] - self._halo >= self._size + HALO:
            end = self._halo + self._size
            yield self._block(rows[:, : end + HALO], after=HALO)
            before = min(HALO, end)
            rows = rows[:, end - before :]
            self._halo = before
        self._rest = rows.copy()  # a view would keep the whole chunk

    def close(self) -> Iterator[Block]:
        """The rest of the section, at most a block and the halo, as one block."""
        if self._rest is not None:
            yield self._block(self._rest, after=0)
        self._rest, self._halo = None, 0

    def _block(self, rows: FloatArray, after: int) -> Block:
        return Block(
            position_m=rows[0],
            axes_mm=rows[1:],
            before=self._halo,
            after=after,
            opens=self._halo == 0,
            closes=after == 0,
        )
