"""A weighed length: grams per metre, the mean diameter in it, and what a calliper adds.

    lam = m / L,  d = sqrt(4 lam / (pi rho))            g/m and g/cm3 give mm
    (u_d / d)**2 = ((u_m / m)**2 + (u_L / L)**2 + (u_rho / rho)**2) / 4                [1]_
    combined: weights 1 / u**2;  zeta = difference / u_difference, agrees within 95 %  [1]_ [2]_
    apparent density = 4 lam / (pi d_calliper**2)

d is the root of the mean square, above the plain mean by s**2 / (2 d): 0.0001 mm at s 0.02 mm.  It
speaks for the weighed metres only: give the calliper's mean of the same metres, or put the spread
of the spool into u_calliper_mm.  zeta and the apparent density are one test, not two: the density
follows from the same difference.  When both disagree one of them is wrong and nobody knows which,
so both are widened until they agree (two-result case of the random effect of Paule and Mandel [3]_)
and the combined value moves towards the middle.

.. [1] JCGM 100:2008 (GUM), 5.1.2; weighted mean: J. R. Taylor, Error Analysis, 7.2 (from memory).
.. [2] ISO 13528:2015, 9.6, zeta score (clause from memory).
.. [3] R. C. Paule, J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lotqa.evidence.weight import apparent_density_g_cm3, interval
from lotqa.model import FloatArray

Meaning = Literal["agree", "lighter", "heavier"]


@dataclass(frozen=True, slots=True)
class CutLength:
    """What a weighed length says; the diameter is None without the density of the material."""

    linear_density_g_per_m: float
    u_linear_density_g_per_m: float
    diameter_mm: float | None
    u_diameter_mm: float | None


@dataclass(frozen=True, slots=True)
class Agreement:
    """Calliper and weighed length side by side.

    ``meaning`` compares the apparent density with the material's.  "lighter": voids, bubbles, a
    lighter material, or a calliper that reads thick.  "heavier": a filler, a heavier material, or
    a calliper that reads thin.
    """

    combined_mm: float
    u_combined_mm: float
    weight_of_cut: float  # share of the cut in the combined diameter
    difference_mm: float  # calliper less cut
    u_difference_mm: float
    agrees: bool
    apparent_density_g_cm3: float
    density_lo: float  # g/cm3, 95 % interval of the apparent density
    density_hi: float
    meaning: Meaning


@dataclass(frozen=True, slots=True)
class MassFlowChange:
    """Change of grams per metre from one weighed length to another, in percent."""

    change_pct: float
    u_pct: float
    lo_pct: float
    hi_pct: float
    changed: bool  # beyond the uncertainty of both weighings


def diameter_mm(linear_density_g_per_m: ArrayLike, density_g_cm3: ArrayLike) -> FloatArray:
    """Diameter of round filament from its grams per metre.

    >>> round(float(diameter_mm(2.9825, 1.24)), 3)
    1.75
    """
    section_mm2 = np.asarray(linear_density_g_per_m, dtype=np.float64) / np.asarray(density_g_cm3)
    return np.asarray(np.sqrt(4 * section_mm2 / np.pi))


def u_diameter_relative(linear_relative: ArrayLike, density_relative: ArrayLike) -> FloatArray:
    """Relative standard uncertainty of that diameter: half, because of the root [1]_."""
    return np.asarray(np.hypot(linear_relative, density_relative) / 2)


def zeta_score(x: ArrayLike, u_x: ArrayLike, y: ArrayLike, u_y: ArrayLike) -> FloatArray:
    """Difference of two results in units of its own standard uncertainty [2]_.

    >>> float(zeta_score(10.0, 0.3, 9.0, 0.4))
    2.0
    """
    difference = np.asarray(x, dtype=np.float64) - np.asarray(y, dtype=np.float64)
    return np.asarray(difference / np.hypot(u_x, u_y))


def weighted_mean(
    x: ArrayLike, u_x: ArrayLike, y: ArrayLike, u_y: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(mean, its standard uncertainty, weight of x) of two independent results [1]_.

    u_x is above 0; an infinite u_y leaves x alone.

    >>> [round(float(v), 3) for v in weighted_mean(1.0, 1.0, 2.0, 2.0)]
    [1.2, 0.894, 0.8]
    """
    first, second = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    u_first, u_second = np.asarray(u_x, dtype=np.float64), np.asarray(u_y, dtype=np.float64)
    with np.errstate(divide="ignore"):
        weight = 1 / (1 + (u_first / u_second) ** 2)
    return second + weight * (first - second), u_first * np.sqrt(weight), weight


def cut_length(
    mass_g: float,
    u_mass_g: float,
    length_m: float,
    u_length_m: float,
    density_g_cm3: float | None,
    u_density_g_cm3: float,
) -> CutLength:
    """What ``length_m`` > 0 metres weighing ``mass_g`` > 0 say.

    >>> cut = cut_length(5.965, 0.006, 2.0, 0.0005, 1.24, 0.0124)
    >>> round(cut.diameter_mm, 3), round(cut.u_diameter_mm, 4)
    (1.75, 0.0088)
    """
    linear = mass_g / length_m
    relative = float(np.hypot(u_mass_g / mass_g, u_length_m / length_m))
    d = u_d = None
    if density_g_cm3 is not None:
        d = float(diameter_mm(linear, density_g_cm3))
        u_d = d * float(u_diameter_relative(relative, u_density_g_cm3 / density_g_cm3))
    return CutLength(linear, linear * relative, d, u_d)


def agreement(
    calliper_mm: float,
    u_calliper_mm: float,
    cut: CutLength,
    density_g_cm3: float,
    u_density_g_cm3: float,
    confidence: float = 0.95,
) -> Agreement:
    """Calliper mean and weighed length of the same metres, put together and compared.

    The diameter of the cut is taken with the density given here, whatever ``cut`` was built with.

    >>> cut = cut_length(5.965, 0.006, 2.0, 0.0005, 1.24, 0.0124)
    >>> found = agreement(1.79, 0.004, cut, 1.24, 0.0124)
    >>> found.meaning, round(found.apparent_density_g_cm3, 3)    # 4 * 2.9825 / (pi * 1.79**2)
    ('lighter', 1.185)
    """
    linear = cut.linear_density_g_per_m
    linear_relative = cut.u_linear_density_g_per_m / linear
    by_mass_mm = float(diameter_mm(linear, density_g_cm3))
    u_by_mass_mm = by_mass_mm * float(
        u_diameter_relative(linear_relative, u_density_g_cm3 / density_g_cm3)
    )
    difference = calliper_mm - by_mass_mm
    u_difference = float(np.hypot(u_calliper_mm, u_by_mass_mm))
    zeta = float(zeta_score(calliper_mm, u_calliper_mm, by_mass_mm, u_by_mass_mm))
    agrees = abs(zeta) <= float(ndtri(0.5 + confidence / 2))
    # What both must be widened by for the difference to be one standard uncertainty of itself.
    widening2 = 0.0 if agrees else (difference**2 - u_difference**2) / 2
    combined, u_combined, share = (
        float(v)
        for v in weighted_mean(
            by_mass_mm,
            np.sqrt(u_by_mass_mm**2 + widening2),
            calliper_mm,
            np.sqrt(u_calliper_mm**2 + widening2),
        )
    )
    apparent = float(apparent_density_g_cm3(linear, 1.0, calliper_mm))
    u_apparent = apparent * float(np.hypot(linear_relative, 2 * u_calliper_mm / calliper_mm))
    lo, hi = interval(apparent, u_apparent, confidence)
    meaning: Meaning = "agree" if agrees else "lighter" if difference > 0 else "heavier"
    return Agreement(
        combined_mm=combined,
        u_combined_mm=u_combined,
        weight_of_cut=share,
        difference_mm=difference,
        u_difference_mm=u_difference,
        agrees=agrees,
        apparent_density_g_cm3=apparent,
        density_lo=max(lo, 0.0),
        density_hi=hi,
        meaning=meaning,
    )


def mass_flow_change_pct(
    cut_a: CutLength, cut_b: CutLength, confidence: float = 0.95
) -> MassFlowChange:
    """How much more the part receives from b than from a; no density is needed.

    The mass of a metre is what a machine that feeds by length lays down.  For two lots of one
    material and colour the density cancels, and the change is one of section.  The errors of scale
    and rule common to both are taken as independent, which is cautious.

    >>> a, b = (cut_length(g, 0.006, 2.0, 0.0005, None, 0.0) for g in (5.965, 6.025))
    >>> found = mass_flow_change_pct(a, b)
    >>> round(found.change_pct, 2), round(found.u_pct, 2), found.changed
    (1.01, 0.15, True)
    """
    ratio = cut_b.linear_density_g_per_m / cut_a.linear_density_g_per_m
    relative = float(
        np.hypot(
            cut_a.u_linear_density_g_per_m / cut_a.linear_density_g_per_m,
            cut_b.u_linear_density_g_per_m / cut_b.linear_density_g_per_m,
        )
    )
    change, u = 100 * (ratio - 1), 100 * ratio * relative
    lo, hi = interval(change, u, confidence)
    return MassFlowChange(change, u, lo, hi, changed=not lo <= 0 <= hi)
