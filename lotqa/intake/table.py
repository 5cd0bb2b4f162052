"""A table as rows of text with their line numbers, whatever file it came from.

``Grid`` is what all readers share: records in order, blank ones left out, and the cells of any one
line again when a message must show what was typed there.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from lotqa.intake.names import Columns, Field, match_columns, match_field, unknown_column
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.refusal import Refused
from lotqa.intake.text import EMPTY, SEPARATORS, is_blank, record_at, split_cells
from lotqa.model import Problem

Record = tuple[int, list[str]]  # line number from 1, cells


class Grid(Protocol):
    """Records of text with line numbers."""

    name: str  # of the file
    label: str  # what messages call it: the file, and the sheet if there are several

    def records(self) -> Iterator[Record]:
        """All records that are not blank, in order."""
        ...

    def cells(self, line: int) -> list[str]:
        """The cells of the record that starts in a line."""
        ...


class TextGrid:
    """A text file that is small enough to be held as lines."""

    def __init__(self, name: str, lines: Sequence[str], separator: str | None) -> None:
        self.name = self.label = name
        self._lines = lines
        self._separator = separator

    def records(self) -> Iterator[Record]:
        """All records that are not blank; a quoted line break continues a record."""
        index = 1 if self._lines and self._lines[0].startswith("sep=") else 0
        while index < len(self._lines):
            cells, taken = record_at(self._lines, index, self._separator)
            if not is_blank(cells):
                yield index + 1, cells
            index += taken

    def cells(self, line: int) -> list[str]:
        """The cells of the record that starts in a line."""
        return record_at(self._lines, line - 1, self._separator)[0]


class SheetGrid:
    """A sheet of a workbook; its line numbers are row numbers."""

    def __init__(
        self,
        name: str,
        label: str,
        rows: Sequence[Sequence[str]],
        number_cells: Mapping[int, frozenset[int]],
    ) -> None:
        self.name, self.label = name, label
        self._rows = rows
        self.number_cells = number_cells  # row number: columns whose cell is a number, not text

    def records(self) -> Iterator[Record]:
        """All rows that are not blank."""
        for index, row in enumerate(self._rows):
            if not is_blank(row):
                yield index + 1, list(row)

    def cells(self, line: int) -> list[str]:
        """The cells of a row."""
        return list(self._rows[line - 1])


def find_separator(lines: Sequence[str], fields: Sequence[Field]) -> str | None:
    """The separator under which the first line with text names most fields; None: one column."""
    if lines and lines[0].startswith("sep=") and len(lines[0].strip()) == 5:
        return lines[0].strip()[4]
    first = next((line for line in lines if line.strip("\t;, ")), "")
    if not isinstance(read_number(first, example=""), Unreadable):
        return None  # a calliper typed one value a line, maybe with a decimal comma
    best, best_score = None, (0, 0)
    for separator in SEPARATORS:
        cells, _ = split_cells(first, separator)
        score = (sum(match_field(c, fields) is not None for c in cells), len(cells) > 1)
        if len(cells) > 1 and score > best_score:
            best, best_score = separator, score
    return best


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of a small table under known columns."""

    file: str
    n_columns: int
    columns: Columns
    rows: tuple[Record, ...]
    problems: tuple[Problem, ...]


def read_table(grid: Grid, fields: Sequence[Field]) -> Table:
    """Header and rows of a small table.

    :raises Refused: there is no header, or a required column is missing.
    """
    records = grid.records()
    header_line, header = next(records, (0, []))
    if not header:
        raise Refused(grid.label, None, EMPTY)
    columns = match_columns(grid.label, header_line, header, fields)
    problems = list(columns.problems)
    free = [f.name for f in fields if f.name not in columns.index]
    for _, name in columns.unknown:
        problems.append(unknown_column(grid.label, header_line, name, fields, free))
    if "spool" in columns.index:
        problems += number_names(grid, columns.index["spool"], columns.typed["spool"])
    missing = [f.name for f in fields if f.required and f.name not in columns.index]
    if missing:
        raise Refused(grid.label, header_line, missing_columns(missing, header, problems), problems)
    return Table(grid.label, len(header), columns, tuple(records), tuple(problems))


def number_names(grid: Grid, column: int | None, header: str) -> list[Problem]:
    """A note, once a sheet, that names stand in number cells, where leading zeros are lost."""
    if column is None or not isinstance(grid, SheetGrid):
        return []
    lines = (line for line in sorted(grid.number_cells) if column in grid.number_cells[line])
    line = next(lines, None)
    if line is None:
        return []
    typed = typed_cell(grid, line, column)
    message = (
        f'{header} is a number cell, read as "{typed}": '
        "format the column as text, so that a name such as 007 survives"
    )
    return [Problem(grid.label, line, header, typed, message)]


def missing_columns(
    missing: Sequence[str], header: Sequence[str], problems: Sequence[Problem]
) -> str:
    """What to say about required columns that a header lacks; near misses are asked about."""
    seen = ", ".join(cell.strip() for cell in header if cell.strip())
    near = [p.column for p in problems if p.message.endswith("? The column is left out")]
    verb = "column {} is missing" if len(missing) == 1 else "columns {} are missing"
    what = f"the {verb.format(', '.join(missing))}, the header has {seen}"
    if near and len(missing) == 1:
        return f"{what}: write {missing[0]} for {near[0]}?"
    return f"{what}: add it to the header"


class Cells:
    """The typed fields of one row; every complaint is kept, so that a row is mended in one go."""

    def __init__(self, table: Table, record: Record, fields: Mapping[str, Field]) -> None:
        self._table = table
        self._fields = fields
        self.line, self._cells = record
        self.problems: list[Problem] = []

    def text(self, name: str) -> str:
        """The text of a field, without spaces at its ends; empty if the column is absent."""
        index = self._table.columns.index.get(name)
        if index is None or index >= len(self._cells):
            return ""
        return self._cells[index].strip()

    def header(self, name: str) -> str:
        """The column as its header was typed."""
        return self._table.columns.typed.get(name, name)

    def complain(self, name: str, message: str, *, row_used: bool = False) -> None:
        """Report a field; ``message`` follows the column's name."""
        typed = self.text(name) or None
        header = self.header(name)
        problem = Problem(
            self._table.file, self.line, header, typed, f"{header} {message}", row_used
        )
        self.problems.append(problem)

    def number(self, name: str, example: str, *, required: bool = False) -> float | None:
        """The number in a field, in the unit of the field's name; None if empty or unreadable."""
        typed = self.text(name)
        if not typed:
            if required:
                self.complain(name, f"is empty: write a number such as {example}")
            return None
        units = self._fields[name].units
        factor = self._table.columns.factor.get(name)
        value = read_number(
            typed, example=example, units=units, default=1.0 if factor is None else factor
        )
        if isinstance(value, Unreadable):
            self.complain(name, f'is "{typed}": {value.advice}')
            return None
        return value

    @property
    def failed(self) -> bool:
        """Whether the row falls out."""
        return any(not p.row_used for p in self.problems)

    def too_many(self) -> bool:
        """Report a row with more filled cells than the header has columns."""
        n_columns = self._table.n_columns
        extra = [cell.strip() for cell in self._cells[n_columns:] if cell.strip()]
        if extra:
            message = too_many_message(len(self._cells), n_columns)
            file = self._table.file
            self.problems.append(Problem(file, self.line, None, extra[0], message, row_used=False))
        return bool(extra)


Item = TypeVar("Item")


def read_side_table(
    grid: Grid, fields: Sequence[Field], item_of: Callable[[Cells, str], Item | None]
) -> tuple[list[Item], list[Problem], int]:
    """Items, problems and the number of rows read; ``item_of`` makes one row's item or complains.

    :raises Refused: a required column is missing.
    """
    table = read_table(grid, fields)
    by_name = {field.name: field for field in fields}
    items: list[Item] = []
    problems = list(table.problems)
    for record in table.rows:
        cells = Cells(table, record, by_name)
        item = None if cells.too_many() else item_of(cells, grid.name)
        problems += cells.problems
        if item is not None:
            items.append(item)
    return items, problems, len(table.rows)


def too_many_message(n_cells: int, n_columns: int) -> str:
    """What to say about a row that is longer than its header."""
    return (
        f"the row has {n_cells} cells and the header {n_columns}: with a decimal comma, "
        'put the number in quotes ("1,75") or part the columns by semicolons'
    )


def typed_cell(grid: Grid, line: int, column: int) -> str:
    """What stands in a cell, without spaces at its ends."""
    cells = grid.cells(int(line))
    return cells[column].strip() if column < len(cells) else ""
