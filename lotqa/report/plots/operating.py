"""What a plan lets through: the chance that a lot is taken against its share of bad spools.

Three curves that differ in stroke as well as in colour, each named in a line above the axes; the
ring marks the shares that the table beside tells.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import shown
from lotqa.report.plots.canvas import HAIR_PT, LINE_PT, blank, in_house_style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

STROKES: Final = (("ink", "-"), ("mean", (0, (5, 2))), ("soft", (0, (1.5, 1.5))))
STROKE_PT: Final = 1.7
KEY_GAP: Final = 0.02  # between strokes and names above the axes, shares of the width


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve: its name, and (share bad, chance taken) from 0 to 1."""

    name: str
    points: tuple[tuple[float, float], ...]


@in_house_style
def operating_plot(
    curves: Sequence[Curve], marked: Sequence[tuple[float, float]], *, size: Format = WIDE
) -> "Figure":
    """``marked`` are points of the first curve that get a ring and their chance in percent."""
    fig, ax = blank(
        size.width_in, size.strip_height_in + 0.15,
        left_in=0.5, right_in=0.12, top_in=0.55 if size.narrow else 0.32, bottom_in=0.42,
    )  # fmt: skip
    right = max(x for curve in curves for x, _ in curve.points)
    ax.set_xlim(0, 100 * right)
    ax.set_ylim(0, 104)
    for percent in (0, 25, 50, 75, 100):
        ax.axhline(percent, color=PALETTE["rule"], linewidth=HAIR_PT, zorder=0)
    for curve, (colour, dashes) in zip(curves, STROKES, strict=False):
        ax.plot(
            [100 * x for x, _ in curve.points], [100 * y for _, y in curve.points],
            color=PALETTE[colour], linestyle=dashes, linewidth=STROKE_PT, zorder=3,
        )  # fmt: skip
    for x, y in marked:
        ax.plot([100 * x], [100 * y], marker="o", markersize=5, color=PALETTE["paper"],
                markeredgecolor=PALETTE["ink"], markeredgewidth=LINE_PT, zorder=5)  # fmt: skip
        ax.annotate(
            f"{100 * y:.0f} %", (100 * x, 100 * y), xytext=(6, 5), textcoords="offset points",
            fontsize=TYPE_PT["small"], zorder=6,
        )  # fmt: skip
    ax.set_xticks([10 * i for i in range(int(10 * right) + 1)])
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_xlabel("bad spools, %", fontsize=TYPE_PT["small"], labelpad=2)
    ax.set_ylabel("lots taken, %", fontsize=TYPE_PT["small"], labelpad=2)
    _key(fig, curves, size)
    told = "; ".join(
        f"{c.name}: " + ", ".join(f"{100 * y:.0f} at {shown(100 * x, 0)}" for x, y in c.points[::5])
        for c in curves
    )
    fig.set_label(f"Chance in percent that a lot is taken, by percent of bad spools. {told}")
    return fig


def _key(fig: "Figure", curves: Sequence[Curve], size: Format) -> None:
    """Strokes and names above the axes; one under the other where the plot is narrow."""
    ax = fig.axes[0]
    each = 1.0 if size.narrow else 1 / len(curves)
    for i, (curve, (colour, dashes)) in enumerate(zip(curves, STROKES, strict=False)):
        x, y = (0.0, 1.05 + 0.075 * (len(curves) - 1 - i)) if size.narrow else (i * each, 1.07)
        ax.plot(
            [x, x + 0.07], [y, y], transform=ax.transAxes, clip_on=False, color=PALETTE[colour],
            linestyle=dashes, linewidth=STROKE_PT,
        )  # fmt: skip
        ax.text(
            x + 0.07 + KEY_GAP, y, curve.name, transform=ax.transAxes, va="center",
            fontsize=TYPE_PT["small"],
        )  # fmt: skip
