"""Rows that a sensor or an encoder repeats because it hangs, and the cut of a trace into chunks.

A value that stays exactly the same for far longer than is usual in the log is no reading: its first
row is kept and the others are left out.  A length that stands still means that the machine stood
and read one place again and again.  The last rows are held back until it is known whether their
value sticks, never more than ``stuck_rows_most``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from lotqa.intake.traces.problems import ProblemLog, Told
from lotqa.intake.traces.rows import Rows, no_rows
from lotqa.intake.traces.usual import Usual
from lotqa.model import BoolArray, FloatArray, IntArray, TraceChunk

CHUNK_ROWS = 250_000
FIRST_LOOK = 64  # rows, for the end of a run


@dataclass(slots=True)
class _Series:
    """The run of one column that goes on at the first row held."""

    least_rows: int  # that count as stuck
    value: float = float("nan")
    n_before: int = 0  # rows of that run that were handed on or left out already


@dataclass(slots=True)
class Sticking:
    """Feed placed rows in order; get chunks of rows that are readings."""

    names: tuple[str, ...]  # of the length column, then of each axis
    usual: Usual
    log: ProblemLog
    n_axes: int
    n_used: int = 0
    _held: Rows = field(init=False)
    _held_new: BoolArray = field(init=False)
    _series: list[_Series] = field(init=False)
    _is_new_due: bool = False  # a section starts, and its first row was left out
    _place_m: float = 0.0

    def __post_init__(self) -> None:
        self._held = no_rows(self.n_axes)
        self._held_new = np.zeros(0, dtype=bool)
        self._series = [_Series(n) for n in self.usual.stuck_rows]

    @property
    def n_held(self) -> int:
        """Rows that wait for what follows."""
        return len(self._held)

    def feed(self, rows: Rows, is_new: BoolArray, *, is_last: bool = False) -> Iterator[TraceChunk]:
        """Chunks of all rows that are decided."""
        rows = self._held.then(rows)
        is_new = np.concatenate([self._held_new, is_new])
        n = len(rows)
        if not n:
            return
        columns = [rows.along_m, *rows.diameter_mm.T]
        marked: list[BoolArray | None] = []
        ends: list[tuple[_Series, FloatArray, int]] = []
        done = n
        for values, series in zip(columns, self._series, strict=True):
            goes_on = bool(values[0] == series.value)
            ends.append((series, values, series.n_before if goes_on else 0))
            first = _run_ahead(values) + (series.n_before if goes_on else 0)
            if first < series.least_rows and not _may_stick(values, series.least_rows):
                marked.append(None)
                if not is_last:
                    done = min(done, n - _run_behind(values))
                continue
            starts = np.concatenate([[0], np.flatnonzero(values[1:] != values[:-1]) + 1])
            counts = np.diff(starts, append=n)
            if goes_on:
                counts[0] += series.n_before
            sticks = counts >= series.least_rows
            if not is_last and not sticks[-1]:
                done = min(done, int(starts[-1]))
            marked.append(_repeats(starts, sticks, n, goes_on) if sticks.any() else None)
        for series, values, n_before in ends:
            _advance(series, values, done, n_before)
        self._held, self._held_new = rows.take(slice(done, None)), is_new[done:]
        kept = self._left(rows, [None if m is None else m[:done] for m in marked], done)
        yield from self._chunks(rows, kept, is_new[:done])

    def _left(self, rows: Rows, marked: list[BoolArray | None], done: int) -> BoolArray:
        """Which of the first rows stay; the others are told, the standing length first."""
        kept = np.ones(done, dtype=bool)
        for k, (name, repeats) in enumerate(zip(self.names, marked, strict=True)):
            if repeats is None:
                continue
            bad = rows.take(np.flatnonzero(repeats & kept))
            kept &= ~repeats

            def say(i: int, bad: Rows = bad, name: str = name, k: int = k) -> Told:
                return _stands(bad.along_m[i]) if k == 0 else _sticks(name, bad, i, k - 1)

            kind = "standstill" if k == 0 else "stuck"
            self.log.add_rows(kind, name, bad.line, bad.index, say)
        return kept

    def _chunks(self, rows: Rows, kept: BoolArray, is_new: BoolArray) -> Iterator[TraceChunk]:
        """Decided rows cut where a section starts, and where a chunk is full."""
        if not kept.any():
            self._is_new_due |= bool(is_new.any())
            return
        is_whole = bool(kept.all())
        which = slice(0, len(kept)) if is_whole else np.flatnonzero(kept)
        place_m = rows.along_m[which]
        step_m = np.diff(place_m, prepend=self._place_m if self.n_used else place_m[0])
        begins = step_m > self.usual.gap_m
        if self._is_new_due or is_new.any():
            section = np.cumsum(is_new)
            begins |= np.diff(section[which], prepend=-int(self._is_new_due)) > 0
            self._is_new_due = bool(section[-1] > section[kept][-1])
        begins[0] &= self.n_used > 0
        self._place_m = float(place_m[-1])
        diameter_mm = rows.diameter_mm[which]
        starts = np.flatnonzero(begins).tolist()
        bounds = [0, *(s for s in starts if s), len(place_m)]
        for first, last in pairwise(bounds):
            for at in range(first, last, CHUNK_ROWS):
                part = slice(at, min(at + CHUNK_ROWS, last))
                chunk = TraceChunk(
                    place_m[part],
                    diameter_mm[part],
                    self.n_used,
                    new_section=at == first and bool(begins[first]),
                )
                self.n_used += len(chunk)
                yield chunk


def _repeats(starts: IntArray, sticks: BoolArray, n: int, goes_on: bool) -> BoolArray:
    """Rows of runs that stick, but for the first of each run."""
    marks = np.repeat(sticks, np.diff(starts, append=n))
    first = starts[1:] if goes_on else starts
    marks[first] = False
    return np.asarray(marks, dtype=bool)


def _advance(series: _Series, values: FloatArray, done: int, n_before: int) -> None:
    """Remember the run that goes on at row ``done``."""
    if not done:
        return
    n_run = _run_behind(values[:done])
    series.value = float(values[done - 1])
    series.n_before = n_run if n_run < done else done + n_before


def _may_stick(values: FloatArray, least_rows: int) -> bool:
    """Whether ``least_rows`` >= 2 neighbours may be alike; few looks nearly always tell that not.

    So many alike hold two looks, ``apart`` rows from each other, and what lies between them.
    """
    apart = max(least_rows // 2, 1)
    looks = values[::apart]
    alike = np.flatnonzero(looks[1:] == looks[:-1]) * apart
    for between in (1, apart // 2, apart // 4, 3 * apart // 4):
        alike = alike[values[alike + between] == values[alike]]
    return bool(len(alike))


def _run_ahead(values: FloatArray) -> int:
    """Rows at the beginning that are alike."""
    return _run_behind(values[::-1])


def _run_behind(values: FloatArray) -> int:
    """Rows at the end that are alike; it looks no further back than it must."""
    n, reach = len(values), FIRST_LOOK
    while True:
        others = np.flatnonzero(values[-reach:] != values[-1])
        if len(others):
            return min(reach, n) - int(others[-1]) - 1
        if reach >= n:
            return n
        reach *= 8


def _stands(place_m: float) -> Told:
    what = f"the length stands still at {place_m:.6g} m"
    after = " rows after the first: the machine stood? They are left out"
    return Told(None, f"{what}: the row is left out", (f"{what} for ", after))


def _sticks(name: str, bad: Rows, i: int, axis: int) -> Told:
    value = f"{bad.diameter_mm[i, axis]:.6g}"
    what = f"{name} sticks at {value} mm"
    after = " rows after the first: no filament is that even, look at the sensor; they are left out"
    return Told(value, f"{what}: the row is left out", (f"{what} for ", after))
