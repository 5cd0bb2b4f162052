"""Readings files of millions of rows: typed columns first, row by row only where that fails.

The text is cut into pieces at line ends.  A piece is read by pandas with the types that a clean
file has; rows that are not clean (an empty or odd cell) go through the row reader, and a piece
that pandas refuses is cut finer and in the end read row by row.  Either road gives the same result.
"""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from lotqa.intake.layout import Layout
from lotqa.intake.rows import Block, Ints, Names, Reader
from lotqa.intake.table import Record
from lotqa.intake.text import QUOTED_LINES, is_blank, record_at
from lotqa.model import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import pandas as pd

BULK_BYTES = 2_000_000  # below it the import of pandas costs more than it saves
PIECE_BYTES = 4_000_000
FINE_BYTES = 64_000
_KEEPER = "\x1fname"  # text to no human and no number to pandas


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
        block = _typed(grid.data[offset:end], line, grid.separator, reader)
        if block is not None:
            store.add(block)
            line += _n_lines(grid.data[offset:end])
            offset = end
        while offset < end:  # finer, and row by row where that fails, too
            fine_end = min(_cut(grid.data, offset, FINE_BYTES), end)
            block = _typed(grid.data[offset:fine_end], line, grid.separator, reader)
            n_taken = _n_lines(grid.data[offset:fine_end])
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


def _n_lines(piece: bytes) -> int:
    return piece.count(b"\n") + (not piece.endswith(b"\n"))


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
    n_lines = _n_lines(data[start:end])
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


def _typed(piece: bytes, first_line: int, separator: str | None, reader: Reader) -> Block | None:
    """The piece by typed columns; None if any of it does not fit them."""
    frame = _parse(piece, separator, reader.layout)
    n_lines = _n_lines(piece)
    if frame is None or len(frame) != n_lines:
        return None
    layout = reader.layout
    diameter = np.column_stack([frame[c].to_numpy() for c in layout.diameters])
    diameter *= np.array(layout.factor_mm)
    position = _floats(frame, layout.position) * layout.position_factor_m
    direction = _floats(frame, layout.direction)
    trial = _floats(frame, layout.trial)
    good = np.isfinite(diameter).all(axis=1)
    good &= ~np.isinf(position) & ~(position < 0.0) & ~np.isinf(direction)
    good &= np.isnan(trial) | ((trial >= 1.0) & (trial <= 1e6) & (trial == np.floor(trial)))
    spool_of, names = _codes(frame, layout.spool)
    if names:
        good &= np.array([bool(name.strip()) for name in names])[spool_of]
    line = np.arange(first_line, first_line + n_lines, dtype=np.int32)
    ordinal = np.arange(reader.n_rows + 1, reader.n_rows + n_lines + 1, dtype=np.int32)
    odd: list[Record] = []
    n_marks = piece.count((separator or "\0").encode())
    if not good.all():
        lines = piece.split(b"\n")
        nonblank = np.ones(n_lines, dtype=np.bool_)
        for index in np.flatnonzero(~good).tolist():
            n_marks -= lines[index].count((separator or "\0").encode())
            cells, _ = record_at([lines[index].decode()], 0, separator)
            nonblank[index] = not is_blank(cells)
            if nonblank[index]:
                odd.append((first_line + index, cells))
        ordinal = reader.n_rows + np.cumsum(nonblank, dtype=np.int32)
    n_good = int(good.sum())
    if n_marks != n_good * (layout.n_columns - 1 if separator else 0):
        return None  # some row is longer or shorter than the header
    if layout.spool is None:
        spool: Ints = np.full(n_lines, reader.spools.add(layout.stem, first_line), dtype=np.int32)
    else:
        spool = _numbers(reader.spools, names, spool_of, line, good)
    block = Block(
        line=line,
        ordinal=ordinal,
        spool=spool,
        position_m=position,
        direction_deg=direction,
        diameter_mm=diameter,
        trial=np.nan_to_num(trial).astype(np.int32),
        operator=_operators(frame, layout, reader, line, good),
    )
    last = int(ordinal[-1])
    if n_good < n_lines:
        block = block.take(good)
    if odd:
        block = _with_odd(block, reader.read(odd), ordinal, first_line)
    reader.n_rows = last
    return block


def _parse(piece: bytes, separator: str | None, layout: Layout) -> "pd.DataFrame | None":
    import pandas as pd  # heavy: only large files pay for it

    small = piece.lower()
    if b"true" in small or b"false" in small:
        return None  # pandas would read a column of such words as 1 and 0
    floats = [*layout.diameters]
    floats += [c for c in (layout.position, layout.direction, layout.trial) if c is not None]
    texts = [c for c in (layout.spool, layout.operator) if c is not None]
    beyond = layout.n_columns  # one column more than there should be shows rows that are too long
    mark = separator or "\x1e"
    header = mark.join(map(str, range(beyond + 1)))
    # pandas turns names that all look like numbers into numbers (007 into 7); one that does not
    # look so, in a first row that is taken off again, keeps all of them text.
    keeper = mark.join(_KEEPER if c in (*texts, beyond) else "" for c in range(beyond + 1))
    above = f"{header}\n{keeper}\n".encode()
    dtype: dict[int, str] = dict.fromkeys(floats, "float64")
    dtype |= dict.fromkeys(texts, "category") | {beyond: "category"}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            frame = pd.read_csv(
                BytesIO(above + piece),
                sep=mark,
                header=0,
                names=range(beyond + 1),
                usecols=sorted([*floats, *texts, beyond]),
                index_col=False,
                dtype=dtype,
                keep_default_na=False,
                na_values={c: [""] for c in floats},
                skip_blank_lines=False,
                decimal="," if separator != "," and b"," in piece else ".",
                encoding="utf-8",
            )
    except (ValueError, Warning):  # pandas' own parser errors are ValueErrors
        return None
    names = {column: frame[column].cat.categories for column in (*texts, beyond)}
    if any(not isinstance(name, str) for column in names for name in names[column]):
        return None
    if any(name.strip() for name in names[beyond] if name != _KEEPER):
        return None
    return frame.iloc[1:]


def _floats(frame: "pd.DataFrame", column: int | None) -> FloatArray:
    if column is None:
        return np.full(len(frame), np.nan)
    values: FloatArray = frame[column].to_numpy()
    return values


def _codes(frame: "pd.DataFrame", column: int | None) -> tuple[Ints, list[str]]:
    if column is None:
        return np.empty(0, dtype=np.int64), []
    text = frame[column].cat
    codes = text.codes.to_numpy()
    names = list(text.categories)
    if (codes < 0).any():  # the row is too short to have this cell
        codes = np.where(codes < 0, len(names), codes.astype(np.int64))
        names.append("")
    return codes, names


def _numbers(known: Names, names: list[str], codes: Ints, line: Ints, good: BoolArray) -> Ints:
    """Numbers of names among the known ones, new ones added in order of first appearance.

    Only good rows add a name; an empty name has number -1.
    """
    rows = np.flatnonzero(good)[::-1]
    first = np.full(len(names), -1, dtype=np.int64)
    first[codes[rows]] = rows  # the last write is the first row
    number = np.full(len(names), -1, dtype=np.int32)
    for code in np.argsort(first, kind="stable").tolist():
        if first[code] >= 0 and names[code].strip():
            number[code] = known.add(names[code].strip(), int(line[first[code]]))
    return number[codes]


def _operators(
    frame: "pd.DataFrame", layout: Layout, reader: Reader, line: Ints, good: BoolArray
) -> Ints:
    codes, names = _codes(frame, layout.operator)
    if not names:
        return np.full(len(frame), -1, dtype=np.int32)
    return _numbers(reader.operators, names, codes, line, good)


def _with_odd(block: Block, odd: Block, ordinal: Ints, first_line: int) -> Block:
    """The rows of both blocks in the order of their lines."""
    odd.ordinal[:] = ordinal[odd.line - first_line]
    order = np.argsort(np.r_[block.line, odd.line], kind="stable")
    return Block(
        *(
            np.concatenate([getattr(block, name), getattr(odd, name)])[order]
            for name in Block.__slots__
        )
    )


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
