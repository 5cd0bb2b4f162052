"""A gauge study drawn: each hand's repeats at each place, and the parts of the scatter.

A hand has a lane of its own within each place, in the order of the hands; its bar reaches from the
smallest to the largest of its repeats, as in a filament strip, and its shape stands in the middle
of them.  What is drawn is the reading less the mean of its place, so that only hand and tool are
seen.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lotqa.model import FloatArray, IntArray
from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import interval, shown
from lotqa.report.plots.canvas import HAIR_PT, LINE_PT, blank, in_house_style, ticks
from lotqa.report.texts import plain, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHAPES: Final = ("o", "s", "^", "D", "v", "P", "X", "h")  # told apart in grey; hands beyond repeat
LANE_SHARE: Final = 0.7  # of a place's width that its hands take
BAND_SDS: Final = 2.0
NAME_LETTERS: Final = 22
MOST_NAMED: Final = 20  # places whose name is written under the axis


@in_house_style
def repeats_plot(
    place: IntArray,
    operator: IntArray,
    value_mm: FloatArray,
    places: Sequence[str],
    operators: Sequence[str],
    sd_mm: float,
    *,
    size: Format = WIDE,
) -> "Figure":
    """Deviations from the mean of the place; the band is two standard deviations of one hand."""
    counts = np.bincount(place)
    deviation = value_mm - (np.bincount(place, value_mm) / counts)[place]
    reach = max(float(np.abs(deviation).max()), BAND_SDS * sd_mm, 1e-4) * 1.12
    n_places, n_hands = len(places), len(operators)
    fig, ax = blank(
        size.width_in, size.strip_height_in + 0.35,
        left_in=0.62, right_in=0.1, top_in=0.42, bottom_in=0.5,
    )  # fmt: skip
    ax.set_xlim(0.5, n_places + 0.5)
    ax.set_ylim(-reach, reach)
    ax.axhspan(-BAND_SDS * sd_mm, BAND_SDS * sd_mm, color=PALETTE["wash"], linewidth=0, zorder=0)
    ax.axhline(0, color=PALETTE["soft"], linewidth=HAIR_PT, zorder=1)
    for edge in np.arange(1.5, n_places):
        ax.axvline(edge, color=PALETTE["rule"], linewidth=HAIR_PT, zorder=1)
    for i in range(n_places):
        for j in range(n_hands):
            lane = i + 1 + LANE_SHARE * ((j + 0.5) / n_hands - 0.5)
            _lane(ax, lane, deviation[(place == i) & (operator == j)], SHAPES[j % len(SHAPES)])
    _finish(ax, places, size)
    if n_hands > 1:
        _hands(fig, operators, size)
    fig.set_label(
        f"Repeats of {n_places} places by {n_hands} hand{'' if n_hands == 1 else 's'}: deviations "
        f"from the mean of the place reach {shown(float(np.abs(deviation).max()), 4)} mm; one hand "
        f"scatters by {shown(sd_mm, 4)} mm"
    )
    return fig


def _lane(ax: "Axes", x: float, deviation: FloatArray, shape: str) -> None:
    lo, hi = float(deviation.min()), float(deviation.max())
    ax.plot([x, x], [lo, hi], color=PALETTE["ink"], linewidth=LINE_PT, zorder=3)
    ax.plot(
        np.full(len(deviation), x), deviation, linestyle="none", marker="_", markersize=5,
        color=PALETTE["ink"], markeredgewidth=LINE_PT, zorder=3,
    )  # fmt: skip
    ax.plot(
        [x], [float(deviation.mean())], linestyle="none", marker=shape, markersize=4.5,
        color=PALETTE["mean"], markeredgecolor=PALETTE["ink"], markeredgewidth=HAIR_PT, zorder=4,
    )  # fmt: skip


def _finish(ax: "Axes", places: Sequence[str], size: Format) -> None:
    lo, hi = ax.get_ylim()
    values, digits = ticks(lo, hi, 6)
    ax.set_yticks(values)
    ax.set_yticklabels([shown(v, max(digits, 2), sign=True) for v in values])
    ax.set_ylabel("reading less mean of place, mm", fontsize=TYPE_PT["small"], labelpad=2)
    at = np.arange(1, len(places) + 1)
    step = max(1, -(-len(places) // (MOST_NAMED // (3 if size.narrow else 1))))
    ax.set_xticks(at[::step])
    most = max(3, int(80 * size.width_in / 7.1 / max(1, len(at[::step]))))
    ax.set_xticklabels([shortened(places[i - 1], most) for i in at[::step]])
    ax.set_xlabel("place", fontsize=TYPE_PT["small"], labelpad=2)


def _hands(fig: "Figure", operators: Sequence[str], size: Format) -> None:
    """A line above the axes that says which shape is whose."""
    ax = fig.axes[0]
    n = min(len(operators), 3 if size.narrow else 6)
    for j, name in enumerate(operators[:n]):
        x = j / n
        ax.plot(
            [x + 0.01], [1.09], marker=SHAPES[j % len(SHAPES)], markersize=4.5, clip_on=False,
            color=PALETTE["mean"], markeredgecolor=PALETTE["ink"], markeredgewidth=HAIR_PT,
            transform=ax.transAxes, linestyle="none",
        )  # fmt: skip
        text = shortened(name, max(4, NAME_LETTERS * 3 // n // (2 if size.narrow else 1)))
        ax.text(x + 0.03, 1.09, text, transform=ax.transAxes, va="center",
                fontsize=TYPE_PT["small"])  # fmt: skip
    if len(operators) > n:
        ax.text(1.0, 1.09, f"and {len(operators) - n} more", transform=ax.transAxes, va="center",
                ha="right", fontsize=TYPE_PT["small"])  # fmt: skip


@in_house_style
def parts_plot(
    rows: Sequence[tuple[str, float, tuple[float | None, float | None]]],
    limit_mm: float | None,
    *,
    size: Format = WIDE,
) -> "Figure":
    """Standard deviations with their intervals; ``limit_mm`` is the largest that is accepted.

    A row is (name, sd_mm, interval); an upper end far beyond the estimates is cut by an arrow.
    """
    label_in = (0.42 if size.narrow else 0.27) * size.width_in
    fig, ax = blank(
        size.width_in, len(rows) * size.row_height_in + 0.5,
        left_in=label_in, right_in=0.62, top_in=0.08, bottom_in=0.42,
    )  # fmt: skip
    known = [sd for _, sd, _ in rows] + ([limit_mm] if limit_mm else [])
    ends = [hi for _, _, (_, hi) in rows if hi is not None]
    most = max(known) or 1e-3
    right = 1.04 * min(max([most, *ends]), 2.5 * most)
    ax.set_xlim(0, right)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.spines["left"].set_visible(False)
    ax.set_yticks([])
    if limit_mm:
        ax.axvspan(0, limit_mm, color=PALETTE["wash"], linewidth=0, zorder=0)
        ax.axvline(limit_mm, color=PALETTE["ink"], linewidth=LINE_PT, zorder=2)
    beside = ax.get_yaxis_transform()
    for y, (name, sd, (lo, hi)) in enumerate(rows):
        stop = right if hi is None else min(hi, right)
        ax.plot([lo or 0.0, stop], [y, y], color=PALETTE["mean"], linewidth=5.0,
                solid_capstyle="butt", zorder=3)  # fmt: skip
        if hi is None or hi > right:
            ax.plot([right], [y], marker=">", markersize=6, color=PALETTE["mean"], clip_on=False,
                    zorder=4)  # fmt: skip
        ax.plot([sd], [y], marker="|", markersize=9, markeredgewidth=2.0, color=PALETTE["ink"],
                zorder=5, clip_on=False)  # fmt: skip
        ax.text(-0.02, y, shortened(name, int(label_in / 0.065)), transform=beside, ha="right",
                va="center", fontsize=TYPE_PT["small"])  # fmt: skip
        ax.text(1.05, y, shown(sd, 4), transform=beside, va="center", fontsize=TYPE_PT["small"])
    values, digits = ticks(0, right, 4 if size.narrow else 8)
    ax.set_xticks(values)
    ax.set_xticklabels([shown(v, max(2, digits)) for v in values])
    ax.set_xlabel("standard deviation, mm", fontsize=TYPE_PT["small"], labelpad=2)
    text = "; ".join(f"{plain(n)} {shown(sd, 4)} ({interval(ci, 4)})" for n, sd, ci in rows)
    fig.set_label(f"Parts of the scatter in mm with 95 % intervals: {text}")
    return fig
