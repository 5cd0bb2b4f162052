"""Options that several commands share, and where the ledger is."""

from pathlib import Path
from typing import Annotated

import typer

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


def location(ledger: str | None) -> str:
    """The ledger asked for, else the one in the user's data folder."""
    if ledger:
        return ledger
    from lotqa.ledger.location import default_location

    return default_location()
