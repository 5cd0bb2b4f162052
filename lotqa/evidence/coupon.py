"""Coupon check: does the print say the same as the diameter?

    wall      k = k_now A(w_target) / A(w_measured)    stadium: dw/w is 0.90 dA/A at 0.45x0.20
    mass      k = k_now m_target / m_measured,  m_target = density x volume commanded
    diameter  k = r_0 set**2 / mean(d**2),  r_0 = 1
    residual  r = k_print / k_diameter,     gap = r / r_reference on the same machine

A steady r is the machine; a gap of a new spool is not its diameter.  Walls: the mean of the means
of the sides, its uncertainty from the scatter between sides (Student) or of the hand, whichever is
larger, the rounding of the display and the limit of error of the tool as rectangles [1]_; factors
are multiplied, so relative variances add and degrees of freedom follow Welch-Satterthwaite [2]_.
Between two coupons read with one tool its offset is common and falls out of the gap.

Common practice, no source: 12 readings on four sides, 1 wall, cool, off the seam.

.. [1] JCGM 100:2008 (GUM), 4.3.7 (rectangular), F.2.2.1 (step of a display).
.. [2] JCGM 100:2008 (GUM), 5.1.6 (product of powers) and G.4.1, eq. (G.2b).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtridf

from lotqa.errors import TooFewReadings
from lotqa.evidence.bead import bead_area_mm2
from lotqa.evidence.summary import student_quantile

CONFIDENCE = 0.95
LEAST_SIDES = 2
EXPLAINED = "diameter explains it"
NOT_DIAMETER = "gap is not diameter"
CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Factor:
    """A multiplier, or a ratio of two, with its relative standard uncertainty."""

    value: float
    u_rel: float  # of what differs from coupon to coupon
    df: float
    u_common_rel: float = 0.0  # of what is the same for every coupon read with the same tool

    def interval(self, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """Interval of the factor; on the log scale, so that it never reaches 0."""
        half = self.half_width(confidence)
        return self.value * float(np.exp(-half)), self.value * float(np.exp(half))

    def half_width(self, confidence: float = CONFIDENCE) -> float:
        """Half width of the interval of the logarithm, about that of the relative error."""
        u = float(np.hypot(self.u_rel, self.u_common_rel))
        if u == 0:
            return 0.0
        # Only the part judged from readings has few degrees of freedom.
        df = self.df * (u / self.u_rel) ** 4 if self.u_rel > 0 else np.inf
        return float(student_quantile(df, confidence)) * u


@dataclass(frozen=True, slots=True)
class Wall:
    """Thickness of a single-wall coupon."""

    mean_mm: float
    u_mm: float  # what differs between coupons: scatter and rounding
    u_common_mm: float  # limit of error of the tool
    df: float
    n_readings: int
    n_sides: int
    side_means_mm: tuple[float, ...]
    between_sides_sd_mm: float


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one route says of the gap between print and diameter."""

    route: str  # "wall" or "mass"
    residual: Factor
    gap: Factor  # the residual itself where there is no reference
    word: str  # one of EXPLAINED, NOT_DIAMETER, CANNOT_TELL
    has_reference: bool
    sentence: str


def wall_thickness(
    reading_mm: ArrayLike,
    side: ArrayLike,
    *,
    step_mm: float = 0.0,
    limit_of_error_mm: float = 0.0,
    scatter_sd_mm: float = 0.0,
) -> Wall:
    """Mean thickness of readings (n,) with their ``side`` numbers (n,), sides counting alike.

    ``scatter_sd_mm`` is that of one reading by this hand.  Raises TooFewReadings with one side.
    """
    reading = np.asarray(reading_mm, dtype=np.float64)
    _, index = np.unique(np.asarray(side), return_inverse=True)
    counts = np.bincount(index).astype(np.float64)
    n_sides = len(counts)
    if n_sides < LEAST_SIDES:
        raise TooFewReadings(
            f"a wall needs readings on {LEAST_SIDES} sides, got {n_sides}: "
            "read three on each of four"
        )
    means = np.bincount(index, weights=reading) / counts
    between = float(np.std(means, ddof=1))
    from_sides = between / np.sqrt(n_sides)
    from_hand = scatter_sd_mm * float(np.sqrt(np.sum(1 / counts))) / n_sides
    # Four sides alike by luck do not make the hand steadier than it is.
    u_scatter, df = max((from_sides, n_sides - 1.0), (from_hand, np.inf))
    u_step = step_mm / np.sqrt(12)  # readings that show one value repeat its rounding
    u = float(np.hypot(u_scatter, u_step))
    df = df * (u / u_scatter) ** 4 if u_scatter > 0 else np.inf
    return Wall(
        float(means.mean()),
        u,
        limit_of_error_mm / float(np.sqrt(3)),
        float(df),
        len(reading),
        n_sides,
        tuple(means.tolist()),
        between,
    )


def width_gain(line_width_mm: float, layer_height_mm: float) -> float:
    """(dw/w) / (dA/A) of the stadium bead.

    >>> round(width_gain(0.45, 0.20), 2)
    0.9
    """
    area = float(bead_area_mm2(line_width_mm, layer_height_mm))
    return area / (layer_height_mm * line_width_mm)


def wall_factor(
    wall: Wall, *, line_width_mm: float, layer_height_mm: float, multiplier: float = 1.0
) -> Factor:
    """Multiplier by the wall, exactly by areas."""
    target = float(bead_area_mm2(line_width_mm, layer_height_mm))
    printed = float(bead_area_mm2(wall.mean_mm, layer_height_mm))
    per_mm = layer_height_mm / printed  # dA/A of a millimetre
    return Factor(
        multiplier * target / printed, wall.u_mm * per_mm, wall.df, wall.u_common_mm * per_mm
    )


def plain_wall_factor(wall: Wall, *, line_width_mm: float, multiplier: float = 1.0) -> float:
    """k_now w_target / w_measured, as is common practice: too small a step by a tenth."""
    return multiplier * line_width_mm / wall.mean_mm


def mass_factor(
    measured_g: float,
    *,
    volume_mm3: float,
    density_g_per_cm3: float,
    multiplier: float = 1.0,
    step_g: float = 0.0,
    limit_of_error_g: float = 0.0,
    u_density_rel: float = 0.0,
) -> Factor:
    """Multiplier by the mass of a coupon that the machine was told to fill with ``volume_mm3``.

    The density is the same for coupons of one material and counts as common, as does the scale.
    """
    target = density_g_per_cm3 * volume_mm3 / 1000
    common = np.hypot(u_density_rel, limit_of_error_g / np.sqrt(3) / measured_g)
    # Taring and weighing are rounded once each.
    own = step_g / np.sqrt(6) / measured_g
    return Factor(multiplier * target / measured_g, float(own), np.inf, float(common))


def diameter_factor(
    mean_mm: float,
    mean_lo_mm: float,
    mean_hi_mm: float,
    sd_mm: float,
    *,
    set_diameter_mm: float,
    u_common_mm: float = 0.0,
    confidence: float = CONFIDENCE,
) -> Factor:
    """Multiplier by the diameter, from its mean with interval (see lotqa.evidence.tuning).

    ``u_common_mm`` is the part of the uncertainty that the offset of the tool makes.
    """
    square = mean_mm**2 + (sd_mm if np.isfinite(sd_mm) else 0.0) ** 2
    u_all = (mean_hi_mm - mean_lo_mm) / 2 / float(student_quantile(np.inf, confidence))
    u_own = float(np.sqrt(max(u_all**2 - u_common_mm**2, 0.0)))
    per_mm = 2 * mean_mm / square
    return Factor(set_diameter_mm**2 / square, u_own * per_mm, np.inf, u_common_mm * per_mm)


def factor_as_kept(
    value: float,
    lo: float,
    hi: float,
    *,
    u_rel: float,
    u_common_rel: float = 0.0,
    confidence: float = CONFIDENCE,
) -> Factor:
    """The factor whose value, interval and standard uncertainties a document keeps.

    Its degrees of freedom are those with which Student's factor makes that interval of both
    uncertainties together, taken back to the part that has few (the inverse of ``half_width``).
    """
    u = float(np.hypot(u_rel, u_common_rel))
    half = float(np.log(hi / lo)) / 2
    if u_rel <= 0 or half <= u * float(student_quantile(np.inf, confidence)):
        return Factor(value, u_rel, np.inf, u_common_rel)
    df = float(stdtridf(0.5 + confidence / 2, half / u))
    return Factor(value, u_rel, df * (u_rel / u) ** 4, u_common_rel)


def ratio(a: Factor, b: Factor, *, same_tool: bool = False) -> Factor:
    """a / b; what is common to both falls out when they were found with the same tool."""
    u = float(np.hypot(a.u_rel, b.u_rel))
    parts = a.u_rel**4 / a.df + b.u_rel**4 / b.df
    df = u**4 / parts if parts > 0 else np.inf
    common = 0.0 if same_tool else float(np.hypot(a.u_common_rel, b.u_common_rel))
    return Factor(a.value / b.value, u, df, common)


def judge(
    route: str,
    k_print: Factor,
    k_diameter: Factor,
    *,
    gap_max_pct: float,
    reference: Factor | None = None,
    same_tools: bool = True,
    confidence: float = CONFIDENCE,
) -> Judgement:
    """Compare print and diameter by ``route`` ("wall" or "mass").

    ``reference`` is the residual of the reference spool on the same machine by the same route;
    ``same_tools`` that both were read with the same ones.  Up to ``gap_max_pct`` a gap is small.
    """
    residual = ratio(k_print, k_diameter)
    gap = residual if reference is None else ratio(residual, reference, same_tool=same_tools)
    lo, hi = (100 * (end - 1) for end in gap.interval(confidence))
    small = lo >= -gap_max_pct and hi <= gap_max_pct
    if small:
        word = EXPLAINED
    elif lo > 0 or hi < 0:
        word = NOT_DIAMETER
    else:
        word = CANNOT_TELL
    text = _sentence(route, word, 100 * (gap.value - 1), lo, hi, gap_max_pct, reference is not None)
    return Judgement(route, residual, gap, word, reference is not None, text)


def _sentence(
    route: str, word: str, gap: float, lo: float, hi: float, small: float, has_reference: bool
) -> str:
    against = "than the reference spool did" if has_reference else "than the diameter says"
    more = "more" if gap >= 0 else "less"
    size = f"By the {route} the print needs {abs(gap):.1f} % {more} flow {against}"
    size += f" ({lo:+.1f} to {hi:+.1f} %)"
    if word == EXPLAINED:
        return f"{size}: the diameter explains it, within {small:g} %."
    if word == CANNOT_TELL:
        tool = "the wall cannot tell" if route == "wall" else f"the {route} cannot tell"
        better = (
            "read more places with a micrometer, or weigh a coupon"
            if route == "wall"
            else "weigh a larger coupon"
        )
        return f"{size}: {tool}, its interval is wider than the gap; {better}."
    causes = "moisture, slip at the drive, a wrong temperature, or an offset of the calliper"
    end = f"{size}: that is not the diameter. Look for {causes}."
    if has_reference:
        return end
    return f"{end} It may be the machine itself: print the coupon from a reference spool, too."
