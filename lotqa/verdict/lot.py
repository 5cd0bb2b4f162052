"""The verdict on the lot: from the spools measured to the ones not opened.

The lot is rejected when more spools are rejected than may be; else its worst spool decides.  The
spread within spools is judged once more from all of them together, the spool means by variables,
the findings by class (lot_checks.py).  A lot that wants tuning gets one number, or sorted groups
with a number each (lot_groups.py).  The standing is that of the checks, and provisional while
fewer spools were measured than the plan for this lot size and its supplier's history asks.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.lot_model import lot_draws
from lotqa.evidence.spool import LotEvidence
from lotqa.model import StandingWord, VerdictWord
from lotqa.sampling.effort import spools_to_measure
from lotqa.sampling.switching import State
from lotqa.verdict import lot_checks, unopened
from lotqa.verdict.goods import Goods
from lotqa.verdict.lot_action import what_to_do
from lotqa.verdict.lot_groups import Group, groups_of
from lotqa.verdict.lot_numbers import LotNumbers, lot_numbers, spool_means
from lotqa.verdict.net_content import NetContent, lot_reasons
from lotqa.verdict.outcome import PASS, REJECT, TUNE, VERDICTS, Judgement, Reason
from lotqa.verdict.unopened import Unopened


@dataclass(frozen=True, slots=True)
class Asked:
    """How closely the lot is looked at, by the history of its supplier and material."""

    state: State = "normal"
    is_due: bool = True  # on skip-lot: this lot is one of those to be measured


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
    set_diameter_mm: float | None  # to enter instead of the multiplier
    unopened: Unopened | None
    groups: tuple[Group, ...] = ()
    needed: int = 0  # spools that the plan asks to measure
    asked: Asked = Asked()


def judge_lot(
    evidence: LotEvidence,
    judgement: Judgement,
    criteria: Criteria,
    spools_received: int | None,
    claim_until: str | None,
    net: NetContent | None = None,
    goods: Goods | None = None,
    asked: Asked = Asked(),
    as_drawn: bool | None = None,
) -> LotVerdict:
    """Judge the lot from its inspected spools; ``spools_received`` None means all were.

    ``as_drawn`` says whether they are those of a random draw; None: nobody said.

    A spool that was weighed only counts as inspected when that speaks against it: weighing every
    spool must not make the unmeasured ones accepted.
    """
    read = evidence.diameter.n_places > 0
    inspected = read | (judgement.point != PASS) if read.any() else np.ones(len(read), dtype=bool)
    n = int(np.count_nonzero(read | (judgement.point != PASS)))  # weighed alone is not opened
    seen = len(read)  # spools that anything is known of were received, whatever the sheet says
    received = max(spools_received or 0, seen)
    told = spools_received is not None or seen > n
    needed = spools_to_measure(received, asked.state, asked.is_due)
    levels = (judgement.point, judgement.best, judgement.worst)
    if needed == 0 and not read.any():  # that nothing was read is as asked, and no doubt
        levels = lot_checks.of_goods(judgement)
    levels3 = tuple(v[inspected] for v in levels)
    counts = [int(np.count_nonzero(levels3[0] == level)) for level in (PASS, TUNE, REJECT)]
    means = spool_means(evidence)
    draws = None if means is None else lot_draws(means)
    numbers = lot_numbers(evidence, means, draws)
    net_level, net_reasons = lot_reasons(net)
    of_spools = lot_checks.spools(levels3, counts, criteria)
    checks = (
        of_spools,
        lot_checks.spread(evidence, numbers, criteria),
        lot_checks.means(evidence, draws, criteria),
        *(
            ()
            if goods is None
            else lot_checks.findings(
                goods.findings_given,
                goods.findings,
                evidence.spools,
                received,
                n if read.any() else seen,  # a lot that is not measured is looked at all the same
                asked.state,
                criteria,
            )
        ),
    )
    point, best, worst = (
        max(net_level, *(check.levels[end] for check in checks)) for end in range(3)
    )
    short = max(needed - n, 0)
    firm = best == worst and (short == 0 or point == REJECT)
    usable = (judgement.point != REJECT) & read
    groups = groups_of(evidence, usable, criteria) if point == TUNE else ()
    rest = unopened.unopened_of(
        received,
        n,
        counts[REJECT],
        short,
        point,
        groups,
        evidence,
        numbers,
        means,
        draws,
        criteria,
        as_drawn,
    )
    return LotVerdict(
        verdict=VERDICTS[point],
        standing="firm" if firm else "provisional",
        reasons=(
            *(check.reason for check in checks if check.reason is not None),
            lot_checks.sample(n, received if told else None, needed, asked.state),
            *(() if rest is None else (unopened.reason(rest),)),
            *net_reasons,
        ),
        action=what_to_do(
            judgement,
            point,
            firm,
            groups,
            short,
            claim_until,
            pin_read=evidence.offset.n_pin_readings > 0,
            by_lot=point > of_spools.levels[0],
        ),
        inspected=n,
        accepted=counts[PASS],
        tuned=counts[TUNE],
        rejected=counts[REJECT],
        numbers=numbers,
        multiplier=groups[0].multiplier if len(groups) == 1 else None,
        set_diameter_mm=groups[0].set_diameter_mm if len(groups) == 1 else None,
        unopened=rest,
        groups=groups,
        needed=needed,
        asked=asked,
    )
