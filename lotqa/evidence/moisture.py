"""Loss on drying: how much water left, whether it has stopped, what scale and reel let one see.

    loss % = 100 (before - after) / net,   u_loss**2 = u_before**2 + u_after**2              [1]_
    smallest loss that is told from none: (z_alpha + z_beta) u_loss = 3.29 u_loss            [2]_

On one scale the limit of error nearly cancels in the difference; only step and repeatability are
left, so the caller gives the uncertainty of a weighing without the limit of error.

A cardboard reel loses water of its own, between a least and a most that nobody knows closer: the
loss of the filament is the interval [lo - most, hi - least], not a number less a number.

Drying has stopped when the last two weighings differ by less than a step of the scale, or less
than a small share of the net mass; the interval of their difference decides, so that a step up or
down alone is 'cannot tell'.  Two weighings close in time agree whatever is left in the plastic.

.. [1] JCGM 100:2008 (GUM), 5.1.2; the loss itself: common practice, no source.
.. [2] Currie, Anal. Chim. Acta 391 (1999) 105 (IUPAC recommendations 1995), alpha = beta = 0.05;
   'minimum detectable value' of ISO 11843-1:1997.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtri

from lotqa.evidence.weight import interval

ALPHA = BETA = 0.05  # chances of seeing a loss that is none, and of missing one [2]_
PlateauWord = Literal["still losing", "plateau", "cannot tell"]
PlateauWhy = Literal["difference", "scale", "too soon", "gain"]


@dataclass(frozen=True, slots=True)
class DryingSeries:
    """The weighings of one spool that was dried, in the order they were made."""

    before_g: float
    after_g: tuple[float, ...]  # one or more
    hours: tuple[float | None, ...]  # beside each of them, as typed
    net_g: float
    u_weighing_g: float  # without the limit of error
    step_g: float


@dataclass(frozen=True, slots=True)
class Moisture:
    """Loss on drying of one spool in grams and percent of the net mass, its reel's included."""

    loss_g: float
    loss_pct: float
    lo_pct: float
    hi_pct: float
    series: DryingSeries | None = None


@dataclass(frozen=True, slots=True)
class Plateau:
    """Whether the loss has stopped, from the last two weighings after drying began."""

    word: PlateauWord
    why: PlateauWhy  # difference: the weighings say so
    difference_g: float  # lost between the two
    lo_g: float
    hi_g: float
    hours: float | None  # between the two


@dataclass(frozen=True, slots=True)
class ReelWater:
    """What an empty reel can lose of its own in drying."""

    lo_g: float
    hi_g: float


def loss_on_drying(before_g: float, after_g: float, net_g: float, u_weighing_g: float) -> Moisture:
    """Loss on drying; negative when the spool gained.

    >>> loss = loss_on_drying(1230.0, 1221.0, 1000.0, 0.29)
    >>> round(loss.loss_pct, 2), round(loss.lo_pct, 2), round(loss.hi_pct, 2)
    (0.9, 0.82, 0.98)
    """
    u_pct = 100 * float(np.sqrt(2)) * u_weighing_g / net_g
    loss_pct = 100 * (before_g - after_g) / net_g
    lo, hi = interval(loss_pct, u_pct)
    return Moisture(before_g - after_g, loss_pct, lo, hi)


def drying_loss(series: DryingSeries) -> Moisture:
    """Loss from the first weighing to the last, with the weighings it rests on."""
    loss = loss_on_drying(series.before_g, series.after_g[-1], series.net_g, series.u_weighing_g)
    return Moisture(loss.loss_g, loss.loss_pct, loss.lo_pct, loss.hi_pct, series)


def detectable_g(u_weighing_g: float) -> float:
    """Smallest true loss that two such weighings tell from none, 19 times of 20 [2]_.

    >>> round(detectable_g(1 / 12**0.5), 2)      # a 1 g scale
    1.34
    """
    return float(-(ndtri(ALPHA) + ndtri(BETA)) * np.sqrt(2) * u_weighing_g)


def can_show(series: DryingSeries, limit_pct: float) -> bool:
    """Whether a loss as small as ``limit_pct`` of the net mass can be seen on this scale.

    >>> series = DryingSeries(1200.0, (1200.0,), (4.0,), 1000.0, 1 / 12**0.5, 1.0)
    >>> can_show(series, 0.5), can_show(series, 0.025)     # 5 g, and 250 ppm
    (True, False)
    """
    return bool(detectable_g(series.u_weighing_g) <= limit_pct / 100 * series.net_g)


def plateau(
    series: DryingSeries, *, tolerance_pct: float, hours_min: float, limit_pct: float | None = None
) -> Plateau | None:
    """Whether the loss has stopped; None with fewer than two weighings after drying began.

    ``tolerance_pct`` of the net mass is what still counts as stopped, never less than a step.
    ``hours_min`` must lie between the two weighings where their hours are known.  A scale that
    cannot show ``limit_pct`` cannot show that the loss has stopped either.
    """
    if len(series.after_g) < 2:
        return None
    earlier, later = series.after_g[-2:]
    lo, hi = interval(earlier - later, float(np.sqrt(2)) * series.u_weighing_g)
    small_g = max(tolerance_pct / 100 * series.net_g, series.step_g)
    hours = _between(series.hours)
    word: PlateauWord = "cannot tell"
    why: PlateauWhy = "scale"
    if lo > small_g:
        word, why = "still losing", "difference"
    elif later - earlier > detectable_g(series.u_weighing_g):
        why = "gain"
    elif hi <= small_g:
        if hours is not None and hours < hours_min:
            why = "too soon"
        elif limit_pct is None or can_show(series, limit_pct):
            word, why = "plateau", "difference"
    return Plateau(word, why, earlier - later, lo, hi, hours)


def _between(hours: Sequence[float | None]) -> float | None:
    """Hours between the last two weighings.

    Growing hours count from the start; others are taken as those since the weighing before.
    """
    earlier, later = hours[-2:]
    if later is None:
        return None
    return later if earlier is None or later <= earlier else later - earlier


def reel_water(
    mass_lo_g: float, mass_hi_g: float, water_lo_pct: float, water_hi_pct: float
) -> ReelWater:
    """What a reel of this mass loses if it gives off such a share of it.

    >>> reel_water(120.0, 180.0, 0.0, 8.0)
    ReelWater(lo_g=0.0, hi_g=14.4)
    """
    return ReelWater(mass_lo_g * water_lo_pct / 100, mass_hi_g * water_hi_pct / 100)


def filament_loss_pct(
    lo_pct: float, hi_pct: float, reel: ReelWater, net_g: float
) -> tuple[float, float]:
    """Interval of the filament's own loss, from that of filament and reel.

    >>> [round(v, 2) for v in filament_loss_pct(0.3, 0.5, ReelWater(0.0, 4.0), 1000.0)]
    [-0.1, 0.5]
    """
    return lo_pct - 100 * reel.hi_g / net_g, hi_pct - 100 * reel.lo_g / net_g
