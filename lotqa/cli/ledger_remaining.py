"""``lotqa ledger remaining``: what is left on a spool in use, from its gross mass."""

import math
import re
from typing import Annotated, Final

import typer

from lotqa.cli.options import (
    CriteriaOption,
    JsonOption,
    LedgerOption,
    LotArgument,
    amount,
    location,
)
from lotqa.errors import UnusableInput

G_IN_KG: Final = 1000.0
LEAST_G: Final = 5.0  # less is what a spool weighs in kilograms; common practice
SUCH_AS: Final = "write the grams that the scale shows, reel and filament together, such as 620"


def gross_mass(text: str) -> float:
    """The gross mass as typed, in grams.  Raises UnusableInput."""
    try:
        value = float(re.sub(r"\s*k?g$", "", text.strip(), flags=re.IGNORECASE).replace(",", "."))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise UnusableInput(f'--gross is "{text}": {SUCH_AS}')
    if re.search(r"kg$", text.strip(), flags=re.IGNORECASE):
        raise UnusableInput(f'--gross is "{text}", in kilograms: write {value * G_IN_KG:g}')
    if value < LEAST_G:
        raise UnusableInput(
            f'--gross is "{text}", too little for grams, a slip for kilograms? Then write '
            f"{value * G_IN_KG:g}"
        )
    return value


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
    scale_step: Annotated[
        float | None,
        typer.Option(
            parser=amount("--scale-step", 0.001, 100, "1"),
            help="Step of the scale, g; else that of the lot sheet.",
            metavar="NUMBER",
        ),
    ] = None,
    limit_of_error: Annotated[
        float | None,
        typer.Option(
            parser=amount("--limit-of-error", 0, 1000, "2"),
            help="Limit of error of the scale, g; else that of the lot sheet.",
            metavar="NUMBER",
        ),
    ] = None,
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
    gross_g = gross_mass(gross)

    from lotqa.cli.remaining_entry import Asked, looked_up
    from lotqa.cli.screen import console, print_json, say
    from lotqa.criteria import read_criteria
    from lotqa.inspection import text_of

    text, file = text_of(criteria)
    limits = read_criteria(text, name=file) if file else read_criteria(text)
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
