"""Events along a trace, found while it streams by: lumps, necks, splices, spikes.

Rows are gathered into cells of 1 mm (one row each where they stand wider) and searched in segments
of SEGMENT cells with REACH cells of their neighbours on each side, so that an event astride a
border is met whole and told once, by the segment that holds its peak.  Segments end with their
section; its ends are continued by the median of the last cells.  A lump shorter than the spacing of
the rows may stand between two of them: no search can find what was not read.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from lotqa.evidence.traces.bumps import REACH, Bump, find_bumps
from lotqa.evidence.traces.cells import Cells, LengthCells, appended, copied, part_of
from lotqa.evidence.traces.settings import TraceSettings
from lotqa.evidence.traces.splices import LONGEST, Splice, find_edges, paired, staying
from lotqa.model import FloatArray, IntArray

EventKind = Literal["lump", "neck", "splice", "spike"]
CELL_M = 0.001  # a lump of 5 mm is five cells
SEGMENT = 32_768  # cells
SIDE_M = 0.5  # of the levels beside a splice
END_CELLS = 16  # whose median continues a section beyond its ends
MIN_CELLS = 8  # a shorter section shows no events
LEVELLED = 2  # cells beside a bump that are levelled with it, and a third of its own: a slow flank


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens at one place of a trace."""

    kind: EventKind
    position_m: float  # middle of it
    length_m: float  # above half its height; of a splice, within which it steps; 0 for a spike
    peak_mm: float  # greatest deviation from the filament beside it; a splice: new level less old
    diameter_mm: float  # widest axis of a lump, narrowest of a neck; level after a splice
    stops: bool  # too thick for the feed path, or so thin that the drive slips
    n_rows: int  # of the log; a lump of one row stands on the word of that row alone


class Events:
    """Finds the events of a trace; ``add`` block by block."""

    def __init__(self, settings: TraceSettings) -> None:
        self._settings = settings
        self._gather = LengthCells(CELL_M)
        self._cells: Cells | None = None  # not searched yet, with REACH cells before
        self._searched = 0  # cells at the front that are only there as neighbours
        self._last_splice_m = -np.inf
        self.found: list[Event] = []
        self.counts: dict[EventKind, int] = {"lump": 0, "neck": 0, "splice": 0, "spike": 0}

    def spikes(self, position_m: FloatArray, height_mm: FloatArray, read_mm: FloatArray) -> None:
        """Tell rows that were taken for the sensor's."""
        for position, height, read in zip(position_m, height_mm, read_mm, strict=True):
            self._tell(Event("spike", float(position), 0.0, float(height), float(read), False, 1))

    def add(
        self,
        position_m: FloatArray,
        mean_mm: FloatArray,
        widest_mm: FloatArray,
        narrowest_mm: FloatArray,
        *,
        closes: bool,
    ) -> None:
        """Rows (n,) of a block of one section."""
        nominal = self._settings.nominal_mm
        sums = np.stack((mean_mm - nominal, position_m))
        self._keep(self._gather.add(position_m, sums, widest_mm[None], narrowest_mm[None]))
        if closes:
            last = self._gather.close()
            if last is not None:
                self._keep(last)
        if self._cells is not None and self._ripe():
            while self._ripe():
                self._search(self._searched + SEGMENT, closes=False)
            self._cells = copied(self._cells)  # a view would keep what was searched
        if closes and self._cells is not None:
            if len(self._cells) >= MIN_CELLS:
                self._search(len(self._cells), closes=True)
            self._cells, self._searched = None, 0

    def _keep(self, cells: Cells) -> None:
        if len(cells):
            self._cells = cells if self._cells is None else appended(self._cells, cells)

    def _ripe(self) -> bool:
        # The last segment of a section has at least SEGMENT / 2 cells, for the sake of its scale.
        assert self._cells is not None
        return len(self._cells) - self._searched >= SEGMENT + SEGMENT // 2 + REACH

    def _search(self, end: int, *, closes: bool) -> None:
        """Search the cells from those searched to ``end``; pass over those not needed any more."""
        cells = self._cells
        assert cells is not None
        inner = slice(self._searched, end)
        stop = len(cells) if closes else end + REACH
        mean = cells.sums[0, :stop] / cells.n_rows[:stop]
        pad_left, pad_right = REACH - inner.start, REACH - (stop - end)
        ends = [
            np.full(pad, np.median(side) if pad else 0.0)
            for pad, side in ((pad_left, mean[:END_CELLS]), (pad_right, mean[-END_CELLS:]))
        ]
        x = np.concatenate((ends[0], mean, ends[1]))
        window = slice(REACH, REACH + end - inner.start)
        real = slice(pad_left, pad_left + stop)
        self._tell_all(x, window, real, cells, pad_left)
        if not closes:
            kept = max(end - REACH, 0)
            self._cells = part_of(cells, slice(kept, None))
            self._searched = end - kept

    def _tell_all(self, x: FloatArray, inner: slice, real: slice, cells: Cells, pad: int) -> None:
        settings = self._settings
        where = np.asarray(cells.sums[1] / cells.n_rows)
        bumps, edges = find_bumps(x, inner, settings.least_bump_mm, settings.least_splice_mm)
        level = x
        splices: list[Splice] = []
        if edges:
            level = _levelled(x, bumps)
            wide = slice(inner.start - LONGEST, inner.stop + LONGEST)
            found = find_edges(level, wide, settings.least_splice_mm)
            more = paired(level, found, settings.least_bump_mm)
            if more:
                bumps += [b for b in more if inner.start <= b.peak < inner.stop]
                level = _levelled(level, more)
                found = find_edges(level, wide, settings.least_splice_mm)
            spacing = float(np.ptp(where)) / max(len(where) - 1, 1)
            side = int(np.clip(SIDE_M / max(spacing, CELL_M), MIN_CELLS, REACH))
            splices = staying(level, found, real, side, settings.least_splice_mm)
            splices = [s for s in splices if inner.start <= s.after < inner.stop]
        for bump in bumps:
            self._tell(self._bump(_inside(bump, real), cells, where, pad))
        for splice in splices:
            event = self._splice(splice, cells, where, pad)
            # One at the border of two segments may be met by both.
            if event.position_m - self._last_splice_m > SIDE_M:
                self._last_splice_m = event.position_m
                self._tell(event)

    def _bump(self, bump: Bump, cells: Cells, where: FloatArray, pad: int) -> Event:
        first, last = bump.first - pad, bump.last - pad
        begin, end = _bounds(where, first, last)
        limits = self._settings
        lump = bump.height_mm > 0
        if lump:
            diameter = float(cells.highs[0, first : last + 1].max())
            stops = diameter >= limits.thick_reject_mm
        else:
            diameter = float(cells.lows[0, first : last + 1].min())
            stops = diameter <= limits.thin_reject_mm
        return Event(
            kind="lump" if lump else "neck",
            position_m=0.5 * (begin + end),
            length_m=end - begin,
            peak_mm=bump.height_mm,
            diameter_mm=diameter,
            stops=stops,
            n_rows=int(cells.n_rows[first : last + 1].sum()),
        )

    def _splice(self, splice: Splice, cells: Cells, where: FloatArray, pad: int) -> Event:
        before, after = splice.before - pad, splice.after - pad
        level = splice.level_mm + self._settings.nominal_mm
        limits = self._settings
        return Event(
            kind="splice",
            position_m=float(0.5 * (where[before] + where[after])),
            length_m=float(where[after] - where[before]),
            peak_mm=splice.step_mm,
            diameter_mm=level,
            stops=not limits.thin_reject_mm < level < limits.thick_reject_mm,
            n_rows=int(cells.n_rows[before : after + 1].sum()),
        )

    def _tell(self, event: Event) -> None:
        self.counts[event.kind] += 1
        if len(self.found) < self._settings.events_max:
            self.found.append(event)


def _levelled(x: FloatArray, bumps: list[Bump]) -> FloatArray:
    """``x`` with straight lines in the place of bumps, which would hide or feign splices."""
    level = x.copy()
    for bump in bumps:
        beside = LEVELLED + (bump.last - bump.first) // 3
        first = max(bump.first - beside, 1)
        last = min(bump.last + 1 + beside, len(x) - 1)
        ends = (x[first - 1], x[last])
        level[first:last] = np.interp(np.arange(first, last), (first - 1, last), ends)
    return level


def _inside(bump: Bump, real: slice) -> Bump:
    """The bump without what lies beyond the ends of its section."""
    first, last = max(bump.first, real.start), min(bump.last, real.stop - 1)
    return Bump(first, last, bump.peak, bump.height_mm, bump.base_mm)


def _bounds(where: FloatArray | IntArray, first: int, last: int) -> tuple[float, float]:
    """Where cells ``first`` to ``last`` begin and end: half way to their neighbours."""
    before, after = max(first - 1, 0), min(last + 1, len(where) - 1)
    begin = 0.5 * (where[first] + where[before])
    end = 0.5 * (where[last] + where[after])
    return float(begin), float(end)
