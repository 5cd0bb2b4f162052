"""A plan in the terminal: what to do first, then what it lets through, then the metres."""

from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.screen import say, show_table
from lotqa.cli.tables import right
from lotqa.cli.words import UNKNOWN, counted
from lotqa.report.plan_words import sentences

if TYPE_CHECKING:
    from rich.console import Console

FEW_CHANCE: Final = 0.1  # of a percent: below it is told as that


def show(screen: "Console", document: dict[str, Any]) -> None:
    """Print one plan."""
    for text in sentences(document):
        say(screen, text)
    if document["accept_probability"]:
        _chances(screen, document)
    _places(screen, document)


def _chances(screen: "Console", document: dict[str, Any]) -> None:
    rows = document["accept_probability"]
    say(
        screen,
        "How often the lot is taken, by how many of its spools have their mean outside the label:",
    )
    show_table(
        screen,
        [
            right("bad spools"),
            right("by count"),
            right("a process", drop=1),
            right("by means", drop=2),
            right("in all"),
        ],
        [
            [
                f"{100 * row['bad_fraction']:.0f} %",
                *(_percent(row[key]) for key in ("p", "p_process", "p_means", "p_lot")),
            ]
            for row in rows
        ],
    )
    lots = document["lots"]
    of = (
        "supposed"
        if lots["earlier_lots"] is None
        else f"from {counted(lots['earlier_lots'], 'earlier lot')}"
    )
    say(
        screen,
        "By count: none of the measured may be bad (hypergeometric; a process: a maker who turns "
        "out so many). By means: the means together (sd unknown). In all: the whole procedure, "
        f"spools differing by {lots['between_sd_mm']:.3f} mm ({of}), the tool sure to "
        f"{lots['u_offset_mm']:.3f} mm by its pin.\n",
    )


def _percent(p: float | None) -> str:
    if p is None:
        return UNKNOWN
    percent = 100 * p
    if 0 < percent < FEW_CHANCE:
        return f"< {FEW_CHANCE} %"
    return f"{percent:.1f} %" if percent < 1 else f"{percent:.0f} %"


def _places(screen: "Console", document: dict[str, Any]) -> None:
    from lotqa.evidence.window import MIN_PLACES

    n, metres = document["places"], document["positions_m"]
    if document["spools_to_measure"] == 0:
        return
    turned = " and ".join(f"{d}" for d in document["directions_deg"][-2:])
    turned = ", ".join([*(f"{d}" for d in document["directions_deg"][:-2]), turned])
    say(
        screen,
        f"On each spool read {counted(n, 'place')} over {document['stretch_m']:g} m from the free "
        f"end, each in the directions {turned} degrees:",
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
