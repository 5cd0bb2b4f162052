"""The page of a gauge study: document and readings become finished text and drawings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.model import FloatArray, IntArray
from lotqa.report.gauge_words import NAMES, shown_components
from lotqa.report.looks import NARROW, WIDE
from lotqa.report.lookup import day, get
from lotqa.report.numbers import as_typed, interval, joined, p_value, shown
from lotqa.report.plots.gauge import parts_plot, repeats_plot
from lotqa.report.plots.svg import figure_svg
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Fact, Figure, Section, Table

MODEL_NAMES: Final = {
    "with_interaction": "with operator x place",
    "without_interaction": "with operator x place counted among the repeats",
    "one_operator": "one operator",
}
DRAWN: Final = ("repeatability", "reproducibility", "gauge", "place")


@dataclass(frozen=True, slots=True, eq=False)
class StudyReadings:
    """The readings of a study, for drawing; arrays (N,)."""

    place: IntArray
    operator: IntArray
    value_mm: FloatArray
    places: tuple[str, ...]
    operators: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GaugeView:
    """What the page shows."""

    title: str
    heading: str
    running: str
    sections: tuple[Section, ...]
    sentences: tuple[str, ...]
    facts: tuple[Fact, ...]
    figures: tuple[Figure, ...]
    components: Table
    anova: tuple[Table, ...]
    method: str


def gauge_view(document: Mapping[str, Any], readings: StudyReadings) -> GaugeView:
    """The view of one study."""
    tool = plain(document["instrument"] or "tool not named")
    when = day(document["studied_at"])
    return GaugeView(
        title=f"Gauge study: {tool}, {when}",
        heading=tool,
        running=f"Gauge study: {tool}, {when}",
        sections=tuple(
            Section(n, anchor, title)
            for n, (anchor, title) in enumerate(
                (
                    ("found", "What hand and tool add"),
                    ("repeats", "The readings"),
                    ("parts", "The parts of the scatter"),
                    ("analysis", "Analysis of variance"),
                ),
                start=1,
            )
        ),
        sentences=tuple(plain(text) for text in document["texts"]),
        facts=_facts(document, when),
        figures=_figures(document, readings),
        components=_components(document),
        anova=_anova(document),
        method=f"Intervals: {document['intervals']}.",
    )


def _facts(document: Mapping[str, Any], when: str) -> tuple[Fact, ...]:
    file, n_hands = document["file"], len(document["operators"])
    tolerance = document["tolerance_mm"]
    return (
        Fact("Evaluated", when),
        Fact(
            "Readings",
            f"{document['places']} places, {n_hands} hand{'' if n_hands == 1 else 's'}, "
            f"{document['trials']} trials",
            f"{plain(file['name'])}: {file['rows_read']} rows, {file['rows_used']} used, "
            f"{file['rows_reported']} reported",
        ),
        Fact("Step", joined("mm", as_typed(document["step_mm"]))),
        Fact("Band", "none given" if tolerance is None else f"\u00b1 {as_typed(tolerance)} mm"),
    )


def _figures(document: Mapping[str, Any], readings: StudyReadings) -> tuple[Figure, ...]:
    parts = {c["name"]: c for c in document["components"]}
    rows = [
        (NAMES[name], parts[name]["sd_mm"], tuple(parts[name]["sd_ci95_mm"]))
        for name in DRAWN
        if name in parts and not (name == "gauge" and "reproducibility" not in parts)
    ]
    tolerance, most = document["tolerance_mm"], document["share_max_pct"]
    limit = None if tolerance is None else most / 100 * 2 * tolerance / 6
    drawn = []
    for size in (WIDE, NARROW):
        repeats = repeats_plot(
            readings.place,
            readings.operator,
            readings.value_mm,
            readings.places,
            readings.operators,
            parts["repeatability"]["sd_mm"],
            size=size,
        )
        shares = parts_plot(rows, limit, size=size)
        drawn.append(
            (figure_svg(repeats, key=f"g1{size.name}"), figure_svg(shares, key=f"g2{size.name}"))
        )
    caption = "Parts of the scatter with their 95 % intervals"
    if limit is not None:
        caption += (
            f"; the ground reaches to where six standard deviations are {as_typed(most)} % of "
            f"\u00b1 {as_typed(tolerance)} mm"
        )
    return (
        Figure(
            1,
            "figure-1",
            "Each hand at each place: a bar from its smallest to its largest repeat, its mean as a "
            "shape. The ground is two standard deviations of one hand to each side",
            drawn[0][0],
            drawn[1][0],
        ),
        Figure(2, "figure-2", caption, drawn[0][1], drawn[1][1]),
    )


def _components(document: Mapping[str, Any]) -> Table:
    heads = (
        Column("Part"),
        number_column("sd, mm"),
        number_column("Variance, %"),
        number_column("Of all, %"),
        number_column("Of the band, %"),
    )
    body = [
        (
            Cell(NAMES[c["name"]], c["name"]),
            estimate(c["sd_mm"], c["sd_ci95_mm"], 4),
            Cell(shown(c["contribution_pct"], 1)),
            Cell(shown(c["share_of_total_pct"], 1)),
            estimate(c["share_of_tolerance_pct"], c["share_of_tolerance_ci95_pct"], 0),
        )
        for c in shown_components(document)
    ]
    n = document["ratio"]["distinct_categories"]
    classes = "not bounded" if n is None else str(n)
    caption = (
        f"Parts of the scatter, {MODEL_NAMES[document['model']]}; distinct classes: {classes} "
        f"(95 %: {interval(get(document, 'ratio', 'distinct_categories_ci95'), 0)})"
    )
    return table(1, caption, heads, body)


def _anova(document: Mapping[str, Any]) -> tuple[Table, ...]:
    models = {name: m for name, m in document["models"].items() if m is not None}
    models = models or {"one_operator": document}
    return tuple(
        table(number, _anova_caption(name, document), _ANOVA_HEADS, _anova_rows(model["anova"]))
        for number, (name, model) in enumerate(models.items(), start=2)
    )


_ANOVA_HEADS: Final = (
    Column("Source"),
    number_column("df"),
    number_column("Sum of squares, \u00b5m\u00b2"),
    number_column("Mean square, \u00b5m\u00b2"),
    number_column("F"),
    number_column("p"),
)


def _anova_caption(name: str, document: Mapping[str, Any]) -> str:
    used = " (the figures are taken from this one)" if name == document["model"] else ""
    return f"Analysis of variance, {MODEL_NAMES[name]}{used}"


def _anova_rows(lines: Sequence[Mapping[str, Any]]) -> list[tuple[Cell, ...]]:
    return [
        (
            Cell(line["source"]),
            Cell(str(line["df"])),
            Cell(shown(1e6 * line["ss_mm2"], 1)),
            Cell(shown(1e6 * line["ms_mm2"], 2)),
            Cell(shown(line["f"], 2)),
            Cell(p_value(line["p"])),
        )
        for line in lines
    ]
