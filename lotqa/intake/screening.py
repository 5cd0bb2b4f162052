"""Diameters that were read, but cannot be those of this lot.

Three questions, for all readings at once: is the value in the range that filament comes in; is the
spool of the lot's stock size; is the value within reach of the nominal diameter.  What fails is
marked with its reason and is later reported cell by cell; nothing is changed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lotqa.intake.rows import Block
from lotqa.intake.slips import (
    HIGHEST_MM,
    LOWEST_MM,
    MAX_OFF_NOMINAL,
    MM_PER_INCH,
    NEAR_STOCK,
    STOCK_MM,
)
from lotqa.model import BoolArray, FloatArray

FINE, OUT_OF_RANGE, OFF_NOMINAL, OTHER_STOCK = 0, 1, 2, 3
NEARLY_ALL = 0.9  # so many readings with one slip are a setting, not slips
OTHER_STOCK_REACH = 0.2  # a spool's median within this of another stock size, 1.75 to 2.85 is 63 %


@dataclass(frozen=True, slots=True, eq=False)
class Screening:
    """Reason codes shaped as the block's diameters; ``stock_mm`` is NaN for a spool of the lot."""

    reason: NDArray[np.int8]
    nominal_mm: float
    stock_mm: FloatArray  # one a spool: the other stock size that it reads as


def share_in_other_unit(block: Block, in_inches: BoolArray) -> float:
    """Share of readings out of range that would be stock in the unit they were not read in.

    ``in_inches`` has one element a diameter column.
    """
    value_mm = block.diameter_mm
    n_read = int(np.sum(~np.isnan(value_mm)))
    out = out_of_range(value_mm)
    if not out.any():
        return 0.0
    factor = np.where(in_inches, 1.0 / MM_PER_INCH, MM_PER_INCH)
    with np.errstate(over="ignore"):  # 1e308 is out of range in any unit
        other_mm = (value_mm * factor)[out]
    near = np.zeros(len(other_mm), dtype=np.bool_)
    for nominal in STOCK_MM:
        near |= np.abs(other_mm / nominal - 1.0) <= MAX_OFF_NOMINAL
    return float(np.sum(near)) / n_read


def out_of_range(value_mm: FloatArray) -> BoolArray:
    """Readings that no filament has; NaN is no reading."""
    out: BoolArray = (value_mm < LOWEST_MM) | (value_mm > HIGHEST_MM)
    return out


def screen(block: Block, n_spools: int, nominal_mm: float | None) -> Screening:
    """Mark what cannot be of this lot.

    ``nominal_mm`` None: the stock size nearer to the median of the most spools.
    """
    value_mm = block.diameter_mm
    plausible = (value_mm >= LOWEST_MM) & (value_mm <= HIGHEST_MM)
    median_mm = np.full(n_spools, np.nan)
    if plausible.any():
        median_mm = _spool_medians(block, plausible, n_spools)
    if nominal_mm is None:
        nominal_mm = _majority_stock(median_mm)
    stock_mm = np.full(n_spools, np.nan)
    for size in STOCK_MM:
        if abs(size / nominal_mm - 1.0) > OTHER_STOCK_REACH:
            stock_mm[np.abs(median_mm / size - 1.0) <= OTHER_STOCK_REACH] = size
    reason = np.zeros(value_mm.shape, dtype=np.int8)
    reason[np.abs(value_mm / nominal_mm - 1.0) > MAX_OFF_NOMINAL] = OFF_NOMINAL
    if not np.isnan(stock_mm).all():
        reason[np.isfinite(stock_mm)[block.spool]] = OTHER_STOCK
    reason[~plausible] = OUT_OF_RANGE
    reason[np.isnan(value_mm)] = FINE  # no reading, nothing to report
    return Screening(reason, nominal_mm, stock_mm)


def _majority_stock(median_mm: FloatArray) -> float:
    known_mm = median_mm[np.isfinite(median_mm)]
    votes = [0] * len(STOCK_MM)  # all 0, so 1.75, when no spool has a plausible reading
    for index in np.argmin(np.abs(known_mm[:, None] - np.array(STOCK_MM)), axis=1):
        votes[index] += 1
    return STOCK_MM[int(np.argmax(votes))]


def _spool_medians(block: Block, plausible: BoolArray, n_spools: int) -> FloatArray:
    """Median of the plausible readings of each spool, NaN where there is none."""
    value_mm = block.diameter_mm[plausible]
    spool = np.broadcast_to(block.spool[:, None], plausible.shape)[plausible]
    median_mm = np.full(n_spools, np.nan)
    low, high = float(value_mm.min()), float(value_mm.max())
    if high / low < 1.0 + NEAR_STOCK:  # all alike: one size, and no need to sort millions
        median_mm[np.unique(spool)] = float(np.median(value_mm))
        return median_mm
    order = np.lexsort((value_mm, spool))
    value_mm, spool = value_mm[order], spool[order]
    first = np.flatnonzero(np.r_[True, spool[1:] != spool[:-1]])
    count = np.diff(np.r_[first, len(spool)])
    lower = value_mm[first + (count - 1) // 2]
    upper = value_mm[first + count // 2]
    median_mm[spool[first]] = 0.5 * (lower + upper)
    return median_mm
