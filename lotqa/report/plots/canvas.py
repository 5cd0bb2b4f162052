"""What all plots share: a blank figure, quiet axes, marks of verdicts, labels that do not collide.

Distances are in inches of the figure, so that a plot has the same margins at any size.
"""

import math
from collections.abc import Callable, Sequence
from functools import wraps
from typing import TYPE_CHECKING, Any, Final, ParamSpec, TypeVar

from lotqa.report.looks import PALETTE, PLOT_FONT, TYPE_PT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

P = ParamSpec("P")
R = TypeVar("R")
POINTS_PER_INCH: Final = 72.0
LABEL_GAP_PT: Final = 9.5  # two lines of plain text nearer than this touch
HAIR_PT: Final = 0.7
LINE_PT: Final = 1.1

_STYLE: Final[dict[str, Any]] = {
    "font.family": PLOT_FONT,
    "font.size": TYPE_PT["plain"],
    "text.color": PALETTE["ink"],
    "text.parse_math": False,  # a spool may be called $5$
    "axes.edgecolor": PALETTE["soft"],
    "axes.labelcolor": PALETTE["ink"],
    "axes.linewidth": HAIR_PT,
    "xtick.color": PALETTE["soft"],
    "ytick.color": PALETTE["soft"],
    "xtick.labelcolor": PALETTE["ink"],
    "ytick.labelcolor": PALETTE["ink"],
    "axes.unicode_minus": True,
}


def in_house_style(draw: Callable[P, R]) -> Callable[P, R]:
    """Run ``draw`` with the house style, whatever the reader's own matplotlib settings say."""

    @wraps(draw)
    def styled(*args: P.args, **kwargs: P.kwargs) -> R:
        import matplotlib

        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            matplotlib.rcParams.update(_STYLE)  # type: ignore[arg-type]  # keys are a closed set there
            return draw(*args, **kwargs)

    return styled


def blank(
    width_in: float,
    height_in: float,
    *,
    left_in: float,
    right_in: float,
    top_in: float,
    bottom_in: float,
) -> tuple["Figure", "Axes"]:
    """A figure with one axes that leaves the given margins free."""
    from matplotlib.figure import Figure

    fig = Figure(figsize=(width_in, height_in))
    ax = fig.add_axes(
        (
            left_in / width_in,
            bottom_in / height_in,
            (width_in - left_in - right_in) / width_in,
            (height_in - top_in - bottom_in) / height_in,
        )
    )
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=2.5, width=HAIR_PT, labelsize=TYPE_PT["small"])
    return fig, ax


def draw_mark(
    ax: "Axes", x: float, y: float, verdict: str, *, size_pt: float = 6.5, transform: Any = None
) -> None:
    """The shape of a verdict: disc, half disc or crossed square.  Other words draw a ring."""
    colour = PALETTE.get(verdict, PALETTE["soft"]) if verdict in _MARKERS else PALETTE["soft"]
    for settings in _MARKERS.get(verdict, ({"marker": "o", "fillstyle": "none"},)):
        ax.plot(
            [x],
            [y],
            linestyle="none",
            markersize=size_pt * float(settings.get("scale", 1.0)),
            color=colour,
            markeredgecolor=colour,
            markeredgewidth=1.0,
            markerfacecoloralt=PALETTE["paper"],
            clip_on=False,
            zorder=6,
            **{k: v for k, v in settings.items() if k != "scale"},
            **({} if transform is None else {"transform": transform}),
        )


_MARKERS: Final[dict[str, tuple[dict[str, Any], ...]]] = {
    "accept": ({"marker": "o"},),
    "tune": ({"marker": "o", "fillstyle": "left"},),
    "reject": ({"marker": "s", "fillstyle": "none"}, {"marker": "x", "scale": 0.6}),
}


def apart(wanted: Sequence[float], gap: float, lo: float, hi: float) -> list[float]:
    """Places for labels near ``wanted`` that stand at least ``gap`` apart within ``lo`` to ``hi``.

    Order is kept.  If they do not all fit, they are spread evenly.

    >>> apart([1.0, 1.1, 5.0], 1.0, 0.0, 6.0)
    [1.0, 2.0, 5.0]
    """
    n = len(wanted)
    if n > 1 and gap * (n - 1) >= hi - lo:
        ranks = sorted(range(n), key=lambda i: wanted[i])
        placed = [0.0] * n
        for rank, i in enumerate(ranks):
            placed[i] = lo + (hi - lo) * rank / (n - 1)
        return placed
    placed = list(wanted)
    order = sorted(range(n), key=lambda i: wanted[i])
    floor = lo
    for i in order:
        placed[i] = max(placed[i], floor)
        floor = placed[i] + gap
    ceiling = hi
    for i in reversed(order):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - gap
    return placed


def nice_step(span: float, n_most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides ``span`` in at most ``n_most`` parts.

    >>> nice_step(0.16, 5), nice_step(37.0, 8)
    (0.05, 5.0)
    """
    raw = span / n_most
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1, 2, 5):
        if factor * power >= raw * (1 - 1e-9):
            return float(f"{factor * power:.6g}")
    return float(f"{10 * power:.6g}")


def ticks(lo: float, hi: float, n_most: int) -> tuple[list[float], int]:
    """Round values within ``lo`` to ``hi`` and the digits that they need."""
    step = nice_step(hi - lo, n_most)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(lo / step - 1e-9), math.floor(hi / step + 1e-9)
    return [round(k * step, digits) for k in range(first, last + 1)], digits
