"""Tuning card: what to enter in the machine, and what no setting cures.

The machine feeds k V / (pi set**2 / 4) millimetres for a volume V; filament of mean square q puts
down k V q / set**2.  A machine that slips or bites deep needs r times more than the diameter says
(r is the machine residual, 1 unless a reference spool has shown it [1]_).  So, with the present k,

    flow error % = 100 (k q / (set**2 r) - 1)
    either       k_new = r set**2 / q            and leave the diameter entry,
    or           set_new = sqrt(k q / r)         and leave the multiplier: never both.

What is left: the swing between the thinnest and the thickest 2.5 % of metres, 4 z m sd / q, and
with it the line width (stadium bead).  All functions take arrays (k,), one element a spool.

.. [1] lotqa.evidence.coupon; volume balance, no slip beyond r.  That corrections outside 0.90 to
   1.10 mean something else is wrong is common practice, no source; the limits are arguments.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.bead import bead_width_mm
from lotqa.evidence.flow import swing_pct
from lotqa.model import BoolArray, FloatArray

EITHER_OR = "Enter the multiplier or the diameter, never both: entered together they correct twice."
SAFER = "The multiplier is the safer place: some machines refuse diameters that differ by little."


@dataclass(frozen=True, slots=True, eq=False)
class Tuning:
    """Card of k spools; arrays (k,), intervals as those given, NaN where a setting is unknown."""

    error_pct: FloatArray  # of the flow as the machine is set now
    error_lo_pct: FloatArray
    error_hi_pct: FloatArray
    new_multiplier: FloatArray  # keeping the diameter entry
    new_multiplier_lo: FloatArray
    new_multiplier_hi: FloatArray
    new_diameter_mm: FloatArray  # keeping the multiplier
    new_diameter_lo_mm: FloatArray
    new_diameter_hi_mm: FloatArray
    swing_pct: FloatArray  # after tuning, peak to peak
    width_lo_mm: FloatArray  # change of the line width from the swing
    width_hi_mm: FloatArray
    suspicious: BoolArray  # the correction is so large that something else is wrong


@dataclass(frozen=True, slots=True, eq=False)
class LabelAllows:
    """What the tolerance of the label alone allows, between its two limits; arrays (k,)."""

    flow_lo_pct: FloatArray
    flow_hi_pct: FloatArray
    width_lo_mm: FloatArray
    width_hi_mm: FloatArray


def tune(
    mean_mm: ArrayLike,
    mean_lo_mm: ArrayLike,
    mean_hi_mm: ArrayLike,
    sd_mm: ArrayLike,
    *,
    set_diameter_mm: ArrayLike,
    line_width_mm: ArrayLike,
    layer_height_mm: ArrayLike,
    multiplier_limits: tuple[float, float],
    multiplier: ArrayLike = 1.0,
    machine_residual: ArrayLike = 1.0,
) -> Tuning:
    """Card arithmetic from the mean diameter with its interval and the spread of the filament.

    ``multiplier_limits`` are those of a multiplier that a machine in order needs at its set
    diameter; a new multiplier outside them is marked suspicious.
    """
    mean, sd = np.asarray(mean_mm, dtype=np.float64), np.asarray(sd_mm, dtype=np.float64)
    set_mm = np.asarray(set_diameter_mm, dtype=np.float64)
    k = np.asarray(multiplier, dtype=np.float64)
    r = np.asarray(machine_residual, dtype=np.float64)
    # A spread that nobody knows (one place) takes nothing from the mean's own message.
    scatter = np.where(np.isfinite(sd), sd, 0.0)
    square = mean**2 + scatter**2
    least = np.maximum(np.asarray(mean_lo_mm), 0.0) ** 2 + scatter**2
    most = np.asarray(mean_hi_mm, dtype=np.float64) ** 2 + scatter**2
    with np.errstate(divide="ignore"):
        new = r * set_mm**2 / square
        lo, hi = r * set_mm**2 / most, r * set_mm**2 / least
    swing = swing_pct(mean, sd, np.sqrt(square))
    width = np.asarray(line_width_mm, dtype=np.float64)
    width_lo, width_hi = (
        bead_width_mm(width, layer_height_mm, sign * swing / 2) - width for sign in (-1, 1)
    )
    bottom, top = multiplier_limits
    shape = np.broadcast_shapes(new.shape, lo.shape, hi.shape, k.shape, width_lo.shape)

    def every(value: FloatArray) -> FloatArray:
        return np.broadcast_to(value, shape)

    return Tuning(
        error_pct=every(100 * (k / new - 1)),
        error_lo_pct=every(100 * (k * least / (set_mm**2 * r) - 1)),
        error_hi_pct=every(100 * (k * most / (set_mm**2 * r) - 1)),
        new_multiplier=every(new),
        new_multiplier_lo=every(lo),
        new_multiplier_hi=every(hi),
        new_diameter_mm=every(np.sqrt(k * square / r)),
        new_diameter_lo_mm=every(np.sqrt(k * least / r)),
        new_diameter_hi_mm=every(np.sqrt(k * most / r)),
        swing_pct=every(swing),
        width_lo_mm=every(width_lo),
        width_hi_mm=every(width_hi),
        suspicious=~((every(new) >= bottom) & (every(new) <= top)),
    )


def label_allows(
    nominal_mm: ArrayLike,
    tolerance_mm: ArrayLike,
    *,
    line_width_mm: ArrayLike,
    layer_height_mm: ArrayLike,
) -> LabelAllows:
    """Flow and line width at the two limits of the label, the machine set to the nominal.

    >>> allowed = label_allows(1.75, 0.05, line_width_mm=0.45, layer_height_mm=0.20)
    >>> round(float(allowed.flow_hi_pct), 1), round(float(allowed.width_hi_mm), 3)
    (5.8, 0.024)
    """
    nominal = np.asarray(nominal_mm, dtype=np.float64)
    tolerance = np.asarray(tolerance_mm, dtype=np.float64)
    lo, hi = (100 * (((nominal + sign * tolerance) / nominal) ** 2 - 1) for sign in (-1, 1))
    width_lo, width_hi = (
        bead_width_mm(line_width_mm, layer_height_mm, flow) - np.asarray(line_width_mm)
        for flow in (lo, hi)
    )
    return LabelAllows(lo, hi, width_lo, width_hi)


def card_sentences(
    card: Tuning,
    i: int,
    *,
    set_diameter_mm: float,
    multiplier: float,
    multiplier_limits: tuple[float, float],
) -> tuple[str, ...]:
    """The card of spool ``i`` in words, the guard against entering both always among them."""
    values = (np.atleast_1d(v)[i] for v in (card.error_pct, card.error_lo_pct, card.error_hi_pct))
    error, lo, hi = (float(v) for v in values)
    new = float(np.atleast_1d(card.new_multiplier)[i])
    diameter = float(np.atleast_1d(card.new_diameter_mm)[i])
    swing = float(np.atleast_1d(card.swing_pct)[i])
    more, less = (float(np.atleast_1d(v)[i]) for v in (card.width_hi_mm, card.width_lo_mm))
    now = f"As set now ({set_diameter_mm:.3f} mm, multiplier {multiplier:.3f}) "
    flow = f"the flow is {error:+.1f} % off (95 %: {lo:+.1f} to {hi:+.1f} %)."
    said = [
        now + flow,
        f"Either set the multiplier to {new:.3f} and leave the diameter at "
        f"{set_diameter_mm:.3f} mm.",
        f"Or set the diameter to {diameter:.3f} mm and leave the multiplier at {multiplier:.3f}.",
        EITHER_OR,
    ]
    if np.isfinite(swing):
        said.append(
            f"No setting cures the swing along the spool: {swing:.1f} % of flow, "
            f"{less:+.3f} to {more:+.3f} mm of line width."
        )
    if bool(np.atleast_1d(card.suspicious)[i]):
        low, high = multiplier_limits
        said.append(
            f"A multiplier outside {low:.2f} to {high:.2f} means that something else is wrong: "
            "look for slip, a clog, a wrong nozzle or diameter entry, or a wet spool first."
        )
    return tuple(said)
