"""The readings table of a lot: from cells to arrays, with every row accounted for."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from lotqa.intake.arrange import arrange, by_first_line, by_spool
from lotqa.intake.bulk import BulkGrid, read_bulk
from lotqa.intake.layout import Layout, find_layout
from lotqa.intake.lot_codes import LotColumn, lot_column
from lotqa.intake.places import doubled_rows
from lotqa.intake.refusal import Refused
from lotqa.intake.rows import Block, Reader
from lotqa.intake.screening import (
    FINE,
    NEARLY_ALL,
    OTHER_STOCK,
    OUT_OF_RANGE,
    Screening,
    out_of_range,
    screen,
    share_in_other_unit,
)
from lotqa.intake.slips import (
    MM_PER_INCH,
    STOCK_MM,
    off_nominal_message,
    other_stock_message,
    range_message,
)
from lotqa.intake.table import Grid, typed_cell
from lotqa.model import BoolArray, Problem, Readings


@dataclass(frozen=True, slots=True, eq=False)
class ReadingsTable:
    """Readings, what was odd, and the count of rows: used + reported is read."""

    readings: Readings
    problems: tuple[Problem, ...]
    rows_read: int
    rows_used: int
    lots: LotColumn | None = None  # what a column of lot codes says


def read_readings(
    grid: Grid, name: str, *, unit: str | None = None, nominal_mm: float | None = None
) -> ReadingsTable:
    """Read a table of readings; ``unit`` is what a value without unit is in.

    :raises Refused: the table has no diameter column, no rows, or no row that can be used.
    """
    layout, records, problems = find_layout(grid, unit, name)
    reader = Reader(grid.label, layout)
    block = read_bulk(grid, reader) if isinstance(grid, BulkGrid) else reader.read(records)
    problems += reader.problems
    if reader.n_rows == 0:
        what = "a header and no rows: write the readings under it"
        raise Refused(grid.label, layout.header_line, what, problems)
    if len(block) == 0:
        raise _nothing(grid.label, reader.n_rows, problems)
    _refuse_other_unit(grid, layout, block, problems)
    names, spool = by_first_line(tuple(reader.spools.number), block.spool, block.line)
    operators, operator = by_first_line(tuple(reader.operators.number), block.operator, block.line)
    block = replace(block, spool=spool, operator=operator)
    screening = screen(block, len(names), nominal_mm)
    alive = (screening.reason == FINE) & ~np.isnan(block.diameter_mm)
    problems += _screened(grid, layout, block, screening, alive, names)
    if not alive.any():
        raise _nothing(grid.label, reader.n_rows, problems, screening)
    block, alive = by_spool(block, alive)
    doubled = doubled_rows(block, is_wide=layout.is_wide)
    if doubled.any():
        problems += _doubled(grid, layout, block, doubled & alive.any(axis=1))
        alive &= ~doubled[:, None]
    rows: BoolArray = np.any(alive, axis=1)
    if not rows.all():
        block, alive = block.take(rows), alive[rows]
    readings, notes = arrange(grid, layout, block, alive, names, operators)
    problems += notes
    n_used = len(np.unique(readings.line)) if layout.is_wide else len(readings)
    problems.sort(key=lambda p: p.line or 0)
    lots = None
    if layout.lot is not None and isinstance(grid, BulkGrid):
        header = layout.headers[layout.lot]
        what = f'column "{header}" is not read in a table of this size: one folder holds one lot'
        problems.insert(0, Problem(grid.label, layout.header_line, header, None, what))
    elif layout.lot is not None:
        rows_of_data = (r for r in grid.records() if r[0] > layout.header_line)
        lots = lot_column(layout.headers[layout.lot], layout.lot, rows_of_data)
    return ReadingsTable(readings, tuple(problems), reader.n_rows, n_used, lots)


def _nothing(
    label: str, n_rows: int, problems: list[Problem], screening: Screening | None = None
) -> Refused:
    """The refusal when no row is left; it shows the first complaint."""
    problems.sort(key=lambda p: p.line or 0)
    what = f"none of the {n_rows} rows can be used" if n_rows > 1 else "the only row cannot be used"
    if screening is not None and np.isfinite(screening.stock_mm).all():
        what = (
            f"all spools read about {screening.stock_mm[0]:g} mm and the nominal diameter "
            f"is given as {screening.nominal_mm:g} mm: correct nominal_mm, or check the calliper"
        )
        return Refused(label, None, what, problems)
    first = next(p for p in problems if not p.row_used)
    return Refused(label, first.line, f"{what}: {first.message}", problems)


def _refuse_other_unit(grid: Grid, layout: Layout, block: Block, problems: list[Problem]) -> None:
    """Refuse a table that is in the other unit as a whole: that is a setting, not a slip."""
    in_inches = np.array(layout.factor_mm) == MM_PER_INCH
    if share_in_other_unit(block, in_inches) < NEARLY_ALL:
        return
    row, column = np.argwhere(out_of_range(block.diameter_mm))[0]
    typed = typed_cell(grid, block.line[row], layout.diameters[column])
    header = layout.headers[layout.diameters[column]]
    line = int(block.line[row])
    value_mm = block.diameter_mm[row, column]
    if in_inches[column]:
        what = (
            f"{header} is {typed} and read as inches, so are nearly all: "
            "these look like millimetres: leave out --unit in, or name the column diameter_mm"
        )
    else:
        what = (
            f"{header} is {typed}, nearly all readings are like it: "
            f"these look like inches ({typed} in is {value_mm * MM_PER_INCH:.2f} mm): "
            "give --unit in, or name the column diameter_in"
        )
    raise Refused(grid.label, line, what, problems)


def _screened(
    grid: Grid,
    layout: Layout,
    block: Block,
    screening: Screening,
    alive: BoolArray,
    names: tuple[str, ...],
) -> Iterator[Problem]:
    """One problem for each reading that was screened out."""
    stock_mm = (screening.nominal_mm, *STOCK_MM)
    for row, column in np.argwhere(screening.reason != FINE):
        line, index = int(block.line[row]), layout.diameters[column]
        header, typed = layout.headers[index], typed_cell(grid, line, index)
        reason = screening.reason[row, column]
        spool = block.spool[row]
        if reason == OUT_OF_RANGE:
            message = range_message(
                header,
                typed,
                float(block.diameter_mm[row, column]),
                in_inches=layout.factor_mm[column] == MM_PER_INCH,
                stock_mm=stock_mm,
            )
        elif reason == OTHER_STOCK:
            other_mm = float(screening.stock_mm[spool])
            message = other_stock_message(names[spool], other_mm, screening.nominal_mm)
        else:
            message = off_nominal_message(header, typed, screening.nominal_mm)
        used = bool(alive[row].any())
        yield Problem(grid.label, line, header, typed, message, row_used=used)


def _doubled(grid: Grid, layout: Layout, block: Block, doubled: BoolArray) -> Iterator[Problem]:
    index = layout.diameters[0]
    for row in np.flatnonzero(doubled).tolist():
        line = int(block.line[row])
        message = (
            f"the row says the same as the one before it, line {block.line[row - 1]}: was Enter "
            "struck twice? If it is a reading of its own, number both in a column trial"
        )
        typed = typed_cell(grid, line, index)
        yield Problem(grid.label, line, layout.headers[index], typed, message, row_used=False)
