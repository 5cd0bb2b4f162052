"""What drying showed of one spool: dry, wet, far too wet, or not to be told.

What a cardboard reel may have given off is taken off the loss as an interval.  Where the reel alone
may be the whole of what is above the limit, or the scale cannot show the limit, nobody can tell.
A reel of unknown material is not taken off; what it could be is still stated.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.moisture import (
    Moisture,
    Plateau,
    ReelWater,
    can_show,
    detectable_g,
    filament_loss_pct,
    plateau,
    reel_water,
)
from lotqa.evidence.weighings import SpoolWeight
from lotqa.model import FloatArray
from lotqa.verdict.goods import REACH, Goods
from lotqa.verdict.outcome import PASS, REJECT, TUNE, IntLevels, levels, stretched

State = Literal["dry", "wet", "far too wet", "cannot tell", "gained", "no limit known"]
_STATES: tuple[State, State, State] = ("dry", "wet", "far too wet")
WEIGHED_REELS = ("itself", "alike", "record")  # of Tare.known: reels that were on a scale


@dataclass(frozen=True, slots=True)
class MoistureLimits:
    """Loss above which to dry first, and above which to send back; NaN where not known."""

    dry_above_pct: float
    reject_above_pct: float

    @property
    def known(self) -> bool:
        """Whether the material has a limit at all."""
        return bool(np.isfinite(self.dry_above_pct))

    def level(self, loss_pct: FloatArray) -> IntLevels:
        """PASS, TUNE or REJECT for losses of any shape."""
        above = levels(loss_pct <= self.dry_above_pct, TUNE)
        return np.maximum(above, levels(loss_pct <= self.reject_above_pct, REJECT))


@dataclass(frozen=True, slots=True)
class Wetness:
    """What drying showed of one spool."""

    state: State
    loss: Moisture  # with its reel's
    lo_pct: float  # of the filament's own loss, 95 %
    hi_pct: float
    detectable_g: float | None  # smallest loss this scale shows; None: its step is not known
    can_show: bool | None  # the limit of the material
    can_show_industrial: bool | None
    plateau: Plateau | None
    reel: ReelWater | None  # None: the reel gives off none
    reel_known: bool  # False: nobody said what the reel is made of

    @property
    def reel_pct(self) -> tuple[float, float]:
        """Least and most that the reel can have lost, in percent of the net mass."""
        if self.reel is None or self.loss.series is None:
            return 0.0, 0.0
        net_g = self.loss.series.net_g
        return 100 * self.reel.lo_g / net_g, 100 * self.reel.hi_g / net_g


def limits_of(goods: Goods, criteria: Criteria) -> MoistureLimits:
    """The limits of this material under these criteria."""
    known = None if goods.material is None else goods.material.moisture_limit_pct
    base = np.nan if known is None else known
    dry, reject = (base * criteria[f"moisture.{k}"] for k in ("loss_max_ratio", "reject_ratio"))
    return MoistureLimits(float(dry), float(reject))


def wetness(goods: Goods, criteria: Criteria, i: int) -> Wetness | None:
    """What drying showed of spool ``i``; None where it was not weighed before and after."""
    weight = goods.weights[i]
    m = None if weight is None else weight.moisture
    if weight is None or m is None:
        return None
    limits = limits_of(goods, criteria)
    reel, reel_known = _reel(goods, criteria, weight)
    series = m.series
    if series is None:
        state = _state(m, limits, None, None, None, criteria)
        return Wetness(state, m, m.lo_pct, m.hi_pct, None, None, None, None, None, reel_known)
    limit_pct = limits.dry_above_pct if limits.known else None
    shows = None if limit_pct is None else can_show(series, limit_pct)
    ppm = None if goods.material is None else goods.material.industrial_limit_ppm
    taken_off = reel if reel is not None and reel_known else ReelWater(0.0, 0.0)
    lo, hi = filament_loss_pct(m.lo_pct, m.hi_pct, taken_off, series.net_g)
    if taken_off.hi_g:  # no filament takes water up in a dryer
        lo, hi = max(lo, 0.0), max(hi, 0.0)
    smallest = detectable_g(series.u_weighing_g)
    return Wetness(
        state=_state(m, limits, reel if reel_known else None, smallest, shows, criteria),
        loss=m,
        lo_pct=lo,
        hi_pct=hi,
        detectable_g=smallest,
        can_show=shows,
        can_show_industrial=None if ppm is None else can_show(series, ppm / 1e4),
        plateau=plateau(
            series,
            tolerance_pct=criteria["moisture.plateau_pct"],
            hours_min=criteria["moisture.plateau_hours"],
            limit_pct=limit_pct,
        ),
        reel=reel,
        reel_known=reel_known,
    )


def _reel(goods: Goods, criteria: Criteria, weight: SpoolWeight) -> tuple[ReelWater | None, bool]:
    """What the reel can have lost, and whether its material is known at all."""
    kind = criteria.reel_for(goods.reel.material)
    if kind is not None and not kind.loses_water:
        return None, True
    usual = kind or next((r for r in criteria.reels if r.loses_water), None)
    tare = weight.tare
    if tare is not None and tare.known in WEIGHED_REELS:
        mass = (max(tare.mass_g - REACH * tare.u_g, 0.0), tare.mass_g + REACH * tare.u_g)
    elif usual is not None:
        mass = (usual.tare_lo_g, usual.tare_hi_g)
    else:
        return None, False
    water = (criteria[f"moisture.reel_water_{end}_pct"] for end in ("lo", "hi"))
    return reel_water(*mass, *water), kind is not None


def _state(
    m: Moisture,
    limits: MoistureLimits,
    reel: ReelWater | None,
    smallest_g: float | None,
    shows: bool | None,
    criteria: Criteria,
) -> State:
    if smallest_g is not None and -m.loss_g > smallest_g:
        return "gained"
    if not limits.known:
        return "no limit known"
    value_pct, lo_pct, hi_pct = (np.array([v]) for v in (m.loss_pct, m.lo_pct, m.hi_pct))
    lo, hi = (float(v[0]) for v in stretched(value_pct, lo_pct, hi_pct, criteria))
    middle = m.loss_pct
    if reel is not None and m.series is not None:
        # Only what the reel cannot explain counts against the filament.
        lo, hi = filament_loss_pct(lo, hi, reel, m.series.net_g)
        middle = lo
    low, point, high = (int(v) for v in limits.level(np.array([lo, middle, hi])))
    open_question = low == PASS != high if reel is not None else shows is False and low != high
    return "cannot tell" if open_question else _STATES[point]
