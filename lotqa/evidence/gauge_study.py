"""Gauge study: what hand and tool add to a reading, taken apart by analysis of variance.

p places, each read r times by each of o operators, all crossed and all of a random kind [1]_:

    reading = mean + place + operator + operator x place + repeat

Mean squares P, O, I (interaction), E give the components, e.g. place = (P - I) / (o r) and
operator = (O - I) / (p r).  Where the interaction is not seen (p above a level given) it is pooled
into E.  Gauge = repeat + operator + operator x place.  A negative estimate is set to 0 and its
interval kept [2]_.  Intervals: E exact; sums and differences by mean_squares.py; place / gauge by
[3]_, and from it, being rising functions of it, shares of the total and distinct categories.

One operator: one-way repeats, whose place / gauge interval is exact [2]_; nothing is said about
other hands.  Not valid for unbalanced data, nor for a place that moves or yields between trials.

.. [1] Montgomery & Runger, Quality Engineering 6 (1993) 289; AIAG, MSA, 4th ed. (2010), III-B.
.. [2] Searle, Casella & McCulloch, Variance Components (1992), 3.5 (d) and 3.6 (d).
.. [3] Burdick, Borror & Montgomery, J. Quality Technology 35 (2003) 342, two-factor random model;
   exact where the operators' or the places' mean square rules alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from lotqa.errors import TooFewReadings
from lotqa.evidence.crossed import INTERACTION, Line, anova, pooled
from lotqa.evidence.gauge import Scatter
from lotqa.evidence.mean_squares import bounds, combination_interval
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.model import FloatArray

Name = Literal[
    "repeatability", "operator", "operator x place", "reproducibility", "gauge", "place", "total"
]
Interval = tuple[float, float]
WIDTH_SDS = 6.0  # AIAG, MSA, 4th ed.: the width of a distribution, 99.73 % of normal values
CATEGORIES = 1.41  # AIAG, MSA, 4th ed., III-B: categories = 1.41 PV / GRR, cut to a whole number


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the variance; the shares are in percent."""

    name: Name
    variance_mm2: float  # 0 where the estimate came out negative
    estimate_mm2: float  # as it came out
    sd_mm: float
    sd_ci_mm: Interval
    contribution_pct: float  # variance as share of the total variance
    share_of_total_pct: float  # standard deviation as share of the total one
    share_of_tolerance_pct: float | None  # 6 sd as share of the whole band
    share_of_tolerance_ci_pct: Interval | None


@dataclass(frozen=True, slots=True)
class Ratio:
    """Place variance over gauge variance, and what follows from it."""

    place_to_gauge: float  # infinite where no gauge scatter was seen
    place_to_gauge_ci: Interval
    gauge_share_pct: float  # gauge sd as share of the total sd
    gauge_share_ci_pct: Interval
    categories: int | None  # None: unbounded
    categories_ci: tuple[int, int | None]


@dataclass(frozen=True, slots=True)
class Model:
    """One analysis: its table, the components, the ratio."""

    table: tuple[Line, ...]
    components: tuple[Component, ...]
    ratio: Ratio
    df_repeatability: int

    def component(self, name: Name) -> Component | None:
        """The component of that name; None if the model has none."""
        return next((c for c in self.components if c.name == name), None)


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """A whole study; ``chosen`` is the model that the figures are taken from."""

    n_places: int
    n_operators: int
    n_trials: int
    mean_mm: float
    step_mm: float
    chosen: Model
    with_interaction: Model | None  # None with one operator
    without_interaction: Model | None
    interaction_pooled: bool
    resolved: bool  # the repeats scatter by more than the rounding alone

    def scatter(self, source: str) -> Scatter:
        """Scatter of one reading by one hand, rounding taken out, for later inspections."""
        repeats = self.chosen.components[0].variance_mm2
        left = max(repeats - rounding_variance_mm2(self.step_mm), 0.0)
        return Scatter(left**0.5, float(self.chosen.df_repeatability), source)


def gauge_study(
    place: ArrayLike,
    operator: ArrayLike,
    value_mm: ArrayLike,
    *,
    interaction_alpha: float,
    tolerance_mm: float | None = None,
    step_mm: float = 0.0,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Analyse a study; ``place``, ``operator`` (N,) any labels, ``value_mm`` (N,).

    Raises TooFewReadings below two places or two trials, and for cells of unequal size.

    >>> s = gauge_study([1, 1, 2, 2], [0] * 4, [1.0, 3.0, 5.0, 7.0], interaction_alpha=0.25)
    >>> [(c.name, round(c.variance_mm2, 3)) for c in s.chosen.components]
    [('repeatability', 2.0), ('gauge', 2.0), ('place', 7.0), ('total', 9.0)]
    """
    y = np.asarray(value_mm, dtype=np.float64)
    cube = _cube(np.asarray(place), np.asarray(operator), y)
    p, o, r = cube.shape
    floor = rounding_variance_mm2(step_mm)
    how = _How(tolerance_mm, floor, confidence)
    lines = anova(cube)
    full = without = None
    if o == 1:
        chosen = _model(lines, (p, o, r), how)
    else:
        full = _model(lines, (p, o, r), how)
        without = _model(pooled(lines), (p, o, r), how)
        p_value = full.table[2].p
        chosen = without if p_value is not None and p_value > interaction_alpha else full
    repeats = chosen.components[0].variance_mm2
    return GaugeStudy(
        n_places=p,
        n_operators=o,
        n_trials=r,
        mean_mm=float(np.mean(y)),
        step_mm=step_mm,
        chosen=chosen,
        with_interaction=full,
        without_interaction=without,
        interaction_pooled=chosen is without,
        resolved=repeats > floor,
    )


@dataclass(frozen=True, slots=True)
class _How:
    tolerance_mm: float | None
    rounding_mm2: float
    confidence: float


def _cube(place: FloatArray, operator: FloatArray, y: FloatArray) -> FloatArray:
    """Readings as (places, operators, trials)."""
    _, i = np.unique(place, return_inverse=True)
    _, j = np.unique(operator, return_inverse=True)
    n_places, n_operators = (int(index.max(initial=-1)) + 1 for index in (i, j))
    if n_places < 2:
        raise TooFewReadings(
            f"a gauge study needs 2 places, got {n_places}: "
            "read at least one more place, best 10 of different diameter"
        )
    cell = i * n_operators + j
    count = np.bincount(cell, minlength=n_places * n_operators)
    if count.min() != count.max():
        raise TooFewReadings(
            "a gauge study needs every place read equally often by every operator, "
            f"got {count.min()} to {count.max()} readings: read what is missing"
        )
    if count[0] < 2:
        raise TooFewReadings(
            "a gauge study needs 2 trials, got 1: "
            "one trial shows no repeatability, read every place at least once more"
        )
    order = np.argsort(cell, kind="stable")
    return y[order].reshape(n_places, n_operators, -1)


def _model(lines: tuple[Line, ...], shape: tuple[int, int, int], how: _How) -> Model:
    ms = np.array([line.ms_mm2 for line in lines])
    df = np.array([line.df for line in lines], dtype=np.float64)
    weights = _weights(tuple(line.source for line in lines), shape)
    # Rounding makes repeats look steadier than they can be: no upper limit goes below it.
    highest = ms.copy()
    highest[-1] = max(ms[-1], how.rounding_mm2)
    estimate: dict[Name, float] = {}
    limits: dict[Name, Interval] = {}
    for name, c in weights.items():
        estimate[name], lo, hi = combination_interval(c, ms, df, how.confidence)
        if c[-1] > 0:
            hi = combination_interval(c, highest, df, how.confidence)[2]
        limits[name] = lo, hi
    variance = _summed({name: max(v, 0.0) for name, v in estimate.items()})
    components = tuple(
        _component(name, variance[name], estimate[name], limits[name], variance["total"], how)
        for name in weights
    )
    ratio = _ratio(variance, _ratio_interval(ms, df, shape, how.confidence))
    return Model(lines, components, ratio, int(df[-1]))


def _weights(sources: tuple[str, ...], shape: tuple[int, int, int]) -> dict[Name, FloatArray]:
    """Each component as a combination of the mean squares of the lines, in their order."""
    p, o, r = shape
    if len(sources) == 2:
        P, E = np.eye(2)
        return {
            "repeatability": E,
            "gauge": E,
            "place": (P - E) / r,
            "total": (P - E) / r + E,
        }
    if INTERACTION in sources:
        P, O, I, E = np.eye(4)  # noqa: E741  # the letters of the docstring
        crossed = {"operator x place": (I - E) / r}
    else:
        P, O, E = np.eye(3)  # noqa: E741  # the letters of the docstring
        I, crossed = E, {}  # noqa: E741
    operator, place = (O - I) / (p * r), (P - I) / (o * r)
    reproducibility = operator + crossed.get("operator x place", 0.0 * E)
    return {
        "repeatability": E,
        "operator": operator,
        **crossed,  # type: ignore[dict-item]  # its one key is a Name
        "reproducibility": reproducibility,
        "gauge": reproducibility + E,
        "place": place,
        "total": reproducibility + E + place,
    }


def _summed(variance: dict[Name, float]) -> dict[Name, float]:
    """Sums follow from the parts, those set to 0 included, so that shares add up to 100 %."""
    if "operator" in variance:
        both = variance["operator"] + variance.get("operator x place", 0.0)
        variance["reproducibility"] = both
        variance["gauge"] = variance["repeatability"] + both
    variance["total"] = variance["gauge"] + variance["place"]
    return variance


def _component(
    name: Name, variance: float, estimate: float, limits: Interval, total: float, how: _How
) -> Component:
    sd = variance**0.5
    # The point is a sum with parts set to 0 and may lie outside the limits of the plain sum.
    lo = min(max(limits[0], 0.0) ** 0.5, sd)
    hi = max(max(limits[1], 0.0) ** 0.5, sd)
    band = None if how.tolerance_mm is None else 100 * WIDTH_SDS / (2 * how.tolerance_mm)
    share = variance / total if total > 0 else 0.0
    return Component(
        name=name,
        variance_mm2=variance,
        estimate_mm2=estimate,
        sd_mm=sd,
        sd_ci_mm=(lo, hi),
        contribution_pct=100 * share,
        share_of_total_pct=100 * share**0.5,
        share_of_tolerance_pct=None if band is None else band * sd,
        share_of_tolerance_ci_pct=None if band is None else (band * lo, band * hi),
    )


def _ratio_interval(
    ms: FloatArray, df: FloatArray, shape: tuple[int, int, int], confidence: float
) -> Interval:
    """Interval of place variance over gauge variance; not clipped.

    One-way: exact [2]_.  Two-way [3]_, with I the interaction or, pooled, the repeats:
    p (1 - G_P) (P - F_1 I) / (o (1 - G_P) F_3 O + o (p - 1) I + o p (r - 1) E) and its mirror.
    """
    p, o, r = shape
    factor = bounds(df, confidence)
    ends = []
    for tail, scale in ((1 - factor.tail, 1 - factor.G[0]), (factor.tail, 1 + factor.H[0])):
        if len(ms) == 2:
            below = float(fdtri(df[0], df[1], tail)) * ms[1]
            ends.append((_over(ms[0], below) - 1) / r)
            continue
        P, O, I = ms[:3]  # noqa: E741  # the letters of the docstring
        F1, F3 = (float(fdtri(df[0], df[k], tail)) for k in (2, 1))
        # Pooled, ms[2] is E and takes the place of I: (p - 1) I + p (r - 1) E = (p r - 1) E.
        gauge = o * scale * F3 * O + o * (p - 1) * I + o * p * (r - 1) * ms[-1]
        ends.append(_over(p * scale * (P - F1 * I), gauge))
    return ends[0], ends[1]


def _over(a: float, b: float) -> float:
    if b > 0:
        return float(a / b)
    return float("inf") if a > 0 else 0.0


def _ratio(variance: Mapping[Name, float], interval: Interval) -> Ratio:
    point = _over(variance["place"], variance["gauge"])
    lo, hi = min(max(interval[0], 0.0), point), max(interval[1], point)
    return Ratio(
        place_to_gauge=point,
        place_to_gauge_ci=(lo, hi),
        gauge_share_pct=100 * (1 + point) ** -0.5,
        gauge_share_ci_pct=(100 * (1 + hi) ** -0.5, 100 * (1 + lo) ** -0.5),
        categories=_categories(point),
        categories_ci=(_categories(lo) or 0, _categories(hi)),
    )


def _categories(ratio: float) -> int | None:
    return None if np.isinf(ratio) else int(CATEGORIES * ratio**0.5)
