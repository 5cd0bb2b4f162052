"""Checks of what came beside the diameter: net mass, moisture, findings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lotqa.criteria import Criteria
from lotqa.evidence.weighings import SpoolWeight
from lotqa.evidence.weight import tolerable_negative_error_g
from lotqa.materials import Material
from lotqa.model import FINDING_CLASSES, Finding, FloatArray
from lotqa.verdict.outcome import (
    PASS,
    REJECT,
    TUNE,
    Check,
    IntLevels,
    at_most,
    levels,
)
from lotqa.verdict.words import against, interval, number

REACH = float(ndtri(0.975))


@dataclass(frozen=True, slots=True)
class Goods:
    """What is known of k spools beside their diameter; sequences of length k."""

    weights: Sequence[SpoolWeight | None]
    findings: Sequence[Sequence[Finding]]
    findings_given: bool
    label_net_g: float | None
    material: Material | None


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
    lo, hi = shortfall - REACH * u, shortfall + REACH * u
    point, best, worst = at_most(shortfall, lo, hi, limit, REJECT)
    tares = [None if w is None else w.tare for w in goods.weights]
    supposed = np.array([t is not None and t.known == "supposed" for t in tares])
    alike = np.array([t is not None and t.known == "alike" for t in tares])
    cannot_tell = (best != worst) & (supposed | alike)

    def sentence(i: int) -> str:
        weight = goods.weights[i]
        if weight is None or weight.net_g is None or weight.u_net_g is None:
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
        if cannot_tell[i]:
            return (
                f"{head}: with a reel known no better, a shortage of {top} g can be neither shown "
                f"nor excluded.{tare} Weigh this reel when it is empty."
            )
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


def moisture(goods: Goods, criteria: Criteria) -> Check:
    """Loss on drying: above the material's limit dry first, far above send back."""
    losses = [None if w is None else w.moisture for w in goods.weights]
    value, lo, hi = (
        np.array([np.nan if m is None else getattr(m, name) for m in losses], dtype=np.float64)
        for name in ("loss_pct", "lo_pct", "hi_pct")
    )
    known = None if goods.material is None else goods.material.moisture_limit_pct
    base = np.nan if known is None else known
    dry_above, reject_above = (
        base * criteria[f"moisture.{key}"] for key in ("loss_max_ratio", "reject_ratio")
    )

    def level(loss: FloatArray) -> IntLevels:
        return np.where(
            loss <= dry_above, PASS, np.where(loss <= reject_above, TUNE, REJECT)
        ).astype(np.int8)

    point = level(value)

    def sentence(i: int) -> str:
        m = losses[i]
        if m is None:
            return "No weighing before and after drying: not checked."
        if known is None:
            return f"Drying took {number(m.loss_pct, 2)} %; no limit is known: not checked."
        limit = reject_above if point[i] == REJECT else dry_above
        text, top = against(m.loss_pct, limit, 2)
        head = (
            f"Drying took {text} % of the net mass ({interval(m.lo_pct, m.hi_pct, 2)} %; "
            "a cardboard reel loses water of its own)"
        )
        if point[i] == REJECT:
            return f"{head}; above {top} % it was stored wet for long."
        if point[i] == TUNE:
            return f"{head}; above {top} % dry it before printing and before tuning."
        return f"{head}; up to {top} % is accepted."

    return Check(
        key="moisture.loss",
        point=point,
        best=level(lo),
        worst=level(hi),
        checked=np.isfinite(value) & (known is not None),
        value=value,
        limit=np.full(len(value), dry_above),
        unit="%",
        sentence=sentence,
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
