"""What the columns of a readings table mean: long, wide, or a bare list of values."""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from types import MappingProxyType

from lotqa.intake.lot_codes import is_lot_header
from lotqa.intake.names import Columns, Field, match_columns, normal_unit, plain, unknown_column
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.refusal import Refused
from lotqa.intake.slips import MM_PER_INCH
from lotqa.intake.table import Grid, missing_columns, number_names
from lotqa.intake.text import EMPTY
from lotqa.model import Problem

DIAMETER_UNITS = MappingProxyType({"mm": 1.0, "in": MM_PER_INCH})
POSITION_UNITS = MappingProxyType({"m": 1.0, "cm": 0.01, "mm": 0.001})
DIRECTION_UNITS = MappingProxyType({"deg": 1.0})
FIELDS = (
    Field("spool", ("spool_id", "spool_no", "spool_number", "spool_name", "roll", "reel")),
    Field("position_m", ("pos", "distance", "length"), POSITION_UNITS),
    Field("direction_deg", ("dir", "angle"), DIRECTION_UNITS),
    Field("diameter_mm", ("dia", "diam", "d", "reading", "value"), DIAMETER_UNITS, required=True),
    Field("operator", ("who", "person", "measured_by")),
    Field("trial", ("repeat", "repetition")),
    Field("taken_at", ("taken", "time", "date", "timestamp")),
    Field("note", ("notes", "remark", "comment")),
)
_WIDE = re.compile(
    r"(?:d|dia|diam|diameter)_?(?P<deg>[0-9]+)(?:_?deg)?(?:_(?P<unit>mm|in|inch|inches))?"
)


@dataclass(frozen=True, slots=True)
class Layout:
    """Column numbers of a readings table; None where a column is absent.

    ``diameters`` has one column in a long table and one for each direction in a wide one;
    ``directions_deg`` is empty in a long table and NaN where a wide header only counts (d1, d2).
    """

    n_columns: int
    spool: int | None
    position: int | None
    direction: int | None
    trial: int | None
    operator: int | None
    diameters: tuple[int, ...]
    directions_deg: tuple[float, ...]
    factor_mm: tuple[float, ...]  # of a reading without a unit, one a diameter column
    position_factor_m: float
    headers: tuple[str, ...]  # as typed
    header_line: int  # 0: no header, the table is a bare list of values
    stem: str  # what a spool is called when there is no spool column
    lot: int | None = None  # of lot codes

    @property
    def is_wide(self) -> bool:
        """Whether each row holds the readings of one place."""
        return bool(self.directions_deg)


def find_layout(
    grid: Grid, unit: str | None, name: str
) -> tuple[Layout, Iterable[tuple[int, list[str]]], list[Problem]]:
    """The layout of a readings table, its data records, and what is odd about its header.

    :raises Refused: there is no header and more than one column, or no diameter column.
    """
    records = grid.records()
    line, header = next(records, (0, []))
    if not header:
        raise Refused(grid.label, None, EMPTY)
    stem = PurePath(name).stem
    filled = [cell for cell in header if cell.strip()]
    if all(not isinstance(read_number(cell, example=""), Unreadable) for cell in filled):
        if len(filled) > 1:
            raise Refused(
                grid.label,
                line,
                "there is no header: write the column names into the first line: "
                "spool, position_m, direction_deg, diameter_mm",
            )
        note = _one_spool(grid.label, None, stem)
        return _bare_list(header, unit, stem), grid.records(), [note]
    columns = match_columns(grid.label, line, header, FIELDS)
    problems = list(columns.problems)
    wide, directions, units = _wide_columns(columns)
    layout = _layout(columns, header, line, wide, directions, units, unit, stem)
    found = {*columns.index, *(("diameter_mm",) if wide else ())}
    free = [field.name for field in FIELDS if field.name not in found]
    for number, typed in columns.unknown:
        if is_lot_header(typed) and layout.lot is None:
            layout = replace(layout, lot=number)
        elif number not in wide:
            problems.append(unknown_column(grid.label, line, typed, FIELDS, free))
    if not layout.diameters:
        what = missing_columns(["diameter_mm"], header, problems)
        raise Refused(grid.label, line, what, problems)
    problems += _oddities(grid.label, layout, columns, wide)
    if layout.spool is not None:
        problems += number_names(grid, layout.spool, layout.headers[layout.spool])
    return layout, records, problems


def _bare_list(header: Sequence[str], unit: str | None, stem: str) -> Layout:
    column = next(index for index, cell in enumerate(header) if cell.strip())
    return Layout(
        n_columns=len(header),
        spool=None,
        position=None,
        direction=None,
        trial=None,
        operator=None,
        diameters=(column,),
        directions_deg=(),
        factor_mm=(DIAMETER_UNITS[unit or "mm"],),
        position_factor_m=1.0,
        headers=("diameter_mm",) * len(header),
        header_line=0,
        stem=stem,
    )


def _wide_columns(columns: Columns) -> tuple[tuple[int, ...], tuple[float, ...], tuple[str, ...]]:
    """Columns such as ``d60_mm``: their numbers, directions and units ('' if none is named)."""
    found = []
    for number, typed in columns.unknown:
        match = _WIDE.fullmatch(plain(typed))
        if match:
            found.append((number, float(match["deg"]), normal_unit(match["unit"] or "")))
    return tuple(zip(*found, strict=True)) if found else ((), (), ())  # type: ignore[return-value]


def _layout(
    columns: Columns,
    header: Sequence[str],
    line: int,
    wide: tuple[int, ...],
    directions: tuple[float, ...],
    units: tuple[str, ...],
    unit: str | None,
    stem: str,
) -> Layout:
    index = columns.index
    if wide:
        diameters = wide
        factors = tuple(DIAMETER_UNITS[unit or named or "mm"] for named in units)
        if _only_counted(directions):
            directions = (float("nan"),) * len(directions)
    else:
        diameters = (index["diameter_mm"],) if "diameter_mm" in index else ()
        from_header = columns.factor.get("diameter_mm")
        factors = (DIAMETER_UNITS[unit] if unit else from_header or 1.0,) * len(diameters)
    return Layout(
        n_columns=len(header),
        spool=index.get("spool"),
        position=index.get("position_m"),
        direction=None if wide else index.get("direction_deg"),
        trial=index.get("trial"),
        operator=index.get("operator"),
        diameters=diameters,
        directions_deg=directions,
        factor_mm=factors,
        position_factor_m=columns.factor.get("position_m") or 1.0,
        headers=tuple(cell.strip() for cell in header),
        header_line=line,
        stem=stem,
    )


def _only_counted(directions: Sequence[float]) -> bool:
    """Whether d1, d2, d3 count the readings of a place rather than name degrees."""
    return len(directions) > 1 and sorted(directions) == [1.0 + i for i in range(len(directions))]


def _one_spool(label: str, line: int | None, stem: str) -> Problem:
    message = (
        f'there is no spool column: all readings are taken as of one spool, "{stem}"; '
        "add a column spool if there are more"
    )
    return Problem(label, line, "spool", None, message)


def _oddities(label: str, layout: Layout, columns: Columns, wide: tuple[int, ...]) -> list[Problem]:
    problems = []
    line = layout.header_line
    if layout.spool is None:
        problems.append(_one_spool(label, line, layout.stem))
    if wide and any(map(math.isnan, layout.directions_deg)):
        first = layout.headers[layout.diameters[0]]
        last = layout.headers[layout.diameters[-1]]
        message = (
            f"columns {first} to {last} would be directions of 1 to {len(wide)} degrees and are "
            "taken as directions not known: name the direction, such as d0_mm and d90_mm"
        )
        problems.append(Problem(label, line, first, None, message))
    for name in ("diameter_mm", "direction_deg"):
        if wide and name in columns.index:
            typed = columns.typed[name]
            message = (
                f'column "{typed}" is left out: the columns such as '
                f"{layout.headers[layout.diameters[0]]} hold the readings"
            )
            problems.append(Problem(label, line, typed, None, message))
    return problems
