"""Readings files of millions of rows: typed columns first, row by row only where that fails.

The text is cut into pieces at line ends.  A piece is read by pandas with the types that a clean
file has; rows that are not clean (an empty or odd cell) go through the row reader, and a piece
that pandas refuses is cut finer and in the end read row by row.  Either road gives the same result.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, overload

import numpy as np

from lotqa.intake.rows import Block, Reader
from lotqa.intake.table import Record
from lotqa.intake.text import QUOTED_LINES, is_blank, record_at
from lotqa.intake.typed import n_lines_of, typed_block
from lotqa.model import IntArray

BULK_BYTES = 2_000_000  # below it the import of pandas costs more than it saves
PIECE_BYTES = 4_000_000
FINE_BYTES = 64_000


class Lines(Sequence[str]):
    """The lines of a large UTF-8 text, decoded one at a time; offsets are found when asked for."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._starts: IntArray | None = None

    def _start(self) -> IntArray:
        if self._starts is None:
            ends = np.flatnonzero(np.frombuffer(self._data, dtype=np.uint8) == 10)
            self._starts = np.r_[0, ends + 1, len(self._data) + 1]
        return self._starts

    def __len__(self) -> int:
        return len(self._start()) - 1

    @overload
    def __getitem__(self, index: int) -> str: ...

    @overload
    def __getitem__(self, index: slice) -> list[str]: ...

    def __getitem__(self, index: int | slice) -> str | list[str]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        start = self._start()
        return self._data[start[index] : start[index + 1] - 1].decode()


@dataclass(slots=True)
class BulkGrid:
    """A large text as a grid; iterating it is for its first records only."""

    name: str
    data: bytes  # UTF-8, lines end in \n
    separator: str | None
    label: str = field(default="", init=False)
    _lines: Lines | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self.label = self.name

    def records(self) -> Iterator[Record]:
        """Records that are not blank, found without touching the rest of the text."""
        line, offset = 1, 0
        while offset <= len(self.data):
            end = self.data.find(b"\n", offset)
            end = len(self.data) if end < 0 else end
            cells, _ = record_at([self.data[offset:end].decode()], 0, self.separator)
            if not (is_blank(cells) or (line == 1 and self.data.startswith(b"sep="))):
                yield line, cells
            line, offset = line + 1, end + 1

    def cells(self, line: int) -> list[str]:
        """The cells of the record that starts in a line."""
        if self._lines is None:
            self._lines = Lines(self.data)
        return record_at(self._lines, line - 1, self.separator)[0]


def read_bulk(grid: BulkGrid, reader: Reader) -> Block:
    """All rows under the header, into arrays made once for the whole file."""
    layout = reader.layout
    offset = 0
    n_above = layout.header_line or int(grid.data.startswith(b"sep="))
    for _ in range(n_above):
        offset = grid.data.find(b"\n", offset) + 1
        if offset == 0:
            offset = len(grid.data)
    store = _Store(grid.data.count(b"\n", offset) + 1, len(layout.diameters))
    line = n_above + 1
    while offset < len(grid.data):
        end = _cut(grid.data, offset, PIECE_BYTES)
        block = typed_block(grid.data[offset:end], line, grid.separator, reader)
        if block is not None:
            store.add(block)
            line += n_lines_of(grid.data[offset:end])
            offset = end
        while offset < end:  # finer, and row by row where that fails, too
            fine_end = min(_cut(grid.data, offset, FINE_BYTES), end)
            block = typed_block(grid.data[offset:fine_end], line, grid.separator, reader)
            n_taken = n_lines_of(grid.data[offset:fine_end])
            if block is None:
                records, n_taken = _records(grid.data, offset, fine_end, line, grid.separator)
                block = reader.read(records)
            store.add(block)
            line += n_taken
            offset = _after_lines(grid.data, offset, n_taken)
    return store.block()


def _cut(data: bytes, start: int, size: int) -> int:
    """The end of the line in which a piece of some size ends."""
    return data.find(b"\n", min(start + size, len(data))) + 1 or len(data)


def _after_lines(data: bytes, offset: int, n_lines: int) -> int:
    for _ in range(n_lines):
        offset = data.find(b"\n", offset) + 1 or len(data)
    return offset


def _records(
    data: bytes, start: int, end: int, line: int, separator: str | None
) -> tuple[list[Record], int]:
    """Records that begin in a part of the text, and how many lines they take.

    The last one may reach beyond the part where a line break stands in quotes.
    """
    n_lines = n_lines_of(data[start:end])
    reach = _after_lines(data, end, QUOTED_LINES)
    lines = data[start:reach].decode().split("\n")
    records: list[Record] = []
    index = 0
    while index < n_lines:
        cells, taken = record_at(lines, index, separator)
        if not is_blank(cells):
            records.append((line + index, cells))
        index += taken
    return records, index


class _Store:
    """Arrays for all rows of a file, filled piece by piece; 4-byte counts keep the peak low."""

    def __init__(self, n_lines: int, n_diameters: int) -> None:
        self._n = 0
        self._columns = {
            name: np.empty(
                (n_lines, n_diameters) if name == "diameter_mm" else n_lines,
                dtype=np.float64 if name in FLOATS else np.int32,
            )
            for name in Block.__slots__
        }

    def add(self, block: Block) -> None:
        end = self._n + len(block)
        for name, column in self._columns.items():
            column[self._n : end] = getattr(block, name)
        self._n = end

    def block(self) -> Block:
        columns: list[Any] = [column[: self._n] for column in self._columns.values()]
        return Block(*columns)


FLOATS = ("position_m", "direction_deg", "diameter_mm")
