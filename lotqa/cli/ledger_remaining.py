"""``lotqa ledger remaining``: what is left on a spool in use, from its gross mass."""

from typing import Annotated, Final

import typer

from lotqa.cli.options import (
    CriteriaOption,
    JsonOption,
    LedgerOption,
    LotArgument,
    ScaleErrorOption,
    ScaleStepOption,
    amount,
    grams,
    limits_of,
    location,
)
from lotqa.errors import UnusableInput

LEAST_G: Final = 5.0  # less is what a spool weighs in kilograms; common practice
SUCH_AS: Final = "write the grams that the scale shows, reel and filament together, such as 620"


def remaining(
    lot: LotArgument,
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    spool: Annotated[
        str | None, typer.Option(help="The spool, as it was named at inspection.", metavar="NAME")
    ] = None,
    gross: Annotated[
        str | None,
        typer.Option(help="What it weighs now, reel and filament together, g.", metavar="MASS_G"),
    ] = None,
    needed: Annotated[
        float | None,
        typer.Option(
            parser=amount("--needed", 0.001, 100_000, "150"),
            help="Metres that a print takes: are they surely there?",
            metavar="METRES",
        ),
    ] = None,
    scale_step: ScaleStepOption = None,
    limit_of_error: ScaleErrorOption = None,
    criteria: CriteriaOption = None,
) -> None:
    """Tell what is left on a spool in use.

    Metres, millilitres and grams with their intervals, from what the spool weighs now. The reel is
    taken as the ledger knows it best, the grams of a metre from a weighed length if there was one.
    """
    if spool is None:
        raise UnusableInput("--spool is missing: say which spool of the lot is on the scale")
    if gross is None:
        raise UnusableInput(f"--gross is missing: {SUCH_AS}")
    gross_g = grams(gross, "--gross", LEAST_G, SUCH_AS)

    from lotqa.cli.remaining_entry import Asked, looked_up
    from lotqa.cli.screen import console, print_json, say

    limits = limits_of(criteria)
    asked = Asked(lot, spool, gross_g, gross, scale_step, limit_of_error, needed)
    document = looked_up(location(ledger), asked, limits)
    if as_json:
        print_json(document)
        return
    screen = console()
    say(screen, document["text"])
    say(screen, document["surely_text"])
    if document["needed"] is not None:
        say(screen, document["needed"]["text"])
    say(screen, document["reel_text"])
    say(screen, document["metre_text"])
    for caution in document["cautions"]:
        say(screen, caution)
