"""The check of the loss on drying, and its sentences.

A weighing that cannot tell (see wetness.py) is said to be undecided and does not enter the
verdict, or weighing would be worse than not weighing.  A reel of unknown material is told of where
a cardboard one would change the verdict; it leaves a rejection provisional, but drying is advised
all the same: that costs little, whoever holds the water.
"""

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.moisture import Plateau
from lotqa.verdict.goods import Goods
from lotqa.verdict.outcome import PASS, REJECT, TUNE, Check, stretched
from lotqa.verdict.wetness import MoistureLimits, Wetness, limits_of, wetness
from lotqa.verdict.words import against, interval, number

UNDECIDED = ("cannot tell", "gained")
ONCE = "Weighed once after drying: one or two hours more and a second weighing tell if it stopped."


def loss(goods: Goods, criteria: Criteria) -> Check:
    """Loss on drying: above the material's limit dry first, far above send back."""
    found = [wetness(goods, criteria, i) for i in range(len(goods.weights))]
    limits = limits_of(goods, criteria)
    unknown = (np.nan, np.nan, np.nan)
    value, lo, hi = np.array(
        [unknown if w is None else (w.loss.loss_pct, w.loss.lo_pct, w.loss.hi_pct) for w in found],
        dtype=np.float64,
    ).reshape(-1, 3).T  # fmt: skip
    lo, hi = stretched(value, lo, hi, criteria)
    reel_lo, reel_hi = np.array(
        [(0.0, 0.0) if w is None else w.reel_pct for w in found], dtype=np.float64
    ).reshape(-1, 2).T  # fmt: skip
    known = np.array([w is not None and w.reel_known for w in found], dtype=np.bool_)
    if_cardboard = limits.level(lo - reel_hi)
    best = np.where(
        known, if_cardboard, np.maximum(if_cardboard, np.minimum(limits.level(lo), TUNE))
    )
    worst = limits.level(hi - np.where(known, reel_lo, 0.0))
    # Of a reel that loses water only what it cannot explain counts against the filament.
    point = np.where(known & (reel_hi > 0), best, limits.level(value)).astype(np.int8)
    losing = [w is not None and w.plateau is not None and w.plateau.word == "still losing"
              for w in found]  # fmt: skip
    worst = np.where(losing, np.maximum(worst, TUNE), worst)
    undecided = np.array([w is not None and w.state in UNDECIDED for w in found], dtype=np.bool_)

    def sentence(i: int) -> str:
        w = found[i]
        if w is None:
            return "No weighing before and after drying: not checked."
        matters = bool(if_cardboard[i] != limits.level(lo)[i])
        return _sentence(w, limits, int(point[i]), cardboard_matters=matters)

    return Check(
        key="moisture.loss",
        point=point,
        best=best.astype(np.int8),
        worst=worst.astype(np.int8),
        checked=np.isfinite(value) & limits.known & ~undecided,
        value=value,
        limit=np.full(len(value), limits.dry_above_pct),
        unit="%",
        sentence=sentence,
        undecided=undecided,
    )


def _sentence(w: Wetness, limits: MoistureLimits, point: int, *, cardboard_matters: bool) -> str:
    m = w.loss
    if w.state == "gained":
        return (
            f"The spool gained {number(-m.loss_g, 1)} g in drying, which cannot be: not checked. "
            "Weigh again with the same things on the scale, the spool cool and dry."
        )
    if w.state == "no limit known":
        return f"Drying took {number(m.loss_pct, 2)} %; no limit is known: not checked."
    limit = limits.reject_above_pct if point == REJECT else limits.dry_above_pct
    text, top = against(m.loss_pct, limit, 2)
    head = f"Drying took {text} % of the net mass ({interval(m.lo_pct, m.hi_pct, 2)} %)"
    if w.state == "cannot tell":
        return f"{head}. {_cannot_tell(w, top)}"
    if w.reel is not None and w.reel_known:
        head += f", of which {_most(w)} can be the reel's own water"
    rest = {
        PASS: f"up to {top} % is accepted.",
        TUNE: f"above {top} % dry it before printing and before tuning.",
        REJECT: f"above {top} % it was stored wet for long.",
    }[point]
    more = [] if w.plateau is None else [plateau_text(w.plateau)]
    if w.reel is not None and not w.reel_known and cardboard_matters:
        more.append(
            f"If its reel is cardboard, {_most(w)} of this can be the reel's own water: write "
            "reel.material in lot.toml."
        )
    return " ".join([f"{head}; {rest}", *more])


def _most(w: Wetness) -> str:
    grams = 0.0 if w.reel is None else w.reel.hi_g
    return f"up to {number(grams, 0)} g ({number(w.reel_pct[1], 2)} %)"


def _cannot_tell(w: Wetness, top: str) -> str:
    if w.reel is not None and w.reel_known:
        return (
            f"The reel alone can lose up to {number(w.reel.hi_g, 0)} g of water, so whether the "
            f"filament lost more than {top} % cannot be told. Weigh an empty reel of this kind "
            "before and after drying, or dry the filament off its reel."
        )
    least = "" if w.detectable_g is None else f": it shows {number(w.detectable_g, 1)} g or more"
    return f"This scale cannot show a loss of {top} %{least}. Weigh on one with a finer step."


def plateau_text(found: Plateau | None) -> str:
    """Whether the loss has stopped, in a sentence."""
    if found is None:
        return ONCE
    apart = "" if found.hours is None else f" in {found.hours:g} h"
    took = (
        f"the last stretch took {number(found.difference_g, 1)} g{apart} "
        f"({interval(found.lo_g, found.hi_g, 1)} g)"
    )
    if found.word == "plateau":
        return f"It has stopped losing: {took}."
    if found.word == "still losing":
        return f"It is still losing: {took}. Dry on until two weighings agree."
    if found.why == "gain":
        return (
            f"It gained {number(-found.difference_g, 1)} g between the last two weighings: weigh "
            "again, cool and in a closed bag."
        )
    if found.why == "too soon":
        return "The last two weighings are too close in time to tell whether it has stopped."
    return f"Whether it has stopped cannot be told with this scale: {took}."


def reel_text(w: Wetness) -> str:
    """What the reel has to do with the loss, in a sentence."""
    if w.reel is None:
        return (
            "The reel loses no water of its own."
            if w.reel_known
            else "What the reel is made of is not known."
        )
    if w.reel_known:
        own = f"The reel itself can lose {number(w.reel.lo_g, 0)} to {number(w.reel.hi_g, 0)} g"
        if w.state == "gained":
            return f"{own} of water."
        ends = f"{number(w.lo_pct, 2)} to {number(w.hi_pct, 2)} %"
        return f"{own} of water: the filament's own loss is {ends}."
    return (
        f"What the reel is made of is not stated; a cardboard one can lose {_most(w)} of its own. "
        "Write reel.material in lot.toml."
    )


def scale_text(w: Wetness, goods: Goods, limits: MoistureLimits) -> str:
    """What this scale can show, in a sentence or two."""
    series, material = w.loss.series, goods.material
    if w.detectable_g is None or series is None:
        return "The step of the scale is not known."
    said = [
        f"This scale shows a loss of {number(w.detectable_g, 2)} g or more, "
        f"{number(100 * w.detectable_g / series.net_g, 3)} % of the net mass."
    ]
    if w.can_show is not None and material is not None:
        grams = limits.dry_above_pct / 100 * series.net_g
        can = "can" if w.can_show else "cannot"
        said.append(
            f"The {number(limits.dry_above_pct, 2)} % above which to dry {material.name} first "
            f"({number(grams, 2)} g) {can} be seen on it."
        )
    ppm = None if material is None else material.industrial_limit_ppm
    if ppm is not None:
        can = "can" if w.can_show_industrial else "cannot"
        said.append(
            f"The {ppm:g} ppm asked for as shipped ({number(ppm / 1e6 * series.net_g, 2)} g) {can}."
        )
    return " ".join(said)
