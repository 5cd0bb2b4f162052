"""A short way to read a log from bytes and to show its problems as a person sees them."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from lotqa.intake.traces import TraceOptions, TraceReader, read_trace
from lotqa.model import FloatArray, Problem

# Each way of parsing: bytes from which a file is large, layouts until a block is given up.
ROADS = {"layouts": (0, 64), "pandas": (0, 0), "plain": (10**9, 0)}


def take_road(patch: pytest.MonkeyPatch, road: str) -> None:
    """Parse clean rows by one of ROADS; the first leaves a line that has no layout to the next."""
    large, layouts = ROADS[road]
    patch.setattr("lotqa.intake.traces.clean.PANDAS_BYTES", large)
    patch.setattr("lotqa.intake.traces.layouts.MOST_LAYOUTS", layouts)


@dataclass(frozen=True)
class Log:
    """All rows of a log at once."""

    length_m: FloatArray
    diameter_mm: FloatArray
    sections: list[int]  # first rows of sections after the first
    told: list[str]
    reader: TraceReader


def lines_of(problems: tuple[Problem, ...]) -> list[str]:
    """Problems as lines 'file:line: message', a row that fell out marked by an x."""
    return [
        f"{p.file}{'' if p.line is None else f':{p.line}'}: {p.message}"
        + ("" if p.row_used else " [x]")
        for p in problems
    ]


def read(content: bytes | str, folder: Path, **options: object) -> Log:
    """A log of this content, called log.csv; its rows must add up at every chunk."""
    path = folder / "log.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    reader = read_trace(path, TraceOptions(**options))  # type: ignore[arg-type]
    lengths, diameters, sections, n_rows = [], [], [], 0
    for chunk in reader:
        assert chunk.first_row == n_rows
        assert 0 < len(chunk) <= 250_000
        assert chunk.diameter_mm.shape == (len(chunk), len(reader.axes))
        if chunk.new_section:
            sections.append(n_rows)
        n_rows += len(chunk)
        lengths.append(chunk.length_m)
        diameters.append(chunk.diameter_mm)
        assert reader.rows_used == n_rows
        assert reader.rows_read == reader.rows_used + reader.rows_reported
    assert reader.rows_read == reader.rows_used + reader.rows_reported
    assert reader.bytes_read == reader.bytes_total == path.stat().st_size
    length_m, diameter_mm = np.concatenate(lengths), np.concatenate(diameters)
    assert np.isfinite(length_m).all()
    assert np.isfinite(diameter_mm).all()
    assert length_m[0] == 0.0
    assert (np.diff(length_m) >= 0).all()  # over sections, too: lengths go on
    return Log(length_m, diameter_mm, sections, lines_of(reader.problems), reader)


def with_lines(content: bytes, at: int, *lines: bytes, without: int = 0) -> bytes:
    """A log with lines put in before line ``at`` (counted from 1), and some taken out there."""
    old = content.split(b"\n")
    return b"\n".join([*old[: at - 1], *lines, *old[at - 1 + without :]])
