"""Loss on drying: how much water left, from weighings before and after.

    loss % = 100 (before - after) / net,   u**2 = (u_before**2 + u_after**2) / net**2        [1]_

On one scale the limit of error nearly cancels in the difference; only step and repeatability are
left, so the caller gives the uncertainty of a weighing without the limit of error.  A cardboard
reel loses water of its own, which this number then holds.

.. [1] JCGM 100:2008 (GUM), 5.1.2; the loss itself: common practice, no source.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence.weight import interval


@dataclass(frozen=True, slots=True)
class Moisture:
    """Loss on drying of one spool in grams and percent of the net mass."""

    loss_g: float
    loss_pct: float
    lo_pct: float
    hi_pct: float


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
