"""Net masses of the spools of a lot with their intervals, against what the label promises.

The label is a full line, T1 and T2 (one and two tolerable negative errors below it [1]_) are
dashed and dotted, so the three are told apart without colour.

.. [1] Directive 76/211/EEC, Annex I, 2.3 to 2.5.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import as_typed
from lotqa.report.plots.canvas import HAIR_PT, LINE_PT, in_house_style
from lotqa.report.plots.intervals import IntervalRow, in_words, interval_rows
from lotqa.report.words import WORDS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAME_IN: Final = 0.15  # height of a line of names above the rows; each limit has one of its own
NAME_GAP_IN: Final = 0.04  # between a name and the line it belongs to


@in_house_style
def net_mass_plot(
    rows: Sequence[IntervalRow],
    label_g: float,
    tolerable_error_g: float | None,
    *,
    digits: int = 0,
    size: Format = WIDE,
) -> "Figure":
    """Net masses; T1 and T2 are left out where the tolerable error is not known."""
    limits: list[tuple[str, float, Any]] = [(WORDS.plot_label_net, label_g, "-")]
    if tolerable_error_g is not None:
        limits.append((WORDS.plot_t1, label_g - tolerable_error_g, (0, (4, 2))))
        limits.append((WORDS.plot_t2, label_g - 2 * tolerable_error_g, (0, (1, 1.5))))
    fig, ax = interval_rows(
        rows,
        size,
        WORDS.axis_net,
        digits=digits,
        tick_digits=0,
        top_in=NAME_IN * len(limits) + 0.08,
        references=[value for _, value, _ in limits],
    )
    row_in = size.row_height_in
    width_in = ax.get_position().width * size.width_in
    lo, hi = ax.get_xlim()
    for place, (words, value, style) in enumerate(reversed(limits), start=1):
        top = -0.5 - NAME_IN * place / row_in
        ax.plot(
            [value, value],
            [len(rows) - 0.5, top],
            color=PALETTE["ink"],
            linewidth=LINE_PT if place == len(limits) else HAIR_PT + 0.3,
            linestyle=style,
            clip_on=False,
            zorder=2,
        )
        ax.text(
            value - NAME_GAP_IN * (hi - lo) / width_in,
            top + 0.5 * NAME_IN / row_in,
            words.format(value=as_typed(value)),
            ha="right",
            va="center",
            fontsize=TYPE_PT["small"],
        )
    said = [words.format(value=as_typed(value)) for words, value, _ in limits]
    fig.set_label(WORDS.net_mass_alt.format(limits=", ".join(said), text=in_words(rows, digits)))
    return fig
