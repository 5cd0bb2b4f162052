"""Reads an in-line log of any size as chunks of rows, in bounded memory.

The first mebibyte tells the form of the log and what is usual in it; then the file goes through
block by block: bytes to rows, rows on the filament, rows that are readings, chunks.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from lotqa.intake.refusal import Refused
from lotqa.intake.slips import STOCK_MM
from lotqa.intake.traces import clean
from lotqa.intake.traces.blocks import HEAD_BYTES, Block, Blocks, encoding_of, opened
from lotqa.intake.traces.head import Form, find_form
from lotqa.intake.traces.lengths import Lengths
from lotqa.intake.traces.lines import LineReader, text_of
from lotqa.intake.traces.options import FIRMWARE_STEP_MM, TraceOptions
from lotqa.intake.traces.problems import ProblemLog
from lotqa.intake.traces.ranges import in_range
from lotqa.intake.traces.rows import RowParser, Rows, no_rows
from lotqa.intake.traces.sticking import Sticking
from lotqa.intake.traces.usual import Usual, usual_of
from lotqa.model import Problem, TraceChunk

TAIL_BYTES = 4096  # the rows before the last, to see whether it was cut in its last number
TAIL_ROWS = 20
HEAD_LINES = 1_000  # in which the form of a log shows
SNIFFED = 2_000  # characters of each; a longer line is no header
USUAL_ANGLES_DEG = {1: (0.0,), 2: (0.0, 90.0), 3: (0.0, 60.0, 120.0)}  # gauges of so many axes


@dataclass(frozen=True, slots=True)
class Axis:
    """One diameter column; ``is_angle_known`` is False where the usual angle is supposed."""

    name: str
    angle_deg: float
    is_angle_known: bool


class TraceReader:
    """Iterate it for :class:`lotqa.model.TraceChunk`; each iteration reads the file anew."""

    def __init__(self, path: Path, options: TraceOptions) -> None:
        options.check()
        self.path, self.options = path, options
        self.name = path.name
        with opened(path) as file:
            try:
                head = file.read(HEAD_BYTES)
            except OSError as error:
                reason = (error.strerror or str(error)).lower()
                raise Refused(self.name, None, f"the file cannot be read ({reason})") from None
            self.bytes_total = max(path.stat().st_size, len(head))
            self._encoding = encoding_of(self.name, head)
            first = _head_block(Blocks(file, self._encoding, HEAD_BYTES))
        lines = [line[:SNIFFED] for line in text_of(first.data).split("\n", HEAD_LINES)[:-1]]
        self._form: Form = find_form(self.name, lines, options)
        self._is_bulk = self.bytes_total >= clean.PANDAS_BYTES
        self._usual = self._look_at(first)
        self.bytes_read = 0
        self._log = ProblemLog(self.name)
        self._parser: RowParser | None = None
        self._n_held = 0
        self.rows_used = 0

    @property
    def axes(self) -> tuple[Axis, ...]:
        """The diameter columns in the order of the chunks."""
        columns = self._form.columns
        usual = USUAL_ANGLES_DEG[len(columns.diameters)]
        return tuple(
            Axis(columns.names[i], usual[k] if angle is None else angle, angle is not None)
            for k, (i, angle) in enumerate(zip(columns.diameters, columns.angles_deg, strict=True))
        )

    @property
    def length_source(self) -> str:
        """Where the metres come from, in words."""
        columns, options = self._form.columns, self.options
        scaled = "" if options.length_scale == 1.0 else f", times {options.length_scale:g}"
        if columns.along is None:
            step_mm = options.step_mm or FIRMWARE_STEP_MM
            by = "as given" if options.step_mm else "usual of printer firmware, not given"
            return f"{step_mm:g} mm a row, {by}{scaled}"
        name = columns.names[columns.along]
        if columns.is_time:
            unit = columns.along_unit or "s, not stated"
            return f"{name} in {unit}, at {options.speed_mm_s:g} mm/s{scaled}"
        return f"{name} in {columns.along_unit or 'm, not stated'}{scaled}"

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is odd in the rows read so far; runs of rows are one, and their number is bounded.

        In ``log.csv:120: lines 120-124: 5 lines of text`` the line of the problem is the first.
        """
        return (*self._notes(), *self._log.problems())

    @property
    def n_problems(self) -> int:
        """All problems, also those that are only counted in :attr:`problems`."""
        return len(self._notes()) + self._log.n_problems

    @property
    def rows_read(self) -> int:
        """Rows that were used or reported; those held back until more is known count later."""
        return (self._parser.n_rows if self._parser else 0) - self._n_held

    @property
    def rows_reported(self) -> int:
        """Rows that were left out, each in a problem."""
        return self._log.n_rows_reported

    @property
    def typical_step_m(self) -> float:
        """The middle step from row to row in the beginning of the log; 0 if not known."""
        return self._usual.step_m

    def __iter__(self) -> Iterator[TraceChunk]:
        """The rows of the log as chunks.

        :raises UnusableInput: no row can be used; its problems are attached.
        """
        self._log = ProblemLog(self.name)
        self.rows_used = self._n_held = 0
        columns = self._form.columns
        n_axes = len(columns.diameters)
        self._parser = parser = RowParser(self._form, self.options, self._log, self._is_bulk)
        along = "length" if columns.along is None else columns.names[columns.along]
        unit_m = 1.0 if columns.along is None else columns.along_factor
        limits = self.options.limits
        lengths = Lengths(along, unit_m, self._usual, limits, self._log, n_axes)
        names = (along, *(columns.names[i] for i in columns.diameters))
        sticking = Sticking(names, self._usual, self._log, n_axes)
        with opened(self.path) as file:
            blocks = Blocks(file, self._encoding)
            tail = b""
            for block, is_last in _with_last(map(self._below_header, blocks)):
                tail = (tail + block.data[-TAIL_BYTES:])[-TAIL_BYTES:]
                is_cut = block.is_open and self._is_cut(tail)
                self.bytes_read = min(blocks.bytes_read, self.bytes_total)
                rows = no_rows(n_axes)
                if block.data:
                    rows = parser.read(block, is_cut)
                    rows = in_range(rows, block, self._form, self.options, self._log)
                placed, is_new = lengths.feed(rows, is_last=is_last)
                chunks = sticking.feed(placed, is_new, is_last=is_last)
                yield from self._handed(chunks, lengths, sticking)
            self.bytes_read = self.bytes_total
        self._n_held = 0
        if not self.rows_used:
            what = "none of the rows can be used" if parser.n_rows else "there are no rows"
            raise Refused(self.name, None, f"{what}: {self._advice()}", self.problems)

    def _handed(
        self, chunks: Iterator[TraceChunk], lengths: Lengths, sticking: Sticking
    ) -> Iterator[TraceChunk]:
        """Chunks on their way out; the counts are right whenever one is seen."""
        pieces = list(chunks)
        waiting = sum(len(chunk) for chunk in pieces)
        for chunk in pieces:
            waiting -= len(chunk)
            self.rows_used += len(chunk)
            self._n_held = lengths.n_held + sticking.n_held + waiting
            yield chunk
        self._n_held = lengths.n_held + sticking.n_held

    def _below_header(self, block: Block) -> Block:
        """A block without the lines down to the header."""
        n_above = self._form.header_line - block.first_line + 1
        if n_above <= 0:
            return block
        data, first = block.data, block.first_line
        while n_above and data:
            data = data[data.find(b"\n") + 1 :]
            first, n_above = first + 1, n_above - 1
        return Block(first, data, block.n_lines - (first - block.first_line), block.is_open)

    def _is_cut(self, tail: bytes) -> bool:
        """Whether the last row was broken off: a cell is missing or its last number is short."""
        lines = tail.split(b"\n")[:-1]
        reader = LineReader(self._form, self.options)
        last = lines[-1]
        if reader.judge(last).meaning == "bad":
            return True
        cell = reader.last_cell(last)
        before = [c for c in map(reader.last_cell, lines[-TAIL_ROWS - 1 : -1]) if c]
        return len(before) >= TAIL_ROWS // 4 and len(cell) < min(map(len, before))

    def _look_at(self, first: Block) -> Usual:
        """What is usual in the beginning of the log, without a word about its problems."""
        parser = RowParser(self._form, self.options, ProblemLog(self.name), self._is_bulk)
        rows: Rows = parser.read(self._below_header(first))
        columns, limits = self._form.columns, self.options.limits
        usual = usual_of(rows, columns.along is not None, limits)
        unsaid = columns.along is not None and not columns.is_time and columns.along_unit is None
        if unsaid and usual.step_m > limits.longest_step_m:
            name = columns.names[columns.along or 0]
            raise Refused(
                self.name,
                self._form.header_line or None,
                f"{name} names no unit, and as metres a row would stand for {usual.step_m:.4g} m: "
                "give --length-unit mm, or the unit that it is",
            )
        return usual

    def _notes(self) -> list[Problem]:
        """What holds for the whole log."""
        columns, form = self._form.columns, self._form
        line = form.header_line or None
        notes: list[str] = []
        if columns.left_out and form.header_line:
            n = len(columns.left_out)
            plural = "column is" if n == 1 else "columns are"
            notes.append(f"{', '.join(columns.left_out)}: {plural} left out")
        if columns.along is not None and columns.along_unit is None:
            name = columns.names[columns.along]
            unit, flag = (
                ("seconds", "name it time_ms if it is ms")
                if columns.is_time
                else ("metres", "give --length-unit mm if it is mm")
            )
            notes.append(
                f"{name} names no unit and is taken as {unit}, {1000 * self._usual.step_m:.4g} mm "
                f"a row: {flag}"
            )
        if self._usual.sign < 0:
            name = columns.names[columns.along or 0]
            notes.append(f"{name} counts down: metres are counted from the first row on")
        if form.is_firmware and self.options.step_mm is None:
            notes.append(
                f"the log has no length: each reading is taken as {FIRMWARE_STEP_MM:g} mm of "
                "filament, which is usual of printer firmware: give --step-mm if it is another"
            )
        if self._parser is not None and self._parser.n_other:
            n = self._parser.n_other
            are = "line without a reading is" if n == 1 else "lines without a reading are"
            notes.append(f"{n:,} {are} passed over")
        return [Problem(self.name, line, None, None, message) for message in notes]

    def _advice(self) -> str:
        """What would be right where no row can be used, by the first that could not."""
        diameters = {self._form.columns.names[i] for i in self._form.columns.diameters}
        first = next((p for p in self._log.problems() if not p.row_used), None)
        if first is not None and first.column not in diameters:
            comma = self._form.separator == "," and "cells and not" in first.message
            hint = "; are these decimal commas between commas? Save it with semicolons"
            return f"{first.message}{hint if comma else ''}"
        names = [self._form.columns.names[i] for i in self._form.columns.diameters]
        stock = " or ".join(f"{size:g}" for size in STOCK_MM)
        return (
            f"{', '.join(names)} should hold diameters near {stock} mm; name other columns by "
            "--diameter-column, and give --unit in if they are inches"
        )


def _with_last(blocks: Iterator[Block]) -> Iterator[tuple[Block, bool]]:
    """Each block, and whether it is the last one."""
    waiting = next(blocks, None)
    for block in blocks:
        if waiting is not None:
            yield waiting, False
        waiting = block
    if waiting is not None:
        yield waiting, True


def _head_block(blocks: Blocks) -> Block:
    """The first whole lines; an empty block if there are none."""
    return next(iter(blocks), Block(1, b"", 0))


def read_trace(path: Path, options: TraceOptions | None = None) -> TraceReader:
    """Open a log: its header is read, its rows are read when the result is iterated.

    :raises UnusableInput: there is no log, or it must be said which columns are what.
    """
    return TraceReader(path, TraceOptions() if options is None else options)
