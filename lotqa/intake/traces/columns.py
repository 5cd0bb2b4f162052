"""What the columns of a log mean, by their names or by what the user says of them.

A column is the length, the time, one axis of the gauge, or left out.  Two columns that could both
be the length, or more diameters than a gauge has axes, are never guessed: the columns are listed
and the user is asked to name one.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lotqa.intake.names import Field, match_field, normal_unit, one_of, plain
from lotqa.intake.refusal import Refused
from lotqa.intake.traces.options import (
    DIAMETER_UNITS,
    LENGTH_UNITS,
    MAX_AXES,
    TIME_UNITS,
    TraceOptions,
)

LENGTH = Field(
    "length_m",
    ("len", "position", "pos", "distance", "dist", "metres", "meters", "filament_length", "fed",
     "filament_position", "extruded", "line_length"),
    LENGTH_UNITS,
)  # fmt: skip
TIME = Field("time_s", ("t", "elapsed", "elapsed_time", "timestamp", "seconds", "tick"), TIME_UNITS)
DIAMETER = Field(
    "diameter_mm",
    ("dia", "diam", "d", "od", "width", "filament_width", "filament_diameter", "filament_dia",
     "reading", "value", "avg", "average", "d_avg", "d_mean", "diameter_avg", "diameter_mean"),
    DIAMETER_UNITS,
)  # fmt: skip
FIELDS = (LENGTH, TIME, DIAMETER)
_UNIT_WORDS = {"metres": 1.0, "meters": 1.0}
_AXIS = re.compile(
    r"(?:d|dia|diam|diameter|width|axis|od|filament_(?:width|diameter))_?"
    r"(?P<which>[xyzabc]|[0-9]{1,3})(?:_?deg)?(?:_(?P<unit>mm|in|inch|inches|um))?"
)
_LETTER = re.compile(r"(?P<which>[xyz])(?:_(?P<unit>mm|in|inch|inches|um))?")
# Where a gauge of two axes or three stands by its make (common practice, no source).
_CROSSED = {"x": 0.0, "y": 90.0}


@dataclass(frozen=True, slots=True)
class TraceColumns:
    """Column numbers from 0, with factors to metres (or seconds) and millimetres."""

    names: tuple[str, ...]  # as typed, or "column 1", "column 2"
    along: int | None  # the length or time column; None: the length is counted by rows
    along_factor: float
    along_unit: str | None  # as the header or the user says it
    is_time: bool
    diameters: tuple[int, ...]
    diameter_factors: tuple[float, ...]
    angles_deg: tuple[float | None, ...]
    left_out: tuple[str, ...]

    @property
    def used(self) -> tuple[int, ...]:
        """Columns that are read, in the order length, axes."""
        return (*(() if self.along is None else (self.along,)), *self.diameters)


def n_recognised(cells: Sequence[str], options: TraceOptions) -> int:
    """How many cells of a line are column names that are known or that the user gave."""
    own = {plain(name) for name in _own(options) if plain(name) and not name.isdigit()}
    return sum(
        bool(key)
        and (key in own or match_field(cell, FIELDS) is not None or bool(_AXIS.fullmatch(key)))
        for cell in cells
        for key in (plain(cell),)
    )


def _own(options: TraceOptions) -> list[str]:
    given = (options.length_column, options.time_column, *options.diameter_columns)
    return [name for name in given if name is not None]


def find_columns(
    file: str, line: int | None, header: Sequence[str], options: TraceOptions
) -> TraceColumns:
    """The meaning of each column of a header.

    :raises Refused: no diameter, no length, or more than one possible column for either.
    """
    names = tuple(cell.strip() for cell in header)
    diameters = _diameters(file, line, names, options)
    along, is_time = _along(file, line, names, options)
    factor, unit = _along_factor(names, along, is_time, options)
    factors = tuple(_diameter_factor(names[i], options) for i in diameters)
    used = {*diameters, along}
    left_out = tuple(name for i, name in enumerate(names) if name and i not in used)
    angles = _angles(file, [names[i] for i in diameters], options)
    return TraceColumns(names, along, factor, unit, is_time, diameters, factors, angles, left_out)


def named(file: str, line: int | None, names: Sequence[str], wanted: str, flag: str) -> int:
    """The number of a column that the user named, by its name or by its number from 1."""
    exact = [i for i, name in enumerate(names) if name == wanted.strip()]
    alike = [i for i, name in enumerate(names) if plain(name) == plain(wanted) and plain(name)]
    for found in (exact, alike):
        if len(found) == 1:
            return found[0]
    if len(exact or alike) > 1:
        numbers = one_of([str(i + 1) for i in exact or alike])
        raise Refused(
            file, line, f'{flag} "{wanted}" stands {len(exact or alike)} times: give {numbers}'
        )
    if wanted.strip().isdigit() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    raise Refused(file, line, f'there is no column "{wanted}", {seen(names)}: name one by {flag}')


def seen(names: Sequence[str]) -> str:
    """The columns of a log for a message."""
    return f"the log has {', '.join(name for name in names if name) or 'none'}"


def _diameters(
    file: str, line: int | None, names: Sequence[str], options: TraceOptions
) -> tuple[int, ...]:
    flag = "--diameter-column"
    if options.diameter_columns:
        found = tuple(named(file, line, names, own, flag) for own in options.diameter_columns)
        if len(set(found)) < len(found):
            raise Refused(file, line, f"{flag} names one column twice: name each axis once")
        return found
    others = {options.length_column, options.time_column}
    free = [i for i, name in enumerate(names) if name not in others]
    axes = [i for i in free if _AXIS.fullmatch(plain(names[i]))]
    if not axes:
        letters = [i for i in free if _LETTER.fullmatch(plain(names[i]))]
        axes = letters if len(letters) > 1 else []
    if not axes:  # a mean beside axes is left out: it says nothing that they do not
        axes = [i for i in free if _is(names[i], DIAMETER)]
        if len(axes) > 1:
            both = " and ".join(names[i] for i in axes)
            raise Refused(
                file,
                line,
                f"{both} could each be the diameter: name one by {flag}, or each axis of the gauge",
            )
    if not axes:
        raise Refused(
            file, line, f"no column is known as a diameter, {seen(names)}: name it by {flag}"
        )
    if len(axes) > MAX_AXES:
        raise Refused(
            file,
            line,
            f"{len(axes)} columns could be diameters ({', '.join(names[i] for i in axes)}): "
            f"name one to {MAX_AXES} by {flag}",
        )
    return tuple(axes)


def _is(name: str, field: Field) -> bool:
    found = match_field(name, (field,)) if name else None
    return found is not None


def _along(
    file: str, line: int | None, names: Sequence[str], options: TraceOptions
) -> tuple[int | None, bool]:
    """The column that says where a row is, and whether it is a time."""
    if options.step_mm is not None:
        return None, False
    if options.length_column is not None:
        return named(file, line, names, options.length_column, "--length-column"), False
    lengths = [i for i, name in enumerate(names) if _is(name, LENGTH)]
    times = [i for i, name in enumerate(names) if _is(name, TIME)]
    if options.time_column is not None:
        times = [named(file, line, names, options.time_column, "--time-column")]
        lengths = []
    if len(lengths) > 1:
        both = " and ".join(names[i] for i in lengths)
        raise Refused(file, line, f"{both} could each be the length: name one by --length-column")
    if lengths:
        return lengths[0], False
    if len(times) > 1:
        both = " and ".join(names[i] for i in times)
        raise Refused(file, line, f"{both} could each be the time: name one by --time-column")
    if times and options.speed_mm_s is not None:
        return times[0], True
    if times:
        raise Refused(
            file,
            line,
            f"there is no length column, only the time in {names[times[0]]}: say how fast the "
            "filament moved by --speed-mm-s, or how far it moves from row to row by --step-mm",
        )
    raise Refused(
        file,
        line,
        f"no column is known as a length, {seen(names)}: name it by --length-column, or say how "
        "far the filament moves from row to row by --step-mm",
    )


def _along_factor(
    names: Sequence[str], along: int | None, is_time: bool, options: TraceOptions
) -> tuple[float, str | None]:
    """Factor of the length column to true metres, and the unit that it is taken in."""
    if along is None:
        return (options.step_mm or 0.0) / 1000.0 * options.length_scale, None
    name = names[along]
    if is_time:
        unit = _unit_in(name, TIME)
        seconds = TIME_UNITS[unit or "s"]
        return seconds * (options.speed_mm_s or 0.0) / 1000.0 * options.length_scale, unit
    unit = options.length_unit or _unit_in(name, LENGTH)
    if unit is None and plain(name) in _UNIT_WORDS:
        unit = "m"
    return LENGTH_UNITS[unit or "m"] * options.length_scale, unit


def _unit_in(name: str, field: Field) -> str | None:
    """The unit at the end of a name; names of the user's own are looked at, too."""
    unit = normal_unit(plain(name).rpartition("_")[2])
    return unit if "_" in plain(name) and unit in field.units else None


def _diameter_factor(name: str, options: TraceOptions) -> float:
    unit = options.unit or _unit_in(name, DIAMETER)
    return DIAMETER_UNITS[unit or "mm"]


def _angles(file: str, names: Sequence[str], options: TraceOptions) -> tuple[float | None, ...]:
    """Angles of the axes as given, or as the names say: d0 and d90, x and y."""
    given = options.axis_angles_deg
    if given:
        if len(given) != len(names):
            raise Refused(
                file,
                None,
                f"{len(given)} angles are given for the axes {', '.join(names)}: give one each",
            )
        return given
    found = [_AXIS.fullmatch(plain(n)) or _LETTER.fullmatch(plain(n)) for n in names]
    which = [match["which"] for match in found if match is not None]
    if len(which) != len(names) or len(names) == 1:
        return (None,) * len(names)
    if all(w.isdigit() for w in which):
        degrees = [float(w) for w in which]
        if max(degrees) > MAX_AXES:  # d1 and d2 count the axes
            return tuple(degrees)
    elif len(which) == 2 and set(which) == set(_CROSSED):
        return tuple(_CROSSED[w] for w in which)
    return (None,) * len(names)
