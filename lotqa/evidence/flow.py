"""What a diameter does to the flow.  Feed is by length, so flow goes with the section:

    error % = 100 (mean(d**2) / d_set**2 - 1),   mean(d**2) = m**2 + sd**2
    multiplier = 1 / (1 + error / 100)
    swing % = 100 * 2 z * 2 m sd / d_set**2        between the thinnest and thickest 2.5 % of metres
    line per filament = pi d**2 / 4 / A,  A = (w - h) h + pi h**2 / 4      stadium bead

Supposes no slip at the drive.  The arithmetic is geometry; the stadium bead is common practice,
no source: it takes squeezed flanks as half circles.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lotqa.model import FloatArray

SWING_SHARE = 0.95  # of the metres; the swing is quoted for the same share as the intervals


def error_pct(mean_mm: ArrayLike, sd_mm: ArrayLike, set_diameter_mm: ArrayLike) -> FloatArray:
    """Flow error in percent against the diameter set in the machine.

    >>> round(float(error_pct(1.71, 0.0, 1.75)), 1)
    -4.5
    """
    square = np.asarray(mean_mm, dtype=np.float64) ** 2 + np.asarray(sd_mm) ** 2
    return np.asarray(100 * (square / np.asarray(set_diameter_mm) ** 2 - 1))


def multiplier(flow_error_pct: ArrayLike) -> FloatArray:
    """Flow multiplier that restores the flow.

    >>> round(float(multiplier(-4.52)), 3)
    1.047
    """
    return np.asarray(1 / (1 + np.asarray(flow_error_pct, dtype=np.float64) / 100))


def diameter_to_enter_mm(mean_mm: ArrayLike, sd_mm: ArrayLike) -> FloatArray:
    """Diameter whose square is the mean square: entering it does what the multiplier does."""
    return np.hypot(np.asarray(mean_mm, dtype=np.float64), np.asarray(sd_mm, dtype=np.float64))


def swing_pct(mean_mm: ArrayLike, sd_mm: ArrayLike, set_diameter_mm: ArrayLike) -> FloatArray:
    """Flow swing in percent between the thinnest and the thickest 2.5 % of the metres.

    >>> round(float(swing_pct(1.75, 0.0125, 1.75)), 1)
    5.6
    """
    reach = ndtri(0.5 + SWING_SHARE / 2) * np.asarray(sd_mm, dtype=np.float64)
    return np.asarray(100 * 4 * np.asarray(mean_mm) * reach / np.asarray(set_diameter_mm) ** 2)


def line_mm_per_filament_mm(
    diameter_mm: ArrayLike, line_width_mm: ArrayLike, layer_height_mm: ArrayLike
) -> FloatArray:
    """Millimetres of printed line from one millimetre of filament, stadium bead.

    >>> round(float(line_mm_per_filament_mm(1.75, 0.45, 0.20)), 1)
    29.5
    """
    height = np.asarray(layer_height_mm, dtype=np.float64)
    bead_mm2 = (np.asarray(line_width_mm) - height) * height + np.pi * height**2 / 4
    return np.asarray(np.pi * np.asarray(diameter_mm) ** 2 / 4 / bead_mm2)
