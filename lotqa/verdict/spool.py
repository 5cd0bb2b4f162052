"""The verdict on each spool: the ordered list of all checks, and what to do next.

A new check is one function in diameter.py, moisture.py, bench.py or goods.py and one line in
``all_checks``; what it says of a spool that has an in-line log stands in logged.py.
"""

from dataclasses import dataclass

from lotqa.criteria import Criteria, Stock
from lotqa.evidence.spool import LotEvidence
from lotqa.verdict import agreement, bench, diameter, drying, goods, moisture
from lotqa.verdict.goods import Goods
from lotqa.verdict.logged import told_of_logs
from lotqa.verdict.outcome import REJECT, TUNE, Check, Judgement, combine
from lotqa.verdict.words import number


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """Everything a verdict on the spools of one lot rests on."""

    evidence: LotEvidence
    goods: Goods
    criteria: Criteria
    stock: Stock | None
    ovality_limit_mm: float | None


def all_checks(case: Case) -> tuple[Check, ...]:
    """Every check, in the order in which a person reads them."""
    evidence, criteria = case.evidence, case.criteria
    checks = (
        diameter.spread(evidence, criteria),
        diameter.mean(evidence, criteria),
        diameter.flow(evidence, criteria),
        diameter.centring(evidence, criteria),
        diameter.feed_thick(evidence, case.stock),
        diameter.feed_thin(evidence, case.stock),
        diameter.ovality(evidence, case.ovality_limit_mm, criteria),
        goods.net_mass(case.goods, criteria),
        agreement.agreement(case.goods),
        moisture.loss(case.goods, criteria),
        *goods.findings(case.goods, criteria),
        bench.enough_places(evidence, criteria),
        bench.positions(evidence, criteria),
        bench.outliers(evidence, criteria),
        bench.shape(evidence, criteria),
        bench.order(evidence, criteria),
        bench.pin(evidence, criteria),
        bench.tool_fit(evidence, criteria),
        bench.pin_shift(evidence, criteria),
    )
    return told_of_logs(checks, evidence, criteria)


def judge_spools(case: Case) -> Judgement:
    """Verdict, standing and reasons of every spool."""
    return combine(all_checks(case))


def action(case: Case, judgement: Judgement, i: int, claim_until: str | None) -> str:
    """What to do with spool ``i`` now, in a sentence or two."""
    point = int(judgement.point[i])
    if point == REJECT:
        until = f" by {claim_until}" if claim_until else " within the claim window"
        step = f"Set it aside and claim{until}; do not print with it."
        return step if judgement.firm[i] else f"{step} Make the case firm first."
    failing = {c.key for c in judgement.checks if c.checked[i] and c.point[i] == TUNE}
    steps = []
    if "moisture.loss" in failing:
        steps.append(drying.action(case.goods, case.criteria, i))
    if failing & {"diameter.flow", "diameter.centring"}:
        steps.append(
            f"Enter the multiplier {number(case.evidence.flow.multiplier[i], 3)} or the diameter "
            f"{number(case.evidence.flow.set_diameter_mm[i], 3)} mm, never both."
        )
    if not steps and not case.evidence.diameter.n_places[i]:
        return "Not measured; nothing against it so far. It counts among those not opened."
    if not steps:
        steps.append(
            "Shelve it; print as it is."
            if judgement.firm[i]
            else "Shelve it; so far nothing speaks against printing as it is."
        )
    return " ".join(steps)
