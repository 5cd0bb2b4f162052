"""The figures of a lot page: the strips of its spools on one scale, then their means."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from lotqa.report.looks import MAX_DRAWN, NARROW, VERDICT_RANK, WIDE
from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_mass import digits_by
from lotqa.report.plots import (
    FeedLimits,
    IntervalRow,
    diameter_range_mm,
    figure_svg,
    mean_interval_plot,
    net_mass_plot,
    strip_plot,
)
from lotqa.report.strip import Strip
from lotqa.report.texts import plain
from lotqa.report.view import Figure, verdict_cell
from lotqa.report.words import WORDS


def worst(document: Mapping[str, Any], n_most: int = MAX_DRAWN) -> frozenset[str]:
    """Names of the spools that get a strip: all, or the worst by verdict, standing and Cpk."""
    spools = rows(document, "spools")
    ranked = sorted(
        spools,
        key=lambda s: (
            VERDICT_RANK.get(s["verdict"], 0),
            get(s, "standing") == "firm",
            _or_worst(get(s, "diameter", "cpk")),
        ),
    )
    return frozenset(str(s["spool"]) for s in ranked[:n_most])


def feed_limits(document: Mapping[str, Any]) -> FeedLimits:
    """The feed limits that the spools were judged by: as stated, else from their reasons."""
    stated = get(document, "criteria", "feed")
    if stated is not None:
        return FeedLimits(get(stated, "thin_reject_mm"), get(stated, "thick_reject_mm"))
    found: dict[str, float] = {}
    for spool in rows(document, "spools"):
        for r in rows(spool, "reasons"):
            if isinstance(get(r, "limit"), int | float):
                found.setdefault(r["check"], float(r["limit"]))
    return FeedLimits(thin_mm=found.get("feed.thin"), thick_mm=found.get("feed.thick"))


def lot_figures(document: Mapping[str, Any], strips: Sequence[Strip]) -> tuple[Figure, ...]:
    """The figures in page order, numbered from 1."""
    chosen = worst(document)
    drawn = [s for s in strips if s.spool in chosen and len(s.position_m)]
    spools = {str(s["spool"]): s for s in rows(document, "spools")}
    nominal_mm = get(document, "label", "nominal_mm")
    tolerance_mm = get(document, "label", "tolerance_mm")
    feed = feed_limits(document)
    range_mm = diameter_range_mm(drawn, nominal_mm, tolerance_mm)
    length_m = max((float(s.position_m.max()) for s in drawn if s.position_known), default=0.0)
    figures = []
    for number, strip in enumerate(drawn, start=1):
        images = [
            figure_svg(
                strip_plot(
                    strip,
                    nominal_mm,
                    tolerance_mm,
                    feed,
                    mean_mm=get(spools.get(strip.spool), "diameter", "mean_mm"),
                    set_diameter_mm=get(document, "print", "set_diameter_mm"),
                    range_mm=range_mm,
                    length_m=length_m if strip.position_known else None,
                    size=size,
                ),
                key=f"f{number}{size.name[0]}",
            )
            for size in (WIDE, NARROW)
        ]
        cell = verdict_cell(strip.verdict, strip.standing)
        figures.append(
            Figure(
                number=number,
                anchor=f"figure-{number}",
                caption=WORDS.strip_caption.format(spool=plain(strip.spool)),
                wide_svg=images[0],
                narrow_svg=images[1],
                mark=cell.mark,
                tone=cell.tone,
                word=f"{cell.text}, {cell.second}" if cell.second else cell.text,
            )
        )
    means = _means(document, chosen, len(figures) + 1)
    return (*figures, means) if means else tuple(figures)


def net_mass_figure(document: Mapping[str, Any], number: int) -> Figure | None:
    """Net masses against the label; needless for one spool or without a label.

    Of many spools the lightest are drawn.  The sign of a row is the outcome of its net mass.
    """
    label_g = get(document, "label", "net_g")
    error_g = get(document, "lot", "net_content", "tolerable_negative_error_g")
    weighed = [s for s in rows(document, "spools") if get(s, "weight", "net_g") is not None]
    lightest = sorted(weighed, key=lambda s: float(s["weight"]["net_g"]))[:MAX_DRAWN]
    drawn = {text(s, "spool") for s in lightest}
    chosen = [s for s in weighed if text(s, "spool") in drawn]
    if label_g is None or len(chosen) < 2:
        return None
    digits = max(digits_by(get(s, "weight", "uncertainty_g")) for s in chosen)
    interval_rows = [
        IntervalRow(
            label=WORDS.strip_caption.format(spool=text(s, "spool")),
            verdict=_OUTCOME_SIGNS.get(_outcome(s, "weight.net"), ""),
            value=get(s, "weight", "net_g"),
            ci95=tuple(get(s, "weight", "net_ci95_g") or (None, None)),
        )
        for s in chosen
    ]
    wide, narrow = (
        figure_svg(
            net_mass_plot(interval_rows, label_g, error_g, digits=digits, size=size),
            key=f"f{number}{size.name[0]}",
        )
        for size in (WIDE, NARROW)
    )
    return Figure(number, f"figure-{number}", WORDS.net_mass_caption, wide, narrow)


_OUTCOME_SIGNS: Final[dict[str, str]] = {"pass": "accept", "reject": "reject"}


def _outcome(spool: Mapping[str, Any], check: str) -> str:
    return next((str(r["outcome"]) for r in rows(spool, "reasons") if r["check"] == check), "")


def _means(document: Mapping[str, Any], chosen: frozenset[str], number: int) -> Figure | None:
    """The means of the spools drawn, one row each; needless for a single spool."""
    nominal_mm = get(document, "label", "nominal_mm")
    tolerance_mm = get(document, "label", "tolerance_mm")
    has_band = nominal_mm is not None and tolerance_mm is not None
    interval_rows = [
        IntervalRow(
            label=WORDS.strip_caption.format(spool=s["spool"]),
            verdict=s["verdict"],
            value=get(s, "diameter", "mean_mm"),
            ci95=tuple(get(s, "diameter", "mean_ci95_mm") or (None, None)),
            lower_limit=nominal_mm - tolerance_mm if has_band else None,
            upper_limit=nominal_mm + tolerance_mm if has_band else None,
        )
        for s in rows(document, "spools")
        if str(s["spool"]) in chosen and get(s, "diameter", "mean_mm") is not None
    ]
    if len(interval_rows) < 2:
        return None
    wide, narrow = (
        figure_svg(
            mean_interval_plot(interval_rows, nominal_mm, size=size), key=f"f{number}{size.name[0]}"
        )
        for size in (WIDE, NARROW)
    )
    return Figure(number, f"figure-{number}", WORDS.means_caption, wide, narrow)


def _or_worst(cpk: float | None) -> float:
    return float("-inf") if cpk is None else cpk
