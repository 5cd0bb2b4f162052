"""The readings of a gauge study: who read which place how often, every row accounted for.

Long, one reading a row: ``place`` or ``position_m`` (and ``spool``, ``direction_deg``),
``operator``, ``trial``, ``diameter_mm``.  Wide, one column a hand: ``place, trial, east_mm,
west_mm``, or one a hand and trial: ``place, east_1_mm, east_2_mm``.  Readings of one place in two
directions are two places: ovality is no scatter.  Without a trial column trials count in the
order typed.

A study with a hole is refused and every missing cell named, since all shares would be off.
"""

import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePath
from types import MappingProxyType

from lotqa.errors import UnusableInput
from lotqa.intake.layout import DIAMETER_UNITS, DIRECTION_UNITS, POSITION_UNITS
from lotqa.intake.names import Field, plain
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.refusal import Refused
from lotqa.intake.roles import WORKBOOK
from lotqa.intake.slips import HIGHEST_MM, LOWEST_MM, MM_PER_INCH, STOCK_MM, range_message
from lotqa.intake.study_cells import ONE_HAND, Read, StudyTable, arranged
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
from lotqa.model import Problem, SourceFile

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


@dataclass(frozen=True, slots=True)
class _Hand:
    """A column of a wide table."""

    column: int
    header: str
    operator: str
    trial: int | None
    factor: float


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
    reads: list[Read] = []
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
    return arranged(grid.label, reads, next(iter(instruments.values()), None), problems, file)


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
        raise Refused(table.file, None, f"{what}, or name a column for each hand, such as east_mm")
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


def _row(cells: Cells, table: Table, hands: tuple[_Hand, ...], row: list[str]) -> list[Read]:
    """The readings of one row; none if something in it cannot be read."""
    if cells.too_many():
        return []
    place = _place(cells, table)
    trial = _trial(cells, "trial" in table.columns.index)
    operator = _operator(cells, table, bool(hands))
    if hands:
        return _wide(cells, table.file, hands, row, place, trial)
    value_mm = cells.number("diameter_mm", "1.75", required=True)
    if value_mm is not None and not LOWEST_MM <= value_mm <= HIGHEST_MM:
        header, typed = cells.header("diameter_mm"), cells.text("diameter_mm")
        in_inches = table.columns.factor.get("diameter_mm") == MM_PER_INCH
        message = range_message(header, typed, value_mm, in_inches=in_inches, stock_mm=STOCK_MM)
        cells.problems.append(Problem(table.file, cells.line, header, typed, message, False))
    if cells.failed or value_mm is None:
        return []
    return [Read(cells.line, place, operator, trial, value_mm)]


def _wide(
    cells: Cells,
    file: str,
    hands: tuple[_Hand, ...],
    row: list[str],
    place: str,
    trial: int | None,
) -> list[Read]:
    """The readings of one row of a wide table; an empty cell shows later as a missing one.

    A cell that cannot be used costs only its own reading, unless the place or trial is unknown.
    """
    reads: list[Read] = []
    bad: list[tuple[str, str | None, str]] = []
    for hand in hands:
        typed = row[hand.column].strip() if hand.column < len(row) else ""
        if not typed:
            continue
        value = read_number(typed, example="1.75", units=DIAMETER_UNITS, default=hand.factor)
        if isinstance(value, Unreadable):
            bad.append((hand.header, typed, f'{hand.header} is "{typed}": {value.advice}'))
        elif not LOWEST_MM <= value <= HIGHEST_MM:
            inches = hand.factor != 1.0
            told = range_message(hand.header, typed, value, in_inches=inches, stock_mm=STOCK_MM)
            bad.append((hand.header, typed, told))
        else:
            number = trial if hand.trial is None else hand.trial
            reads.append(Read(cells.line, place, hand.operator, number, value))
    if cells.failed:
        reads = []
    elif not reads and not bad:
        message = f"no reading stands in the row: write the diameter under {hands[0].header}"
        bad.append((hands[0].header, None, message))
    cells.problems += [Problem(file, cells.line, *told, bool(reads)) for told in bad]
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
