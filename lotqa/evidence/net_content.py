"""Net content of a batch of packs: the packers' rules and the reference test [1]_.

    T1 = Qn - T,  T2 = Qn - 2 T          T: tolerable negative error of one pack
    contents: packs below T1 in a sample of n: accepted up to Ac, rejected from Re
    mean:     accepted if mean >= Qn - k s,  k = t(0.995, n - 1) / sqrt(n), printed to 3 decimals

The mean of N packs from n of them; s is that of the net masses as weighed, f = n / N:

    half**2 = (t(n - 1) s)**2 (1 - f) / n  +  z**2 (f u_own**2 / n + u_common**2)

u_own is the error that each weighing has for itself: it is in s already, and counts alone for
the share that was weighed.  u_common (scale, one tare taken for all) is the same in every pack
and does not average out.  No plan holds for a sample that was not drawn at random.

.. [1] Council Directive 76/211/EEC, Annex I, 1 and 2.4; Annex II, 1, 2.1.3, 2.2 and 2.3.
.. [2] UK SI 2006/659, Schedule 2: 3.5 (single plan), 3.6 and 4.7 (fewer than 100 packs).
.. [3] Cochran, Sampling Techniques, 3rd ed. (1977), 2.6 (1 - f); Zou & Donner, Statistics in
   Medicine 27 (2008) 1693, section 2 (half widths add as squares).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.summary import mean_and_s, student_quantile
from lotqa.evidence.weight import tolerable_negative_error_g
from lotqa.model import BoolArray, FloatArray

PlanKind = Literal["whole", "double", "single", "destructive"]
Decision = Literal["accept", "reject", "more"]

WHOLE_BELOW = 100  # a batch smaller than this is tested whole: Annex II, 2.1.3
MEASURING_SHARE = 5  # the error of measuring may be T over this: Annex II, 1
MEAN_CONFIDENCE = 0.99  # two-sided; its upper half is the 0.995 of Annex II, 2.3.1


@dataclass(frozen=True, slots=True)
class Stage:
    """One sample of a plan; numbers of packs below T1 count over all samples so far."""

    n: int
    n_total: int
    accept: int
    reject: int


@dataclass(frozen=True, slots=True)
class Plan:
    """A reference test: samples for the contents, sample and factor for the mean."""

    kind: PlanKind
    stages: tuple[Stage, ...]
    n_mean: int
    mean_factor: float


# Smallest batch of the row and its samples.  Annex II, 2.2.1; 2.2.2; [2]_ 3.5
_DOUBLE = (
    (100, (Stage(30, 30, 1, 3), Stage(30, 60, 4, 5))),
    (501, (Stage(50, 50, 2, 5), Stage(50, 100, 6, 7))),
    (3201, (Stage(80, 80, 3, 7), Stage(80, 160, 8, 9))),
)
_SINGLE = (
    (100, (Stage(50, 50, 3, 4),)),
    (501, (Stage(80, 80, 5, 6),)),
    (3201, (Stage(125, 125, 7, 8),)),
)
_DESTRUCTIVE = ((100, (Stage(20, 20, 1, 2),)),)
# Smallest batch, sample and printed factor of the mean.  Annex II, 2.3.3
_MEAN = ((100, 30, 0.503), (501, 50, 0.379))
_MEAN_DESTRUCTIVE = ((100, 20, 0.640),)


def limits_g(label_g: float) -> tuple[float, float]:
    """T1 and T2 of a pack of this label [1]_.

    >>> limits_g(1000.0)
    (985.0, 970.0)
    """
    error = float(tolerable_negative_error_g(label_g))
    return label_g - error, label_g - 2 * error


def plan_for(batch: int, kind: Literal["double", "single", "destructive"]) -> Plan | None:
    """The reference test of a batch; None where this kind is not for so small a batch.

    Fewer than 100 packs are weighed whole; up to 5 % of them may be below T1, and their mean
    must reach the label [2]_.

    >>> plan_for(40, "double")
    Plan(kind='whole', stages=(Stage(n=40, n_total=40, accept=2, reject=3),), n_mean=40, \
mean_factor=0.0)
    """
    if batch < WHOLE_BELOW:
        if kind == "destructive" or batch < 1:
            return None
        few = batch // 20  # 5 % [2]_ 3.6
        return Plan("whole", (Stage(batch, batch, few, few + 1),), batch, 0.0)
    rows = {"double": _DOUBLE, "single": _SINGLE, "destructive": _DESTRUCTIVE}[kind]
    means = _MEAN_DESTRUCTIVE if kind == "destructive" else _MEAN
    stages = next(stages for least, stages in reversed(rows) if batch >= least)
    n_mean, factor = next((n, k) for least, n, k in reversed(means) if batch >= least)
    return Plan(kind, stages, n_mean, factor)


def contents_decision(below_t1: ArrayLike, plan: Plan) -> Decision:
    """What a plan says of packs in the order drawn; 'more' where too few were weighed to tell.

    Enough packs below T1 reject before the sample is full: further packs take none away.

    >>> contents_decision([True, True] + 58 * [False], plan_for(200, "double"))
    'accept'
    """
    below = np.asarray(below_t1, dtype=bool)
    for stage in plan.stages:
        n_below = int(np.count_nonzero(below[: stage.n_total]))
        if n_below >= stage.reject:
            return "reject"
        if len(below) < stage.n_total:
            return "more"
        if n_below <= stage.accept:
            return "accept"
    return "more"


def mean_limit_g(label_g: float, s_g: float, plan: Plan) -> float:
    """The least mean of the sample that the plan accepts (Annex II, 2.3.3) [1]_.

    >>> round(mean_limit_g(1000.0, 2.4, plan_for(200, "double")), 4)
    998.7928
    """
    # Of a whole batch s is the batch's own and may be NaN for a single pack.
    return label_g if plan.mean_factor == 0 else label_g - plan.mean_factor * s_g


def measuring_error_max_g(label_g: float) -> float:
    """The largest error of measuring one pack that the test allows (Annex II, 1) [1]_.

    >>> measuring_error_max_g(1000.0)
    3.0
    """
    return float(tolerable_negative_error_g(label_g)) / MEASURING_SHARE


def tare_parts_g(u_net_g: float, u_tare_g: float, n_reels: int = 1) -> tuple[float, float]:
    """(own, common) parts of the uncertainty of a net mass whose tare is the mean of ``n_reels``.

    The tare's variance is s**2 (1 + 1/n) + u_scale**2: s**2 is this reel's own, s**2 / n and the
    scale are common to all packs.  One reel is the cautious answer where n is not known: it
    leaves the largest common part.

    >>> own, common = tare_parts_g(5.0, 4.0, 1)    # gross 3, so s**2 (1 + 1/n) = 16 - 9
    >>> round(own**2, 9), round(common**2, 9)
    (3.5, 21.5)
    """
    u_gross2 = max(u_net_g**2 - u_tare_g**2, 0.0)
    scatter2 = max(u_tare_g**2 - u_gross2, 0.0)  # the tare was weighed on the same scale
    own2 = scatter2 * n_reels / (n_reels + 1)
    return float(np.sqrt(own2)), float(np.sqrt(max(u_net_g**2 - own2, 0.0)))


@dataclass(frozen=True, slots=True)
class BatchMean:
    """Mean net mass of a batch with its 95 % interval, and the part that measuring leaves."""

    n: int
    batch: int
    mean_g: float
    s_g: float  # of the net masses as weighed; NaN for one
    u_sampling_g: float  # falls with more packs weighed; infinite for one of several
    u_measuring_g: float  # standard uncertainty that measuring leaves in the mean
    u_weighed_g: float  # the same for the mean of the packs that were weighed, whatever the rest
    u_common_g: float  # the part of both that no further pack takes away
    lo_g: float
    hi_g: float
    top_g: float  # upper end at the confidence of the reference test

    def short_of(self, label_g: float) -> bool:
        """Whether the mean is below the label beyond sampling and measuring."""
        return self.top_g < label_g


def batch_mean(
    net_g: ArrayLike, u_own_g: ArrayLike, u_common_g: ArrayLike, batch: int, step_g: float = 0.0
) -> BatchMean:
    """Mean of a batch from arrays (n,) of net masses and both parts of their uncertainty [3]_.

    Masses that read alike to the step hide a scatter of up to ``step_g`` / sqrt(12).

    Raises ValueError if nothing was weighed, or more than the batch holds.
    """
    net = np.asarray(net_g, dtype=np.float64)
    own, common = (
        np.broadcast_to(np.asarray(v, dtype=np.float64), net.shape) for v in (u_own_g, u_common_g)
    )
    n = len(net)
    if not 0 < n <= batch:
        raise ValueError(f"{n} net masses of a batch of {batch}: give 1 to {batch}")
    f = n / batch
    mean, s = (float(v[0]) for v in mean_and_s(net[None, :]))
    if f == 1:
        u_sampling = 0.0
    else:
        s_least = step_g / 12**0.5
        u_sampling = max(s, s_least) * float(np.sqrt((1 - f) / n)) if n > 1 else float("inf")
    u_common = float(np.mean(common))  # wholly common: shares add, squares would not
    u_measuring = float(np.hypot(np.sqrt(f * np.mean(own**2) / n), u_common))

    def half(confidence: float) -> float:
        if not np.isfinite(u_sampling):
            return float("inf")
        t = float(student_quantile(n - 1.0, confidence)) if u_sampling > 0 else 0.0
        z = float(student_quantile(np.inf, 0.95))
        return float(np.hypot(t * u_sampling, z * u_measuring))

    return BatchMean(
        n=n,
        batch=batch,
        mean_g=mean,
        s_g=s if n > 1 else float("nan"),
        u_sampling_g=u_sampling,
        u_measuring_g=u_measuring,
        u_weighed_g=float(np.hypot(np.sqrt(np.mean(own**2) / n), u_common)),
        u_common_g=u_common,
        lo_g=mean - half(0.95),
        hi_g=mean + half(0.95),
        top_g=mean + half(MEAN_CONFIDENCE),
    )


def below(
    net_g: ArrayLike, u_g: ArrayLike, limit_g: float
) -> tuple[BoolArray, BoolArray, BoolArray]:
    """(firmly, by the estimate, possibly) below a limit, arrays (n,); ends of 95 % intervals.

    >>> [v.tolist() for v in below([980.0, 984.0, 986.0], 1.0, 985.0)]
    [[True, False, False], [True, True, False], [True, True, True]]
    """
    net: FloatArray = np.asarray(net_g, dtype=np.float64)
    reach = float(student_quantile(np.inf, 0.95)) * np.asarray(u_g, dtype=np.float64)
    return net + reach < limit_g, net < limit_g, net - reach < limit_g
