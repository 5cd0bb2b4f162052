"""How a table is put together: columns, estimates with their intervals, numbers."""

from collections.abc import Sequence
from typing import Any

from lotqa.report.numbers import interval, shown
from lotqa.report.view import Cell, Column, Table
from lotqa.report.words import WORDS


def table(
    number: int,
    caption: str,
    heads: Sequence[Column],
    body: Sequence[Sequence[Cell]],
    *,
    is_stacked: bool = True,
) -> Table:
    """A numbered table."""
    return Table(
        number=number,
        anchor=f"table-{number}",
        caption=caption,
        columns=tuple(heads),
        rows=tuple(tuple(row) for row in body),
        is_stacked=is_stacked,
    )


def number_column(head: str) -> Column:
    return Column(head, is_number=True)


def prose_column(head: str) -> Column:
    return Column(head, is_prose=True)


def estimate(value: float | None, ci: Any, digits: int, *, sign: bool = False) -> Cell:
    """An estimate with its 95 % interval on the second line."""
    ci_text = interval(ci, digits, sign=sign)
    second = "" if ci_text == WORDS.dash else ci_text
    return Cell(shown(value, digits, sign=sign), second, is_interval=True)


def unless_dash(shown_text: str) -> str:
    """``shown_text``, or nothing where it says that something is not known."""
    return "" if shown_text == WORDS.dash else shown_text
