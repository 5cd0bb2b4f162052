"""Edges in a series of cells, and what they make: splices, and lumps with sharp ends.

Between the means of m cells on either side of a gap of g cells the difference must exceed
``least_mm`` and OUT of its own robust scales (one edge has no second one to agree with, so more
than a bump needs).  Two edges of opposite sign and like size, not further apart than LONGEST cells,
are the ends of one lump or neck, which may be longer than the waves beside it.  An edge after which
the level stays is a splice: the medians of half a metre on either side differ by ``least_mm``, and
those of the nearest cells by at least STAYS of that, to the same side.  Waves and slow noise raise
the scale at lengths where they move, and leave the short ones, where only a joint steps.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence.traces.bumps import Bump, best_of_runs, running_sum, scale_of
from lotqa.model import FloatArray

# (m, gap) above: at once where rows stand wide, then with a transition
SIDES = (
    *((1, 0), (2, 0), (1, 1), (2, 1), (3, 1), (4, 1), (6, 1), (8, 1), (12, 1), (16, 2), (24, 3)),
    *((32, 4), (48, 6), (64, 8), (96, 12), (128, 16)),
)
OUT = 5.8
STAYS = 0.6
MIN_SIDE = 8  # cells of one level on each side
LONGEST = 256  # cells between two edges of one lump
TRIED = 1  # cells: where an edge does not stay, those of other lengths do not either
LIKE = 0.6  # the smaller of two edges over the larger


@dataclass(frozen=True, slots=True)
class Edge:
    """A difference between neighbouring stretches of cells."""

    excess: float  # over what it needs
    at: int  # first cell after the left stretch
    size: int
    gap: int
    step_mm: float


@dataclass(frozen=True, slots=True)
class Splice:
    """A step of the mean between two cells of the series it was found in."""

    before: int  # last cell of the old level
    after: int  # first cell of the new one
    step_mm: float
    level_mm: float  # after


def find_edges(x: FloatArray, inner: slice, least_mm: float) -> list[Edge]:
    """Edges within ``inner``, strongest first; those of one joint at several m are all listed."""
    running = running_sum(x - np.median(x[inner]))
    n = len(x)
    found: list[Edge] = []
    for size, gap in SIDES:
        ahead = (running[size:] - running[:-size]) / size  # mean of the cells from i
        step = ahead[size + gap :] - ahead[: n - 2 * size - gap + 1]
        # step[j]: from the cells before j + size to those from j + size + gap
        own = step[inner.start - size : inner.stop - size]
        if max(float(own.max()), -float(own.min())) < least_mm:
            continue
        need = max(least_mm, OUT * scale_of(own))
        out = np.abs(own) / need
        if out.max() >= 1.0:
            found += [
                Edge(float(out[b]), int(b) + inner.start, size, gap, float(own[b]))
                for b in best_of_runs(out)
            ]
    return sorted(found, key=lambda e: (-e.excess, e.at, e.size))


def paired(x: FloatArray, edges: list[Edge], least_mm: float) -> list[Bump]:
    """Lumps and necks between two edges of opposite sign and like size."""
    distinct: list[Edge] = []
    claimed = np.zeros(len(x), dtype=bool)
    for edge in edges:
        reach = edge.size + edge.gap
        if not claimed[max(edge.at - reach, 0) : edge.at + reach + 1].any():
            claimed[edge.at] = True
            distinct.append(edge)
    distinct.sort(key=lambda e: e.at)
    found: list[Bump] = []
    i = 0
    while i + 1 < len(distinct):
        up, down = distinct[i], distinct[i + 1]
        i += 1
        first, last = up.at + up.gap, down.at - 1
        if up.step_mm * down.step_mm >= 0 or not first <= last < first + LONGEST:
            continue
        small, large = sorted((abs(up.step_mm), abs(down.step_mm)))
        left = x[max(up.at - MIN_SIDE, 0) : up.at]
        right = x[down.at + down.gap : down.at + down.gap + MIN_SIDE]
        base = 0.5 * (float(np.median(left)) + float(np.median(right)))
        sign = 1.0 if up.step_mm > 0 else -1.0
        out = sign * (x[first : last + 1] - base)
        if small < LIKE * large or float(np.median(out)) < least_mm:
            continue
        peak = first + int(np.argmax(out))
        found.append(Bump(first, last, peak, sign * float(out.max()), base))
        i += 1  # neither edge is an end of another one
    return found


def staying(
    x: FloatArray, edges: list[Edge], real: slice, side: int, least_mm: float
) -> list[Splice]:
    """The strongest edge within each ``side`` cells after which the level stays.

    Levels are taken over ``side`` cells inside ``real``.
    """
    found: list[Splice] = []
    tried = np.zeros(len(x), dtype=bool)
    for edge in edges:
        if tried[edge.at]:
            continue
        tried[max(edge.at - TRIED, 0) : edge.at + TRIED + 1] = True
        after = edge.at + edge.gap
        left = x[max(edge.at - side, real.start) : edge.at]
        right = x[after : min(after + side, real.stop)]
        if min(len(left), len(right)) < MIN_SIDE:
            continue
        level = float(np.median(right))
        step = level - float(np.median(left))
        sharp = float(np.mean(right[:MIN_SIDE])) - float(np.mean(left[-MIN_SIDE:]))
        # Both near and far: neither a lump's flank nor a slope is a joint.
        if abs(step) < least_mm or sharp * step <= 0 or abs(sharp) < STAYS * abs(step):
            continue
        found.append(Splice(edge.at - 1, after, step, level))
        tried[max(edge.at - side, 0) : edge.at + side + 1] = True
    return sorted(found, key=lambda s: s.before)
