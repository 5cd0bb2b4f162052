"""The part of the inspection document that speaks of a lot's net content and money."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from lotqa.evidence import net_content as law
from lotqa.evidence.weight import tolerable_negative_error_g
from lotqa.report.money_document import money
from lotqa.report.spool_document import number, pair
from lotqa.verdict.net_content import YARDSTICK
from lotqa.verdict.reference_test import ReferenceTest, plan_sentence, sentence

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

__all__ = ["money", "net_content"]


def net_content(inspection: "Inspection") -> dict[str, Any] | None:
    """Net content of the lot against the packers' rules; None if it was not looked at."""
    found = inspection.net
    if found is None:
        return None
    mean, label = found.mean, found.label_g
    return {
        "outcome": found.outcome,
        "n_weighed": found.n_weighed,
        "n_supposed_reel": found.n_supposed,
        "spools": found.batch,
        "label_net_g": label,
        "tolerable_negative_error_g": None
        if label is None
        else float(tolerable_negative_error_g(label)),
        "mean_net_g": None if mean is None else mean.mean_g,
        "mean_net_ci95_g": pair(*((None, None) if mean is None else (mean.lo_g, mean.hi_g))),
        "sd_g": None if mean is None else number(mean.s_g),
        "u_sampling_g": None if mean is None else number(mean.u_sampling_g),
        "u_common_g": None if mean is None else mean.u_common_g,
        "short": found.short,
        "enters_verdict": found.judged,
        "below_t1": None if found.t1 is None else asdict(found.t1),
        "below_t2": None if found.t2 is None else asdict(found.t2),
        "rules": [{"rule": r.number, "kept": r.kept, "text": r.text} for r in found.rules],
        "reference_test": None
        if found.test is None or label is None
        else _reference_test(found.test, label),
        "yardstick": YARDSTICK,
        "text": found.text,
    }


def _reference_test(test: ReferenceTest, label_g: float) -> dict[str, Any]:
    others = [p for p in (test.single, test.destructive) if p is not None]
    return {
        **_plan(test.plan, test.batch),
        "batch": test.batch,
        "n_weighed": test.n_weighed,
        "n_needed": test.n_needed,
        "n_below_t1": test.n_below_t1,
        "contents": test.contents,
        "mean": test.mean,
        "least_mean_g": None if test.mean_limit_g is None else number(test.mean_limit_g),
        "measuring_error_g": test.measuring_error_g,
        "measuring_error_max_g": test.measuring_error_max_g,
        "outcome": test.outcome,
        "other_plans": [_plan(p, test.batch) for p in others],
        "text": sentence(test, label_g),
    }


def _plan(plan: law.Plan, batch: int) -> dict[str, Any]:
    return {
        "plan": plan.kind,
        "samples": [asdict(stage) for stage in plan.stages],
        "n_mean": plan.n_mean,
        "mean_factor": plan.mean_factor,
        "plan_text": plan_sentence(plan, batch),
    }
