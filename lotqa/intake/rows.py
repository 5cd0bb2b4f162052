"""Rows of a readings table, one by one: every form that people type, every slip reported.

A row with a field that cannot be read is not used.  In a wide table a bad or empty cell costs only
its own reading, as long as another reading of the row is good.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import isnan, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lotqa.intake.layout import DIAMETER_UNITS, DIRECTION_UNITS, POSITION_UNITS, Layout
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.table import too_many_message
from lotqa.model import BoolArray, FloatArray, Problem

Ints = NDArray[np.integer[Any]]  # 4 bytes in large tables, 8 in the readings that leave


class Names:
    """Names in order of first appearance, each with its number."""

    def __init__(self) -> None:
        self.number: dict[str, int] = {}
        self.first_line: list[int] = []

    def add(self, name: str, line: int) -> int:
        """The number of a name, a new one if it was not met before."""
        number = self.number.get(name)
        if number is None:
            number = self.number[name] = len(self.number)
            self.first_line.append(line)
        return number


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Rows that could be read, one element a row; ``diameter_mm`` is (rows, diameter columns)."""

    line: Ints
    ordinal: Ints  # counts all data rows, so that 1 apart means nothing lies between
    spool: Ints
    position_m: FloatArray  # NaN: not given
    direction_deg: FloatArray  # NaN: not given; all NaN in a wide table
    diameter_mm: FloatArray  # NaN: no reading in this cell
    trial: Ints  # 0: not given
    operator: Ints  # -1: not given

    def __len__(self) -> int:
        return len(self.line)

    def take(self, keep: BoolArray | Ints) -> "Block":
        """The rows that ``keep`` marks or numbers."""
        return Block(*(getattr(self, name)[keep] for name in Block.__slots__))


@dataclass(slots=True)
class Reader:
    """Collects the rows of one table; not shared, gone when the table is read."""

    label: str
    layout: Layout
    spools: Names = field(default_factory=Names)
    operators: Names = field(default_factory=Names)
    problems: list[Problem] = field(default_factory=list)
    n_rows: int = 0

    def read(self, records: Iterable[tuple[int, list[str]]]) -> Block:
        """Read records that are not blank."""
        rows: list[tuple[int, int, int, float, float, int, int]] = []
        diameters: list[list[float]] = []
        for line, cells in records:
            self.n_rows += 1
            row = self._row(line, cells)
            if row is not None:
                rows.append(row[0])
                diameters.append(row[1])
        columns = list(zip(*rows, strict=True)) if rows else [()] * 7
        lines, ordinal, spool, position, direction, trial, operator = columns
        return Block(
            line=np.array(lines, dtype=np.int64),
            ordinal=np.array(ordinal, dtype=np.int64),
            spool=np.array(spool, dtype=np.int64),
            position_m=np.array(position, dtype=np.float64),
            direction_deg=np.array(direction, dtype=np.float64),
            diameter_mm=np.array(diameters, dtype=np.float64).reshape(
                len(rows), len(self.layout.diameters)
            ),
            trial=np.array(trial, dtype=np.int64),
            operator=np.array(operator, dtype=np.int64),
        )

    def _row(
        self, line: int, cells: list[str]
    ) -> tuple[tuple[int, int, int, float, float, int, int], list[float]] | None:
        layout = self.layout
        fatal: list[Problem] = []
        if len(cells) > layout.n_columns and any(c.strip() for c in cells[layout.n_columns :]):
            message = too_many_message(len(cells), layout.n_columns)
            extra = next(c.strip() for c in cells[layout.n_columns :] if c.strip())
            self.problems.append(Problem(self.label, line, None, extra, message, row_used=False))
            return None
        spool = layout.stem if layout.spool is None else _cell(cells, layout.spool)
        if not spool:
            self._complain(fatal, line, layout.spool, "", "write the spool's name in every row")
        position = self._position(fatal, line, cells)
        direction = self._number(fatal, line, cells, layout.direction, DIRECTION_UNITS, 1.0, "90")
        trial = self._trial(fatal, line, cells)
        diameters, weak = self._diameters(line, cells)
        if fatal or all(map(isnan, diameters)):
            self.problems += [replace(p, row_used=False) for p in (*fatal, *weak)]
            return None
        self.problems += weak
        operator = _cell(cells, layout.operator) if layout.operator is not None else ""
        number = self.operators.add(operator, line) if operator else -1
        spool_number = self.spools.add(spool, line)
        return (line, self.n_rows, spool_number, position, direction, trial, number), diameters

    def _diameters(self, line: int, cells: list[str]) -> tuple[list[float], list[Problem]]:
        """The readings of a row, NaN where there is none, and what is wrong with them."""
        layout = self.layout
        values: list[float] = []
        problems: list[Problem] = []
        for column, factor in zip(layout.diameters, layout.factor_mm, strict=True):
            typed = _cell(cells, column)
            if not typed:
                values.append(nan)
                continue
            value = read_number(typed, example="1.75", units=DIAMETER_UNITS, default=factor)
            if isinstance(value, Unreadable):
                self._complain(problems, line, column, typed, value.advice, row_used=True)
                value = nan
            values.append(value)
        if not problems and all(map(isnan, values)):
            column = layout.diameters[0]
            self._complain(problems, line, column, "", "write the diameter, or delete the row")
        return values, problems

    def _position(self, problems: list[Problem], line: int, cells: list[str]) -> float:
        column, factor = self.layout.position, self.layout.position_factor_m
        value = self._number(problems, line, cells, column, POSITION_UNITS, factor, "0.31")
        if value < 0.0:
            typed = _cell(cells, column)
            advice = "positions count from the free end, write metres from 0 up"
            self._complain(problems, line, column, typed, advice)
        return value

    def _number(
        self,
        problems: list[Problem],
        line: int,
        cells: list[str],
        column: int | None,
        units: Mapping[str, float] | None,
        factor: float,
        example: str,
    ) -> float:
        if column is None:
            return nan
        typed = _cell(cells, column)
        if not typed:
            return nan
        value = read_number(typed, example=example, units=units, default=factor)
        if isinstance(value, Unreadable):
            self._complain(problems, line, column, typed, value.advice)
            return nan
        return value

    def _trial(self, problems: list[Problem], line: int, cells: list[str]) -> int:
        value = self._number(problems, line, cells, self.layout.trial, None, 1.0, "2")
        if isnan(value):
            return 0
        if value < 1.0 or value != int(value) or value > 1e6:
            typed = _cell(cells, self.layout.trial)
            self._complain(problems, line, self.layout.trial, typed, "count trials 1, 2, 3")
            return 0
        return int(value)

    def _complain(
        self,
        problems: list[Problem],
        line: int,
        column: int | None,
        typed: str,
        advice: str,
        *,
        row_used: bool = False,
    ) -> None:
        header = self.layout.headers[column] if column is not None else "spool"
        what = f'is "{typed}"' if typed else "is empty"
        message = f"{header} {what}: {advice}"
        problems.append(Problem(self.label, line, header, typed or None, message, row_used))


def _cell(cells: list[str], column: int | None) -> str:
    if column is None or column >= len(cells):
        return ""
    return cells[column].strip()
