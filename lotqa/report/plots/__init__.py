"""The plots: each a function of evidence that returns a matplotlib figure.

matplotlib is imported when something is drawn and not before, and always through its object
interface, so that drawing has no global state.
"""

from lotqa.report.plots.intervals import IntervalRow, mean_interval_plot, spread_interval_plot
from lotqa.report.plots.net_mass import net_mass_plot
from lotqa.report.plots.side_by_side import LotBlock, lot_strips, supplier_strips
from lotqa.report.plots.strips import FeedLimits, diameter_range_mm, strip_plot
from lotqa.report.plots.svg import figure_svg

__all__ = [
    "FeedLimits",
    "IntervalRow",
    "LotBlock",
    "diameter_range_mm",
    "figure_svg",
    "lot_strips",
    "mean_interval_plot",
    "net_mass_plot",
    "spread_interval_plot",
    "strip_plot",
    "supplier_strips",
]
