"""``lotqa ledger tare``: empty reels weighed, and what they settle in hindsight."""

import re
from datetime import date
from typing import Annotated, Any, Final

import typer
from typer.core import TyperCommand

from lotqa.cli.options import (
    CriteriaOption,
    JsonOption,
    LedgerOption,
    ScaleErrorOption,
    ScaleStepOption,
    count,
    day,
    grams,
    limits_of,
    location,
)
from lotqa.errors import UnusableInput

LEAST_G: Final = 5.0  # less is no reel, but what a reel weighs in kilograms; common practice
SUCH_AS: Final = "write the grams that the scale shows, such as 214"
MATERIALS: Final = ("plastic", "cardboard", "metal", "none")


class TareCommand(TyperCommand):
    """Tells a negative mass from an option."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As any command; a number with a minus sign before it is a mass."""
        for before, text in zip(["", *args], args, strict=False):
            if re.fullmatch(r"-[\d.,]+\s*k?g?", text) and not before.startswith("--"):
                mass(text)
        return super().parse_args(ctx, args)


def mass(text: str) -> float:
    """The mass of an empty reel as typed, in grams.  Raises UnusableInput."""
    nothing = ", an empty reel weighs more than nothing"
    return grams(text, "MASS_G", LEAST_G, SUCH_AS, nothing=nothing)


def _material(text: str) -> str:
    """A reel material as typed.  Raises UnusableInput."""
    word = text.strip().casefold()
    if word not in MATERIALS:
        raise UnusableInput(
            f'--reel-material is "{text}": write {", ".join(MATERIALS[:-1])} or {MATERIALS[-1]}'
        )
    return word


def tare(
    mass_g: Annotated[
        str | None,
        typer.Argument(help="What the empty reel weighs, g.", metavar="MASS_G"),
    ] = None,
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    supplier: Annotated[str | None, typer.Option(help="Whose reel it is.", metavar="TEXT")] = None,
    reel: Annotated[
        str | None,
        typer.Option(help="Your word for reels that are alike, as in lot.toml.", metavar="KIND"),
    ] = None,
    reel_material: Annotated[
        str | None,
        typer.Option(
            parser=_material,
            help="plastic, cardboard, metal or none.",
            metavar="WORD",
        ),
    ] = None,
    lot: Annotated[
        str | None,
        typer.Option(help="The lot it came with: supplier and reel are known.", metavar="LOT"),
    ] = None,
    spool: Annotated[
        str | None, typer.Option(help="The spool of that lot that was on it.", metavar="NAME")
    ] = None,
    scale_step: ScaleStepOption = None,
    limit_of_error: ScaleErrorOption = None,
    weighed: Annotated[
        date | None,
        typer.Option(
            parser=day("--weighed"),
            help="The day it was weighed; today if not given.",
            metavar="DATE",
        ),
    ] = None,
    note: Annotated[str | None, typer.Option(help="A remark.", metavar="TEXT")] = None,
    new_supplier: Annotated[
        bool, typer.Option("--new-supplier", help="The ledger need not know the supplier yet.")
    ] = False,
    sure: Annotated[bool, typer.Option("--sure", help="The reel does weigh that much.")] = False,
    withdraw: Annotated[
        int | None,
        typer.Option(
            parser=count("--withdraw", 1, 10**9),
            help="Say that the tare of this number was a slip.",
            metavar="NUMBER",
        ),
    ] = None,
    criteria: CriteriaOption = None,
) -> None:
    """Enter an empty reel, or list what reels weigh.

    Weigh the reel when its spool has run out, and say of which lot and spool it was. Later spools
    on such reels get a better net mass, and earlier ones are settled in hindsight. Without MASS_G
    the record is listed.
    """
    from datetime import UTC, datetime

    from lotqa.cli.screen import print_json
    from lotqa.cli.tare_entry import Stated, entered, listed, withdrawn
    from lotqa.cli.tare_screen import show

    stated = Stated(
        supplier=supplier,
        reel=reel,
        material=reel_material,
        lot=lot,
        spool=spool,
        step_g=scale_step,
        limit_g=limit_of_error,
        weighed=weighed,
        note=note,
        new_supplier=new_supplier,
        sure=sure,
    )
    limits = limits_of(criteria)
    place, now = location(ledger), datetime.now(UTC)
    if withdraw is not None and mass_g is not None:
        raise UnusableInput("--withdraw takes a number back: leave MASS_G out")
    if withdraw is not None:
        document = withdrawn(place, withdraw, stated, limits, now)
    elif mass_g is not None:
        document = entered(place, mass(mass_g), mass_g, stated, limits, now)
    else:
        document = listed(place, stated, limits)
    if as_json:
        print_json(document)
    else:
        show(document, each=supplier is not None or lot is not None)
