"""How likely the spool truly keeps its diameter limits, and who bears the risk of the verdict.

'Conforms' means here: the true mean inside the label's tolerance and the true spread within the
limit of spread.  Weight, moisture, findings and the feed path are not part of it.  The formulas
are in evidence/conformity.py (JCGM 106:2012).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtri

from lotqa.evidence.conformity import (
    Prior,
    probability_sd_at_most,
    probability_within,
    probability_within_given_prior,
)
from lotqa.evidence.gauge import Scatter
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.model import FloatArray
from lotqa.verdict.outcome import REJECT, Judgement
from lotqa.verdict.spool import Case
from lotqa.verdict.words import number

SCATTER_NODES = 41  # the unknown scatter is averaged over, at even steps of its probability
DIAMETER_CHECKS = ("diameter.spread", "diameter.mean")


@dataclass(frozen=True, slots=True)
class Conformity:
    """Probabilities for one spool; None where too little was measured."""

    p_mean: float | None
    p_spread: float | None
    p_conforms: float | None
    bearer: Literal["buyer", "maker"] | None
    risk: float | None
    prior: Prior | None
    text: str


def conformity(case: Case, judgement: Judgement, i: int, prior: Prior | None) -> Conformity:
    """Probability that spool ``i`` truly conforms, and the risk of the verdict given."""
    d, section = case.evidence.diameter, case.evidence.section
    if d.n_places[i] < 2 or not np.isfinite(d.u_mean_mm[i]):
        return Conformity(None, None, None, None, None, None, "Too few places to say how likely.")
    p_mean = _p_mean(case, i, prior)
    p_spread = _p_spread(case, i)
    p = p_mean * p_spread
    bearer, risk, ending = _risk(judgement, i, p)
    head = (
        f"With probability {percent(p)} the mean truly lies within {number(section.lsl_mm, 2)} to "
        f"{number(section.usl_mm, 2)} mm and the spread within its limit"
    )
    if prior is not None:
        head += f" (the mean also weighed by {prior.n_lots} earlier lots)"
    return Conformity(p_mean, p_spread, p, bearer, risk, prior, f"{head}{ending}")


def _p_mean(case: Case, i: int, prior: Prior | None) -> float:
    d, section = case.evidence.diameter, case.evidence.section
    value, u, df = float(d.mean_mm[i]), float(d.u_mean_mm[i]), _df_of_mean(case, i)
    lsl, usl = section.lsl_mm, section.usl_mm
    if prior is None or u == 0:
        return float(probability_within(value, u, df, lsl, usl))
    return probability_within_given_prior(value, u, df, prior, lsl, usl)


def _df_of_mean(case: Case, i: int) -> float:
    """Degrees of freedom of the mean's uncertainty (Welch-Satterthwaite, GUM G.4.1)."""
    d = case.evidence.diameter
    sampling, whole = float(d.u_sampling_mm[i]), float(d.u_mean_mm[i])
    if sampling <= 0:
        return float("inf")
    return float((whole / sampling) ** 4 * (d.n_places[i] - 1))


def _p_spread(case: Case, i: int) -> float:
    d, cp_min = case.evidence.diameter, case.criteria["spread.cp_min"]
    if cp_min <= 0:
        return 1.0
    limit = case.evidence.section.tolerance_mm / (3 * cp_min)
    scatter = _scatter_variances(case.evidence.scatter)
    if np.isfinite(d.ml_variance_mm2[i]):
        # Likelihood took rounding out of single readings; their scatter is still in.
        p = probability_sd_at_most(d.ml_variance_mm2[i], d.df_spread[i], scatter, limit)
        return float(np.mean(p))
    rounding = rounding_variance_mm2(case.evidence.step_mm)
    weight = float(d.reading_weight[i])
    # Rounding alone can hide a spread of this size: it is the least that was observed.
    observed = max(float(d.s_observed_mm[i]) ** 2, weight * rounding)
    p = probability_sd_at_most(observed, d.df_spread[i], weight * (scatter + rounding), limit)
    return float(np.mean(p))


def _scatter_variances(scatter: Scatter) -> FloatArray:
    """The scatter variance, or its distribution where it is itself an estimate."""
    if not np.isfinite(scatter.df):
        return np.array([scatter.sd_mm**2])
    upper_tail = (np.arange(SCATTER_NODES) + 0.5) / SCATTER_NODES
    if scatter.limits_mm is not None:  # supposed: anywhere in its range alike (GUM 4.3.7)
        lo, hi = scatter.limits_mm
        return np.asarray((lo + (hi - lo) * upper_tail) ** 2)
    return np.asarray(scatter.sd_mm**2 * scatter.df / chdtri(scatter.df, upper_tail))


def _risk(
    judgement: Judgement, i: int, p: float
) -> tuple[Literal["buyer", "maker"] | None, float | None, str]:
    if judgement.point[i] != REJECT:
        return "buyer", 1 - p, f"; taking it leaves the buyer a risk of {percent(1 - p)}."
    by_diameter = any(
        c.key in DIAMETER_CHECKS and c.checked[i] and c.point[i] == REJECT for c in judgement.checks
    )
    if not by_diameter:
        return None, None, ". It is rejected for another reason."
    return "maker", p, f"; sending it back wrongs the maker with probability {percent(p)}."


def percent(p: float) -> str:
    """A probability in percent, never rounded to 0 or 100.

    >>> percent(0.99996), percent(0.5), percent(0.0004)
    ('over 99.9 %', '50 %', 'under 0.1 %')
    """
    if p > 0.999:
        return "over 99.9 %"
    if p < 0.001:
        return "under 0.1 %"
    return f"{100 * p:.1f} %" if p < 0.1 or p > 0.9 else f"{100 * p:.0f} %"
