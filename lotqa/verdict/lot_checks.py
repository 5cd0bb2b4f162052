"""The checks of a lot as a whole, a function each: levels at the estimate and both ends, a line.

Spool means are the units: whether those of the spools not opened keep the label is judged by
variables [1]_; the spread within spools is a requirement of its own; findings are counted by
class against the acceptance number of a single plan [2]_.

.. [1] MIL-STD-414 / ISO 3951: sd unknown, k-method for two limits, as the estimated fraction
   outside; the k is the one with which a lot as good as 'good' is accepted as often as stated.
.. [2] ISO 2859-1, single sampling by lot size, level II and severity; critical: none, ever.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lotqa.criteria import Criteria
from lotqa.errors import UnusableCriteria
from lotqa.evidence.lot_model import LotDraws, fate
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.variances import bartlett_p
from lotqa.findings import worst_class_per_spool
from lotqa.model import FINDING_CLASSES, Finding
from lotqa.sampling.single_plans import single_plan
from lotqa.sampling.switching import State
from lotqa.sampling.variables import judge_two_limits, k_for, most_fraction
from lotqa.verdict.lot_numbers import LotNumbers
from lotqa.verdict.outcome import (
    OUTCOMES,
    PASS,
    REJECT,
    IntLevels,
    Judgement,
    Reason,
    at_most,
    combine,
    stretched,
)
from lotqa.verdict.words import against, counted, interval, number, probability

GOODS_KEYS = ("weight.", "moisture.", "findings.")
LEAST_TOLD_PCT = 0.1  # a share below is told as below, never as none
LEAST_SPOOLS = 3  # with two, the fraction outside has no estimate (variables.py)
SEVERITY: Mapping[State, str] = {
    "normal": "normal",
    "tightened": "tightened",
    "reduced": "reduced",
    "skip": "reduced",
}


@dataclass(frozen=True, slots=True)
class LotCheck:
    """Levels of one check of the lot; all PASS where it says nothing."""

    levels: tuple[int, int, int]  # point, best, worst
    reason: Reason | None


NOTHING = LotCheck((PASS, PASS, PASS), None)


def of_goods(judgement: Judgement) -> tuple[IntLevels, IntLevels, IntLevels]:
    """Levels (k,) at the estimate and both ends of the spools by scale, dryer and eye alone."""
    goods = combine(tuple(c for c in judgement.checks if c.key.startswith(GOODS_KEYS)))
    return goods.point, goods.best, goods.worst


def lot_level(levels: IntLevels, most_rejected: int) -> int:
    """Level of the lot by its spools alone: their worst, once more are rejected than may be."""
    if np.count_nonzero(levels == REJECT) > most_rejected:
        return REJECT
    rest = levels[levels != REJECT]
    return int(rest.max()) if len(rest) else PASS


def spools(levels3: tuple[IntLevels, ...], counts: list[int], criteria: Criteria) -> LotCheck:
    """The worst spool decides, once more are rejected than may be."""
    most = int(criteria["lot.rejected_max"])
    accepted, tuned, rejected = counts
    listed = f"{accepted} accepted, {tuned} to be tuned, {rejected} rejected"
    point, best, worst = (lot_level(levels, most) for levels in levels3)
    reason = Reason(
        check="lot.spools",
        outcome=OUTCOMES[point],
        value=float(rejected),
        limit=float(most),
        unit="spools",
        text=f"Of the inspected spools: {listed}; up to {most} rejected are taken.",
        standing="firm" if best == worst else "provisional",
    )
    return LotCheck((point, best, worst), reason)


def spread(evidence: LotEvidence, numbers: LotNumbers, criteria: Criteria) -> LotCheck:
    """The spread judged from all spools together, unless they differ in it."""
    sd, ci = numbers.within_spool_sd_mm, numbers.within_spool_sd_ci95_mm
    d = evidence.diameter
    read = (d.n_places > 1) & d.resolved  # the spools that the pooled figure rests on
    n_spools = int(np.count_nonzero(read))
    cp_min = criteria["spread.cp_min"]
    if sd is None or ci is None or n_spools < 2 or cp_min <= 0:
        return NOTHING
    alpha = criteria["lot.alike_alpha"]
    p_alike = bartlett_p(d.s_observed_mm[read], d.n_places[read] - 1)
    if p_alike < alpha:
        return LotCheck((PASS, PASS, PASS), _not_alike(p_alike, alpha))
    limit = evidence.section.tolerance_mm / (3 * cp_min)
    value_mm, lo_mm, hi_mm = (np.array([v]) for v in (sd, *ci))
    ends = stretched(value_mm, lo_mm, hi_mm, criteria)
    point, best, worst = (int(v[0]) for v in at_most(value_mm, *ends, limit, REJECT))
    value, top = against(sd, limit, 4)
    reason = Reason(
        check="lot.spread",
        outcome=OUTCOMES[point],
        value=sd,
        limit=limit,
        unit="mm",
        text=(
            f"Within its spools the lot varies by {value} mm (standard deviation of "
            f"{n_spools} spools together; {interval(*ci, 4)}); up to {top} mm is accepted."
        ),
        standing="firm" if best == worst else "provisional",
    )
    return LotCheck((point, best, worst), reason)


def _not_alike(p: float, alpha: float) -> Reason:
    return Reason(
        check="lot.spread",
        outcome="not_checked",
        value=p,
        limit=alpha,
        unit="",
        text=(
            f"The spools differ in spread (Bartlett, p {probability(p)}): each is judged by "
            "itself, and those not opened may be like any of them."
        ),
        standing="firm",
    )


def means(evidence: LotEvidence, draws: LotDraws | None, criteria: Criteria) -> LotCheck:
    """The spool means by variables: would those not opened keep the label's tolerance?

    A plan that is kept is kept, with the risk that it states.  One that is not kept is a firm
    rejection only where the fraction outside is surely more than a good lot has.
    """
    good, accepted_with = criteria["lot.good_pct"] / 100, criteria["lot.good_accept"]
    d, section = evidence.diameter, evidence.section
    read = (d.n_places > 0) & np.isfinite(d.mean_mm)
    n = int(np.count_nonzero(read))
    if n < LEAST_SPOOLS or good <= 0:
        return NOTHING
    values = d.mean_mm[read]
    k = k_for(good, accepted_with, n)
    most = most_fraction(k, n)
    mean, s = float(values.mean()), float(values.std(ddof=1))
    found = judge_two_limits(mean, s, n, section.lsl_mm, section.usl_mm, most)
    share = found.below + found.above
    firm = True
    if not found.accepted and draws is not None:
        inside = (section.lsl_mm, section.usl_mm)
        surely, _ = fate(draws, *inside, *inside, np.inf).reject_ci
        firm = surely > good
    value, top = against(100 * share, 100 * most, 1)
    if 100 * share < LEAST_TOLD_PCT:
        value = f"under {LEAST_TOLD_PCT:g}"
    level = PASS if found.accepted else REJECT
    reason = Reason(
        check="lot.means",
        outcome=OUTCOMES[level],
        value=share,
        limit=most,
        unit="",
        text=(
            f"The means of {n} spools lie about {number(mean, 3)} mm with a standard deviation of "
            f"{number(s, 4)} mm between spools: {value} % of the lot's spools are estimated to "
            f"lie outside the label's {number(section.lsl_mm, 3)} to {number(section.usl_mm, 3)} "
            f"mm; up to {top} % is taken (by variables, k {number(k, 3)})."
        ),
        standing="firm" if firm else "provisional",
    )
    return LotCheck((level, level if firm else PASS, level), reason)


def findings(
    given: bool, by_spool: Sequence[Sequence[Finding]], names: Sequence[str], received: int, n: int,
    state: State, criteria: Criteria,
) -> tuple[LotCheck, ...]:  # fmt: skip
    """Spools with a finding of each class against the plan's acceptance number; () if none given.

    ``names`` (k,) are the spools of ``by_spool``; a spool counts once, by its worst finding.
    """
    if not given:
        return ()
    worst = worst_class_per_spool([f for rows in by_spool for f in rows])
    return tuple(
        _of_class(grade, [s for s in names if worst.get(s) == grade], received, n, state, criteria)
        for grade in FINDING_CLASSES
    )


def _of_class(
    grade: str, bad: list[str], received: int, n: int, state: State, criteria: Criteria
) -> LotCheck:
    if grade == "critical":
        most, plan = 0, "none is ever taken"
    else:
        key = f"lot.{grade}_aql_pct"
        if criteria[key] <= 0:
            return NOTHING
        try:
            taken = single_plan(received, criteria[key], severity=SEVERITY[state])
        except ValueError as error:
            raise UnusableCriteria(f"criteria: {key} is {criteria[key]:g}: {error}") from None
        most = taken.acceptance
        plan = f"AQL {criteria[key]:g} %, {taken.n} spools, takes {most}"
        if n < taken.n:
            plan += f"; {counted(n, 'spool')} inspected"
    kept = len(bad) <= most
    decides = grade != "minor" or criteria["lot.minor_decides"] > 0
    level = PASS if kept or not decides else REJECT
    who = f" ({', '.join(bad)})" if 0 < len(bad) <= 5 else ""
    have = "has" if len(bad) == 1 else "have"
    head = f"{counted(len(bad), 'spool')}{who} {have}" if bad else "No spool has"
    tail = "" if kept or decides else " Told, not decisive: agree on it with the supplier first."
    reason = Reason(
        check=f"lot.findings_{grade}",
        outcome=OUTCOMES[level] if kept or decides else "undecided",
        value=float(len(bad)),
        limit=float(most),
        unit="spools",
        text=f"{head} a {grade} finding as the worst; {plan}.{tail}",
        standing="firm",
    )
    return LotCheck((level, level, level), reason)


def sample(n: int, received: int | None, needed: int, state: State) -> Reason:
    """How many were inspected against what the plan asks; no level, but a standing."""
    if received is None:
        return Reason(
            check="lot.sample",
            outcome="not_checked",
            value=float(n),
            limit=None,
            unit="spools",
            text=f"{counted(n, 'spool')} inspected; how many came is not known: not checked.",
            standing="firm",
        )
    of = counted(received, "spool")
    how = "" if state == "normal" else f", {'skip-lot' if state == 'skip' else state},"
    text = f"{n} of {of} inspected; ISO 2859-1 level II{how} asks for {needed}."
    short = max(needed - n, 0)
    if short:
        text = f"{text[:-1]}: inspect {short} more."
    return Reason(
        check="lot.sample",
        outcome="undecided" if short else "pass",
        value=float(n),
        limit=float(needed),
        unit="spools",
        text=text,
        standing="provisional" if short else "firm",
    )
