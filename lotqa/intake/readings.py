"""The readings table of a lot: from cells to arrays, with every row accounted for."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from lotqa.intake.bulk import BulkGrid, read_bulk
from lotqa.intake.layout import Layout, find_layout
from lotqa.intake.places import doubled_rows, number_trials, place_rows
from lotqa.intake.refusal import Refused
from lotqa.intake.rows import Block, Reader
from lotqa.intake.screening import (
    FINE,
    NEARLY_ALL,
    OTHER_STOCK,
    OUT_OF_RANGE,
    Screening,
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
from lotqa.intake.table import Grid
from lotqa.model import BoolArray, IntArray, Problem, Readings


@dataclass(frozen=True, slots=True, eq=False)
class ReadingsTable:
    """Readings, what was odd, and the count of rows: used + reported is read."""

    readings: Readings
    problems: tuple[Problem, ...]
    rows_read: int
    rows_used: int


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
    names, spool = _by_first_line(tuple(reader.spools.number), block.spool, block.line)
    operators, operator = _by_first_line(tuple(reader.operators.number), block.operator, block.line)
    block = replace(block, spool=spool, operator=operator)
    screening = screen(block, len(names), nominal_mm)
    if screening is None:
        everything = np.ones(block.diameter_mm.shape, dtype=np.bool_) & ~np.isnan(block.diameter_mm)
        reasons = np.where(everything, np.int8(OUT_OF_RANGE), np.int8(FINE))
        screening = Screening(reasons, nominal_mm or STOCK_MM[0], np.full(len(names), np.nan))
    alive = (screening.reason == FINE) & ~np.isnan(block.diameter_mm)
    problems += _screened(grid, layout, block, screening, alive, names)
    if not alive.any():
        raise _nothing(grid.label, reader.n_rows, problems, screening)
    block, alive = _by_spool(block, alive)
    doubled = doubled_rows(block, is_wide=layout.is_wide)
    if doubled.any():
        problems += _doubled(grid, layout, block, doubled & alive.any(axis=1))
        alive &= ~doubled[:, None]
    rows = alive.any(axis=1)
    if not rows.all():
        block, alive = block.take(rows), alive[rows]
    readings, notes = _arrange(grid, layout, block, alive, names, operators)
    problems += notes
    n_used = len(np.unique(readings.line)) if layout.is_wide else len(readings)
    problems.sort(key=lambda p: p.line or 0)
    return ReadingsTable(readings, tuple(problems), reader.n_rows, n_used)


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
    row, column = np.argwhere(~np.isnan(block.diameter_mm))[0]
    typed = _typed(grid, block.line[row], layout.diameters[column])
    header = layout.headers[layout.diameters[column]]
    line = int(block.line[row])
    value_mm = block.diameter_mm[row, column]
    if in_inches[column]:
        what = (
            f"{header} is {typed} and read as inches, so are nearly all: these look like millimetres: "
            "leave out --unit in, or name the column diameter_mm"
        )
    else:
        what = (
            f"{header} is {typed}, nearly all readings are like it: these look like inches ({typed} in is "
            f"{value_mm * MM_PER_INCH:.2f} mm): give --unit in, or name the column diameter_in"
        )
    raise Refused(grid.label, line, what, problems)


def _typed(grid: Grid, line: int, column: int) -> str:
    cells = grid.cells(int(line))
    return cells[column].strip() if column < len(cells) else ""


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
        header, typed = layout.headers[index], _typed(grid, line, index)
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


def _by_spool(block: Block, alive: BoolArray) -> tuple[Block, BoolArray]:
    """Rows sorted by spool, else in the order typed."""
    if (block.spool[1:] >= block.spool[:-1]).all():
        return block, alive
    order = np.argsort(block.spool, kind="stable")
    return Block(*(getattr(block, name)[order] for name in Block.__slots__)), alive[order]


def _doubled(grid: Grid, layout: Layout, block: Block, doubled: BoolArray) -> Iterator[Problem]:
    index = layout.diameters[0]
    for row in np.flatnonzero(doubled).tolist():
        line = int(block.line[row])
        message = (
            f"the row says the same as the one before it, line {block.line[row - 1]}: was Enter "
            "struck twice? If it is a reading of its own, number both in a column trial"
        )
        typed = _typed(grid, line, index)
        yield Problem(grid.label, line, layout.headers[index], typed, message, row_used=False)


def _arrange(
    grid: Grid,
    layout: Layout,
    block: Block,
    alive: BoolArray,
    names: tuple[str, ...],
    operators: tuple[str, ...],
) -> tuple[Readings, list[Problem]]:
    """The readings in their final order, and notes about repeats."""
    row_place = place_rows(block, is_wide=layout.is_wide)
    row, column = np.nonzero(alive)
    place = row_place[row]
    order = None
    if not (place[1:] >= place[:-1]).all():
        order = np.argsort(place, kind="stable")
        row, column, place = row[order], column[order], place[order]
    if layout.is_wide:
        direction = np.array(layout.directions_deg)[column]
        key = np.where(np.isnan(direction), -1.0 - column, direction)
    else:
        direction = block.direction_deg[row]
        key = np.where(np.isnan(direction), -np.inf, direction)
    operator = block.operator[row].astype(np.int64)
    counted = number_trials(place, key, operator, block.trial[row])
    line = block.line[row].astype(np.int64)
    notes = _repeats(grid, layout, line, column, counted.repeats, counted.trial)
    keep = np.ones(len(row), dtype=np.bool_)
    if len(counted.clashes):
        keep[counted.clashes] = False
        gone = set(line[counted.clashes].tolist()) - set(line[keep].tolist())
        notes += _clashes(grid, layout, line, column, counted.clashes, counted.trial, gone)
    spools, spool = _only_used(names, block.spool[row[keep]])
    who, operator = _only_used(operators, operator[keep])
    readings = Readings(
        spools=spools,
        spool=spool,
        place=place[keep],
        position_m=block.position_m[row[keep]],
        direction_deg=direction[keep],
        diameter_mm=block.diameter_mm[row[keep], column[keep]],
        trial=counted.trial[keep].astype(np.int64),
        operators=who,
        operator=operator,
        file=grid.label.split("[")[0],
        line=line[keep],
    )
    for name in ("spool", "place", "position_m", "direction_deg", "diameter_mm", "trial"):
        getattr(readings, name).flags.writeable = False
    readings.operator.flags.writeable = False
    readings.line.flags.writeable = False
    return readings, notes


def _by_first_line(
    names: tuple[str, ...], number: IntArray, line: IntArray
) -> tuple[tuple[str, ...], IntArray]:
    """Names in order of their first line, and the numbers to match (-1 stays)."""
    if len(names) < 2:
        return names, number
    first = np.full(len(names) + 1, np.iinfo(np.int64).max)  # the last element takes the -1
    first[number[::-1]] = line[::-1]  # lines climb, so the last write is the first line
    order = np.argsort(first[:-1], kind="stable")
    if (order[1:] > order[:-1]).all():
        return names, number
    new = np.full(len(names) + 1, -1, dtype=np.int64)
    new[order] = np.arange(len(order))
    return tuple(names[i] for i in order), new[number]


def _only_used(names: tuple[str, ...], number: IntArray) -> tuple[tuple[str, ...], IntArray]:
    """Names that are used, in the same order, and the numbers to match (-1 stays)."""
    used = np.zeros(len(names) + 1, dtype=np.bool_)  # the last element takes the -1
    used[number] = True
    used[-1] = False
    if used[:-1].all():
        return names, number.astype(np.int64)
    new = np.where(used, np.cumsum(used) - 1, -1)
    return tuple(name for name, is_used in zip(names, used, strict=False) if is_used), new[number]


def _repeats(
    grid: Grid,
    layout: Layout,
    line: IntArray,
    column: IntArray,
    repeats: IntArray,
    trial: IntArray,
) -> list[Problem]:
    if not len(repeats):
        return []
    at = repeats[np.argmin(line[repeats])]
    index = layout.diameters[column[at]]
    more = f", and {len(repeats) - 1} more" if len(repeats) > 1 else ""
    message = (
        f"this place and direction was read before: kept as trial {trial[at]}{more}; "
        "say so in a column trial, or correct position_m and direction_deg"
    )
    typed = _typed(grid, line[at], index)
    return [Problem(grid.label, int(line[at]), layout.headers[index], typed, message)]


def _clashes(
    grid: Grid,
    layout: Layout,
    line: IntArray,
    column: IntArray,
    clashes: IntArray,
    trial: IntArray,
    gone: set[int],
) -> Iterator[Problem]:
    for at in clashes.tolist():
        index = layout.diameters[column[at]]
        message = (
            f"trial {trial[at]} of this place and direction is there already: "
            "number it anew, or delete the row"
        )
        typed = _typed(grid, line[at], index)
        lost = int(line[at]) in gone
        yield Problem(
            grid.label, int(line[at]), layout.headers[index], typed, message, row_used=not lost
        )
