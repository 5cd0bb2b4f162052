"""A gauge study, a pin check and a plan, as a terminal shows them."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lotqa.cli import located
from lotqa.cli.screen import console, say, show_table, tell
from lotqa.cli.tables import Column, name, right
from lotqa.cli.words import UNKNOWN, counted, digits
from lotqa.model import Problem

MODEL_NAMES = {
    "with_interaction": "Analysis of variance with operator x place",
    "without_interaction": "The same with operator x place counted among the repeats",
    "one_operator": "Analysis of variance, one operator",
}


def show_study(document: Mapping[str, Any], page: Path | None) -> None:
    """Components, both analyses, sentences, where it is kept."""
    from lotqa.report.gauge_words import NAMES, shown_components

    screen = console()
    _problems(document)
    file = document["file"]
    say(
        screen,
        f"{file['name']}: {document['places']} places, "
        f"{counted(len(document['operators']), 'operator')}, {document['trials']} trials; "
        f"{counted(file['rows_read'], 'row')} read, {file['rows_used']} used.",
    )
    show_table(
        screen,
        [
            name("part"),
            right("sd, mm"),
            right("95 %, mm"),
            right("variance, %", drop=2),
            right("of all, %", drop=1),
            right("of band, %"),
        ],
        [
            [
                NAMES[c["name"]],
                digits(c["sd_mm"], 4),
                _range(c["sd_ci95_mm"], 4),
                digits(c["contribution_pct"], 1),
                digits(c["share_of_total_pct"], 1),
                digits(c["share_of_tolerance_pct"], 0),
            ]
            for c in shown_components(document)
        ],
    )
    for model, label in MODEL_NAMES.items():
        block = document if model == "one_operator" else document["models"][model]
        if block is None or (model == "one_operator" and document["model"] != model):
            continue
        used = " (the figures above are from this one)" if model == document["model"] else ""
        say(screen, f"{label}{used}:")
        _anova(block)
    for text in document["texts"]:
        say(screen, text)
    kept = document["ledger"]
    if kept is not None:
        again = "" if kept["new"] else ", there already"
        tell(screen, f"Ledger {kept['ledger']}: gauge study {kept['study']}{again}.")
    if page is not None:
        tell(screen, f"Page: {page}")


def _anova(block: Mapping[str, Any]) -> None:
    show_table(
        console(),
        [
            name("source"),
            right("df"),
            right("sum of squares, µm²", drop=1),
            right("mean square, µm²"),
            right("F"),
            right("p"),
        ],
        [
            [
                line["source"],
                str(line["df"]),
                digits(1e6 * line["ss_mm2"], 1),
                digits(1e6 * line["ms_mm2"], 2),
                digits(line["f"], 2),
                _p(line["p"]),
            ]
            for line in block["anova"]
        ],
    )


def show_check(document: Mapping[str, Any]) -> None:
    """One table for all instruments, then the sentences of each."""
    screen = console()
    _problems(document)
    show_table(
        screen,
        [
            name("instrument"),
            right("readings"),
            right("before, mm", drop=1),
            right("after, mm", drop=1),
            right("offset, mm"),
            right("u, mm"),
            right("shift, mm"),
        ],
        [
            [
                b["instrument"],
                str(b["pin_readings"]),
                _side(b["before"]),
                _side(b["after"]),
                digits(b["offset_mm"], 4, sign_always=True),
                digits(b["offset_uncertainty_mm"], 4),
                digits(b["shift_mm"], 4, sign_always=True),
            ]
            for b in document["instruments"]
        ],
    )
    for block in document["instruments"]:
        for text in block["texts"]:
            say(screen, text)


def show_plan(document: Mapping[str, Any]) -> None:
    """The designs with what each will tell."""
    screen = console()
    say(
        screen,
        f"A study that finds a scatter of {document['scatter_sd_mm']:g} mm will be 95 % sure that "
        "it is:",
    )
    show_table(
        screen,
        [
            right("places"),
            right("operators"),
            right("trials"),
            right("readings", drop=1),
            right("df"),
            right("scatter, mm"),
            right(f"of ± {document['tolerance_mm']:g}, %"),
            Column("enough"),
        ],
        [
            [
                str(d["places"]),
                str(d["operators"]),
                str(d["trials"]),
                str(d["readings"]),
                str(d["df_repeatability"]),
                _range(d["repeatability_ci95_mm"], 4),
                _range(d["share_of_tolerance_ci95_pct"], 0),
                _enough(d, document["df_needed"]),
            ]
            for d in document["designs"]
        ],
    )
    for text in document["texts"]:
        say(screen, text)


def _enough(block: Mapping[str, Any], df: int | None) -> str:
    if block["recommended"]:
        return "yes, least"
    return "yes" if df is not None and block["df_repeatability"] >= df else "no"


def _problems(document: Mapping[str, Any]) -> None:
    screen = console(to_errors=True)
    for p in document["problems"]:
        tell(screen, located(Problem(**p)))


def _range(pair: list[float | None] | None, n: int) -> str:
    if pair is None:
        return UNKNOWN
    return f"{digits(pair[0], n)} to {digits(pair[1], n)}"


def _side(block: Mapping[str, Any] | None) -> str:
    return UNKNOWN if block is None else digits(block["mean_error_mm"], 4, sign_always=True)


def _p(p: float | None) -> str:
    if p is not None and p < 0.0005:
        return "< 0.001"
    return digits(p, 3)
