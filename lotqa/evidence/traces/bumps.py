"""Lumps and necks in a series of cells: a core that stands out of the filament on both its sides.

For cores of m cells from 1 to 192, with c the mean of the core and l, r those of flanks of
(m + 1) / 2 cells, a gap off on the left and on the right,

    lump = min(c - l, c - r)          neck = min(l - c, r - c)

Both sides must agree, so a step is no lump, and chance needs two large differences at once.  Flanks
stand as near as the length of the core allows: filament is most like itself nearby, which takes out
waves and slow noise.  A bump is told where it exceeds ``least_mm`` and OUT scales of c - l in the
same segment, a scale being the median of |c - l|, which few bumps do not move [2]_.  The greatest
excess is taken first; a bump is as long as it stands above half its height.  This is a bank of
matched filters [1]_; what it finds and what it makes up: python -m tests.trace_study.

.. [1] Turin, IRE Trans. Inform. Theory 6 (1960) 311; here with flanks as the local level.
.. [2] Rousseeuw & Croux, JASA 88 (1993) 1273: median absolute deviation, factor 1.4826.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.model import BoolArray, FloatArray, IntArray

# (core, gap, OUT), the first two in cells.  First without a gap, for lumps of a row or two that
# rise at once; then gaps are half the way to the next core; at the end wide ones, for lumps that
# rise slowly.  Fewer long cores than short ones fit into a trace: a smaller OUT keeps chance out.
SHAPES = (
    *((1, 0, 5.0), (2, 0, 4.9), (3, 0, 4.8)),
    *((1, 1, 5.0), (2, 1, 4.9), (3, 1, 4.8), (4, 1, 4.7), (6, 1, 4.6), (8, 2, 4.5), (12, 2, 4.4)),
    *((16, 4, 4.3), (24, 4, 4.3), (32, 8, 4.3), (48, 8, 4.3), (64, 16, 4.3), (96, 16, 4.3)),
    *((128, 32, 4.3), (192, 32, 4.3)),
    *((24, 24, 4.8), (48, 48, 4.8), (96, 96, 4.8)),
)
REACH = 448  # cells that a segment carries of its neighbours; a place looks 320 to a side
STRIDES = 8  # places tried per length of a core
EDGE = 5.0  # scales; below what a splice needs
SAMPLES = 1024  # of a stretch, for its scale
TO_SD = 1.4826
AROUND = 200  # cells to a side that tell what the filament is like
DONE = 2  # cells beyond a bump's ends that belong to it


@dataclass(frozen=True, slots=True)
class Bump:
    """One lump (height above 0) or neck, as cell numbers of the series it was found in."""

    first: int
    last: int
    peak: int
    height_mm: float
    base_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Hit:
    """Best place of one run of places that exceed the threshold."""

    excess: FloatArray
    start: IntArray
    size: int
    gap: int


def running_sum(x: FloatArray) -> FloatArray:
    """Sums before each cell and after the last; (n + 1,)."""
    out = np.zeros(len(x) + 1)
    np.cumsum(x, out=out[1:])
    return out


def scale_of(values: FloatArray) -> float:
    """Robust standard deviation of ``values`` about 0."""
    if not len(values):
        return 0.0
    some = np.abs(values[:: max(1, len(values) // SAMPLES)])
    middle = len(some) // 2
    return TO_SD * float(np.partition(some, middle)[middle])


def best_of_runs(excess: FloatArray) -> IntArray:
    """Index of the largest of each run of values >= 1; the first of equals."""
    at = np.flatnonzero(excess >= 1.0)
    if not len(at):
        return at
    run = np.cumsum(np.concatenate(([0], np.diff(at) > 1)))
    order = np.lexsort((at, -excess[at], run))
    lead = np.concatenate(([True], run[order][1:] != run[order][:-1]))
    return np.asarray(at[order[lead]], dtype=np.int64)


def find_bumps(
    x: FloatArray, inner: slice, least_mm: float, edge_mm: float
) -> tuple[list[Bump], bool]:
    """Bumps whose peak lies in ``inner`` cells of ``x``, and whether there is any edge at all.

    ``x`` carries REACH cells on both sides of ``inner``.  Without an edge, a |c - l| above both
    ``edge_mm`` and EDGE of its scales, nothing steps either.
    """
    running = running_sum(x - np.median(x[inner]))
    n = len(x)
    hits: list[Hit] = []
    edge = False
    for size, gap, out_of in SHAPES:
        flank = (size + 1) // 2
        first, last = flank + gap, n - size - gap - flank  # starts of the core
        stride = max(1, size // STRIDES)

        def mean(shift: int, cells: int, these: slice = slice(first, last, stride)) -> FloatArray:
            begin, end, by = these.start + shift, these.stop + shift, these.step
            sums = running[begin + cells : end + cells : by] - running[begin:end:by]
            sums /= cells
            return np.asarray(sums)

        core = mean(0, size)
        rise = mean(-gap - flank, flank)
        np.subtract(core, rise, out=rise)
        furthest = max(-float(rise.min()), float(rise.max()))
        if furthest < min(least_mm, edge_mm):
            continue  # nearly all segments of good filament: no need to know the scale
        scale = scale_of(rise[(inner.start - first) // stride : (inner.stop - first) // stride])
        need = max(least_mm, out_of * scale)
        edge |= furthest >= max(edge_mm, EDGE * scale)
        if furthest < need:
            continue
        fall = mean(size + gap, flank)
        np.subtract(core, fall, out=fall)
        out = np.maximum(np.minimum(rise, fall), -np.maximum(rise, fall))
        if out.max() < need:
            continue
        out /= need
        best = best_of_runs(out)
        hits.append(Hit(out[best], best * stride + first, size, gap))
    return _taken_in_turn(x, hits, inner, least_mm), edge


def _taken_in_turn(x: FloatArray, hits: list[Hit], inner: slice, least_mm: float) -> list[Bump]:
    """Bumps of the greatest excess first; what overlaps one taken is part of it."""
    if not hits:
        return []
    excess = np.concatenate([h.excess for h in hits])
    start = np.concatenate([h.start for h in hits])
    size = np.concatenate([np.full(len(h.start), h.size) for h in hits])
    gap = np.concatenate([np.full(len(h.start), h.gap) for h in hits])
    taken = np.zeros(len(x), dtype=bool)
    found = []
    for i in np.lexsort((start, -excess)):
        begin, end = int(start[i]), int(start[i] + size[i])
        if taken[begin:end].any():
            continue
        bump = _bump(x, begin, end, int(gap[i]), taken)
        if bump is None:
            continue
        taken[max(bump.first - DONE, 0) : bump.last + 1 + DONE] = True
        taken[begin:end] = True
        if inner.start <= bump.peak < inner.stop and abs(bump.height_mm) >= least_mm:
            found.append(bump)
    return sorted(found, key=lambda b: b.first)


def _bump(x: FloatArray, begin: int, end: int, gap: int, taken: BoolArray) -> Bump | None:
    """The bump whose core is x[begin:end]: level of both flanks, peak, ends at half height.

    None where the core is like the filament around and its flanks are not: between two lumps.
    """
    flank = (end - begin + 1) // 2
    left, right = slice(begin - gap - flank, begin - gap), slice(end + gap, end + gap + flank)
    base = 0.5 * (float(np.mean(x[left])) + float(np.mean(x[right])))
    core = float(np.mean(x[begin:end]))
    around = float(np.median(x[max(begin - AROUND, 0) : end + AROUND]))
    if abs(core - around) < abs(base - around):
        return None
    sign = 1.0 if core > base else -1.0
    low, high = left.stop, right.start  # the peak may lie just beside the core
    out = np.where(
        taken[left.start : right.stop], -np.inf, sign * (x[left.start : right.stop] - base)
    )
    peak = low + int(np.argmax(out[low - left.start : high - left.start]))
    height = float(out[peak - left.start])
    below = out < 0.5 * height
    before = np.flatnonzero(below[: peak - left.start])
    after = np.flatnonzero(below[peak + 1 - left.start :])
    first = left.start + int(before[-1]) + 1 if len(before) else left.start
    last = peak + int(after[0]) if len(after) else right.stop - 1
    return Bump(first, last, peak, sign * height, base)
