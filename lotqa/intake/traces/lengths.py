"""Where each row of a log lies on the filament, when its length column is not to be trusted.

Logged lengths restart, run backwards, jump and are garbled.  A restart begins a section and lengths
go on from the last; rows that run backwards read metres that were read already and are left out
until the log is past them; a jump forward is a gap and begins a section; a length that is off for
a row or two is a slip and left out.  The last rows are held back until what follows is known.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from lotqa.intake.traces.options import TraceLimits
from lotqa.intake.traces.problems import ProblemLog, Told, told
from lotqa.intake.traces.rows import Rows, no_rows
from lotqa.intake.traces.usual import Usual
from lotqa.model import BoolArray, FloatArray


@dataclass(slots=True)
class Lengths:
    """Feed rows in order; get rows whose ``along_m`` never falls, and which of them start anew."""

    name: str  # of the length column
    unit_m: float  # of a logged unit, to tell lengths as they are logged
    usual: Usual
    limits: TraceLimits
    log: ProblemLog
    n_axes: int
    start_m: float = 0.0  # the length logged in the first row
    _held: Rows = field(init=False)
    _seen: bool = False
    _last_m: float = 0.0  # logged in the last row that is no slip
    _highest_m: float = 0.0  # logged in this section
    _begin_m: float = 0.0  # logged where this section began
    _offset_m: float = 0.0
    _place_m: float = 0.0  # of the last row handed on

    def __post_init__(self) -> None:
        self._held = no_rows(self.n_axes)

    @property
    def n_held(self) -> int:
        """Rows that wait for what follows."""
        return len(self._held)

    def feed(self, rows: Rows, *, is_last: bool = False) -> tuple[Rows, BoolArray]:
        """Rows with metres from the start of the log, and True where a restart begins."""
        rows = self._held.then(rows)
        raw_m = rows.along_m * self.usual.sign
        n = len(rows) if is_last else max(len(rows) - self.limits.slip_rows, 0)
        if not n:
            self._held = rows
            return no_rows(self.n_axes), np.zeros(0, dtype=bool)
        if not self._seen:
            self._seen = True
            self.start_m = float(rows.along_m[0])
            self._last_m = self._highest_m = self._begin_m = float(raw_m[0])
            self._offset_m = -float(raw_m[0])
        step_m = np.diff(raw_m[:n], prepend=self._last_m)
        gap_m = self.usual.gap_m
        if step_m.min() >= 0.0 and step_m.max() <= gap_m and self._last_m >= self._highest_m:
            self._held = rows.take(slice(n, None))
            self._last_m = self._highest_m = float(raw_m[n - 1])
            done = rows.take(slice(0, n))
            moved = Rows(done.line, done.index, raw_m[:n] + self._offset_m, done.diameter_mm)
            self._place_m = float(moved.along_m[-1])
            return moved, np.zeros(n, dtype=bool)
        slip, n = self._slips(raw_m, step_m, n)
        self._held = rows.take(slice(n, None))
        done = rows.take(slice(0, n))
        self._tell_slips(done, slip)
        return self._placed(done.take(~slip), raw_m[:n][~slip])

    def _slips(self, raw_m: FloatArray, step_m: FloatArray, n: int) -> tuple[BoolArray, int]:
        """Rows whose length is off while the log goes on behind them where it was before."""
        gap_m = self.usual.gap_m
        slip = np.zeros(len(raw_m), dtype=bool)
        next_free = 0
        for j in np.flatnonzero(np.abs(step_m) > gap_m).tolist():
            if j < next_free:
                continue
            before_m = raw_m[j - 1] if j else self._last_m
            for k in range(1, self.limits.slip_rows + 1):
                if j + k < len(raw_m) and 0.0 <= raw_m[j + k] - before_m <= gap_m:
                    slip[j : j + k] = True
                    next_free = j + k + 1
                    n = max(n, j + k)
                    break
        return slip[:n], n

    def _tell_slips(self, done: Rows, slip: BoolArray) -> None:
        bad = done.take(slip)

        def say(i: int) -> Told:
            typed = self._logged(bad.along_m[i])
            return told(
                typed, f"{self.name} is {typed}, far from the rows around it: the row is left out"
            )

        self.log.add_rows("length_slip", self.name, bad.line, bad.index, say)

    def _placed(self, done: Rows, raw_m: FloatArray) -> tuple[Rows, BoolArray]:
        """Rows on the filament; those that run backwards are left out."""
        n = len(done)
        starts = self._restarts(raw_m)
        bounds = [0, *starts, n] if not starts or starts[0] else [*starts, n]
        keep = np.zeros(n, dtype=bool)
        is_new = np.zeros(n, dtype=bool)
        place_m = np.empty(n)
        is_start = set(starts)
        for first, last in pairwise(bounds):
            if first in is_start:
                self._tell_restart(done, first, float(raw_m[first]))
                is_new[first] = True
            part = raw_m[first:last]
            top_m = np.maximum.accumulate(np.maximum(part, self._highest_m))
            keep[first:last] = part >= top_m
            place_m[first:last] = part + self._offset_m
            if last > first:
                self._highest_m = float(top_m[-1])
        if n:
            self._last_m = float(raw_m[-1])
        back = done.take(~keep)

        def say(i: int) -> Told:
            typed = self._logged(back.along_m[i])
            what = f"{self.name} runs back to {typed}: "
            return Told(
                typed,
                what + "these metres were read before, the row is left out",
                (
                    "",
                    f" rows, the first: {what}these metres were read before, the rows are left out",
                ),
            )

        self.log.add_rows("backwards", self.name, back.line, back.index, say)
        kept = done.take(keep)
        self._tell_gaps(kept, place_m[keep], is_new[keep])
        moved = Rows(kept.line, kept.index, place_m[keep], kept.diameter_mm)
        return moved, is_new[keep]

    def _restarts(self, raw_m: FloatArray) -> list[int]:
        """Rows at which the log begins anew."""
        step_m = np.diff(raw_m, prepend=self._last_m)
        least_m = self.limits.restart_steps * self.usual.long_step_m
        found: list[int] = []
        begin_m = self._begin_m
        for j in np.flatnonzero(step_m < -least_m).tolist():
            if step_m[j] < -self.usual.gap_m or raw_m[j] <= begin_m:
                begin_m = float(raw_m[j])
                found.append(j)
        self._begin_m = begin_m
        return found

    def _tell_restart(self, done: Rows, row: int, raw_m: float) -> None:
        place_m = self._highest_m + self._offset_m
        old, new = self._logged(self.usual.sign * self._highest_m), self._logged(done.along_m[row])
        message = (
            f"{self.name} falls from {old} to {new}: the log starts anew here, lengths go on from "
            f"{place_m:.6g} m and nothing is compared across"
        )
        self._tell_one("restart", done, row, told(new, message))
        self._offset_m = place_m + self.usual.step_m - raw_m
        self._highest_m = raw_m

    def _tell_gaps(self, kept: Rows, place_m: FloatArray, is_new: BoolArray) -> None:
        step_m = np.diff(place_m, prepend=self._place_m)
        for j in np.flatnonzero((step_m > self.usual.gap_m) & ~is_new).tolist():
            message = (
                f"{step_m[j]:.4g} m of filament have no row before this line, from "
                f"{place_m[j] - step_m[j]:.6g} to {place_m[j]:.6g} m: nothing is compared across"
            )
            self._tell_one("gap", kept, j, told(self._logged(kept.along_m[j]), message))
        if len(place_m):
            self._place_m = float(place_m[-1])

    def _tell_one(self, kind: str, rows: Rows, row: int, say: Told) -> None:
        # Two gaps in neighbouring rows are two facts: each row gets a number of its own.
        line, index = int(rows.line[row]), 2 * int(rows.index[row])
        self.log.add(kind, self.name, line, index, say, used=True)

    def _logged(self, along_m: float) -> str:
        """A length in the unit of the log."""
        return f"{along_m / self.unit_m:.10g}"
