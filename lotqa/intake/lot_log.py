"""One in-line log of a lot: the stream of its rows, told in the words of the lot sheet.

The reader is that of ``lotqa trace``, whose advice names options of the command line; here the same
is said by a key of a ``[[trace]]`` block.
"""

import io
import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import BinaryIO, cast

from lotqa.errors import UnusableInput
from lotqa.intake.refusal import Refused
from lotqa.intake.traces import TraceOptions, TraceReader, read_trace
from lotqa.model import LogEntry, Problem, TraceChunk

_FLAG_WITH_WORD = re.compile(r"--(unit|length-unit) (in|mm|m|cm|ft)\b")
_FLAG = re.compile(r"--([a-z]+(?:-[a-z]+)*)")


class HeldLog:
    """The content of a log that is in memory, with as much of a path as the reader asks for."""

    def __init__(self, name: str, content: bytes) -> None:
        self.name, self._content = name, content

    def open(self, _mode: str = "rb") -> BinaryIO:
        """The content as a file."""
        return io.BytesIO(self._content)

    def stat(self) -> SimpleNamespace:
        """Its size."""
        return SimpleNamespace(st_size=len(self._content))


class LotLog:
    """A log as the lot sees it: its messages name the keys of the lot sheet, not options."""

    def __init__(self, reader: TraceReader) -> None:
        self._reader = reader

    def __iter__(self) -> Iterator[TraceChunk]:
        try:
            yield from self._reader
        except Refused as refusal:
            found = tuple(_told(p) for p in refusal.problems if isinstance(p, Problem))
            raise Refused(refusal.file, refusal.line, in_the_sheet(refusal.what), found) from None

    @property
    def angles_deg(self) -> tuple[float, ...]:
        """Direction of each axis, the usual one where none is known."""
        return tuple(axis.angle_deg for axis in self._reader.axes)

    @property
    def length_source(self) -> str:
        """Where the metres come from, in words."""
        return self._reader.length_source

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is odd in the rows read so far."""
        return tuple(_told(p) for p in self._reader.problems)

    @property
    def rows(self) -> tuple[int, int, int]:
        """Rows read, used and reported so far."""
        return self._reader.rows_read, self._reader.rows_used, self._reader.rows_reported


def in_the_sheet(message: str) -> str:
    """A message about a log with options as keys of the lot sheet.

    >>> in_the_sheet("name it by --diameter-column, and give --unit in")
    'name it by diameter_columns, and give unit = "in" (in a [[trace]] block of lot.toml)'
    """
    told = _FLAG_WITH_WORD.sub(lambda m: f'{m[1].replace("-", "_")} = "{m[2]}"', message)
    told = _FLAG.sub(_key, told)
    return told if told == message else f"{told} (in a [[trace]] block of lot.toml)"


def _key(flag: re.Match[str]) -> str:
    key = flag[1].replace("-", "_")
    plural = {"diameter_column": "diameter_columns", "axis_angle": "axis_angles_deg"}
    return {"nominal": "label.nominal_mm", **plural}.get(key, key)


def _told(problem: Problem) -> Problem:
    p = problem
    return Problem(p.file, p.line, p.column, p.value, in_the_sheet(p.message), p.row_used)


def open_log(
    name: str,
    content: Path | bytes,
    entry: LogEntry,
    nominal_mm: float | None,
    problems: list[Problem],
) -> LotLog | None:
    """The log with its head read; None where it cannot be used, which is then a problem."""
    path = content if isinstance(content, Path) else cast("Path", HeldLog(name, content))
    try:
        return LotLog(read_trace(path, _options(entry, nominal_mm)))
    except Refused as refusal:
        told = Refused(refusal.file, refusal.line, in_the_sheet(refusal.what))
        problems.append(told.as_problem())
    except UnusableInput as error:
        what = in_the_sheet(str(error).removeprefix(f"{path}: "))
        message = f"{what}; the file is left out"
        problems.append(Problem(name, None, None, None, message, row_used=False))
    return None


def _options(entry: LogEntry, nominal_mm: float | None) -> TraceOptions:
    return TraceOptions(
        length_column=entry.length_column,
        time_column=entry.time_column,
        diameter_columns=entry.diameter_columns,
        axis_angles_deg=entry.axis_angles_deg,
        unit=entry.unit,
        length_unit=entry.length_unit,
        step_mm=entry.step_mm,
        length_scale=1.0 if entry.length_scale is None else entry.length_scale,
        speed_mm_s=entry.speed_mm_s,
        nominal_mm=nominal_mm,
    )
