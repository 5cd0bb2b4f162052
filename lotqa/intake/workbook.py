"""Spreadsheets: each sheet as rows of text, numbers written as short as they can be.

Only .xlsx (ISO/IEC 29500) is read, values as last computed, never formulas.
"""

from collections.abc import Mapping
from datetime import date, datetime, time
from io import BytesIO
from typing import Any

from lotqa.intake.refusal import Refused
from lotqa.intake.table import SheetGrid

Cell = Any


def open_workbook(name: str, content: bytes) -> Mapping[str, list[tuple[Cell, ...]]]:
    """The cell values of all sheets by name.

    :raises Refused: the content is no workbook that can be read.
    """
    if not content:
        raise Refused(name, None, "the file is empty: save the workbook again as .xlsx")
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise Refused(
            name, None, "this is an old or locked workbook: save it as .xlsx without a password"
        )
    import openpyxl  # heavy: only workbooks pay for it

    try:
        book = openpyxl.load_workbook(BytesIO(content), read_only=True, data_only=True)
        sheets = {}
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            sheets[sheet.title] = list(sheet.iter_rows(values_only=True))
    except Exception as error:  # openpyxl lets zip, XML and key errors of any kind through
        raise Refused(
            name,
            None,
            "cannot be read as a workbook: open it in a spreadsheet program and save it "
            "as .xlsx, or save the table as CSV",
        ) from error
    return sheets


def cell_text(value: Cell) -> str:
    """A cell as a person would have typed it.

    >>> cell_text(7.0), cell_text(1.75), cell_text("007"), cell_text(None)
    ('7', '1.75', '007', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    return str(value)


def sheet_grid(name: str, label: str, rows: list[tuple[Cell, ...]]) -> SheetGrid:
    """A sheet as a grid of text that remembers which cells were numbers."""
    numbers = {
        index: frozenset(
            column
            for column, value in enumerate(row)
            if isinstance(value, (int, float)) and not isinstance(value, bool)
        )
        for index, row in enumerate(rows, start=1)
    }
    return SheetGrid(name, label, [[cell_text(value) for value in row] for row in rows], numbers)
