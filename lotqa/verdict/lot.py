"""The verdict on the lot: from the spools measured to the ones not opened.

The lot is rejected when more spools are rejected than may be; else its worst spool decides.  The
spread within spools is judged once more from all spools together, which is surer than from each,
unless Bartlett's test shows that the spools differ in spread.  The standing is that of the spools,
and provisional while fewer were measured than the plan for this lot size asks.  What the sample
says about the rest is exact (sampling/acceptance.py).
"""

from dataclasses import dataclass

import numpy as np

from lotqa.criteria import Criteria
from lotqa.errors import TooFewReadings
from lotqa.evidence import flow
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.summary import chi_square_factors, mean_and_s, student_quantile
from lotqa.evidence.variances import bartlett_p, difference_interval, oneway
from lotqa.model import StandingWord, VerdictWord
from lotqa.sampling.acceptance import bad_upper_bound
from lotqa.sampling.plan import sample_size_for_lot
from lotqa.verdict.net_content import NetContent, lot_reasons
from lotqa.verdict.outcome import (
    OUTCOMES,
    PASS,
    REJECT,
    TUNE,
    VERDICTS,
    IntLevels,
    Judgement,
    Reason,
    at_most,
    stretched,
)
from lotqa.verdict.words import against, counted, interval, number, probability


@dataclass(frozen=True, slots=True)
class Unopened:
    """What the sample says about the spools that were not inspected."""

    spools: int
    bad_upper: int
    text: str


@dataclass(frozen=True, slots=True)
class LotNumbers:
    """Diameter of the lot; None where too little was measured."""

    mean_mm: float | None = None
    mean_ci95_mm: tuple[float, float] | None = None
    between_spool_sd_mm: float | None = None
    within_spool_sd_mm: float | None = None
    within_spool_sd_ci95_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class LotVerdict:
    """Verdict, standing, reasons and the numbers of the whole lot; None where not known."""

    verdict: VerdictWord
    standing: StandingWord
    reasons: tuple[Reason, ...]
    action: str
    inspected: int
    accepted: int
    tuned: int
    rejected: int
    numbers: LotNumbers
    multiplier: float | None
    unopened: Unopened | None


def judge_lot(
    evidence: LotEvidence,
    judgement: Judgement,
    criteria: Criteria,
    spools_received: int | None,
    claim_until: str | None,
    net: NetContent | None = None,
) -> LotVerdict:
    """Judge the lot from its inspected spools; ``spools_received`` None means all were.

    A spool that was weighed only counts as inspected when that speaks against it: weighing every
    spool must not make the unmeasured ones accepted.
    """
    read = evidence.diameter.n_places > 0
    inspected = read | (judgement.point != PASS) if read.any() else np.ones(len(read), dtype=bool)
    levels3 = tuple(v[inspected] for v in (judgement.point, judgement.best, judgement.worst))
    n = int(inspected.sum())
    seen = len(read)  # spools that anything is known of were received, whatever the sheet says
    received = max(spools_received or 0, seen)
    told = spools_received is not None or seen > n
    most_rejected = int(criteria["lot.rejected_max"])
    numbers = lot_numbers(evidence)
    spread = _spread_check(evidence, numbers, criteria)
    net_level, net_reasons = lot_reasons(net)
    point, best, worst = (
        max(_lot_level(levels, most_rejected), together, net_level)
        for levels, together in zip(levels3, spread.levels, strict=True)
    )
    needed = sample_size_for_lot(received)
    short = max(needed - n, 0)
    firm = best == worst and (short == 0 or point == REJECT)
    counts = [int(np.count_nonzero(levels3[0] == level)) for level in (PASS, TUNE, REJECT)]
    unopened = _unopened(received, n, counts[REJECT], criteria["lot.confidence"])
    multiplier = _lot_multiplier(evidence, judgement) if point == TUNE else None
    standing: StandingWord = "firm" if firm else "provisional"
    return LotVerdict(
        verdict=VERDICTS[point],
        standing=standing,
        reasons=(
            _spools_reason(counts, most_rejected, levels3),
            *(() if spread.reason is None else (spread.reason,)),
            _sample_reason(n, received if told else None, needed, short),
            *(() if unopened is None else (_unopened_reason(unopened),)),
            *net_reasons,
        ),
        action=_action(
            judgement,
            point,
            firm,
            multiplier,
            short,
            claim_until,
            evidence.offset.n_pin_readings > 0,
        ),
        inspected=n,
        accepted=counts[PASS],
        tuned=counts[TUNE],
        rejected=counts[REJECT],
        numbers=numbers,
        multiplier=multiplier,
        unopened=unopened,
    )


def _lot_level(levels: IntLevels, most_rejected: int) -> int:
    if np.count_nonzero(levels == REJECT) > most_rejected:
        return REJECT
    rest = levels[levels != REJECT]
    return int(rest.max()) if len(rest) else PASS


def _unopened(received: int, n: int, rejected: int, confidence: float) -> Unopened | None:
    rest = received - n
    if rest <= 0:
        return None
    bad = bad_upper_bound(received, n, rejected, confidence) - rejected
    few = "none" if bad == 0 else f"at most {bad}"
    of = counted(received, "spool")
    return Unopened(
        spools=rest,
        bad_upper=bad,
        text=(
            f"{n} of {of} inspected, drawn at random as is supposed; of the {rest} not opened "
            f"{few} would be rejected ({100 * confidence:g} % sure)."
        ),
    )


def lot_numbers(evidence: LotEvidence) -> LotNumbers:
    """Mean of the lot with its interval, and the spread between and within spools."""
    d = evidence.diameter
    measured = np.flatnonzero(d.n_places > 0)
    if not len(measured):
        return LotNumbers()
    within, within_ci = _pooled_spread(evidence)
    means = d.mean_mm[measured]
    k = len(means)
    if k == 1:
        only = measured[0]
        bounds = (float(d.mean_lo_mm[only]), float(d.mean_hi_mm[only]))
        known = np.isfinite(bounds).all()
        return LotNumbers(float(means[0]), bounds if known else None, None, within, within_ci)
    mean, s = (float(v[0]) for v in mean_and_s(means[None, :]))
    # Spools are the units of a lot; the offset of the tool is common to all of them.
    half = float(
        np.hypot(
            float(student_quantile(k - 1.0)) * s / np.sqrt(k),
            float(student_quantile(min(evidence.offset.df, 1e9))) * evidence.offset.u_mm,
        )
    )
    try:
        found = oneway(evidence.places.mean_mm, evidence.places.spool)
        between = float(np.sqrt(max(found.between, 0.0)))
    except TooFewReadings:  # one place a spool: nothing to take the spools apart from
        between = None
    return LotNumbers(mean, (mean - half, mean + half), between, within, within_ci)


def _pooled_spread(
    evidence: LotEvidence,
) -> tuple[float | None, tuple[float, float] | None]:
    """Spread within spools from all of them together, scatter and rounding removed.

    Spools whose spread the step does not resolve tell no figure; (None, None) if all are such.
    """
    d = evidence.diameter
    usable = (d.n_places > 1) & d.resolved
    if not usable.any():
        return None, None
    df = d.df_spread[usable]
    rounding = rounding_variance_mm2(evidence.step_mm)
    reading = evidence.scatter.sd_mm**2 + rounding
    # Likelihood (rounding.py) gives the variance of single readings, s that of place means.
    told = np.isfinite(d.ml_variance_mm2[usable])
    observed = np.where(told, d.ml_variance_mm2[usable], d.s_observed_mm[usable] ** 2)
    taken = np.where(told, evidence.scatter.sd_mm**2, d.reading_weight[usable] * reading)
    # The scatter is common to all spools: its range, in units of what is taken, does not pool away.
    limits = None
    if evidence.scatter.limits_mm is not None:
        shares = np.where(told, 1.0, d.reading_weight[usable])
        kept = np.where(told, 0.0, d.reading_weight[usable] * rounding)
        least, most = (
            np.average(shares * sd**2 + kept, weights=df) for sd in evidence.scatter.limits_mm
        )
        limits = (float(least), float(most))
    variance, lo, hi = (
        float(v)
        for v in difference_interval(
            np.average(observed, weights=df),
            df.sum(),
            np.average(taken, weights=df),
            evidence.scatter.df,
            v2_limits=limits,
            v1_ceiling=np.average(taken, weights=df) / float(chi_square_factors(df.sum())[1]),
        )
    )
    sd, sd_lo, sd_hi = (float(np.sqrt(max(v, 0.0))) for v in (variance, lo, hi))
    return sd, (sd_lo, sd_hi)


@dataclass(frozen=True, slots=True)
class _Together:
    """The spread judged from all spools together; all PASS where fewer than two were read."""

    levels: tuple[int, int, int]  # point, best, worst
    reason: Reason | None


def _spread_check(evidence: LotEvidence, numbers: LotNumbers, criteria: Criteria) -> _Together:
    sd, ci = numbers.within_spool_sd_mm, numbers.within_spool_sd_ci95_mm
    d = evidence.diameter
    read = (d.n_places > 1) & d.resolved  # the spools that the pooled figure rests on
    n_spools = int(np.count_nonzero(read))
    cp_min = criteria["spread.cp_min"]
    if sd is None or ci is None or n_spools < 2 or cp_min <= 0:
        return _Together((PASS, PASS, PASS), None)
    p_alike = bartlett_p(d.s_observed_mm[read], d.n_places[read] - 1)
    if p_alike < criteria["lot.alike_alpha"]:
        return _Together((PASS, PASS, PASS), _not_alike(p_alike, criteria["lot.alike_alpha"]))
    limit = evidence.section.tolerance_mm / (3 * cp_min)
    value_mm, lo_mm, hi_mm = (np.array([v]) for v in (sd, *ci))
    ends = stretched(value_mm, lo_mm, hi_mm, criteria)
    point, best, worst = (int(v[0]) for v in at_most(value_mm, *ends, limit, REJECT))
    value, top = against(sd, limit, 4)
    return _Together(
        (point, best, worst),
        Reason(
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
        ),
    )


def _lot_multiplier(evidence: LotEvidence, judgement: Judgement) -> float | None:
    usable = (judgement.point != REJECT) & (evidence.diameter.n_places > 0)
    if not usable.any():
        return None
    error = float(np.mean(evidence.flow.error_pct[usable]))
    return evidence.section.multiplier * float(flow.multiplier(error))


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


def _spools_reason(counts: list[int], most: int, levels3: tuple[IntLevels, ...]) -> Reason:
    accepted, tuned, rejected = counts
    listed = f"{accepted} accepted, {tuned} to be tuned, {rejected} rejected"
    point, best, worst = (_lot_level(levels, most) for levels in levels3)
    return Reason(
        check="lot.spools",
        outcome=OUTCOMES[point],
        value=float(rejected),
        limit=float(most),
        unit="spools",
        text=f"Of the inspected spools: {listed}; up to {most} rejected are taken.",
        standing="firm" if best == worst else "provisional",
    )


def _sample_reason(n: int, received: int | None, needed: int, short: int) -> Reason:
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
    text = f"{n} of {of} inspected; ISO 2859-1 level II asks for {needed}."
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


def _unopened_reason(unopened: Unopened) -> Reason:
    return Reason(
        check="lot.unopened",
        outcome="undecided" if unopened.bad_upper else "pass",
        value=float(unopened.bad_upper),
        limit=None,
        unit="spools",
        text=unopened.text,
        standing="provisional" if unopened.bad_upper else "firm",
    )


def _action(
    judgement: Judgement,
    point: int,
    firm: bool,
    multiplier: float | None,
    short: int,
    claim_until: str | None,
    pin_read: bool,
) -> str:
    until = f" by {claim_until}" if claim_until else " within the claim window"
    if point == REJECT:
        what = f"Do not print; claim{until}."
        if not firm:
            what += f" Make the case firm before you send it: {_next_step(pin_read)}"
        return what
    if point == TUNE:
        flow_keys = {"diameter.flow", "diameter.centring"}
        by_flow = any(
            c.key in flow_keys and bool(np.any((c.point == TUNE) & c.checked))
            for c in judgement.checks
        )
        dry = any(
            c.key == "moisture.loss" and bool(np.any((c.point == TUNE) & c.checked))
            for c in judgement.checks
        )
        steps = ["Dry the wet spools first."] if dry else []
        if by_flow and multiplier is not None:
            steps.append(
                f"Tune before printing: one multiplier for the lot is {number(multiplier, 3)}; "
                "each spool's own number is in the table."
            )
        what = " ".join(steps)
    else:
        what = "Accept and shelve; print as it is."
    if short:
        what += f" Inspect {short} more of the lot to be firm."
    elif not firm:
        what += f" Not sure yet: {_next_step(pin_read)}"
    return what


def _next_step(pin_read: bool) -> str:
    """What helps most against doubt, for the price of some minutes."""
    if not pin_read:
        return "read a pin of known size three times before and after measuring."
    return "read more places where it says how many, or find out your scatter (lotqa gauge study)."
