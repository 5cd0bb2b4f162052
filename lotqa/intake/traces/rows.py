"""Blocks of a log to rows, each numbered over the whole log.

Clean rows are read together; the other lines are looked at one by one.  A row that cannot be used
still counts, and still moved the filament where the length is counted by rows.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.intake.traces.blocks import Block
from lotqa.intake.traces.clean import CleanRows
from lotqa.intake.traces.head import FIRMWARE, Form
from lotqa.intake.traces.lines import Judged, LineReader, text_of
from lotqa.intake.traces.options import TraceOptions
from lotqa.intake.traces.problems import ProblemLog, told
from lotqa.model import BoolArray, FloatArray, IntArray

_ROW, _BAD, _TEXT = 1, 2, 3  # 0: a blank line


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows that could be read as numbers."""

    line: IntArray
    index: IntArray  # number among all rows read, the reported ones included
    along_m: FloatArray  # as logged
    diameter_mm: FloatArray  # (n, a)

    def __len__(self) -> int:
        return len(self.line)

    def take(self, which: BoolArray | IntArray | slice) -> "Rows":
        """Some of the rows."""
        return Rows(
            self.line[which], self.index[which], self.along_m[which], self.diameter_mm[which]
        )

    def then(self, more: "Rows") -> "Rows":
        """These rows and more."""
        if not len(self):
            return more
        if not len(more):
            return self
        return Rows(
            np.concatenate([self.line, more.line]),
            np.concatenate([self.index, more.index]),
            np.concatenate([self.along_m, more.along_m]),
            np.concatenate([self.diameter_mm, more.diameter_mm]),
        )


def no_rows(n_axes: int) -> Rows:
    """An empty beginning."""
    none = np.empty(0, dtype=np.int64)
    return Rows(none, none, np.empty(0), np.empty((0, n_axes)))


class RowParser:
    """Turns blocks into rows, in order; what cannot be read goes to the problem log."""

    def __init__(self, form: Form, options: TraceOptions, log: ProblemLog, bulk: bool) -> None:
        self._form = form
        self._log = log
        self._lines = LineReader(form, options)
        self._clean = CleanRows(form, bulk)
        factors = () if form.columns.along is None else (form.columns.along_factor,)
        self._factors = (*factors, *form.columns.diameter_factors)
        self.n_rows = 0  # read so far, reported ones included
        self.n_other = 0  # lines of a firmware log that hold no reading
        self._n_moved = 0  # rows that moved the filament: all but lines of text

    def read(self, block: Block, is_cut: bool = False) -> Rows:
        """The rows of a block; ``is_cut`` says that its last line was broken off."""
        if self._form.is_firmware:
            return self._firmware(block, is_cut)
        fine, values = self._clean.read(block.data, block.n_lines, is_cut)
        if fine.all():
            return self._rows(block, values, np.full(block.n_lines, _ROW), {})
        return self._mended(block, block.data.split(b"\n")[:-1], fine, values, is_cut)

    def _mended(
        self,
        block: Block,
        lines: list[bytes],
        fine: BoolArray,
        values: FloatArray,
        is_cut: bool,
    ) -> Rows:
        """The clean rows, and the others line by line."""
        meaning = np.where(fine, _ROW, 0)
        complaints: dict[int, Judged] = {}
        extra: list[tuple[float, ...]] = []
        extra_at: list[int] = []
        for position in np.flatnonzero(~fine).tolist():
            judged = self._lines.judge(lines[position])
            if is_cut and position == len(lines) - 1 and judged.meaning != "blank":
                judged = _cut(lines[position])
            if judged.meaning == "row":
                meaning[position] = _ROW
                extra.append(judged.values)
                extra_at.append(position)
            elif judged.meaning != "blank":
                meaning[position] = _BAD if judged.meaning == "bad" else _TEXT
                complaints[position] = judged
        if extra:
            scaled = np.array(extra) / np.array(self._factors)
            at = np.concatenate([np.flatnonzero(fine), np.array(extra_at)])
            values = np.concatenate([values, scaled])[np.argsort(at, kind="stable")]
        return self._rows(block, values, meaning, complaints)

    def _rows(
        self, block: Block, values: FloatArray, meaning: IntArray, complaints: dict[int, Judged]
    ) -> Rows:
        """Rows numbered over the whole log; complaints are told with their number."""
        if not complaints and (meaning == _ROW).all():
            n = len(meaning)
            line = np.arange(block.first_line, block.first_line + n)
            index = np.arange(self.n_rows, self.n_rows + n)
            moved = np.arange(self._n_moved, self._n_moved + n)
        else:
            numbers = self.n_rows + np.cumsum(meaning > 0) - 1
            for position, judged in complaints.items():
                if judged.say is not None:
                    at = block.first_line + position
                    number = int(numbers[position])
                    self._log.add(judged.kind, judged.column, at, number, judged.say)
            is_row = meaning == _ROW
            line = block.first_line + np.flatnonzero(is_row)
            index = numbers[is_row]
            moves = (meaning == _ROW) | (meaning == _BAD)
            moved = (self._n_moved + np.cumsum(moves) - 1)[is_row]
        self.n_rows += int(np.count_nonzero(meaning))
        self._n_moved += int(np.count_nonzero((meaning == _ROW) | (meaning == _BAD)))
        columns = self._form.columns
        n_along = 0 if columns.along is None else 1
        along_m = np.asarray(moved * columns.along_factor, dtype=np.float64)
        if n_along:
            along_m = values[:, 0] * columns.along_factor
        diameter_mm = values[:, n_along:]
        if any(factor != 1.0 for factor in columns.diameter_factors):
            diameter_mm = diameter_mm * np.array(columns.diameter_factors)
        return Rows(line, index, along_m, diameter_mm)

    def _firmware(self, block: Block, is_cut: bool) -> Rows:
        """Readings amid the talk of a printer; lines without one are only counted."""
        lines = block.data.split(b"\n")[:-1]
        meaning = np.zeros(len(lines), dtype=np.int64)
        complaints: dict[int, Judged] = {}
        values: list[float] = []
        for position, line in enumerate(lines):
            found = FIRMWARE.search(line)
            if found is None:
                self.n_other += not (not line or line.isspace())
                continue
            if is_cut and position == len(lines) - 1:
                judged = _cut(line)
            else:
                judged = self._lines.reading(found["value"])
            if judged.meaning == "row":
                meaning[position] = _ROW
                values.append(judged.values[0])
            else:
                meaning[position] = _BAD
                complaints[position] = judged
        array = np.array(values).reshape(-1, 1) / np.array(self._factors)
        return self._rows(block, array, meaning, complaints)


def _cut(line: bytes) -> Judged:
    text = text_of(line).strip()[-20:]
    say = told(text, "the log ends in the middle of this row: it is left out")
    return Judged("bad", kind="cut", say=say)
