"""The reference test of Directive 76/211/EEC, Annex II, run on the spools that were weighed.

Each of its two checks is run three times: at the estimates, and with every net mass at the lower
and at the upper end of its interval.  Only what all three say is said.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence import net_content as law
from lotqa.evidence.summary import mean_and_s, student_quantile
from lotqa.model import FloatArray, OutcomeWord
from lotqa.verdict.words import against, counted, number


@dataclass(frozen=True, slots=True)
class ReferenceTest:
    """The test for a batch of this size: its plan, and what it says of the spools weighed."""

    plan: law.Plan
    single: law.Plan | None  # the other plan that does not open packs; None for a whole batch
    destructive: law.Plan | None  # if reels are emptied to be weighed; None for a whole batch
    batch: int
    n_weighed: int
    n_needed: int
    n_below_t1: int  # of the sample that the plan has come to
    contents: OutcomeWord
    mean: OutcomeWord
    mean_limit_g: float | None
    measuring_error_g: float  # of the worst of the net masses, k = 2
    measuring_error_max_g: float
    outcome: OutcomeWord


def reference_test(
    net_g: FloatArray, u_g: FloatArray, u_common_g: float, label_g: float, batch: int
) -> ReferenceTest:
    """Run the test on net masses (n,) in the order weighed, taken as drawn at random."""
    plan = law.plan_for(batch, "double")
    if plan is None:
        raise ValueError(f"a batch of {batch}: give 1 or more")
    n = len(net_g)
    t1, _ = law.limits_g(label_g)
    firmly, estimated, possibly = law.below(net_g, u_g, t1)
    by_end = [law.contents_decision(v, plan) for v in (firmly, estimated, possibly)]
    n_needed = max(_needed(n, by_end, plan), plan.n_mean)
    contents = _said(by_end)
    mean_word, limit_g = _mean(net_g, u_common_g, label_g, plan)
    words = (contents, mean_word)
    if "reject" in words:  # one failed check is enough, whatever the other lacks
        outcome: OutcomeWord = "reject"
    elif n < n_needed:
        outcome = "not_checked"
    else:
        outcome = "pass" if words == ("pass", "pass") else "undecided"
    seen = next((s.n_total for s in reversed(plan.stages) if n >= s.n_total), n)
    whole = plan.kind == "whole"
    return ReferenceTest(
        plan=plan,
        single=None if whole else law.plan_for(batch, "single"),
        destructive=law.plan_for(batch, "destructive"),
        batch=batch,
        n_weighed=n,
        n_needed=n_needed,
        n_below_t1=int(np.count_nonzero(estimated[:seen])),
        contents=contents,
        mean=mean_word,
        mean_limit_g=limit_g,
        measuring_error_g=float(2 * np.max(u_g, initial=0.0)),
        measuring_error_max_g=law.measuring_error_max_g(label_g),
        outcome=outcome,
    )


def _needed(n: int, by_end: list[law.Decision], plan: law.Plan) -> int:
    """How many spools must be weighed for the check of the contents to come to an end."""
    if "more" not in by_end:
        return min(plan.stages[0].n_total, n)
    return next((s.n_total for s in plan.stages if s.n_total > n), plan.stages[-1].n_total)


def _said(by_end: list[law.Decision]) -> OutcomeWord:
    if "more" in by_end:
        return "not_checked"
    if set(by_end) == {"accept"}:
        return "pass"
    return "reject" if set(by_end) == {"reject"} else "undecided"


def _mean(
    net_g: FloatArray, u_common_g: float, label_g: float, plan: law.Plan
) -> tuple[OutcomeWord, float | None]:
    """Outcome of the check of the mean, and the least mean that it accepts."""
    if len(net_g) < plan.n_mean:
        return "not_checked", None
    mean, s = (float(v[0]) for v in mean_and_s(net_g[None, : plan.n_mean]))
    limit = law.mean_limit_g(label_g, s, plan)
    reach = float(student_quantile(np.inf)) * u_common_g
    if mean - reach >= limit:
        return "pass", limit
    return ("reject" if mean + reach < limit else "undecided"), limit


def sentence(t: ReferenceTest, label_g: float) -> str:
    """The plan, what came of it and what stands in its way."""
    said = [plan_sentence(t.plan, t.batch)]
    if t.outcome == "not_checked":
        more = counted(t.n_needed - t.n_weighed, "more spool")
        said.append(f"It cannot be run yet: {t.n_weighed} weighed on a known reel, weigh {more}.")
    elif t.outcome == "undecided":
        open_checks = [name for name, word in _checks(t) if word != "pass"]
        said.append(f"Undecided: weighing as here cannot settle {' or '.join(open_checks)}.")
    elif t.outcome == "reject":
        failed = [name for name, word in _checks(t) if word == "reject"]
        said.append(f"It fails by {' and '.join(failed)}.")
    else:
        said.append("It is passed.")
    if t.mean_limit_g is not None and t.plan.mean_factor:
        said.append(f"Least mean: {number(t.mean_limit_g, 1)} g (label {label_g:g} g).")
    if t.measuring_error_g > t.measuring_error_max_g:
        error, most = against(t.measuring_error_g, t.measuring_error_max_g, 1)
        said.append(
            f"An inspector must know each net mass to {most} g; here it is known to {error} g, so "
            "this is a buyer's estimate and not the inspector's test."
        )
    return " ".join(said)


def _checks(t: ReferenceTest) -> tuple[tuple[str, OutcomeWord], ...]:
    return ("the number below T1", t.contents), ("the mean", t.mean)


_KINDS = {
    "double": "double plan, packs not opened",
    "single": "single plan, packs not opened",
    "destructive": "plan for opened packs: reels emptied to be weighed",
}


def plan_sentence(plan: law.Plan, batch: int) -> str:
    """What a plan asks for, in words.

    >>> plan_sentence(law.plan_for(8, "double"), 8)
    'Reference test: a batch of 8 (fewer than 100) is weighed whole; up to 0 may be below T1, and \
the mean must reach the label.'
    """
    if plan.kind == "whole":
        return (
            f"Reference test: a batch of {batch} (fewer than {law.WHOLE_BELOW}) is weighed whole; "
            f"up to {plan.stages[0].accept} may be below T1, and the mean must reach the label."
        )
    steps = [
        f"{s.n_total} in all: up to {s.accept} below T1 accept, from {s.reject} on reject"
        if s.n_total > s.n
        else f"{s.n}: up to {s.accept} below T1 accept, from {s.reject} on reject"
        for s in plan.stages
    ]
    return (
        f"Reference test of a batch of {batch} ({_KINDS[plan.kind]}), drawn at random: weigh "
        f"{'; else '.join(steps)}. The mean of {plan.n_mean} must be the label less "
        f"{plan.mean_factor:.3f} s, or more."
    )
