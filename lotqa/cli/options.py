"""Options that several commands share, and values of options told in the house's words."""

import math
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from lotqa.errors import UnusableInput

LedgerOption = Annotated[
    str | None,
    typer.Option(
        "--ledger",
        envvar="LOTQA_LEDGER",
        help="Ledger file or database URL; by default one in your data folder.",
        metavar="FILE|URL",
    ),
]
CriteriaOption = Annotated[
    Path | None,
    typer.Option("--criteria", help="Your own limits, laid over the shipped ones.", metavar="FILE"),
]
MaterialsOption = Annotated[
    Path | None,
    typer.Option(
        "--materials", help="Your own materials, laid over the shipped ones.", metavar="FILE"
    ),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON document and nothing else.")
]
MaterialOption = Annotated[
    str | None, typer.Option("--material", help="Only this material.", metavar="TEXT")
]
ReportOption = Annotated[Path, typer.Option("--report", help="Folder for the page.", metavar="DIR")]
NoReportOption = Annotated[bool, typer.Option("--no-report", help="Draw no page.")]
LotArgument = Annotated[
    str,
    typer.Argument(help="Lot code, SUPPLIER/LOT, or number in the ledger.", metavar="LOT"),
]
REPORTS = Path("reports")


def location(ledger: str | None) -> str:
    """The ledger asked for, else the one in the user's data folder."""
    if ledger:
        return ledger
    from lotqa.ledger.location import default_location

    return default_location()


def amount(option: str, least: float, most: float, such_as: str) -> Callable[[str], float]:
    """A parser of a number between two bounds; the decimal sign may be a comma."""

    def parse(text: str) -> float:
        try:
            value = float(str(text).strip().replace(",", "."))
        except ValueError:
            value = math.nan
        if not least <= value <= most:  # NaN fails too
            raise UnusableInput(
                f'{option} is "{text}": write a number from {least:.10g} to {most:.10g}, '
                f"such as {such_as}"
            )
        return value

    return parse


def count(option: str, least: int, most: int) -> Callable[[str], int]:
    """A parser of a whole number between two bounds."""

    def parse(text: str) -> int:
        stripped = str(text).strip()
        written_whole = stripped.isascii() and stripped.isdigit() and len(stripped) < 10
        if not written_whole or not least <= int(stripped) <= most:
            raise UnusableInput(
                f'{option} is "{text}": write a whole number from {least} to {most}'
            )
        return int(stripped)

    return parse


def day(option: str) -> Callable[[str], date]:
    """A parser of a day."""

    def parse(text: str) -> date:
        try:
            return date.fromisoformat(str(text).strip())
        except ValueError:
            raise UnusableInput(
                f'{option} is "{text}": write a day that exists, as 2026-03-31'
            ) from None

    return parse


def one_of(option: str, *choices: str) -> Callable[[str], str]:
    """A parser of one word of several."""

    def parse(text: str) -> str:
        if text not in choices:
            raise UnusableInput(f'{option} is "{text}": write {" or ".join(choices)}')
        return text

    return parse
