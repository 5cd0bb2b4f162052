"""The page of a plan: what to do, what it lets through, and sheets to fill in at the bench."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lotqa.findings import Catalogue
from lotqa.report.looks import NARROW, WIDE
from lotqa.report.lookup import day, joined_known
from lotqa.report.numbers import as_typed
from lotqa.report.plan_words import SHEET_WORDS, SheetWords, sentences
from lotqa.report.plots.operating import Curve, operating_plot
from lotqa.report.plots.svg import figure_svg
from lotqa.report.tables import number_column, prose_column, table
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Fact, Figure, Section, Table
from lotqa.report.words import WORDS

MOST_SHEETS: Final = 20  # beyond, one sheet is printed to be copied
MOST_WEIGHED: Final = 200  # rows of the weigh list
NAMES: Final = (("p_lot", "whole procedure"), ("p", "by count"), ("p_means", "by means"))
CLASSES: Final = {"critical": "critical", "major": "major", "minor": "minor"}
CAUTIONS: Final = (
    "Wear glasses when you cut bands and bend filament: wound filament whips, snapped ends fly.",
    "Cut on a board, away from your fingers. A kitchen scale checks goods; it is not verified for "
    "trade.",
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A measuring sheet to fill in: ``rows`` are (number, metres), the boxes are empty."""

    title: str
    directions: tuple[str, ...]
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PlanView:
    """What the page shows."""

    title: str
    heading: str
    maker: str
    made: str
    running: str
    sections: tuple[Section, ...]
    sentences: tuple[str, ...]
    facts: tuple[Fact, ...]
    figure: Figure | None
    chances: Table | None
    method: str
    weighed: tuple[tuple[str, bool], ...]  # number of a spool, and whether it is drawn
    weighed_more: str
    look_for: Table
    look_number: int
    sheets: tuple[Sheet, ...]
    sheets_more: str
    cautions: tuple[str, ...]
    words: SheetWords = SHEET_WORDS


def plan_view(document: Mapping[str, Any], catalogue: Catalogue, made_on: str) -> PlanView:
    """The view of one plan, drawn on the ISO day ``made_on``."""
    maker = joined_known([document["supplier"], document["material"]], ", ")
    received = document["spools_received"]
    heading = "Plan for a lot" if received is None else f"Plan for {_spools(received)}"
    chances = _chances(document)
    return PlanView(
        title=joined_known([heading, maker], ": "),
        heading=heading,
        maker=maker,
        made=f"made on {day(made_on)}, seed {document['seed']}",
        running=joined_known([heading, maker, f"seed {document['seed']}"], ", "),
        sections=_sections(chances is not None),
        sentences=tuple(plain(text) for text in sentences(document)) or (_places_only(document),),
        facts=_facts(document),
        figure=_figure(document),
        chances=chances,
        method=_method(document),
        weighed=_weighed(document),
        weighed_more=""
        if (received or 0) <= MOST_WEIGHED
        else f"The list ends at {MOST_WEIGHED} of {received}; copy it for the others.",
        look_for=_look_for(catalogue, 1 if chances is None else 2),
        look_number=1 if chances is None else 2,
        sheets=_sheets(document),
        sheets_more=_sheets_more(document),
        cautions=CAUTIONS,
    )


def _spools(n: int) -> str:
    return f"{n} spool{'' if n == 1 else 's'}"


def _sections(with_chances: bool) -> tuple[Section, ...]:
    titles = [("do", "What to do")]
    if with_chances:
        titles.append(("chances", "What the plan lets through"))
    titles += [("weigh", "Weigh and look"), ("read", "Readings"), ("find", "What to look for")]
    return tuple(Section(n, anchor, title) for n, (anchor, title) in enumerate(titles, start=1))


def _places_only(document: Mapping[str, Any]) -> str:
    return (
        f"Read {document['places']} places over {document['stretch_m']:g} m of each spool that you "
        "measure. How many spools came was not given."
    )


def _facts(document: Mapping[str, Any]) -> tuple[Fact, ...]:
    directions = " and ".join(f"{d}\u00b0" for d in document["directions_deg"])
    facts = [
        Fact("Places", f"{document['places']} over {document['stretch_m']:g} m", directions),
    ]
    if document["draw"]:
        names = ", ".join(f'"{v}"' for v in document["draw"][:MOST_SHEETS])
        if len(document["draw"]) <= MOST_SHEETS:
            facts.append(Fact("For lot.toml", f"drawn = [{names}]", "under [lot]"))
    lots = document["lots"]
    if lots is not None:
        where = (
            "supposed, no earlier lots are known"
            if lots["earlier_lots"] is None
            else f"from {lots['earlier_lots']} earlier lots"
        )
        facts.append(Fact("Between spools", f"s {lots['between_sd_mm']:.3f} mm", where))
    facts.append(Fact("Draw again", f"--seed {document['seed']}"))
    return tuple(facts)


def _figure(document: Mapping[str, Any]) -> Figure | None:
    rows = document["curve"]
    if not rows or not document["spools_to_measure"]:
        return None
    curves = [
        Curve(name, tuple((r["bad_fraction"], r[key]) for r in rows))
        for key, name in NAMES
        if rows[0][key] is not None
    ]
    marked = [(r["bad_fraction"], r["p_lot"]) for r in document["accept_probability"]]
    wide, narrow = (
        figure_svg(operating_plot(curves, marked, size=size), key=f"oc{size.name}")
        for size in (WIDE, NARROW)
    )
    return Figure(1, "figure-1", "How often a lot is taken", wide, narrow)


def _chances(document: Mapping[str, Any]) -> Table | None:
    rows = document["accept_probability"]
    if not rows or not document["spools_to_measure"]:
        return None
    heads = (
        Column("Bad spools"),
        number_column("By count, this lot, %"),
        number_column("By count, a process, %"),
        number_column("By means, %"),
        number_column("Whole procedure, %"),
    )
    received = document["spools_received"]
    body = [
        (
            Cell(f"{100 * r['bad_fraction']:.0f} %, {_of(r['bad_spools'], received)}"),
            *(Cell(_percent(r[key])) for key in ("p", "p_process", "p_means", "p_lot")),
        )
        for r in rows
    ]
    return table(1, "How often a lot is taken, by how many of its spools are bad", heads, body)


def _of(bad: float, received: int) -> str:
    return f"{as_typed(round(bad, 2))} of {received}"


def _percent(p: float | None) -> str:
    if p is None:
        return WORDS.dash
    percent = 100 * p
    if 0 < percent < 0.1:
        return "< 0.1"
    return f"{percent:.1f}" if percent < 1 else f"{percent:.0f}"


def _method(document: Mapping[str, Any]) -> str:
    lots = document["lots"]
    if lots is None or not document["spools_to_measure"]:
        return ""
    said = [
        "Bad here: a spool whose mean diameter lies outside the label. By count: just so many "
        "spools of this lot are bad and none of the measured may be (hypergeometric, exact; a "
        "share that is no whole number of spools is mixed from the two beside it). A process: a "
        "maker who turns out so many (binomial).",
    ]
    plan = document["by_variables"]
    if plan is not None:
        said.append(
            f"By means: the measured means together, standard deviation unknown, k "
            f"{plan['k']:.3f}, so that a lot with {100 * plan['good']:g} % bad is taken "
            f"{100 * plan['good_accept']:g} times in a hundred (noncentral t, exact for one limit)."
        )
        if plan["maximum_sd_mm"] is not None:
            said.append(
                f"Means that differ by more than s {plan['maximum_sd_mm']:.3f} mm fail it wherever "
                "they lie (maximum standard deviation for both limits)."
            )
    said.append(
        "Whole procedure: 20 000 drawn lots whose spools differ by "
        f"{lots['between_sd_mm']:.3f} mm and vary along by {lots['within_sd_mm']:.3f} mm, read as "
        f"this plan says with a tool that its pin makes sure to {lots['u_offset_mm']:.3f} mm, and "
        "judged by spread, mean and means together. Lumps, bubbles, wet and short weight are not "
        "in it."
    )
    spread = document["spread_probability"]
    if spread:
        parts = ", ".join(f"{100 * r['p']:.0f} % at {r['ratio']:g}" for r in spread)
        said.append(f"A spool keeps the limit of spread, by its true spread over it: {parts}.")
    return " ".join(said)


def _weighed(document: Mapping[str, Any]) -> tuple[tuple[str, bool], ...]:
    received = document["spools_received"] or 0
    drawn = set(document["draw"] or ())
    return tuple((str(i), i in drawn) for i in range(1, min(received, MOST_WEIGHED) + 1))


def _look_for(catalogue: Catalogue, number: int) -> Table:
    heads = (
        Column("Finding"),
        prose_column("How to look for it"),
        prose_column("What it does to a print"),
        prose_column("Photograph"),
    )
    body = [
        (
            Cell(plain(e.name), CLASSES[e.grade]),
            Cell(plain(e.look_for), plain(e.caution or "")),
            Cell(plain(e.effect)),
            Cell(plain(e.photograph)),
        )
        for e in catalogue.entries
    ]
    return table(number, "Findings, the class under the name", heads, body)


def _sheets(document: Mapping[str, Any]) -> tuple[Sheet, ...]:
    directions = tuple(f"{d}\u00b0" for d in document["directions_deg"])
    rows = tuple((str(i), f"{at:.2f}") for i, at in enumerate(document["positions_m"], start=1))
    if document["draw"] is None:
        return (Sheet("Spool", directions, rows),)
    drawn = document["draw"]
    if len(drawn) > MOST_SHEETS:
        return (Sheet("Spool", directions, rows),)
    return tuple(Sheet(f"Spool {number}", directions, rows) for number in drawn)


def _sheets_more(document: Mapping[str, Any]) -> str:
    drawn = document["draw"]
    if drawn is not None and len(drawn) > MOST_SHEETS:
        return f"Copy the sheet for each of the {len(drawn)} drawn spools."
    if drawn is not None and not drawn:
        return "No spool of this lot has to be measured."
    return ""
