"""The filament strip: one spool, its places in order along the filament.

Across: metres from the free end.  Up: diameter.  The wash is the tolerance band; each bar is a
place from its smallest to its largest direction, its tick the mean of the place; what sticks out
of the band is drawn thick.  The darker band is the 95 % interval of the mean.  The right-hand
axis says the same as flow error, which goes with the square of the diameter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lotqa.model import FloatArray
from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import as_typed, interval, shown
from lotqa.report.plots.canvas import (
    HAIR_PT,
    LABEL_GAP_PT,
    LINE_PT,
    POINTS_PER_INCH,
    apart,
    blank,
    draw_mark,
    in_house_style,
    ticks,
)
from lotqa.report.strip import Strip
from lotqa.report.terms import STANDING_WORDS, VERDICT_WORDS
from lotqa.report.texts import plain
from lotqa.report.words import WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROOM: Final = 0.35  # share of the half width of the band that is left free outside it
PAD: Final = 0.06  # share of the range of the readings that is left free outside them
LEAST_RANGE_MM: Final = 0.02  # two steps of a calliper: a lot without scatter still has a scale


@dataclass(frozen=True, slots=True)
class FeedLimits:
    """Diameters at which the feed path jams or slips; None where no limit was applied."""

    thin_mm: float | None = None
    thick_mm: float | None = None


NO_FEED_LIMITS: Final = FeedLimits()


def diameter_range_mm(
    strips: Sequence[Strip], nominal_mm: float | None, tolerance_mm: float | None
) -> tuple[float, float]:
    """The range of diameters that shows all places and the whole tolerance band."""
    low = np.concatenate([s.low_mm for s in strips]) if strips else np.empty(0)
    high = np.concatenate([s.high_mm for s in strips]) if strips else np.empty(0)
    ends: list[float] = []
    if low.size:
        pad = PAD * float(high.max() - low.min())
        ends += [float(low.min()) - pad, float(high.max()) + pad]
    if nominal_mm is not None:
        half = (tolerance_mm or 0.0) * (1 + ROOM)
        ends += [nominal_mm - half, nominal_mm + half]
    if not ends:
        ends = [0.0, 0.0]
    lo, hi = min(ends), max(ends)
    short = max(0.0, LEAST_RANGE_MM - (hi - lo)) / 2
    return lo - short, hi + short


@in_house_style
def strip_plot(
    strip: Strip,
    nominal_mm: float | None,
    tolerance_mm: float | None,
    feed_limits: FeedLimits = NO_FEED_LIMITS,
    *,
    mean_mm: float | None = None,
    set_diameter_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    length_m: float | None = None,
    size: Format = WIDE,
    with_title: bool = False,
) -> "Figure":
    """The strip of one spool.

    ``range_mm`` and ``length_m`` put several strips on one scale.  Flow error is counted from
    ``set_diameter_mm``, or from ``nominal_mm`` where it is not given.
    """
    lo, hi = range_mm or diameter_range_mm([strip], nominal_mm, tolerance_mm)
    fig, ax = blank(
        size.width_in,
        size.strip_height_in + (0.22 if with_title else 0.0),
        left_in=0.78 if size.narrow else 1.12,
        right_in=0.55,
        top_in=0.3 if with_title else 0.1,
        bottom_in=0.42,
    )
    x_end = max(length_m or 0.0, float(strip.position_m.max(initial=0.0)))
    x_start = min(0.0, float(strip.position_m.min(initial=0.0)))
    x_end = x_end if x_end > x_start else x_start + 1.0
    margin = 0.015 * (x_end - x_start)
    ax.set_xlim(x_start - margin, x_end + margin)
    ax.set_ylim(lo, hi)

    levels = draw_corridor(ax, nominal_mm, tolerance_mm, feed_limits)
    levels += _draw_mean(ax, strip, mean_mm)
    draw_places(ax, strip.position_m, strip, nominal_mm, tolerance_mm)
    _label_levels(ax, levels + _off_scale(ax, feed_limits), size)
    _finish_across(ax, strip, size)
    reference_mm = set_diameter_mm if set_diameter_mm is not None else nominal_mm
    draw_flow_axis(ax, reference_mm)
    if with_title:
        _draw_title(ax, strip)
    fig.set_label(strip_text(strip, nominal_mm, tolerance_mm))
    return fig


def strip_text(strip: Strip, nominal_mm: float | None, tolerance_mm: float | None) -> str:
    """What the plot shows, in a sentence for those who cannot see it."""
    if not len(strip.mean_mm):
        return WORDS.no_strips
    words = WORDS.strip_alt_log if strip.from_log else WORDS.strip_alt
    text = words.format(
        spool=plain(strip.spool),
        verdict=VERDICT_WORDS.get(strip.verdict, strip.verdict),
        standing=STANDING_WORDS.get(strip.standing, strip.standing),
        n=len(strip.mean_mm),
        low=shown(float(strip.low_mm.min()), 3),
        high=shown(float(strip.high_mm.max()), 3),
        mean=interval((float(strip.mean_mm.min()), float(strip.mean_mm.max())), 3),
    )
    ci = interval(strip.mean_ci95_mm, 3)
    if ci != WORDS.dash:
        text += WORDS.strip_alt_ci.format(ci=ci)
    if nominal_mm is not None and tolerance_mm is not None:
        text += WORDS.strip_alt_band.format(
            lo=as_level(nominal_mm - tolerance_mm), hi=as_level(nominal_mm + tolerance_mm)
        )
    return text


def as_level(value_mm: float) -> str:
    """A limit on a diameter axis: at least two digits, and no dust of binary arithmetic."""
    text = as_typed(round(value_mm, 6))
    return text if len(text.partition(".")[2]) >= 2 else shown(value_mm, 2)


def draw_corridor(
    ax: "Axes",
    nominal_mm: float | None,
    tolerance_mm: float | None,
    feed_limits: FeedLimits = NO_FEED_LIMITS,
) -> list[tuple[float, str, str]]:
    """Tolerance band, nominal and feed limits; returns (level, text, colour) of each line."""
    lo, hi = ax.get_ylim()
    levels: list[tuple[float, str, str]] = []
    if nominal_mm is not None and tolerance_mm is not None:
        ax.axhspan(
            nominal_mm - tolerance_mm, nominal_mm + tolerance_mm, color=PALETTE["wash"], zorder=0
        )
        for level, words in (
            (nominal_mm + tolerance_mm, WORDS.plot_upper),
            (nominal_mm - tolerance_mm, WORDS.plot_lower),
        ):
            ax.axhline(level, color=PALETTE["ink"], linewidth=LINE_PT, zorder=1)
            levels.append((level, words.format(value=as_level(level)), PALETTE["ink"]))
    if nominal_mm is not None:
        ax.axhline(nominal_mm, color=PALETTE["soft"], linewidth=HAIR_PT, dashes=(1, 3), zorder=1)
        levels.append(
            (nominal_mm, WORDS.plot_nominal.format(value=as_level(nominal_mm)), PALETTE["soft"])
        )
    for level_mm, words in (
        (feed_limits.thick_mm, WORDS.plot_thick),
        (feed_limits.thin_mm, WORDS.plot_thin),
    ):
        if level_mm is not None and lo <= level_mm <= hi:
            ax.axhline(level_mm, color=PALETTE["reject"], linewidth=1.6, dashes=(5, 2), zorder=1)
            levels.append((level_mm, words.format(value=as_level(level_mm)), PALETTE["reject"]))
    return levels


def draw_places(
    ax: "Axes",
    x: FloatArray,
    strip: Strip,
    nominal_mm: float | None,
    tolerance_mm: float | None,
    *,
    weight_pt: float = 2.2,
) -> None:
    """The bars of the places; what lies outside the band is thick and in the colour of reject."""
    ax.vlines(x, strip.low_mm, strip.high_mm, colors=PALETTE["ink"], linewidth=weight_pt, zorder=3)
    ax.plot(
        x,
        strip.mean_mm,
        linestyle="none",
        marker="_",
        markersize=weight_pt * 2.9,
        markeredgewidth=1.1,
        color=PALETTE["ink"],
        zorder=4,
    )
    if nominal_mm is None or tolerance_mm is None:
        return
    upper, lower = nominal_mm + tolerance_mm, nominal_mm - tolerance_mm
    over, under = strip.high_mm > upper, strip.low_mm < lower
    for chosen, start, end in (
        (over, np.maximum(strip.low_mm, upper), strip.high_mm),
        (under, np.minimum(strip.high_mm, lower), strip.low_mm),
    ):
        if chosen.any():
            ax.vlines(
                x[chosen],
                start[chosen],
                end[chosen],
                colors=PALETTE["reject"],
                linewidth=weight_pt * 1.7,
                zorder=3.5,
            )
            ax.plot(
                x[chosen],
                end[chosen],
                linestyle="none",
                marker="_",
                markersize=weight_pt * 3.2,
                markeredgewidth=1.6,
                color=PALETTE["reject"],
                zorder=4,
            )


def draw_flow_axis(ax: "Axes", reference_mm: float | None) -> None:
    """The right-hand axis: flow error for filament of that diameter, (d / d_set)^2 - 1."""
    if reference_mm is None or reference_mm <= 0:
        return
    lo, hi = (max(v, 0.0) for v in ax.get_ylim())
    flow_lo, flow_hi = ((v / reference_mm) ** 2 * 100 - 100 for v in (lo, hi))
    values, digits = ticks(flow_lo, flow_hi, 8)
    right = ax.twinx()
    right.set_ylim(ax.get_ylim())
    for side in ("top", "left", "bottom"):
        right.spines[side].set_visible(False)
    right.spines["right"].set_visible(True)
    right.set_yticks([reference_mm * math.sqrt(1 + v / 100) for v in values])
    right.set_yticklabels([shown(v, digits, sign=True) for v in values], fontsize=TYPE_PT["small"])
    right.tick_params(length=2.5, width=HAIR_PT, pad=2)
    right.set_ylabel(WORDS.axis_flow, fontsize=TYPE_PT["small"], labelpad=4)


def _draw_mean(ax: "Axes", strip: Strip, mean_mm: float | None) -> list[tuple[float, str, str]]:
    lo, hi = strip.mean_ci95_mm
    view_lo, view_hi = ax.get_ylim()
    levels: list[tuple[float, str, str]] = []
    if not (math.isnan(lo) or math.isnan(hi)):
        ax.axhspan(
            max(lo, view_lo),
            min(hi, view_hi),
            facecolor=PALETTE["mean"],
            alpha=0.38,
            edgecolor="none",
            zorder=2,
        )
        for end in (lo, hi):
            if view_lo <= end <= view_hi:
                ax.axhline(end, color=PALETTE["mean"], linewidth=HAIR_PT, zorder=2)
    if mean_mm is not None:
        ax.axhline(mean_mm, color=PALETTE["accept"], linewidth=LINE_PT, dashes=(7, 1.5), zorder=2)
        levels.append((mean_mm, WORDS.plot_mean.format(value=shown(mean_mm, 3)), PALETTE["accept"]))
    return levels


def _label_levels(ax: "Axes", levels: list[tuple[float, str, str]], size: Format) -> None:
    """Names of the lines in the margin, spread so that they do not touch, each with a leader."""
    from matplotlib.transforms import blended_transform_factory

    lo, hi = ax.get_ylim()
    size_in = ax.figure.get_figure(root=True).get_size_inches()
    levels = [level for level in levels if lo <= level[0] <= hi]
    height_pt = ax.get_position().height * size_in[1] * POINTS_PER_INCH
    n_lines = 2 if size.narrow else 1
    gap = LABEL_GAP_PT * n_lines / height_pt * (hi - lo)
    placed = apart([level[0] for level in levels], gap, lo, hi)
    margin = blended_transform_factory(ax.transAxes, ax.transData)
    width_in = ax.get_position().width * size_in[0]
    stub, elbow = -0.05 / width_in, -0.16 / width_in
    for (level, text, colour), y in zip(levels, placed, strict=True):
        if lo < level < hi:
            ax.plot(
                [0, stub, elbow],
                [level, level, y],
                transform=margin,
                color=colour,
                linewidth=HAIR_PT,
                clip_on=False,
            )
        ax.text(
            elbow - 0.03 / width_in,
            y,
            text.rpartition(" ")[0] + ("\n" if size.narrow else " ") + text.rpartition(" ")[2],
            transform=margin,
            ha="right",
            va="center",
            fontsize=TYPE_PT["small"],
            color=colour,
            linespacing=0.95,
        )
    step_values, digits = ticks(lo, hi, 8)
    ax.set_yticks(step_values)
    ax.set_yticklabels([""] * len(step_values))
    ax.tick_params(axis="y", direction="in")
    if not levels:
        ax.set_yticklabels([shown(v, digits) for v in step_values])


def _off_scale(ax: "Axes", feed_limits: FeedLimits) -> list[tuple[float, str, str]]:
    """Feed limits that lie outside the view, as labels at its edges."""
    lo, hi = ax.get_ylim()
    levels: list[tuple[float, str, str]] = []
    if feed_limits.thick_mm is not None and feed_limits.thick_mm > hi:
        words = WORDS.plot_off_above.format(value=as_level(feed_limits.thick_mm))
        levels.append((hi, words, PALETTE["reject"]))
    if feed_limits.thin_mm is not None and feed_limits.thin_mm < lo:
        words = WORDS.plot_off_below.format(value=as_level(feed_limits.thin_mm))
        levels.append((lo, words, PALETTE["reject"]))
    return levels


def _finish_across(ax: "Axes", strip: Strip, size: Format) -> None:
    lo, hi = ax.get_xlim()
    values, digits = ticks(lo, hi, 5 if size.narrow else 10)
    if not strip.position_known:
        values, digits = [v for v in values if v == int(v) and v >= 1] or [1.0], 0
    ax.set_xticks(values)
    ax.set_xticklabels([shown(v, digits) for v in values])
    if strip.position_known:
        words = WORDS.axis_position_short if size.narrow else WORDS.axis_position
    else:
        words = WORDS.axis_place_short if size.narrow else WORDS.axis_place
    ax.set_xlabel(words, fontsize=TYPE_PT["small"], labelpad=2)


def _draw_title(ax: "Axes", strip: Strip) -> None:
    from matplotlib.transforms import ScaledTranslation

    fig = ax.figure
    top = ax.transAxes + ScaledTranslation(0, 0.14, fig.dpi_scale_trans)
    draw_mark(ax, 0.0, 1.0, strip.verdict, size_pt=7.5, transform=top)
    ax.text(
        0.0,
        1.0,
        "    "
        + plain(WORDS.strip_caption.format(spool=strip.spool))
        + ": "
        + VERDICT_WORDS.get(strip.verdict, strip.verdict)
        + ", "
        + STANDING_WORDS.get(strip.standing, strip.standing),
        transform=top,
        ha="left",
        va="center",
        fontsize=TYPE_PT["head"],
    )
