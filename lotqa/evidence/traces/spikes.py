"""Single rows that are the sensor's and not the filament's.

A row is a spike when it stands out of both its neighbours to one side by more than ``least_mm``
and OUT times the usual jump from row to row, while two rows on each side agree with each other,
and either the rows stand so close that a lump of 5 mm would meet two of them, or nothing printed
could be that far out.  The usual jump is the median of the block, so that few spikes do not raise
it.  A spike is replaced by the middle of its neighbours.  At wider spacing a single row may be a
lump: it is left for the search for lumps.
"""

import numpy as np

from lotqa.evidence.traces.blocks import Block
from lotqa.model import FloatArray, IntArray

OUT = 8.0  # usual jumps, as standard deviations of a normal
AGREE = 0.15  # of the height: the flank of a real lump would show that much in the next row
JUMP_TO_SD = 1.4826  # median of |normal| is 0.6745 standard deviations
SAMPLES = 4096  # of a block, for the median: exact enough, and cheap


def without_spikes(
    block: Block, least_mm: float, spacing_m: float, implausible_mm: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """(axes (a, n) of the own rows with spikes replaced, spike rows (s,), heights (s,)).

    A row that is a spike on several axes is told once, with the height of the largest.
    """
    own = block.own
    cleaned = block.axes_mm[:, own]
    height = np.zeros(len(block))
    if block.axes_mm.shape[1] < 3:
        return cleaned, np.empty(0, dtype=np.int64), np.empty(0)
    for axis, x in enumerate(block.axes_mm):
        found, out = _spikes(x, block, least_mm, spacing_m, implausible_mm)
        if not len(found):
            continue
        if np.shares_memory(cleaned, block.axes_mm):
            cleaned = cleaned.copy()
        cleaned[axis, found - own.start] = 0.5 * (x[found - 1] + x[found + 1])
        larger = np.abs(out) > np.abs(height[found - own.start])
        height[found[larger] - own.start] = out[larger]
    rows = np.flatnonzero(height)
    return cleaned, rows, height[rows]


def _spikes(
    x: FloatArray, block: Block, least_mm: float, spacing_m: float, implausible_mm: float
) -> tuple[IntArray, FloatArray]:
    """Rows of ``x`` (with halo) that are spikes among the own rows, and their heights."""
    jump = np.diff(x)
    usual = JUMP_TO_SD * float(np.median(np.abs(jump[:: max(1, len(jump) // SAMPLES)])))
    least = max(least_mm, OUT * usual)
    if max(float(jump.max()), -float(jump.min())) <= least:
        return np.empty(0, dtype=np.int64), np.empty(0)  # nearly all blocks
    rise, fall = jump[:-1], jump[1:]
    # Same sign twice would be a slope: up then down is a peak, down then up a dip.
    up = np.minimum(rise, -fall)
    down = np.minimum(-rise, fall)
    out = np.maximum(up, down)
    at = np.flatnonzero(out > least) + 1
    at = at[(at >= block.own.start) & (at < block.own.stop)]
    if not len(at):
        return at, np.empty(0)
    size = out[at - 1]
    last = len(x) - 1
    near = np.maximum(AGREE * size, 3.0 * usual)
    left, right = x[at - 1], x[at + 1]
    agree = np.abs(right - left) <= 2.0 * near
    agree &= np.abs(left - x[np.maximum(at - 2, 0)]) <= near
    agree &= np.abs(right - x[np.minimum(at + 2, last)]) <= near
    spacing = 0.5 * (block.position_m[at + 1] - block.position_m[at - 1])
    sensor = agree & ((spacing <= spacing_m * (1 + 1e-6)) | (size >= implausible_mm))
    at, size = at[sensor], size[sensor]
    return at, np.where(up[at - 1] > down[at - 1], size, -size)
