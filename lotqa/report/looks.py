"""The look of every page and plot: one palette, one type scale, one shape for each verdict.

Nothing is told by colour alone.  Each verdict has a word, a shape and a colour; the shapes
differ in outline and in fill, so that they survive a grey printer and a phone in the sun.
Text colours reach a contrast of at least 4.5 to 1 on the grounds they are used on and drawn
lines at least 3 to 1 where they carry meaning [1]_.

.. [1] W3C, Web Content Accessibility Guidelines (WCAG) 2.2, success criteria 1.4.3 and 1.4.11.
"""

from dataclasses import dataclass
from typing import Final

# Name of the colour -> what it is for.  The style sheet takes its colours from here.
PALETTE: Final[dict[str, str]] = {
    "paper": "#ffffff",  # ground of page and plot
    "wash": "#eef3f5",  # ground of the tolerance band and of table heads
    "rule": "#b9c5cd",  # hairlines between rows; never the only bearer of a meaning
    "ink": "#14212b",  # text and bars
    "soft": "#4d5d69",  # second lines, units
    "mean": "#5f8ea0",  # interval of the mean
    "accept": "#0a5f73",
    "tune": "#8f5a00",
    "reject": "#a8123e",
}

# Pairs (text, ground) that occur on the pages.
TEXT_PAIRS: Final[tuple[tuple[str, str], ...]] = tuple(
    (text, ground)
    for text in ("ink", "soft", "accept", "tune", "reject")
    for ground in ("paper", "wash")
)
# Pairs (drawn, ground) whose difference carries a meaning in a plot.
DRAWN_PAIRS: Final[tuple[tuple[str, str], ...]] = (
    ("ink", "wash"),
    ("soft", "paper"),
    ("reject", "paper"),
    ("mean", "wash"),
)

# The SVG of each mark in a box of 16 by 16; `currentColor` takes the colour of the word beside it.
MARKS: Final[dict[str, str]] = {
    "accept": '<circle cx="8" cy="8" r="6.5" fill="currentColor"/>',
    "tune": (
        '<circle cx="8" cy="8" r="6" fill="none" stroke="currentColor" stroke-width="1.6"/>'
        '<path d="M8 2a6 6 0 0 0 0 12z" fill="currentColor"/>'
    ),
    "reject": (
        '<path d="M2.3 2.3h11.4v11.4H2.3zM4.6 4.6l6.8 6.8M11.4 4.6l-6.8 6.8" fill="none"'
        ' stroke="currentColor" stroke-width="1.8"/>'
    ),
    "undecided": (
        '<path d="M8 1.8 14.2 8 8 14.2 1.8 8z" fill="none" stroke="currentColor"'
        ' stroke-width="1.6"/>'
    ),
    "none": '<path d="M3 8h10" fill="none" stroke="currentColor" stroke-width="1.8"/>',
    "unopened": (
        '<circle cx="8" cy="8" r="6" fill="none" stroke="currentColor" stroke-width="1.4"'
        ' stroke-dasharray="2.2 1.9"/>'
    ),
}

OUTCOME_MARKS: Final[dict[str, str]] = {
    "pass": "accept",
    "tune": "tune",
    "reject": "reject",
    "undecided": "undecided",
    "not_checked": "none",
}

# Worst first: how verdicts and outcomes are ranked wherever something is put in order.
VERDICT_RANK: Final[dict[str, int]] = {"reject": 0, "tune": 1, "accept": 2}
OUTCOME_RANK: Final[dict[str, int]] = {
    "reject": 0,
    "tune": 1,
    "undecided": 2,
    "not_checked": 3,
    "pass": 4,
}

TYPE_PT: Final[dict[str, float]] = {"small": 7.0, "plain": 8.0, "head": 9.5}
PLOT_FONT: Final = "DejaVu Sans"  # comes with matplotlib, so the layout is the same everywhere
PAGE_FONT: Final = "system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True, slots=True)
class Format:
    """Size of a plot: one for pages from 620 px up and for paper, one for a phone."""

    name: str
    width_in: float
    strip_height_in: float
    row_height_in: float  # a row of an interval plot
    lots_per_row: int
    narrow: bool


WIDE: Final = Format("wide", 7.1, 2.15, 0.26, 6, False)
NARROW: Final = Format("narrow", 3.4, 2.25, 0.38, 2, True)

MAX_DRAWN: Final = 12  # strips on one page; more are a wall that nobody reads
SPOOLS_PER_TABLE: Final = 4  # columns of spools that fit across A4 beside the row heads
MAX_TALLY: Final = 60  # marks in the row of spools at the top of a page
