"""Rows in the order typed become readings sorted by spool and place, ready for arrays."""

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lotqa.intake.layout import Layout
from lotqa.intake.places import number_trials, place_rows
from lotqa.intake.rows import Block, Ints
from lotqa.intake.table import Grid, typed_cell
from lotqa.model import BoolArray, IntArray, Problem, Readings


def arrange(
    grid: Grid,
    layout: Layout,
    block: Block,
    alive: BoolArray,
    names: tuple[str, ...],
    operators: tuple[str, ...],
) -> tuple[Readings, list[Problem]]:
    """The readings in their final order, and notes about repeats.

    ``block`` is sorted by spool; ``alive`` is shaped as its diameters and marks, in each row, at
    least one reading to keep.
    """
    place = place_rows(block, is_wide=layout.is_wide)
    if not (place[1:] >= place[:-1]).all():
        order = np.argsort(place, kind="stable")
        block, alive, place = block.take(order), alive[order], place[order]
    if layout.is_wide:
        row, column = np.nonzero(alive)
        place, diameter_mm = place[row], block.diameter_mm[row, column]
        block = block.take(row)
        direction = np.array(layout.directions_deg)[column]
        key = np.where(np.isnan(direction), -1.0 - column, direction)
    else:
        column = np.zeros(len(block), dtype=np.int8)
        diameter_mm, direction = block.diameter_mm[:, 0], block.direction_deg
        key = np.where(np.isnan(direction), -np.inf, direction)
    counted = number_trials(place, key, block.operator, block.trial)
    problems = _repeats(grid, layout, block.line, column, counted.repeats, counted.trial)
    columns: tuple[NDArray[Any], ...] = (
        *(block.spool, place, block.position_m, direction, diameter_mm),
        *(counted.trial, block.operator, block.line),
    )
    if len(counted.clashes):
        keep = np.ones(len(place), dtype=np.bool_)
        keep[counted.clashes] = False
        lost = set(block.line[~keep].tolist()) - set(block.line[keep].tolist())
        problems += _clashes(grid, layout, block.line, column, counted.clashes, counted.trial, lost)
        columns = tuple(values[keep] for values in columns)
    spool, place, position_m, direction, diameter_mm, trial, operator, line = columns
    used_names, spool = _only_used(names, spool)
    used_operators, operator = _only_used(operators, operator)
    readings = Readings(
        spools=used_names,
        spool=spool,
        place=place.astype(np.int64),
        position_m=position_m,
        direction_deg=direction,
        diameter_mm=np.ascontiguousarray(diameter_mm),
        trial=trial.astype(np.int64),
        operators=used_operators,
        operator=operator,
        file=grid.name,
        line=line.astype(np.int64),
    )
    for field in fields(readings):
        values = getattr(readings, field.name)
        if isinstance(values, np.ndarray):
            values.flags.writeable = False
    return readings, problems


def by_spool(block: Block, alive: BoolArray) -> tuple[Block, BoolArray]:
    """Rows sorted by spool, else in the order typed."""
    if (block.spool[1:] >= block.spool[:-1]).all():
        return block, alive
    order = np.argsort(block.spool, kind="stable")
    return block.take(order), alive[order]


def by_first_line(names: tuple[str, ...], number: Ints, line: Ints) -> tuple[tuple[str, ...], Ints]:
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


def _only_used(names: tuple[str, ...], number: Ints) -> tuple[tuple[str, ...], IntArray]:
    """Names that are used, in the same order, and the numbers to match (-1 stays)."""
    used = np.zeros(len(names) + 1, dtype=np.bool_)  # the last element takes the -1
    used[number] = True
    used[-1] = False
    if used[:-1].all():
        return names, number.astype(np.int64)
    new: IntArray = np.where(used, np.cumsum(used) - 1, -1)
    return tuple(name for name, is_used in zip(names, used, strict=False) if is_used), new[
        number
    ].astype(np.int64)


def _repeats(
    grid: Grid,
    layout: Layout,
    line: Ints,
    column: Ints,
    repeats: Ints,
    trial: Ints,
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
    typed = typed_cell(grid, line[at], index)
    return [Problem(grid.label, int(line[at]), layout.headers[index], typed, message)]


def _clashes(
    grid: Grid,
    layout: Layout,
    line: Ints,
    column: Ints,
    clashes: Ints,
    trial: Ints,
    gone: set[int],
) -> Iterator[Problem]:
    for at in clashes.tolist():
        index = layout.diameters[column[at]]
        message = (
            f"trial {trial[at]} of this place and direction is there already: "
            "number it anew, or delete the row"
        )
        typed = typed_cell(grid, line[at], index)
        lost = int(line[at]) in gone
        yield Problem(
            grid.label, int(line[at]), layout.headers[index], typed, message, row_used=not lost
        )
