"""A trace as a terminal shows it: sentences, events, waves, bands."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from lotqa.cli import located
from lotqa.cli.screen import console, say, show_table, tell
from lotqa.cli.tables import name, right
from lotqa.cli.words import counted, digits
from lotqa.model import Problem

MOST_EVENTS: Final = 12  # the tallest; all are in the document
MOST_WAVES: Final = 6
SEEN: Final = {"fine": "hardly", "look": "perhaps", "bands expected": "yes"}


def show_trace(document: Mapping[str, Any], page: Path | None) -> None:
    """What was found, the strongest first."""
    problems = console(to_errors=True)
    for p in document["problems"]:
        tell(problems, located(Problem(**p)))
    more = document["problems_total"] - len(document["problems"])
    if more > 0:
        tell(problems, f"and {counted(more, 'more problem')} of these kinds")
    screen = console()
    file = document["file"]
    say(
        screen,
        f"{file['name']}: {document['rows_read']:,} "
        f"{'row' if document['rows_read'] == 1 else 'rows'} read, {document['rows_used']:,} used, "
        f"{document['rows_reported']:,} reported; length from {file['length_source']}.",
    )
    for text in document["texts"]:
        say(screen, text)
    _events(document)
    _waves(document)
    _bands(document)
    for text in document["cautions"]:
        say(screen, text)
    if page is not None:
        tell(screen, f"Page: {page}")


def _events(document: Mapping[str, Any]) -> None:
    events = document["events"]
    if not events:
        return
    from lotqa.report.trace_words import feed_path

    tallest = sorted(events, key=lambda e: -abs(e["peak_mm"]))[:MOST_EVENTS]
    screen = console()
    show_table(
        screen,
        [name("event"), right("at, m"), right("length, mm", drop=1), right("height, mm"),
         right("diameter, mm"), name("feed path")],
        [
            [
                e["kind"],
                digits(e["position_m"], 2),
                digits(1000 * e["length_m"], 0),
                digits(e["peak_mm"], 3, sign_always=True),
                digits(e["diameter_mm"], 3),
                feed_path(e),
            ]
            for e in tallest
        ],
    )  # fmt: skip
    if len(events) > len(tallest):
        say(screen, f"The tallest {len(tallest)} of {len(events)} events; --json lists them.")


def _waves(document: Mapping[str, Any]) -> None:
    from lotqa.report.trace_words import period_text

    waves = document["waves"][:MOST_WAVES]
    if not waves:
        return
    show_table(
        console(),
        [name("wave"), right("height, ± mm"), right("of variance, %"), right("flow swing, %"),
         right("false alarm", drop=1)],
        [
            [
                period_text(w["period_m"]),
                digits(w["amplitude_mm"], 4),
                digits(100 * w["share_of_variance"], 0),
                digits(w["swing_pct"], 1),
                _chance(w["significance"]),
            ]
            for w in waves
        ],
    )  # fmt: skip


def _bands(document: Mapping[str, Any]) -> None:
    """The strongest wave on every part."""
    from lotqa.report.trace_words import SEEN_AS

    bands = [b for b in document["bands"] if b["period_m"] == document["bands"][0]["period_m"]]
    if not bands:
        return
    say(console(), "The strongest wave on a wall:")
    show_table(
        console(),
        [name("part"), right("filament a layer, mm", drop=1), right("pitch, mm"),
         right("swing, %"), name("shows as"), name("visible")],
        [
            [
                b["part"],
                digits(b["filament_mm_per_layer"], 1),
                digits(b["pitch_mm"], 2),
                digits(b["swing_pct"], 1),
                SEEN_AS[b["seen_as"]],
                SEEN[b["visibility"]],
            ]
            for b in bands
        ],
    )  # fmt: skip


def _chance(p: float) -> str:
    return "< 0.001" if p < 0.0005 else digits(p, 3)
