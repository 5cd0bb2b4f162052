"""The readings of a gauge study: who read which place how often, every row accounted for.

Long, one reading a row: ``place`` or ``position_m`` (and ``spool``, ``direction_deg``), ``operator``,
``trial``, ``diameter_mm``.  Wide, one column an operator: ``place, trial, ada_mm, ben_mm``, or one
an operator and trial: ``place, ada_1_mm, ada_2_mm``.  Readings of one place in two directions are
two places: ovality is no scatter.  Without a trial column trials count in the order typed.

A study with a hole is refused and every missing cell named, since all shares would be off.
"""

import re
from collections import Counter
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path, PurePath
from types import MappingProxyType

import numpy as np

from lotqa.errors import UnusableInput
from lotqa.intake.layout import DIAMETER_UNITS, DIRECTION_UNITS, POSITION_UNITS
from lotqa.intake.names import Field, plain
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.refusal import Refused
from lotqa.intake.roles import WORKBOOK
from lotqa.intake.slips import HIGHEST_MM, LOWEST_MM, MM_PER_INCH, STOCK_MM, range_message
from lotqa.intake.table import (
    Cells,
    Grid,
    Table,
    TextGrid,
    find_separator,
    missing_columns,
    read_table,
)
from lotqa.intake.text import decode
from lotqa.intake.workbook import open_workbook, sheet_grid
from lotqa.model import FloatArray, IntArray, Problem, SourceFile

FIELDS = (
    Field("spool", ("roll", "reel")),
    Field("place", ("part", "piece", "point", "spot")),
    Field("position_m", ("pos", "distance"), POSITION_UNITS),
    Field("direction_deg", ("dir", "angle"), DIRECTION_UNITS),
    Field("operator", ("who", "person", "measured_by", "hand")),
    Field("trial", ("repeat", "repetition", "run")),
    Field("diameter_mm", ("dia", "diam", "d", "reading", "value"), DIAMETER_UNITS),
    Field("instrument", ("calliper", "caliper", "tool", "gauge")),
    Field("taken_at", ("taken", "time", "date", "timestamp")),
    Field("note", ("notes", "remark", "comment")),
)
BY_NAME = MappingProxyType({field.name: field for field in FIELDS})
PLACE_FIELDS = ("spool", "place", "position_m", "direction_deg")
_HAND = re.compile(r"(?P<who>.+?)(?:_(?P<trial>[0-9]{1,3}))?_(?P<unit>mm|in)")
_DIRECTION = re.compile(r"d(?:ia|iam|iameter)?_?[0-9]+")
NAMED_MOST = 12  # missing cells named one by one; more are a study that was broken off
ONE_HAND = "one hand"  # an operator who was not named


@dataclass(frozen=True, slots=True, eq=False)
class StudyTable:
    """A balanced study, one array element a reading, with its file and what was odd."""

    places: tuple[str, ...]
    operators: tuple[str, ...]
    n_trials: int
    place: IntArray  # index into places
    operator: IntArray  # index into operators
    value_mm: FloatArray
    instrument: str | None
    problems: tuple[Problem, ...]
    file: SourceFile


@dataclass(frozen=True, slots=True)
class _Hand:
    """A column of a wide table."""

    column: int
    header: str
    operator: str
    trial: int | None
    factor: float


@dataclass(frozen=True, slots=True)
class _Read:
    """One reading."""

    line: int
    place: str
    operator: str
    trial: int | None
    value_mm: float


def read_study(path: Path) -> StudyTable:
    """Read a study from a file.

    :raises UnusableInput: it cannot be read, has no places, or has a hole.
    """
    return study_of(path.name, content_of(path))


def content_of(path: Path) -> bytes:
    """The bytes of a file; UnusableInput if there is none to read."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise UnusableInput(f"{path}: there is no such file: give a table of readings") from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UnusableInput(f"{path}: the file cannot be read ({reason}): give a file") from None


def study_of(name: str, content: bytes) -> StudyTable:
    """The same from a file's name and content; touches no file."""
    grid, problems = grid_of(name, content, FIELDS)
    table = read_table(grid, FIELDS)
    hands = _hands(table)
    taken = {hand.header for hand in hands}
    problems += [p for p in table.problems if p.column not in taken]
    _refuse_without_columns(table, hands, problems)
    reads: list[_Read] = []
    instruments: dict[str, str] = {}
    n_used = 0
    for record in table.rows:
        cells = Cells(table, record, BY_NAME)
        found = _row(cells, table, hands, record[1])
        problems += cells.problems
        n_used += bool(found)
        reads += found
        tool = cells.text("instrument")
        if found and tool:
            instruments.setdefault(" ".join(tool.split()).casefold(), tool)
    if not table.rows:
        raise Refused(grid.label, None, "a header and no rows: write the readings under it")
    if not reads:
        raise Refused(grid.label, None, "none of the rows can be used", problems)
    if len(instruments) > 1:
        raise Refused(
            grid.label,
            None,
            f"readings of {' and '.join(instruments.values())} are mixed: "
            "a study is of one instrument, part them into a file each",
            problems,
        )
    file = SourceFile(
        name,
        content,
        sha256(content).hexdigest(),
        len(table.rows),
        n_used,
        len(table.rows) - n_used,
    )
    return _arranged(grid.label, reads, next(iter(instruments.values()), None), problems, file)


def grid_of(name: str, content: bytes, fields: tuple[Field, ...]) -> tuple[Grid, list[Problem]]:
    """The table in a file: text, or the first sheet of a workbook that holds anything."""
    if PurePath(name).suffix.casefold() == WORKBOOK:
        for title, rows in open_workbook(name, content).items():
            if any(any(value is not None for value in row) for row in rows):
                return sheet_grid(name, f"{name}[{title}]", rows), []
        raise Refused(name, None, "the workbook is empty: write a header line and rows")
    text, notes = decode(name, content)
    lines = text.split("\n")
    return TextGrid(name, lines, find_separator(lines, fields)), list(notes)


def _hands(table: Table) -> tuple[_Hand, ...]:
    """Columns named after an operator; none where there is a diameter column."""
    if "diameter_mm" in table.columns.index:
        return ()
    hands = []
    for column, typed in table.columns.unknown:
        match = _HAND.fullmatch(plain(typed))
        if match:
            who = typed[: len(match["who"])] if plain(typed) == typed.casefold() else match["who"]
            trial = None if match["trial"] is None else int(match["trial"])
            factor = DIAMETER_UNITS[match["unit"]]
            hands.append(_Hand(column, typed, who, trial, factor))
    return tuple(hands)


def _refuse_without_columns(
    table: Table, hands: tuple[_Hand, ...], problems: list[Problem]
) -> None:
    if "diameter_mm" not in table.columns.index and not hands:
        header = [*table.columns.typed.values(), *(name for _, name in table.columns.unknown)]
        what = missing_columns(["diameter_mm"], header, problems)
        raise Refused(table.file, None, f"{what}, or name a column for each hand, such as ada_mm")
    turned = [hand.header for hand in hands if _DIRECTION.fullmatch(plain(hand.operator))]
    if turned:
        raise Refused(
            table.file,
            None,
            f"{' and '.join(turned)} are directions and no hands: write one reading a row, with "
            "columns place, direction_deg, operator, trial, diameter_mm",
            problems,
        )
    if not {"place", "position_m"} & set(table.columns.index):
        raise Refused(
            table.file,
            None,
            "there is no column place or position_m, so nobody can tell which readings are of the "
            "same place: add a column place (1, 2, 3)",
            problems,
        )


def _row(cells: Cells, table: Table, hands: tuple[_Hand, ...], row: list[str]) -> list[_Read]:
    """The readings of one row; none if something in it cannot be read."""
    if cells.too_many():
        return []
    place = _place(cells, table)
    trial = _trial(cells, "trial" in table.columns.index)
    operator = _operator(cells, table, bool(hands))
    if hands:
        reads = _wide(cells, table.file, hands, row, place, trial)
        return [] if cells.failed else reads
    value_mm = cells.number("diameter_mm", "1.75", required=True)
    if value_mm is not None and not LOWEST_MM <= value_mm <= HIGHEST_MM:
        header, typed = cells.header("diameter_mm"), cells.text("diameter_mm")
        in_inches = table.columns.factor.get("diameter_mm") == MM_PER_INCH
        message = range_message(header, typed, value_mm, in_inches=in_inches, stock_mm=STOCK_MM)
        cells.problems.append(Problem(table.file, cells.line, header, typed, message, False))
    if cells.failed or value_mm is None:
        return []
    return [_Read(cells.line, place, operator, trial, value_mm)]


def _wide(
    cells: Cells,
    file: str,
    hands: tuple[_Hand, ...],
    row: list[str],
    place: str,
    trial: int | None,
) -> list[_Read]:
    """The readings of one row of a wide table; an empty cell shows later as a missing one."""
    reads = []
    for hand in hands:
        typed = row[hand.column].strip() if hand.column < len(row) else ""
        if not typed:
            continue
        value = read_number(typed, example="1.75", units=DIAMETER_UNITS, default=hand.factor)
        if isinstance(value, Unreadable):
            message = f'{hand.header} is "{typed}": {value.advice}'
            cells.problems.append(Problem(file, cells.line, hand.header, typed, message, False))
            continue
        if not LOWEST_MM <= value <= HIGHEST_MM:
            in_inches = hand.factor != 1.0
            message = range_message(
                hand.header, typed, value, in_inches=in_inches, stock_mm=STOCK_MM
            )
            cells.problems.append(Problem(file, cells.line, hand.header, typed, message, False))
            continue
        number = trial if hand.trial is None else hand.trial
        reads.append(_Read(cells.line, place, hand.operator, number, value))
    if not reads and not cells.failed:
        message = f"no reading stands in the row: write the diameter under {hands[0].header}"
        cells.problems.append(Problem(file, cells.line, hands[0].header, None, message, False))
    return reads


def _place(cells: Cells, table: Table) -> str:
    """One name for the place of a row, made of all columns that tell places apart."""
    parts = []
    for name in PLACE_FIELDS:
        if name not in table.columns.index:
            continue
        text = cells.text(name)
        if name in ("position_m", "direction_deg"):
            value = cells.number(name, "0.31" if name == "position_m" else "90", required=True)
            unit = "m" if name == "position_m" else "deg"
            text = "" if value is None else f"{value:g} {unit}"
        elif not text:
            cells.complain(name, f"is empty: write the {name} in every row")
        parts.append(f"spool {text}" if name == "spool" else text)
    return ", ".join(parts)


def _operator(cells: Cells, table: Table, is_wide: bool) -> str:
    if is_wide or "operator" not in table.columns.index:
        return ONE_HAND
    if not cells.text("operator"):
        cells.complain("operator", "is empty: write who read, in every row")
    return cells.text("operator")


def _trial(cells: Cells, has_column: bool) -> int | None:
    if not has_column:
        return None
    value = cells.number("trial", "2", required=True)
    if value is None:
        return None
    if value < 1 or value != int(value) or value > 1000:
        cells.complain("trial", f'is "{cells.text("trial")}": count trials 1, 2, 3')
        return None
    return int(value)


def _arranged(
    label: str,
    reads: list[_Read],
    instrument: str | None,
    problems: list[Problem],
    file: SourceFile,
) -> StudyTable:
    """Readings in full cells; raises Refused for a doubled or missing one."""
    seen: dict[tuple[str, str, int], int] = {}
    kept: list[_Read] = []
    count: Counter[tuple[str, str]] = Counter()
    for read in reads:
        cell = (read.place, read.operator)
        count[cell] += 1
        trial = count[cell] if read.trial is None else read.trial
        key = (*cell, trial)
        if key in seen:
            message = f"trial {trial} of {_named(cell)} stands in line {seen[key]} already: number it anew"
            problems.append(Problem(label, read.line, "trial", str(trial), message, row_used=False))
            continue
        seen[key] = read.line
        kept.append(replace(read, trial=trial))
    places = tuple(dict.fromkeys(read.place for read in kept))
    operators = tuple(dict.fromkeys(read.operator for read in kept))
    trials = sorted({read.trial for read in kept if read.trial is not None})
    doubled = len(kept) < len(reads)
    _refuse_holes(label, set(seen), places, operators, trials, problems)
    if doubled:
        raise Refused(label, None, "a trial stands twice: see the problems listed", problems)
    index = {name: i for i, name in enumerate(places)}
    hand = {name: i for i, name in enumerate(operators)}
    kept.sort(key=lambda read: (index[read.place], hand[read.operator], read.trial or 0))
    return StudyTable(
        places=places,
        operators=operators,
        n_trials=len(trials),
        place=np.array([index[read.place] for read in kept], dtype=np.int64),
        operator=np.array([hand[read.operator] for read in kept], dtype=np.int64),
        value_mm=np.array([read.value_mm for read in kept]),
        instrument=instrument,
        problems=tuple(problems),
        file=file,
    )


def _refuse_holes(
    label: str,
    seen: set[tuple[str, str, int]],
    places: tuple[str, ...],
    operators: tuple[str, ...],
    trials: list[int],
    problems: list[Problem],
) -> None:
    """Name what is missing; where few cells have a trial that most lack, name those few."""
    cells = [(place, who) for place in places for who in operators]
    missing, surplus = [], []
    for trial in trials:
        having = [cell for cell in cells if (*cell, trial) in seen]
        lacking = [cell for cell in cells if (*cell, trial) not in seen]
        if len(having) < len(lacking):
            surplus += [f"trial {trial} of {_named(cell)}" for cell in having]
        else:
            missing += [f"trial {trial} of {_named(cell)}" for cell in lacking]
    if not missing and not surplus:
        return
    parts = []
    if missing:
        parts.append(f"missing: {_some(missing)}: read it, or take the place out for everybody")
    if surplus:
        parts.append(f"only there: {_some(surplus)}: take it out, or read it everywhere")
    raise Refused(label, None, "; ".join(parts), problems)


def _named(cell: tuple[str, str]) -> str:
    place, who = cell
    return f"place {place}" if who == ONE_HAND else f"place {place} by {who}"


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:NAMED_MOST])
    more = len(names) - NAMED_MOST
    return f"{shown} and {more} more" if more > 0 else shown
