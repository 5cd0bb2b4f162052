"""Diameters that cannot be right are left out: slips of the decimal point, inches, zeros."""

from collections.abc import Callable, Sequence

import numpy as np

from lotqa.intake.slips import MM_PER_INCH, NEAR_STOCK, STOCK_MM, off_nominal_message, range_message
from lotqa.intake.traces.blocks import Block
from lotqa.intake.traces.head import FIRMWARE, Form, cells_of
from lotqa.intake.traces.lines import text_of
from lotqa.intake.traces.options import TraceOptions
from lotqa.intake.traces.problems import ProblemLog, Told
from lotqa.intake.traces.rows import Rows
from lotqa.model import BoolArray, FloatArray

_LOST = "the length is beyond all numbers: the row is left out"


def in_range(rows: Rows, block: Block, form: Form, options: TraceOptions, log: ProblemLog) -> Rows:
    """The rows whose diameters are all plausible; the others are told, by the first bad axis."""
    limits, nominal_mm = options.limits, options.nominal_mm
    stock_mm = STOCK_MM if nominal_mm is None else (nominal_mm,)
    kept = np.isfinite(rows.along_m)
    said = np.ones(len(rows), dtype=bool)
    lines: list[bytes] = []
    for axis, column in enumerate(form.columns.diameters):
        values = rows.diameter_mm[:, axis]
        outside = ~((values >= limits.lowest_mm) & (values <= limits.highest_mm))
        if not (outside.any() or nominal_mm is not None):
            continue
        inches = outside & _is_near(values * MM_PER_INCH, stock_mm)
        kinds = [("inches", inches), ("range", outside & ~inches)]
        if nominal_mm is not None:
            off = np.abs(values / nominal_mm - 1.0) > limits.max_off_nominal
            kinds.append(("nominal", off & ~outside))
        for kind, wrong in kinds:
            which = np.flatnonzero(wrong & said)
            if not len(which):
                continue
            said[which] = kept[which] = False
            lines = lines or block.data.split(b"\n")
            name = form.columns.names[column]
            say = _sayer(rows.take(which), axis, lines, block, form, nominal_mm, kind)
            log.add_rows(kind, name, rows.line[which], rows.index[which], say)
    lost = ~kept & said  # a length beyond all numbers, after its factor
    say_lost = Told(None, _LOST, ("", f" rows, the first: {_LOST}"))
    log.add_rows("length_lost", None, rows.line[lost], rows.index[lost], lambda _: say_lost)
    return rows if kept.all() else rows.take(kept)


def _is_near(values_mm: FloatArray, stock_mm: Sequence[float]) -> BoolArray:
    """Which values are close to a stock size, as :func:`lotqa.intake.slips.is_near` says."""
    near = np.zeros(len(values_mm), dtype=bool)
    for nominal_mm in stock_mm:
        near |= np.abs(values_mm / nominal_mm - 1.0) <= NEAR_STOCK
    return near


def _sayer(
    bad: Rows,
    axis: int,
    lines: list[bytes],
    block: Block,
    form: Form,
    nominal_mm: float | None,
    kind: str,
) -> Callable[[int], Told]:
    in_inches = form.columns.diameter_factors[axis] == MM_PER_INCH
    stock_mm = STOCK_MM if nominal_mm is None else (nominal_mm,)
    name = form.columns.names[form.columns.diameters[axis]]

    def say(i: int) -> Told:
        line = lines[int(bad.line[i]) - block.first_line]
        if form.is_firmware:
            found = FIRMWARE.search(line)
            typed = text_of(found["value"]) if found else ""
        else:
            typed = cells_of(text_of(line), form.separator)[form.columns.diameters[axis]].strip()
        value_mm = float(bad.diameter_mm[i, axis])
        if kind != "nominal":
            message = range_message(name, typed, value_mm, in_inches=in_inches, stock_mm=stock_mm)
        else:
            message = off_nominal_message(name, typed, nominal_mm or 0.0)
        return Told(typed, message, ("", f" rows are left out, the first: {message}"))

    return say
