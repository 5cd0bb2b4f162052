"""Pieces of a large readings file by typed columns, for rows that pandas reads without a doubt.

A row is taken from pandas only if it has as many cells as the header, its numbers are plain and
finite, and its names are there.  Any other row goes through the row reader, so that what is read,
and what is said about it, does not depend on the size of a file.
"""

import warnings
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

from lotqa.intake.layout import Layout
from lotqa.intake.rows import Block, Ints, Names, Reader
from lotqa.intake.table import Record
from lotqa.intake.text import is_blank, record_at
from lotqa.model import BoolArray, FloatArray

if TYPE_CHECKING:
    import pandas as pd

_KEEPER = "\x1fname"  # text to no human and no number to pandas


def n_lines_of(piece: bytes) -> int:
    """The number of lines, whether or not the last one is ended."""
    return piece.count(b"\n") + (not piece.endswith(b"\n"))


def typed_block(
    piece: bytes, first_line: int, separator: str | None, reader: Reader
) -> Block | None:
    """The piece by typed columns; None if any of it does not fit them."""
    frame = _parse(piece, separator, reader.layout)
    n_lines = n_lines_of(piece)
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
        trial=np.where(good & ~np.isnan(trial), trial, 0.0).astype(np.int32),
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
    """The columns that count: names as categories of text, the rest as numbers.

    A cell that is not empty and no number to pandas becomes infinite, which no row may keep.
    """
    import pandas as pd  # heavy: only large files pay for it

    small = piece.lower()
    if b"true" in small or b"false" in small:
        return None  # pandas would read a column of such words as 1 and 0
    floats = [*layout.diameters]
    floats += [c for c in (layout.position, layout.direction, layout.trial) if c is not None]
    texts = [c for c in (layout.spool, layout.operator) if c is not None]
    decimal = "," if separator != "," and b"," in piece else "."
    try:
        return _read(piece, separator, layout.n_columns, floats, texts, decimal)
    except (ValueError, Warning):  # pandas' own parser errors are ValueErrors
        pass
    try:
        frame = _read(piece, separator, layout.n_columns, [], [*texts, *floats], decimal)
    except (ValueError, Warning):
        return None
    if frame is None:
        return None
    for column in floats:
        text = frame[column].astype("str")
        plain = text.str.replace(",", ".") if decimal == "," else text
        values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=np.float64, copy=True)
        unread = np.isnan(values)
        values[unread & (text != "").to_numpy()] = np.inf
        frame[column] = values
    return frame


def _read(
    piece: bytes,
    separator: str | None,
    n_columns: int,
    floats: list[int],
    texts: list[int],
    decimal: str,
) -> "pd.DataFrame | None":
    """Some columns of a piece; None if a row is longer than the header.

    :raises ValueError, Warning: a cell of a column of numbers is not a number, or a row is odd.
    """
    import pandas as pd  # heavy: only large files pay for it

    beyond = n_columns  # one column more than there should be shows rows that are too long
    mark = separator or "\x1e"
    header = mark.join(map(str, range(beyond + 1)))
    # pandas turns names that all look like numbers into numbers (007 into 7); one that does not
    # look so, in a first row that is taken off again, keeps all of them text.
    keeper = mark.join(_KEEPER if c in (*texts, beyond) else "" for c in range(beyond + 1))
    dtype: dict[int, str] = dict.fromkeys(floats, "float64")
    dtype |= dict.fromkeys(texts, "category") | {beyond: "category"}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        frame = pd.read_csv(
            BytesIO(f"{header}\n{keeper}\n".encode() + piece),
            sep=mark,
            header=0,
            names=range(beyond + 1),
            usecols=sorted([*floats, *texts, beyond]),
            index_col=False,
            dtype=dtype,
            keep_default_na=False,
            na_values={c: [""] for c in floats},  # type: ignore[misc]  # names may be numbers
            skip_blank_lines=False,
            decimal=decimal,
            encoding="utf-8",
        )
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
