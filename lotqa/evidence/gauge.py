"""What the calliper adds: its offset, its scatter, and how well both are known.

Offset: mean of (reading - reference) on a pin of known size, to be subtracted; its standard
uncertainty is the scatter of one pin reading over sqrt(k), the rounding that is left, and, when
the pin read differently after the session than before, the half shift as a U-shaped error: it
moved at one unknown moment, so that either the one offset held or the other, u = a / sqrt(2) [1]_.
Without a pin the limit of error a is a rectangular error, u = a / sqrt(3) [1]_; it does not
average out however many places are read.  The pin itself is taken as exact.

Scatter (repeatability) comes from the best source there is; see :class:`Scatter`.

.. [1] JCGM 100:2008 (GUM), 4.3.7, rectangular distribution; U-shaped: H.1.3.4 (cyclic, arcsine).
.. [2] JCGM 100:2008 (GUM), G.3 and G.4.2: nu = 1/2 (relative uncertainty of u)**-2.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from lotqa.evidence.resolution import rounding_variance_mm2, u_rounding_left_mm
from lotqa.model import BoolArray, FloatArray, IntArray

UNLIKELY = 2.0  # times the default: no hand that closes the jaws with care scatters more
CHANCE = 0.05  # of lowering or raising a default that is right
REACH = 2.0  # a supposed scatter lies within so many of its own uncertainties
MIN_DF = 5  # with fewer, an estimate is vaguer than the default with its own uncertainty


@dataclass(frozen=True, slots=True)
class Scatter:
    """Standard deviation of one reading by this hand and tool, rounding not included."""

    sd_mm: float
    df: float  # how well it is known; infinite when stated
    source: str  # in words, for the report
    limits_mm: tuple[float, float] | None = None  # of a supposed one, which is no estimate

    @property
    def supposed(self) -> bool:
        """Nobody stated or measured it: a default, as it is or moved by the readings."""
        return self.source.startswith("default")

    def variance_limits_mm2(self, rounding_mm2: float) -> tuple[float, float] | None:
        """Range of the variance of one reading where the scatter is supposed, rounding in it."""
        if self.limits_mm is None:
            return None
        lo, hi = self.limits_mm
        return lo**2 + rounding_mm2, hi**2 + rounding_mm2


@dataclass(frozen=True, slots=True)
class Offset:
    """What is to be subtracted from every reading, and its standard uncertainty."""

    offset_mm: float
    u_mm: float
    n_pin_readings: int
    shift_mm: float | None  # after less before; None unless both were read
    u_shift_mm: float | None
    df: float = float("inf")  # of u_mm


def pooled_within(values: FloatArray, group: IntArray) -> tuple[float, int]:
    """(variance, degrees of freedom) within groups; (NaN, 0) if no group has two values.

    ``group`` (N,) numbers the groups from 0; a number that no value has is no group.
    """
    size = np.bincount(group) if len(values) else np.zeros(0, dtype=np.int64)
    df = int(len(values) - np.count_nonzero(size))
    if df == 0:
        return float("nan"), 0
    # Two passes, so that a common diameter does not eat the digits.
    mean = np.bincount(group, values) / size.clip(1)
    return float(np.sum((values - mean[group]) ** 2)) / df, df


def supposed_scatter(sd_mm: float, relative_uncertainty: float) -> Scatter:
    """The scatter of a tool of which nothing is known, with the range it is supposed to lie in.

    >>> supposed_scatter(0.008, 0.25).limits_mm
    (0.004, 0.012)
    """
    wide = REACH * relative_uncertainty
    df = 3 / (2 * wide**2)  # of a rectangular range: its relative uncertainty is wide / sqrt(3)
    limits = (sd_mm * max(1 - wide, 0.0), sd_mm * (1 + wide))
    return Scatter(sd_mm, df, "default for this kind of tool", limits)


def scatter_of(
    *,
    stated_sd_mm: float | None,
    repeats_variance_mm2: float,
    repeats_df: int,
    directions_variance_mm2: float,
    directions_df: int,
    default_sd_mm: float,
    default_relative_uncertainty: float,
    step_mm: float,
    pin_variance_mm2: float = float("nan"),
    pin_df: int = 0,
) -> Scatter:
    """Choose the scatter of one reading: stated, then repeats, then the default.

    Repeats are trials of the same place and direction.  Readings in several directions of a
    place differ by ovality and scatter, so their variance is a ceiling for the default: what a
    person's hand does better than the default must not be subtracted.  A pin is harder than
    filament, so repeats on it may raise the default but never lower it.  The default is supposed
    to lie anywhere within twice its relative uncertainty; where data moved it, it carries degrees
    of freedom by the uncertainty of that range [2]_.
    """
    if stated_sd_mm is not None:
        return Scatter(stated_sd_mm, float("inf"), "stated in the lot sheet")
    rounding = rounding_variance_mm2(step_mm)
    supposed = supposed_scatter(default_sd_mm, default_relative_uncertainty)
    df = supposed.df
    if repeats_df >= MIN_DF:
        sd = float(np.sqrt(max(repeats_variance_mm2 - rounding, 0.0)))
        # Directions may not be what they say: a piece turned between two readings of "0 degrees"
        # shows its ovality, and that must not be taken from the spread as if it were the hand.
        most = (UNLIKELY * default_sd_mm) ** 2 + rounding
        if repeats_variance_mm2 <= most * chdtri(repeats_df, 0.01) / repeats_df:
            return Scatter(sd, float(repeats_df), f"from {repeats_df} repeated readings")
        text = (
            f"default: readings repeated in one direction differ by {sd:.3f} mm, more than a hand "
            "does; was the filament turned between them?"
        )
        return replace(supposed, source=text)
    if directions_df >= MIN_DF:
        spread = max(directions_variance_mm2 - rounding, 0.0)
        # Lowered only where the spread is smaller beyond chance (1 in 20): the smaller of two
        # estimates would be too small on average, and the filament would be blamed for the hand.
        limit = chdtri(directions_df, 1 - CHANCE) / directions_df
        if directions_variance_mm2 < (default_sd_mm**2 + rounding) * limit:
            text = "default, lowered to the spread between directions of a place"
            return Scatter(float(np.sqrt(spread)), min(df, float(directions_df)), text)
    usual = default_sd_mm**2 + rounding
    if pin_df and pin_variance_mm2 > usual * chdtri(pin_df, CHANCE) / pin_df:
        pooled = (df * usual + pin_df * pin_variance_mm2) / (df + pin_df)
        text = "default, raised by what the pin readings differ among themselves"
        return Scatter(float(np.sqrt(pooled - rounding)), df + pin_df, text)
    return supposed


def pin_offset(
    reference_mm: ArrayLike,
    reading_mm: ArrayLike,
    after: BoolArray,
    *,
    scatter_sd_mm: float,
    step_mm: float,
    supposed_df: float | None = None,
) -> Offset:
    """Offset from k pin readings (k,), ``after`` marking those taken after the session.

    With readings before and after, the offset is the middle of both means.  ``supposed_df`` are the
    degrees of freedom of a scatter that nobody stated; it is then pooled with what the pin shows.
    """
    error = np.asarray(reading_mm, dtype=np.float64) - np.asarray(reference_mm, dtype=np.float64)
    k = len(error)
    rounding = rounding_variance_mm2(step_mm)
    variance = scatter_sd_mm**2 + rounding
    sides = [error[~after], error[after]]
    seen, df = pooled_within(error, after.astype(np.int64))
    freedom = float("inf")
    if supposed_df is not None:
        freedom = supposed_df + df
        if df:
            variance = (supposed_df * variance + df * max(seen, rounding)) / freedom
    # The pin may show that the hand scatters more than stated (chi-square, 1 in 100).
    elif df and seen > variance * chdtri(df, 0.01) / df:
        variance, freedom = seen, float(df)
    left = float(u_rounding_left_mm(np.sqrt(variance), step_mm))
    if all(len(side) for side in sides):
        before_mean, after_mean = (float(np.mean(side)) for side in sides)
        shift = after_mean - before_mean
        u_shift = float(np.sqrt(variance * (1 / len(sides[0]) + 1 / len(sides[1]))))
        moved = abs(shift) / 2 / np.sqrt(2) if abs(shift) > 2 * u_shift else 0.0
        u = float(np.sqrt((u_shift / 2) ** 2 + left**2 + moved**2))
        return Offset((before_mean + after_mean) / 2, u, k, shift, u_shift, freedom)
    u = float(np.sqrt(variance / k + left**2))
    return Offset(float(np.mean(error)), u, k, None, None, freedom)


def unchecked_offset(limit_of_error_mm: float) -> Offset:
    """No pin was read: the offset is unknown within the limit of error [1]_.

    >>> round(unchecked_offset(0.02).u_mm, 4)
    0.0115
    """
    return Offset(0.0, float(limit_of_error_mm / np.sqrt(3)), 0, None, None)
