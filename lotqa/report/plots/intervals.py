"""Estimates with their 95 % intervals, one row each: means in their band, spreads to a limit.

A row is a spool or a lot.  Rows keep the order they are given in, oldest first for lots, so a
drift shows as a slant.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import interval, is_known, shown
from lotqa.report.plots.canvas import (
    HAIR_PT,
    LINE_PT,
    blank,
    draw_mark,
    in_house_style,
    nice_step,
    ticks,
)
from lotqa.report.texts import plain, shortened
from lotqa.report.words import WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LABEL_SHARE: Final = 0.30  # of the width, for the names of the rows
CHARACTER_IN: Final = 0.078  # width of a letter of the plain size
SMALL_CHARACTER_IN: Final = 0.066
VIEW_ROOM: Final = 2.5  # an interval may reach this many spans of the estimates beyond them


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One estimate.  None or an infinite end means 'not known'; ``limit`` is that of the row."""

    label: str
    verdict: str
    value: float | None
    ci95: tuple[float | None, float | None]
    lower_limit: float | None = None
    upper_limit: float | None = None
    second: str = ""  # a date or the like, beside the label or under it


@in_house_style
def mean_interval_plot(
    rows: Sequence[IntervalRow], nominal_mm: float | None, *, size: Format = WIDE
) -> "Figure":
    """Means; the limits of a row are the edges of its tolerance band."""
    nominal = () if nominal_mm is None else (nominal_mm,)
    fig, ax = interval_rows(rows, size, WORDS.axis_mean, references=nominal)
    for y, row in enumerate(rows):
        if row.lower_limit is not None and row.upper_limit is not None:
            ax.fill_betweenx(
                [y - 0.5, y + 0.5],
                row.lower_limit,
                row.upper_limit,
                color=PALETTE["wash"],
                linewidth=0,
                zorder=0,
            )
    if nominal_mm is not None:
        ax.axvline(nominal_mm, color=PALETTE["soft"], linewidth=HAIR_PT, dashes=(1, 3), zorder=1)
    fig.set_label(WORDS.means_alt.format(text=in_words(rows, 3)))
    return fig


@in_house_style
def spread_interval_plot(rows: Sequence[IntervalRow], *, size: Format = WIDE) -> "Figure":
    """Standard deviations; the upper limit of a row is the largest spread that was accepted."""
    fig, ax = interval_rows(rows, size, WORDS.axis_sd, digits=4, from_zero=True)
    for y, row in enumerate(rows):
        if row.upper_limit is not None:
            ax.fill_betweenx(
                [y - 0.5, y + 0.5], 0, row.upper_limit, color=PALETTE["wash"], linewidth=0, zorder=0
            )
    fig.set_label(WORDS.spreads_alt.format(text=in_words(rows, 4)))
    return fig


def interval_rows(
    rows: Sequence[IntervalRow],
    size: Format,
    axis_words: str,
    *,
    references: Sequence[float] = (),
    digits: int = 3,
    tick_digits: int = 2,
    from_zero: bool = False,
    top_in: float = 0.08,
) -> tuple["Figure", "Axes"]:
    """A row for each estimate: sign, name, interval, value; the first at the top.

    ``references`` are values that must be in view.  ``digits`` are those of the value beside the
    row, ``tick_digits`` the fewest of the axis.
    """
    n_rows = max(1, len(rows))
    label_in = LABEL_SHARE * size.width_in
    fig, ax = blank(
        size.width_in,
        n_rows * size.row_height_in + top_in + 0.42,
        left_in=label_in,
        right_in=0.62,
        top_in=top_in,
        bottom_in=0.42,
    )
    ax.set_ylim(n_rows - 0.5, -0.5)
    ax.set_xlim(*_view(rows, references, from_zero))
    ax.spines["left"].set_visible(False)
    ax.set_yticks([])
    lo, hi = ax.get_xlim()
    values, n_digits = ticks(lo, hi, 4 if size.narrow else 8)
    ax.set_xticks(values)
    ax.set_xticklabels([shown(v, max(tick_digits, n_digits)) for v in values])
    ax.set_xlabel(axis_words, fontsize=TYPE_PT["small"], labelpad=2)
    beside = ax.get_yaxis_transform()
    axes_in = size.width_in - label_in - 0.62
    for y, row in enumerate(rows):
        draw_mark(ax, -label_in / axes_in + 0.09 / axes_in, y, row.verdict, transform=beside)
        _draw_label(ax, y, row, label_in, axes_in, size)
        _draw_row(ax, y, row)
        ax.text(
            1.02,
            y,
            shown(row.value, digits),
            transform=beside,
            va="center",
            fontsize=TYPE_PT["small"],
        )
        for limit in (row.lower_limit, row.upper_limit):
            if limit is not None:
                ax.plot(
                    [limit, limit],
                    [y - 0.5, y + 0.5],
                    color=PALETTE["ink"],
                    linewidth=LINE_PT,
                    zorder=2,
                )
    return fig, ax


def _draw_label(
    ax: "Axes", y: int, row: IntervalRow, label_in: float, axes_in: float, size: Format
) -> None:
    """The name of a row; what comes second stands beside it, on a phone under it."""
    beside = ax.get_yaxis_transform()
    x = (0.22 - label_in) / axes_in
    n_letters = int((label_in - 0.3) / CHARACTER_IN)
    is_stacked = size.narrow and bool(row.second)
    n_second = 0 if is_stacked or not row.second else len(row.second) + 1
    ax.text(
        x,
        y - (0.2 if is_stacked else 0.0),
        shortened(row.label, max(6, n_letters - n_second)),
        transform=beside,
        va="center",
        fontsize=TYPE_PT["plain"],
    )
    if row.second:
        ax.text(
            x if is_stacked else -0.12 / axes_in,
            y + (0.2 if is_stacked else 0.0),
            shortened(row.second, int((label_in - 0.3) / SMALL_CHARACTER_IN)),
            transform=beside,
            va="center",
            ha="left" if is_stacked else "right",
            fontsize=TYPE_PT["small"],
            color=PALETTE["soft"],
        )


def _draw_row(ax: "Axes", y: int, row: IntervalRow) -> None:
    lo, hi = ax.get_xlim()
    ends = [end if is_known(end) else None for end in row.ci95]
    if ends[0] is not None or ends[1] is not None:
        left = lo if ends[0] is None else max(lo, ends[0])
        right = hi if ends[1] is None else min(hi, ends[1])
        ax.plot(
            [left, right],
            [y, y],
            color=PALETTE["mean"],
            linewidth=5.0,
            solid_capstyle="butt",
            zorder=3,
        )
        for end, edge, arrow in ((ends[0], lo, "<"), (ends[1], hi, ">")):
            if end is None or not lo <= end <= hi:
                ax.plot(
                    [edge],
                    [y],
                    marker=arrow,
                    color=PALETTE["mean"],
                    markersize=6,
                    clip_on=False,
                    zorder=4,
                )
    if row.value is not None and is_known(row.value):
        ax.plot(
            [row.value],
            [y],
            marker="|",
            markersize=9,
            markeredgewidth=2.0,
            color=PALETTE["ink"],
            zorder=5,
        )


def _view(
    rows: Sequence[IntervalRow], references: Sequence[float], from_zero: bool
) -> tuple[float, float]:
    """The range shown: all estimates and limits; of wide intervals what stays legible."""
    core = [v for row in rows for v in (row.value, row.lower_limit, row.upper_limit) if is_known(v)]
    core += references
    core += [0.0] if from_zero else []
    known = [float(v) for v in core if v is not None]
    if not known:
        return 0.0, 1.0
    lo, hi = min(known), max(known)
    span = (hi - lo) or nice_step(abs(hi) or 1.0, 20)
    ends = [float(e) for row in rows for e in row.ci95 if e is not None and is_known(e)]
    lo = max(min([lo, *ends]), lo - VIEW_ROOM * span)
    hi = min(max([hi, *ends]), hi + VIEW_ROOM * span)
    pad = 0.04 * (hi - lo)
    return (0.0 if from_zero else lo - pad), hi + pad


def in_words(rows: Sequence[IntervalRow], digits: int) -> str:
    """Every row as text, for the text alternative of a plot."""
    return "; ".join(
        WORDS.row_alt.format(
            label=plain(row.label), value=shown(row.value, digits), ci=interval(row.ci95, digits)
        )
        for row in rows
    )
