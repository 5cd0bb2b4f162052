"""Many strips side by side on one scale of diameter: the spools of a lot, the lots of a supplier.

A block is a lot (or a spool); each group of bars in it a spool, stretched to the same width
whatever the length read, since here the eye compares level and spread and not position.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lotqa.model import FloatArray
from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import shown
from lotqa.report.plots.canvas import (
    HAIR_PT,
    LINE_PT,
    blank,
    draw_mark,
    in_house_style,
    ticks,
)
from lotqa.report.plots.strips import (
    NO_FEED_LIMITS,
    FeedLimits,
    diameter_range_mm,
    draw_flow_axis,
    draw_places,
)
from lotqa.report.strip import Strip
from lotqa.report.terms import VERDICT_WORDS
from lotqa.report.texts import plain, shortened
from lotqa.report.words import WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPOOL_GAP: Final = 0.18  # free share of the width of a spool within its block
BLOCK_GAP: Final = 0.14  # free share of the width of a block
CHARACTER_IN: Final = 0.066  # width of a letter of the small size, for cutting long lot codes


@dataclass(frozen=True, slots=True, eq=False)
class LotBlock:
    """What stands in one block: two lines of text under it and the strips in it."""

    head: str
    second: str
    verdict: str
    strips: tuple[Strip, ...]
    nominal_mm: float | None
    tolerance_mm: float | None


def lot_strips(
    strips: Sequence[Strip],
    nominal_mm: float | None,
    tolerance_mm: float | None,
    feed_limits: FeedLimits = NO_FEED_LIMITS,
    *,
    size: Format = WIDE,
) -> "Figure":
    """All spools of one lot side by side on one scale."""
    blocks = [
        LotBlock(
            s.spool,
            VERDICT_WORDS.get(s.verdict, s.verdict),
            s.verdict,
            (s,),
            nominal_mm,
            tolerance_mm,
        )
        for s in strips
    ]
    return _draw_blocks(
        blocks, diameter_range_mm(strips, nominal_mm, tolerance_mm), feed_limits, size, len(blocks)
    )


def supplier_strips(
    blocks: Sequence[LotBlock],
    *,
    range_mm: tuple[float, float] | None = None,
    size: Format = WIDE,
    n_slots: int | None = None,
) -> "Figure":
    """A row of lots side by side; ``n_slots`` keeps the width of a block in a short last row."""
    if range_mm is None:
        ends = [diameter_range_mm(b.strips, b.nominal_mm, b.tolerance_mm) for b in blocks]
        range_mm = (min(e[0] for e in ends), max(e[1] for e in ends))
    return _draw_blocks(blocks, range_mm, NO_FEED_LIMITS, size, n_slots or len(blocks))


@in_house_style
def _draw_blocks(
    blocks: Sequence[LotBlock],
    range_mm: tuple[float, float],
    feed_limits: FeedLimits,
    size: Format,
    n_slots: int,
) -> "Figure":
    n_slots = max(1, n_slots, len(blocks))
    fig, ax = blank(
        size.width_in,
        size.strip_height_in + 0.35,
        left_in=0.5,
        right_in=0.5,
        top_in=0.1,
        bottom_in=0.56,
    )
    ax.set_xlim(0, n_slots)
    ax.set_ylim(*range_mm)
    slot_in = (size.width_in - 1.0) / n_slots
    for i, block in enumerate(blocks):
        _draw_block(ax, i, block, slot_in)
    lo, hi = range_mm
    for limit_mm in (feed_limits.thin_mm, feed_limits.thick_mm):
        if limit_mm is not None and lo <= limit_mm <= hi:
            ax.axhline(limit_mm, color=PALETTE["reject"], linewidth=1.6, dashes=(5, 2), zorder=1)
    values, digits = ticks(lo, hi, 7)
    ax.set_yticks(values)
    ax.set_yticklabels([shown(v, max(2, digits)) for v in values])
    ax.set_ylabel(WORDS.axis_diameter, fontsize=TYPE_PT["small"], labelpad=2)
    ax.set_xticks([])
    ax.spines["bottom"].set_visible(False)
    nominals = {b.nominal_mm for b in blocks}
    draw_flow_axis(ax, nominals.pop() if len(nominals) == 1 else None)
    fig.set_label(
        WORDS.lots_alt.format(
            n=len(blocks),
            text="; ".join(
                WORDS.lot_alt.format(
                    lot=plain(b.head),
                    verdict=VERDICT_WORDS.get(b.verdict, b.verdict),
                    n=len(b.strips),
                )
                for b in blocks
            ),
        )
    )
    return fig


def _draw_block(ax: "Axes", i: int, block: LotBlock, slot_in: float) -> None:
    left, right = i + BLOCK_GAP / 2, i + 1 - BLOCK_GAP / 2
    if block.nominal_mm is not None and block.tolerance_mm is not None:
        lower, upper = (block.nominal_mm + sign * block.tolerance_mm for sign in (-1, 1))
        ax.fill_between([left, right], lower, upper, color=PALETTE["wash"], linewidth=0, zorder=0)
        for level in (lower, upper):
            ax.plot([left, right], [level, level], color=PALETTE["ink"], linewidth=LINE_PT)
    if block.nominal_mm is not None:
        ax.plot(
            [left, right],
            [block.nominal_mm] * 2,
            color=PALETTE["soft"],
            linewidth=HAIR_PT,
            dashes=(1, 3),
        )
    width = (right - left) / max(1, len(block.strips))
    for k, strip in enumerate(block.strips):
        start = left + (k + SPOOL_GAP / 2) * width
        x = start + _unit(strip.position_m) * width * (1 - SPOOL_GAP)
        n_places = max(1, len(strip.position_m))
        room_pt = slot_in * width * 72 / n_places
        draw_places(
            ax,
            x,
            strip,
            block.nominal_mm,
            block.tolerance_mm,
            weight_pt=float(np.clip(0.45 * room_pt, 0.6, 2.0)),
        )
    n_letters = max(6, int(slot_in / CHARACTER_IN))
    below = ax.get_xaxis_transform()
    draw_mark(ax, left + 0.05, -0.07, block.verdict, transform=below)
    ax.text(
        left + 0.05 + 0.09 / slot_in,
        -0.07,
        shortened(block.head, n_letters - 3),
        transform=below,
        va="center",
        fontsize=TYPE_PT["plain"],
    )
    ax.text(
        left,
        -0.155,
        shortened(block.second, n_letters),
        transform=below,
        va="center",
        fontsize=TYPE_PT["small"],
        color=PALETTE["soft"],
    )


def _unit(position_m: FloatArray) -> FloatArray:
    """Positions stretched to 0 to 1; a single place stands in the middle."""
    if len(position_m) < 2 or np.ptp(position_m) == 0:
        return np.full(len(position_m), 0.5)
    stretched: FloatArray = (position_m - position_m.min()) / np.ptp(position_m)
    return stretched
