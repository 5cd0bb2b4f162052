"""Column names as people write them, and what they probably meant.

A header is compared without case, spaces, brackets and dashes, and its unit is read off the end:
``Diameter (mm)``, ``dia mm`` and ``diameter_mm`` are one column.  A column that is not known is
reported with the nearest known name and left out; it is never guessed.
"""

import dataclasses
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType

from lotqa.model import Problem

UNIT_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "inch": "in",
        "inches": "in",
        '"': "in",
        "″": "in",
        "millimetre": "mm",
        "millimeter": "mm",
        "metre": "m",
        "meter": "m",
        "metres": "m",
        "meters": "m",
        "degree": "deg",
        "degrees": "deg",
        "°": "deg",
        "gram": "g",
        "grams": "g",
        "hours": "h",
        "hour": "h",
        "hrs": "h",
        "degc": "c",
        "°c": "c",
    }
)
NEAR = 0.72  # of difflib's ratio: 'wieghings' and 'spoool' pass, 'colour' for 'count' does not


@dataclass(frozen=True, slots=True)
class Field:
    """A column that a table may have; ``name`` carries the unit that its values end up in."""

    name: str
    aliases: tuple[str, ...] = ()
    units: Mapping[str, float] = dataclasses.field(default_factory=dict)  # factor to name's unit
    required: bool = False

    @property
    def base(self) -> str:
        """The name without its unit."""
        for unit in self.units:
            if self.name.endswith(f"_{unit}"):
                return self.name[: -len(unit) - 1]
        return self.name


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column holds which field, and in which unit."""

    index: Mapping[str, int]
    factor: Mapping[str, float | None]  # None: the header names no unit
    typed: Mapping[str, str]  # the header exactly as typed
    unknown: tuple[tuple[int, str], ...]
    problems: tuple[Problem, ...]


def plain(name: str) -> str:
    """A name without case, spaces, brackets and dashes.

    >>> plain(" Diameter (mm) "), plain("Direction °")
    ('diameter_mm', 'direction_deg')
    """
    text = name.strip().casefold().replace("°", " deg ")
    return re.sub(r"[\W_]+", "_", text).strip("_")


def normal_unit(unit: str) -> str:
    """One spelling for a unit: ``Inches`` and ``in`` are both ``in``."""
    unit = unit.strip().casefold()
    return UNIT_SPELLINGS.get(unit, unit)


def did_you_mean(typed: str, known: Iterable[str]) -> str | None:
    """The known word nearest to what was typed, or None when none is near."""
    words = {plain(word): word for word in reversed(list(known))}
    found = get_close_matches(plain(typed), words, n=1, cutoff=NEAR)
    return words[found[0]] if found else None


def one_of(known: Sequence[str]) -> str:
    """'a, b or c' for a message."""
    return known[0] if len(known) == 1 else f"{', '.join(known[:-1])} or {known[-1]}"


def match_field(name: str, fields: Sequence[Field]) -> tuple[Field, float | None] | None:
    """The field that a header names and the factor of its unit (None: no unit in the header)."""
    key = plain(name)
    for field in fields:
        bases = (field.base, *field.aliases)
        if key in bases or key == field.name:
            return field, (1.0 if key == field.name and field.units else None)
        base, _, tail = key.rpartition("_")
        unit = normal_unit(tail)
        if base in bases and unit in field.units:
            return field, field.units[unit]
    return None


def match_columns(file: str, line: int, header: Sequence[str], fields: Sequence[Field]) -> Columns:
    """Find each field's column; a field named twice is reported and its first column used."""
    index: dict[str, int] = {}
    factor: dict[str, float | None] = {}
    typed: dict[str, str] = {}
    unknown: list[tuple[int, str]] = []
    problems: list[Problem] = []
    for number, raw in enumerate(header):
        name = raw.strip()
        if not name:
            continue
        matched = match_field(name, fields)
        if matched is None:
            unknown.append((number, name))
        elif matched[0].name in index:
            field = matched[0].name
            message = f'column "{name}" is {field} a second time: the first one is used'
            problems.append(Problem(file, line, name, None, message))
        else:
            field = matched[0].name
            index[field], factor[field], typed[field] = number, matched[1], name
    return Columns(index, factor, typed, tuple(unknown), tuple(problems))


def unknown_column(
    file: str, line: int, name: str, fields: Sequence[Field], free: Iterable[str]
) -> Problem:
    """The report of a column that is left out; ``free`` are the fields not yet found."""
    words = {alias: f.name for f in fields if f.name in set(free) for alias in spellings(f)}
    near = did_you_mean(name, words)
    if near is not None:
        advice = f"did you mean {words[near]}? The column is left out"
    else:
        advice = f"the column is left out; known are {', '.join(f.name for f in fields)}"
    return Problem(file, line, name, None, f'column "{name}" is not known: {advice}')


def spellings(field: Field) -> tuple[str, ...]:
    """All names that a field answers to, its proper name first."""
    return (field.name, field.base, *field.aliases)
