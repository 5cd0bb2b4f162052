"""Two lots in one folder: a second lot sheet, or a column of lot codes among the readings.

A lot is what one folder holds.  Which spool came from which lot is not guessed: all rows stand, and
what names another lot is told.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from lotqa.evidence.tares import folded
from lotqa.intake.lotsheet import read_lot_toml
from lotqa.intake.refusal import Refused
from lotqa.model import LotSheet, Problem

HEADERS = ("lot", "lot_code", "lot code", "lot_no", "lot number", "batch", "batch_no", "charge")
MOST_NAMED = 5
ONE_FOLDER = "one folder holds one lot"


@dataclass(frozen=True, slots=True)
class LotColumn:
    """Codes of a column, as typed first, with the line of the first row and the count of rows."""

    header: str
    codes: tuple[tuple[str, int, int], ...]


def is_lot_header(typed: str) -> bool:
    """Whether a column of this name holds lot codes.

    >>> is_lot_header(" Lot code "), is_lot_header("plot")
    (True, False)
    """
    return folded(typed) in HEADERS


def lot_column(header: str, column: int, records: Iterable[tuple[int, Sequence[str]]]) -> LotColumn:
    """The codes in ``column`` of the data ``records``; empty cells name none."""
    found: dict[str, tuple[str, int, int]] = {}
    for line, cells in records:
        typed = cells[column].strip() if column < len(cells) else ""
        if typed:
            first = found.get(folded(typed), (typed, line, 0))
            found[folded(typed)] = (first[0], first[1], first[2] + 1)
    return LotColumn(header.strip(), tuple(found.values()))


def checked_column(label: str, found: LotColumn, sheet: LotSheet) -> tuple[LotSheet, list[Problem]]:
    """``sheet`` with the code of a column that names one lot, and what is odd about the codes."""
    codes = found.codes
    if not codes:
        return sheet, []
    code, line, _ = codes[0]
    if len(codes) > 1:
        listed = ", ".join(
            f'"{c}" ({n} rows from line {first})' for c, first, n in codes[:MOST_NAMED]
        )
        more = len(codes) - MOST_NAMED
        and_more = f" and {more} more" if more > 0 else ""
        message = (
            f'column "{found.header}" names {len(codes)} lots: {listed}{and_more}; {ONE_FOLDER}: '
            "all rows are judged together as one, put the rows of each lot into a folder of its own"
        )
        return sheet, [Problem(label, codes[1][1], found.header, codes[1][0], message)]
    if sheet.lot is None:
        return replace(sheet, lot=code), []
    if folded(code) == folded(sheet.lot):
        return sheet, []
    message = (
        f'column "{found.header}" says "{code}", and the lot sheet "{sheet.lot}": the lot sheet is '
        "used; correct it if these are the readings of the other lot"
    )
    return sheet, [Problem(label, line, found.header, code, message)]


def other_sheets(
    sources: Sequence[tuple[str, bytes]],
    used: str,
    sheet: LotSheet,
    problems: Sequence[Problem],
) -> list[Problem]:
    """``problems`` with a left-out lot sheet that names another lot told as that."""
    told = {p.file: p for p in problems if p.file.casefold().endswith(".toml") and p.file != used}
    changed: dict[str, Problem] = {}
    for name, content in sources:
        if name not in told or sheet.lot is None:
            continue
        try:
            other, _ = read_lot_toml(name, content)
        except Refused:
            continue
        if other.lot is not None and folded(other.lot) != folded(sheet.lot):
            message = (
                f'left out: it names the lot "{other.lot}", and {used} the lot "{sheet.lot}"; '
                f"{ONE_FOLDER}, so put the spools of the other into a folder of their own"
            )
            changed[name] = replace(told[name], column="lot", value=other.lot, message=message)
    return [changed.get(p.file, p) if p is told.get(p.file) else p for p in problems]
