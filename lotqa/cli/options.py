"""Options that several commands share, and values of options told in the house's words."""

import math
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lotqa.errors import UnusableInput

if TYPE_CHECKING:
    from lotqa.criteria import Criteria
    from lotqa.findings import Catalogue

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
G_IN_KG = 1000.0


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


ScaleStepOption = Annotated[
    float | None,
    typer.Option(
        parser=amount("--scale-step", 0.001, 100, "1"),
        help="Step of the scale, g; else that of the lot sheet or the criteria.",
        metavar="NUMBER",
    ),
]
ScaleErrorOption = Annotated[
    float | None,
    typer.Option(
        parser=amount("--limit-of-error", 0, 1000, "2"),
        help="Limit of error of the scale, g; else that of the lot sheet or the criteria.",
        metavar="NUMBER",
    ),
]


def limits_of(criteria: Path | None) -> "Criteria":
    """The shipped criteria, with the file of ``--criteria`` laid over them."""
    from lotqa.criteria import read_criteria

    if criteria is None:
        return read_criteria()
    from lotqa.inspection import text_of  # brings the ledger along

    text, name = text_of(criteria)
    return read_criteria(text, name=name)


def catalogue_of(criteria: Path | None) -> "Catalogue":
    """The shipped findings, with those of the file of ``--criteria`` laid over them."""
    from lotqa.findings import read_catalogue

    if criteria is None:
        return read_catalogue()
    from lotqa.inspection import text_of

    text, name = text_of(criteria)
    return read_catalogue(text, name)


def grams(text: str, option: str, least_g: float, such_as: str, *, nothing: str = "") -> float:
    """A mass in grams as typed for ``option``.

    Raises UnusableInput where it is no number, in kilograms, or below ``least_g``, which is what
    it would be in kilograms; ``nothing`` is said of a mass that is not above zero.
    """
    typed = text.strip()
    try:
        value = float(re.sub(r"\s*k?g$", "", typed, flags=re.IGNORECASE).replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise UnusableInput(f'{option} is "{text}": {such_as}')
    if value <= 0:
        raise UnusableInput(f'{option} is "{text}"{nothing}: {such_as}')
    in_grams = f"{value * G_IN_KG:g}"
    if re.search(r"kg$", typed, flags=re.IGNORECASE):
        raise UnusableInput(f'{option} is "{text}", in kilograms: write {in_grams}')
    if value < least_g:
        raise UnusableInput(
            f'{option} is "{text}", too little for grams, a slip for kilograms? Then write '
            f"{in_grams}"
        )
    return value
