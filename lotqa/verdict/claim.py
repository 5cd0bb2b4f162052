"""What may be stated to a supplier: only what lies outside a promise by more than its uncertainty.

The rule is that of ISO 14253-1:2017 for proving nonconformity, with expanded uncertainty k = 2.
Of n single places one may stand out by chance alone, so there k grows until all n together accuse
wrongly no more often than one would: the normal quantile at 1 - 0.025 / n [1]_, never below 2.
Only the label's promises count (tolerance, net mass, ovality if stated) and findings; the buyer's
own limits of spread and flow are no promise of the maker, unless they were agreed with the order.
Within the doubt zone nobody is accused.

.. [1] Bonferroni's inequality: NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.3.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lotqa.evidence.conformity import nonconformity_shown
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.weight import tolerable_negative_error_g
from lotqa.verdict.spool import Case
from lotqa.verdict.words import number

K = 2  # coverage factor of the rule
WRONGED = 0.025  # how often all places of one spool together may accuse wrongly, one side
RULE = (
    "ISO 14253-1:2017: stated only outside the limit by more than the expanded uncertainty (k = 2)"
)


@dataclass(frozen=True, slots=True)
class Claim:
    """Statements about one spool that stand up; none means that none does."""

    statements: tuple[str, ...]
    rule: str = RULE

    @property
    def shown(self) -> bool:
        """Whether anything is shown."""
        return bool(self.statements)


def claim(case: Case, i: int, label_ovality_mm: float | None) -> Claim:
    """Everything that can be stated about spool ``i``."""
    found = (
        _mean(case, i),
        _places(case, i),
        _ovality(case, i, label_ovality_mm),
        _net(case, i),
        *_findings(case, i),
    )
    return Claim(tuple(text for text in found if text))


def _mean(case: Case, i: int) -> str | None:
    d, section = case.evidence.diameter, case.evidence.section
    value, expanded = float(d.mean_mm[i]), K * float(d.u_mean_mm[i])
    if not np.isfinite(expanded):
        return None
    if not nonconformity_shown(value, expanded, section.lsl_mm, section.usl_mm):
        return None
    limit = section.lsl_mm if value < section.lsl_mm else section.usl_mm
    return (
        f"The mean diameter is {number(value, 3)} mm, outside the limit {number(limit, 3)} mm by "
        f"{number(abs(value - limit), 3)} mm, more than its expanded uncertainty of "
        f"{number(expanded, 3)} mm."
    )


def _places(case: Case, i: int) -> str | None:
    """Single places outside the tolerance by more than the uncertainty of the one that stands out.

    The standard uncertainty of one place holds scatter, rounding and the offset of the tool.
    """
    evidence, section = case.evidence, case.evidence.section
    places = evidence.places
    mine = np.flatnonzero(places.spool == i)
    if not len(mine):
        return None
    reading = evidence.scatter.sd_mm**2 + rounding_variance_mm2(evidence.step_mm)
    k = coverage_factor(len(mine))
    expanded = k * np.sqrt(places.reading_weight[mine] * reading + evidence.offset.u_mm**2)
    values = places.mean_mm[mine]
    shown = nonconformity_shown(values, expanded, section.lsl_mm, section.usl_mm)
    if not shown.any():
        return None
    beyond = np.where(shown, np.abs(values - section.nominal_mm), -1.0)
    worst = int(np.argmax(beyond))
    where = places.position_m[mine[worst]]
    spot = f" at {where:g} m" if np.isfinite(where) else ""
    count = int(shown.sum())
    head = "One place reads" if count == 1 else f"{count} of {len(mine)} places read"
    return (
        f"{head} outside {number(section.lsl_mm, 3)} to {number(section.usl_mm, 3)} mm by more "
        f"than the expanded uncertainty of a place ({number(float(expanded[worst]), 3)} mm, "
        f"k = {number(k, 1)} for {len(mine)} places); the farthest{spot}: "
        f"{number(float(values[worst]), 3)} mm."
    )


def coverage_factor(n_places: int) -> float:
    """Coverage factor for one of ``n_places`` single places [1]_.

    >>> round(coverage_factor(20), 2), coverage_factor(1)
    (3.02, 2)
    """
    return max(K, float(ndtri(1 - WRONGED / n_places)))


def _ovality(case: Case, i: int, label_mm: float | None) -> str | None:
    lo = case.evidence.ovality.lo_mm[i]
    if label_mm is None or not lo > label_mm:
        return None
    return (
        f"Ovality is {number(float(case.evidence.ovality.mean_mm[i]), 3)} mm, at least "
        f"{number(float(lo), 3)} mm (95 %); the label promises {number(label_mm, 3)} mm."
    )


def _net(case: Case, i: int) -> str | None:
    weight, label = case.goods.weights[i], case.goods.label_net_g
    if weight is None or label is None or weight.shortfall_g is None or weight.u_net_g is None:
        return None
    error = float(tolerable_negative_error_g(label))
    expanded = K * weight.u_net_g
    if not weight.shortfall_g - expanded > error:
        return None
    return (
        f"The net mass is {number(weight.shortfall_g, 0)} g below the label's {label:g} g, beyond "
        f"the tolerable negative error of {number(error, 0)} g (Directive 76/211/EEC) by more than "
        f"the expanded uncertainty of {number(expanded, 0)} g."
    )


def _findings(case: Case, i: int) -> list[str]:
    return [
        f"Finding classed {f.grade}: {f.finding}"
        + (f" at {f.position_m:g} m" if f.position_m is not None else "")
        + (f" ({f.note})" if f.note else "")
        + "."
        for f in case.goods.findings[i]
        if f.grade in ("critical", "major")
    ]
