"""The clean rows of a block, read together in a large file, else line by line by a pattern.

Lines that look alike are read by their layout (see the neighbour).  Where layouts change too often
pandas reads the block.  One that it refuses has lines that are no rows: they are found by what they
are made of (letters, a wrong number of separators) and set aside; the rest goes to pandas again,
and only if that fails is each line held against the pattern.  Each road gives the same rows.
"""

import csv
import io
import re

import numpy as np

from lotqa.intake.traces.blocks import LINE_BYTES
from lotqa.intake.traces.head import Form
from lotqa.intake.traces.layouts import Layouts
from lotqa.model import BoolArray, FloatArray

PANDAS_BYTES = 2_000_000  # of the file; below it the import of pandas costs more than it saves
_NUMBER = rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_WORDS = re.compile(rb"true|false", re.IGNORECASE)
_OF_NUMBERS = b"0123456789+-.eE \t\n"


class CleanRows:
    """Tells the clean lines of a block, and their numbers in the order of the used columns."""

    def __init__(self, form: Form, bulk: bool) -> None:
        self._form = form
        self._bulk = bulk
        self._used = form.columns.used
        self._pattern = _pattern(form)
        order = sorted(self._used)
        self._places = [order.index(column) for column in self._used]  # from file order
        self._is_everything = len(self._used) == form.n_cells
        self._layouts = Layouts(self._pattern, form.point)
        self._unquote = _unquoting(form)
        self._foreign = np.ones(256, dtype=bool)
        known = _OF_NUMBERS + (form.separator or "").encode() + form.point.encode()
        self._foreign[np.frombuffer(known, dtype=np.uint8)] = False

    def read(self, data: bytes, n_lines: int, is_cut: bool) -> tuple[BoolArray, FloatArray]:
        """Which lines are clean, and their numbers (n clean, n used), all finite."""
        if b'"' in data:
            for pattern, plain in self._unquote:
                data = pattern.sub(plain, data)
        if self._bulk:
            if not is_cut:
                alike = self._layouts.read(data, n_lines)
                if alike is not None:
                    return alike[0], self._in_order(alike[1])
                values = self._by_pandas(data, n_lines)
                if values is not None:
                    return _finite(np.ones(n_lines, dtype=bool), values)
            fine = ~self._suspects(data, n_lines)
            fine[-1] &= not is_cut
            if fine.any():
                lines = data.split(b"\n")
                kept = b"\n".join([lines[i] for i in np.flatnonzero(fine).tolist()]) + b"\n"
                values = self._by_pandas(kept, int(fine.sum()))
                if values is not None:
                    return _finite(fine, values)
        return self._by_pattern(data, is_cut)

    def _by_pattern(self, data: bytes, is_cut: bool) -> tuple[BoolArray, FloatArray]:
        """The same line by line."""
        lines = data.split(b"\n")[:-1]
        point = self._form.point.encode()
        if point != b".":
            lines = [line.replace(point, b".") for line in lines]
        match = self._pattern.fullmatch
        found = [match(line) if len(line) <= LINE_BYTES else None for line in lines]
        if is_cut:
            found[-1] = None
        numbers = [[float(g) for g in m.groups()] for m in found if m is not None]
        values = np.array(numbers).reshape(-1, len(self._used))
        values = self._in_order(values)
        return _finite(np.array([m is not None for m in found]), values)

    def _suspects(self, data: bytes, n_lines: int) -> BoolArray:
        """Lines with signs that no number has, or with another number of separators."""
        text = np.frombuffer(data, dtype=np.uint8)
        ends = np.flatnonzero(text == ord("\n"))
        suspect = np.zeros(n_lines, dtype=bool)
        if self._is_everything:
            suspect[np.searchsorted(ends, np.flatnonzero(self._foreign[text]))] = True
        if self._form.separator is not None:
            marks = np.flatnonzero(text == ord(self._form.separator))
            n_marks = np.diff(np.searchsorted(marks, ends), prepend=0)
            suspect |= n_marks != self._form.n_cells - 1
        return suspect

    def _by_pandas(self, data: bytes, n_lines: int) -> FloatArray | None:
        """All lines as numbers, or None where pandas sees anything else in them."""
        import pandas as pd

        form = self._form
        if b'"' in data or b"\0" in data or not _has_short_lines(data):
            return None
        separator = form.separator
        if separator is None:
            data, separator = _single_blanks(data), " "
        # Where the first line has more cells, pandas takes that for the width of all.
        if data.count(separator.encode(), 0, data.find(b"\n")) >= form.n_cells:
            return None
        if not self._is_everything and not _has_cells(data, separator, n_lines, form.n_cells):
            return None
        try:
            frame = pd.read_csv(
                io.BytesIO(data),
                header=None,
                names=range(form.n_cells),
                usecols=None if self._is_everything else sorted(self._used),
                dtype=np.float64,
                sep=separator,
                decimal=form.point,
                engine="c",
                quoting=csv.QUOTE_NONE,
                skip_blank_lines=False,
                index_col=False,
                low_memory=False,
                encoding_errors="replace",
            )
        except (ValueError, OverflowError, pd.errors.ParserError):
            return None
        if len(frame) != n_lines:
            return None
        values = frame.to_numpy()
        # A column with nothing but true, false and empty cells is one of 1, 0 and NaN to pandas.
        if _may_be_words(values) and _WORDS.search(data):
            return None
        return self._in_order(values)

    def _in_order(self, values: FloatArray) -> FloatArray:
        """Columns in the order of use, from that of the file."""
        return values if self._places == sorted(self._places) else values[:, self._places]


def _finite(fine: BoolArray, values: FloatArray) -> tuple[BoolArray, FloatArray]:
    """The same without rows that hold a value that is no number or infinite."""
    finite = np.isfinite(values).all(axis=1)
    if finite.all():
        return fine, values
    fine[np.flatnonzero(fine)[~finite]] = False
    return fine, values[finite]


def _may_be_words(values: FloatArray) -> bool:
    """Whether a column has no number but 0 and 1."""
    return bool(((values == 0.0) | (values == 1.0) | np.isnan(values)).all(axis=0).any())


def _unquoting(form: Form) -> list[tuple[re.Pattern[bytes], bytes]]:
    """What takes quotes off whole cells; a decimal comma between commas becomes a point."""
    if form.separator is None:
        return []
    mark = re.escape(form.separator.encode())
    before, after = rb'(?<![^%s\n])"' % mark, rb'"(?![^%s\n])' % mark
    plain = (re.compile(before + rb'([^"\n%s]*)' % mark + after), rb"\1")
    if form.separator != ",":
        return [plain]
    comma = re.compile(before + rb"([+-]?[0-9]*),([0-9]+)" + after)
    return [(comma, rb"\1.\2"), plain]


def _pattern(form: Form) -> re.Pattern[bytes]:
    """A row with numbers in the used columns and anything in the others."""
    used = set(form.columns.used)
    blank = rb"[ ]*" if form.separator == "\t" else rb"[ \t]*"
    if form.separator is None:
        cells = [rb"(%s)" % _NUMBER if i in used else rb'[^ \t"\0]+' for i in range(form.n_cells)]
        return re.compile(blank + rb"[ \t]+".join(cells) + blank)
    separator = re.escape(form.separator.encode())
    other = rb'[^%s"\0]*' % separator
    number = blank + rb"(%s)" % _NUMBER + blank
    cells = [number if i in used else other for i in range(form.n_cells)]
    return re.compile(separator.join(cells))


def _single_blanks(data: bytes) -> bytes:
    """Columns set apart by one blank each, none at the ends of a line."""
    data = data.replace(b"\t", b" ")
    while b"  " in data:
        data = data.replace(b"  ", b" ")
    return data.replace(b"\n ", b"\n").replace(b" \n", b"\n").removeprefix(b" ")


def _has_short_lines(data: bytes) -> bool:
    """Whether no line is as long as ``LINE_BYTES``, told without finding all line ends."""
    half = LINE_BYTES // 2
    return all(data.find(b"\n", at, at + half) >= 0 for at in range(0, len(data) - half, half))


def _has_cells(data: bytes, separator: str, n_lines: int, n_cells: int) -> bool:
    """Whether each line has so many cells; pandas does not say so where it skips columns."""
    text = np.frombuffer(data, dtype=np.uint8)
    marks = np.flatnonzero(text == ord(separator))
    if len(marks) != n_lines * (n_cells - 1):
        return False
    ends = np.flatnonzero(text == ord("\n"))
    of_line = marks.reshape(n_lines, n_cells - 1)
    starts = np.concatenate([[-1], ends[:-1]])
    return bool((of_line[:, 0] > starts).all() and (of_line[:, -1] < ends).all())
