"""Clean rows whose lines look alike, read all at once; most recorders write nothing else.

Two lines are of one layout where they have digits in the same places and the same sign in every
other: ``12.3450,1.751`` and ``12.3460,1.748``.  If the first is a clean row, so is the second, and
its numbers are read off the same places: whole numbers of at most DIGITS digits, divided by a
power of ten.  Both are exact in binary, so the quotient is the nearest one to what was typed, as
``float`` gives it [1]_.  The layout changes where a length gets a digit more; a line without a
layout of its own (text, an exponent) stands alone.  Where layouts change often, another road is
quicker: None is returned.

.. [1] Clinger, How to read floating point numbers accurately, PLDI 1990, section 5: the case of
   a small whole number and a small power of ten.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lotqa.intake.traces.blocks import LINE_BYTES
from lotqa.model import BoolArray, FloatArray

MOST_LAYOUTS = 64  # of a block; beyond, setting them up costs more than it saves, measured
MOST_FAILURES = 3  # blocks in a row that were given up: the next ones are like them
ROWS_AT_ONCE = 8_192  # their bytes fit the cache
FIRST_ROWS = 512  # tried before more, so that a layout of few rows costs little
WIDEST = 256  # bytes of a line; a layout of a wider one takes much memory and serves few rows
DIGITS = 15  # 10**15 < 2**53
_PLAIN = re.compile(rb"[+-]?[0-9]*\.?[0-9]*")
_DIGITS = b"0123456789"
_DIGITS_ALIKE = bytes.maketrans(_DIGITS, b"0" * len(_DIGITS))


@dataclass(frozen=True, slots=True)
class _Number:
    """Where the digits of one number stand in a line."""

    places: tuple[int, ...]  # of its digits, the highest first
    divisor: float  # negative where the number has a minus


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """What lines of one layout have in common; ``least`` and ``span`` are repeated for many."""

    width: int  # bytes of a line with its end
    least: NDArray[np.uint8]  # smallest byte of each place
    span: NDArray[np.uint8]  # 9 where a digit stands, else 0
    numbers: tuple[_Number, ...]

    def read(self, text: NDArray[np.uint8], values: FloatArray) -> int:
        """Rows at the beginning of ``text``, their numbers into ``values`` (numbers, n)."""
        n, wanted = 0, FIRST_ROWS
        while True:
            n_rows = min(wanted, len(text) // self.width - n)
            if not n_rows:
                return n
            size = n_rows * self.width
            # Below the least byte the difference wraps and is large.
            digits = text[n * self.width :][:size] - self.least[:size]
            wrong = digits > self.span[:size]
            n_fine = int(wrong.argmax()) // self.width if wrong.any() else n_rows
            places = np.ascontiguousarray(digits.reshape(-1, self.width)[:n_fine].T)
            for number, column in zip(self.numbers, values, strict=True):
                part = column[n : n + n_fine]
                part[:] = places[number.places[0]]
                for place in number.places[1:]:
                    part *= 10.0
                    part += places[place]
                part /= number.divisor
            n += n_fine
            if n_fine < n_rows:
                return n
            wanted = ROWS_AT_ONCE


class Layouts:
    """Reads blocks of clean rows; ``pattern`` matches one, its groups are the used numbers."""

    def __init__(self, pattern: re.Pattern[bytes], point: str) -> None:
        self._pattern = pattern
        self._point = point.encode()
        self._key = b""
        self._layout: _Layout | None = None
        self._n_failures = 0

    def read(self, data: bytes, n_lines: int) -> tuple[BoolArray, FloatArray] | None:
        """Which lines are clean, and their numbers (n clean, groups); None: not this way."""
        if self._n_failures >= MOST_FAILURES:
            return None
        text = np.frombuffer(data, dtype=np.uint8)
        values = np.empty((self._pattern.groups, n_lines))
        fine = np.ones(n_lines, dtype=bool)
        at = line = n_clean = 0
        for _ in range(MOST_LAYOUTS):
            end = data.find(b"\n", at) + 1
            layout = self._layout_of(data[at:end]) if end - at <= WIDEST else None
            if layout is not None:
                n = layout.read(text[at:], values[:, n_clean:])
                at, line, n_clean = at + n * layout.width, line + n, n_clean + n
            else:
                numbers = self._alone(data[at : end - 1])
                fine[line] = numbers is not None
                if numbers is not None:
                    values[:, n_clean] = numbers
                    n_clean += 1
                at, line = end, line + 1
            if at == len(data):
                self._n_failures = 0
                return fine, values[:, :n_clean].T
        self._n_failures += 1
        return None

    def _match(self, line: bytes) -> re.Match[bytes] | None:
        return self._pattern.fullmatch(line.replace(self._point, b"."))

    def _alone(self, line: bytes) -> list[float] | None:
        """The numbers of one line; None where it is not clean."""
        match = self._match(line) if len(line) <= LINE_BYTES else None
        numbers = [] if match is None else [float(number) for number in match.groups()]
        return numbers if numbers and np.isfinite(numbers).all() else None

    def _layout_of(self, line: bytes) -> _Layout | None:
        """The layout of a line with its end; None where it is not clean or has an exponent."""
        key = line.translate(_DIGITS_ALIKE)
        if key == self._key:
            return self._layout
        match = self._match(line[:-1])
        if match is None:
            return None
        numbers = []
        for group in range(1, self._pattern.groups + 1):
            first, typed = match.start(group), match[group]
            places = tuple(first + i for i, sign in enumerate(typed) if sign in _DIGITS)
            if len(places) > DIGITS or not _PLAIN.fullmatch(typed):
                return None
            n_behind = len(typed) - 1 - typed.find(b".") if b"." in typed else 0
            numbers.append(_Number(places, (-1.0 if typed[:1] == b"-" else 1.0) * 10.0**n_behind))
        least = np.frombuffer(key, dtype=np.uint8)
        span = np.where(least == ord("0"), np.uint8(9), np.uint8(0))
        self._layout = _Layout(
            len(key), np.tile(least, ROWS_AT_ONCE), np.tile(span, ROWS_AT_ONCE), tuple(numbers)
        )
        self._key = key
        return self._layout
