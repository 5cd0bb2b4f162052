"""Checks of what came beside the diameter: net mass, findings."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri

from lotqa.criteria import Criteria
from lotqa.evidence.weighings import SpoolWeight, Tare
from lotqa.evidence.weight import tolerable_negative_error_g
from lotqa.materials import Material
from lotqa.model import FINDING_CLASSES, Finding, FloatArray, Reel
from lotqa.verdict.outcome import (
    REJECT,
    Check,
    at_most,
    levels,
    stretched,
)
from lotqa.verdict.words import against, interval, number

REACH = float(ndtri(0.975))
SETTLES = "Weigh the reel when it is empty (`lotqa ledger tare`): that settles it."


@dataclass(frozen=True, slots=True)
class Goods:
    """What is known of k spools beside their diameter; sequences of length k."""

    weights: Sequence[SpoolWeight | None]
    findings: Sequence[Sequence[Finding]]
    findings_given: bool
    label_net_g: float | None
    material: Material | None
    reel: Reel = field(default_factory=Reel)


def net_mass(goods: Goods, criteria: Criteria) -> Check:
    """Shortfall against the label, in units of the tolerable negative error of the pack.

    A reel can be weighed empty only when the filament is used up, so at intake its mass is known
    from others of its kind or not at all.  A weighing that cannot tell is said to be undecided and
    does not enter the verdict, or weighing would be worse than not weighing: whenever the reel
    was not weighed itself and the interval is astride the limit.
    """
    shortfall = _column(goods, "shortfall_g")
    u = _column(goods, "u_net_g")
    label = goods.label_net_g
    limit = np.nan
    if label is not None:
        limit = criteria["weight.shortfall_max_tne"] * float(tolerable_negative_error_g(label))
        if criteria["weight.shortfall_max_pct"] > 0:
            limit = criteria["weight.shortfall_max_pct"] / 100 * label
    lo, hi = shortfall - REACH * u, shortfall + REACH * u
    firm = float(ndtri(0.5 + criteria["verdict.firm_confidence"] / 2))
    ends = stretched(shortfall, lo, hi, criteria)
    point, best, worst = at_most(shortfall, *ends, limit, REJECT)
    tares = [None if w is None else w.tare for w in goods.weights]
    not_itself = np.array([t is not None and t.known != "itself" for t in tares])
    cannot_tell = (best != worst) & not_itself

    def sentence(i: int) -> str:
        weight = goods.weights[i]
        if weight is None or weight.net_g is None or weight.u_net_g is None:
            if weight is not None and weight.gross_g is not None and weight.tare is not None:
                return (
                    f"Gross {number(weight.gross_g, 0)} g is no more than the reel's "
                    f"{number(weight.tare.mass_g, 0)} g: one of the two is another spool's, weigh "
                    "again; not checked."
                )
            return "The net mass was not weighed: not checked."
        if label is None:
            return f"Net mass {number(weight.net_g, 0)} g; the label's is not known: not checked."
        value, top = against(abs(shortfall[i]), limit, 0)
        way = "short of" if shortfall[i] > 0 else "over"
        gap = "just" if float(value) == 0 else f"{value} g {way}"
        tare = "" if weight.tare is None else f" Reel: {weight.tare.source}."
        head = (
            f"Net mass {number(weight.net_g, 0)} g is {gap} the label's {label:g} g "
            f"(shortfall {interval(lo[i], hi[i], 0)} g)"
        )
        if cannot_tell[i] and weight.tare is not None:
            return f"{head}: {_why_open(weight, weight.tare, limit, firm)}{tare} {SETTLES}"
        return f"{head}; up to {top} g short is accepted.{tare}"

    return Check(
        key="weight.net",
        point=point,
        best=best,
        worst=worst,
        checked=np.isfinite(shortfall) & np.isfinite(limit) & ~cannot_tell,
        value=shortfall,
        limit=np.full(len(shortfall), limit),
        unit="g",
        sentence=sentence,
        undecided=cannot_tell,
    )


def _why_open(weight: SpoolWeight, tare: Tare, limit_g: float, reach: float) -> str:
    """What keeps a shortage from being told: the reel, or a mass too near the limit.

    ``reach`` is how many standard uncertainties a firm verdict keeps from its limit.
    """
    u_net = weight.u_net_g or 0.0
    u_rest = float(np.sqrt(max(u_net**2 - tare.u_g**2, 0.0)))
    # Known no better than this, a spool that is filled to the gram looks short by the limit.
    enough = float(np.sqrt(max((limit_g / reach) ** 2 - u_rest**2, 0.0)))
    if tare.u_g > enough:
        known, needed = against(tare.u_g, enough, 0)
        return (
            f"the reel is known to {known} g only (standard uncertainty), and with more than "
            f"{needed} g a shortage of {limit_g:g} g can be neither shown nor excluded."
        )
    return (
        f"that is too near {limit_g:g} g to tell, with a reel known to {number(tare.u_g, 1)} g "
        "(standard uncertainty)."
    )


def findings(goods: Goods, criteria: Criteria) -> tuple[Check, ...]:
    """One check a class: critical and major by their number, minor ones are noted."""
    return tuple(_class_check(goods, criteria, grade) for grade in FINDING_CLASSES)


def _class_check(goods: Goods, criteria: Criteria, grade: str) -> Check:
    count = np.array(
        [sum(f.count for f in rows if f.grade == grade) for rows in goods.findings],
        dtype=np.float64,
    )
    counted = grade != "minor"
    most = criteria[f"findings.{grade}_max"] if counted else np.inf
    level = levels(count <= most, REJECT)

    def sentence(i: int) -> str:
        if not goods.findings_given:
            return "No findings file was given: not checked."
        rows = [f for f in goods.findings[i] if f.grade == grade]
        if not rows:
            return f"No {grade} finding."
        listed = ", ".join(f.finding + (f" ({f.count} times)" if f.count > 1 else "") for f in rows)
        if counted:
            return f"Findings classed {grade}: {listed}; up to {most:g} on a spool are accepted."
        return f"Findings classed {grade}, noted only: {listed}."

    return Check(
        key=f"findings.{grade}",
        point=level,
        best=level,
        worst=level,
        checked=np.full(len(count), goods.findings_given),
        value=count,
        limit=np.full(len(count), most),
        unit="",
        sentence=sentence,
    )


def _column(goods: Goods, name: str) -> FloatArray:
    values = [None if w is None else getattr(w, name) for w in goods.weights]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)
