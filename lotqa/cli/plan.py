"""``lotqa plan``: where along the filament to read, and which spools of a lot."""

from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from lotqa.cli.options import JsonOption, amount, count
from lotqa.errors import UnusableInput

if TYPE_CHECKING:
    from rich.console import Console

DIRECTIONS_DEG: Final = {2: (0, 90), 3: (0, 60, 120)}
BAD_FRACTIONS: Final = (0.05, 0.10, 0.30, 0.50)
MOST_STRETCH_M: Final = 400  # a spool of 1 kg holds 330 m of 1.75 mm stock
MOST_SEED: Final = 999_999_999


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
    seed: Annotated[
        int | None,
        typer.Option(
            parser=count("--seed", 0, MOST_SEED),
            metavar="NUMBER",
            help="Gives the same draw again; without it every plan is another.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say where to read: an uneven list of places that hides no wave.

    With --spools-received also which spools to measure, and what such a sample lets through.
    """
    from lotqa.cli.screen import console, print_json

    document = _document(places, directions, stretch, spools_received, seed)
    if as_json:
        print_json(document)
    else:
        _show(console(), document, stretch, spools_received)


def _document(
    places: int, directions: int, stretch_m: float, spools_received: int | None, seed: int | None
) -> dict[str, Any]:
    import secrets

    from lotqa.sampling.acceptance import binomial_probability_accept
    from lotqa.sampling.plan import sample_size_for_lot
    from lotqa.sampling.positions import drawn_spools, most_places, uneven_positions

    if places > most_places(stretch_m):
        raise UnusableInput(
            f"--places is {places}, more than {stretch_m:g} m hold: write at most "
            f"{most_places(stretch_m)}, or a longer --stretch"
        )
    chosen = secrets.randbelow(MOST_SEED + 1) if seed is None else seed
    n_spools = None if spools_received is None else sample_size_for_lot(spools_received)
    return {
        "schema": "lotqa.plan.v1",
        "spools_to_measure": n_spools,
        "draw": None if n_spools is None else drawn_spools(spools_received or 0, n_spools, chosen),
        "places": places,
        "directions_deg": list(DIRECTIONS_DEG[directions]),
        "positions_m": uneven_positions(places, stretch_m, chosen).tolist(),
        "accept_probability": None
        if n_spools is None
        else [
            {"bad_fraction": p, "p": binomial_probability_accept(p, n_spools, 0)}
            for p in BAD_FRACTIONS
        ],
        "seed": chosen,
    }


def _show(
    screen: "Console", document: dict[str, Any], stretch_m: float, spools_received: int | None
) -> None:
    from lotqa.cli.screen import say, show_table
    from lotqa.cli.tables import right
    from lotqa.cli.words import counted
    from lotqa.evidence.window import MIN_PLACES

    if document["draw"] is not None:
        _show_spools(screen, document, spools_received or 0)
    n, metres = document["places"], document["positions_m"]
    turned = " and ".join(f"{d}" for d in document["directions_deg"][-2:])
    turned = ", ".join([*(f"{d}" for d in document["directions_deg"][:-2]), turned])
    say(
        screen,
        f"On each spool read {counted(n, 'place')} over {stretch_m:g} m from the free end, each in "
        f"the directions {turned} degrees:",
    )
    show_table(
        screen,
        [right("place"), right("at m"), right("further on m")],
        [
            [str(i), f"{at:.2f}", f"{at - before:.2f}"]
            for i, (before, at) in enumerate(zip([0.0, *metres], metres, strict=False), start=1)
        ],
    )
    if n < MIN_PLACES:
        say(screen, f"Fewer than {MIN_PLACES} places see some wave badly wherever they lie.\n")
    say(screen, f"Drawn with seed {document['seed']}; --seed {document['seed']} draws it again.")


def _show_spools(screen: "Console", document: dict[str, Any], spools_received: int) -> None:
    from lotqa.cli.screen import say, show_table
    from lotqa.cli.tables import right
    from lotqa.cli.words import counted

    drawn, n = document["draw"], document["spools_to_measure"]
    if n == spools_received:
        say(screen, f"Measure every spool of the lot: {n}.")
    else:
        numbers = ", ".join(str(v) for v in drawn)
        say(
            screen,
            f"Measure {n} of {counted(spools_received, 'spool')}, counted as they lie in the "
            f"box: {numbers}. Weigh every one.",
        )
    say(
        screen,
        "A lot is taken while none of the measured spools is bad. How often that is so, by how "
        "many bad spools the maker turns out:",
    )
    show_table(
        screen,
        [right("bad spools"), right("lot is taken")],
        [
            [f"{100 * row['bad_fraction']:.0f} %", f"{100 * row['p']:.2g} %"]
            for row in document["accept_probability"]
        ],
    )
