"""What is usual in a log, from its beginning: steps of length, and how long a value stands still.

Only what is far beyond the usual is called a gap or a sensor that sticks, since logs differ a
thousandfold in step and display.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.intake.traces.options import TraceLimits
from lotqa.intake.traces.rows import Rows
from lotqa.model import FloatArray

USUAL_SHARE = 95.0  # percent of the steps that are no longer than the usual longest step
RUN_SHARE = 99.0  # percent of the runs of one value that are no longer than the usual longest
FEW_RUNS = 2  # a beginning with one value only says nothing about usual runs


@dataclass(frozen=True, slots=True)
class Usual:
    """Steps and runs; ``runs`` are the least rows that count as stuck, length first."""

    sign: float  # -1: the length counts down
    step_m: float  # a middle step, 0: not known
    long_step_m: float
    gap_m: float  # a longer step is a gap; infinite: not known
    stuck_rows: tuple[int, ...]  # of the length column, then of each axis


def usual_of(rows: Rows, has_along: bool, limits: TraceLimits) -> Usual:
    """What is usual in the first rows of a log."""
    sane = np.isfinite(rows.along_m)
    for column in rows.diameter_mm.T:
        sane &= (column >= limits.lowest_mm) & (column <= limits.highest_mm)
    rows = rows.take(sane)
    steps = np.diff(rows.along_m)
    sign = -1.0 if np.count_nonzero(steps < 0) > 2 * np.count_nonzero(steps > 0) else 1.0
    forward = sign * steps[sign * steps > 0]
    step_m = long_m = 0.0
    gap_m = float("inf")
    if len(forward):
        step_m = float(np.median(forward))
        # Steps beyond the limit are jumps themselves; they do not say what is usual.
        long_m = float(np.percentile(forward[forward <= limits.gap_steps * step_m], USUAL_SHARE))
        gap_m = limits.gap_steps * long_m
    series = [rows.along_m, *rows.diameter_mm.T]
    least = [limits.stuck_rows_least]
    least += [
        limits.stuck_rows_least_coarse if _is_coarse(values, limits) else limits.stuck_rows_least
        for values in series[1:]
    ]
    stuck = [_stuck_rows(v, n, limits) for v, n in zip(series, least, strict=True)]
    if not has_along:
        stuck[0] = limits.stuck_rows_most
    return Usual(sign, step_m, long_m, gap_m, tuple(stuck))


def _is_coarse(values: FloatArray, limits: TraceLimits) -> bool:
    """Whether the display shows no finer steps than hundredths of a millimetre."""
    moves = np.abs(np.diff(values))
    moves = moves[moves > 0]
    step_mm = limits.coarse_display_mm
    if len(moves):
        return bool(moves.min() > 0.9 * step_mm)
    return not len(values) or bool(abs(values[0] / step_mm - round(values[0] / step_mm)) < 1e-6)


def _stuck_rows(values: FloatArray, least: int, limits: TraceLimits) -> int:
    changes = np.flatnonzero(np.diff(values) != 0)
    if len(changes) < FEW_RUNS:
        return least
    longest = float(np.percentile(np.diff(changes), RUN_SHARE))
    wanted = int(np.ceil(limits.stuck_times_usual * longest))
    return min(max(wanted, least), limits.stuck_rows_most)
