"""``lotqa plan``: how many spools of a lot to measure, which ones, and where along the filament."""

from pathlib import Path
from typing import Annotated

import typer

from lotqa.cli.options import CriteriaOption, JsonOption, LedgerOption, amount, count, location

MOST_STRETCH_M = 400  # a spool of 1 kg holds 330 m of 1.75 mm stock
MOST_SEED = 999_999_999
MOST_MINUTES = 100_000


def plan(
    places: Annotated[
        int,
        typer.Option(
            parser=count("--places", 1, 1000), metavar="NUMBER", help="Places on each spool."
        ),
    ] = 20,  # where more places stop to change many verdicts (common practice, no source)
    directions: Annotated[
        int,
        typer.Option(
            parser=count("--directions", 2, 3), metavar="2|3", help="Directions at each place."
        ),
    ] = 2,
    stretch: Annotated[
        float,
        typer.Option(
            parser=amount("--stretch", 0.25, MOST_STRETCH_M, "25"),
            metavar="METRES",
            help="Filament that can be unrolled, m.",
        ),
    ] = 25.0,
    spools_received: Annotated[
        int | None,
        typer.Option(
            parser=count("--spools-received", 1, 1_000_000),
            metavar="NUMBER",
            help="Spools in the lot; some of them are drawn.",
        ),
    ] = None,
    supplier: Annotated[
        str | None,
        typer.Option(
            "--supplier", metavar="TEXT", help="Whose lot it is: the history sets the effort."
        ),
    ] = None,
    material: Annotated[
        str | None, typer.Option("--material", metavar="TEXT", help="Material of the lot.")
    ] = None,
    minutes: Annotated[
        float | None,
        typer.Option(
            parser=amount("--minutes", 1, MOST_MINUTES, "30"),
            metavar="NUMBER",
            help="Time at the bench; the plan is cut to it, and says what that costs.",
        ),
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(
            parser=count("--seed", 0, MOST_SEED),
            metavar="NUMBER",
            help="Gives the same draw again; without it every plan is another.",
        ),
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="DIR", help="Folder for a page with sheets to fill in."),
    ] = None,
    ledger: LedgerOption = None,
    criteria: CriteriaOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan a lot: which spools to measure, where, what slips through.

    Places are drawn unevenly, so that they hide no wave. The lots before this one of the supplier
    and material named say how closely to look. The page is to be printed: chances, weigh list, what
    to look for, and a sheet a spool with the metres filled in.
    """
    import secrets
    from datetime import datetime

    from lotqa.cli.options import catalogue_of, limits_of
    from lotqa.cli.plan_screen import show
    from lotqa.cli.screen import console, print_json, tell
    from lotqa.plan import Wanted, known_of, plan_document

    limits = limits_of(criteria)
    wanted = Wanted(
        places=places,
        n_directions=directions,
        stretch_m=stretch,
        seed=secrets.randbelow(MOST_SEED + 1) if seed is None else seed,
        spools_received=spools_received,
        minutes=minutes,
        supplier=supplier,
        material=material,
    )
    asks = bool(supplier or material)
    document = plan_document(
        wanted, known_of(location(ledger) if asks else None, wanted, limits), limits
    )
    page = None
    if report is not None:
        from lotqa.plan import write_plan

        page = write_plan(document, catalogue_of(criteria), report, datetime.now().astimezone())
        document["page"] = str(page)
    if as_json:
        print_json(document)
        return
    screen = console()
    show(screen, document)
    if page is not None:
        tell(screen, f"Page: {page}")
