"""The part of the inspection document that speaks of the lot beyond its opened spools."""

from typing import TYPE_CHECKING, Any

from lotqa.report.spool_document import pair
from lotqa.verdict.lot import LotVerdict
from lotqa.verdict.lot_groups import Group
from lotqa.verdict.unopened import Unopened

if TYPE_CHECKING:  # history.py and inspection.py are above this module
    from lotqa.history import Course


def components(verdict: LotVerdict) -> dict[str, Any] | None:
    """Spread between and within spools by restricted likelihood, and what it means for metres."""
    numbers = verdict.numbers
    found = numbers.components
    if found is None:
        return None
    return {
        "method": "REML",
        "between_sd_mm": found.between_sd_mm,
        "between_sd_ci95_mm": pair(*(found.between_ci95_mm or (None, None))),
        "within_sd_mm": found.within_sd_mm,
        "reading_sd_mm": found.reading_sd_mm,
        "tolerance_interval_mm": pair(*(numbers.tolerance_interval_mm or (None, None))),
        "next_spool_mean_pi95_mm": pair(*(numbers.next_spool_mean_mm or (None, None))),
    }


def groups(verdict: LotVerdict) -> list[dict[str, Any]]:
    """The groups that one number serves each; empty unless the lot is to be tuned."""
    return [_group(g) for g in verdict.groups]


def _group(group: Group) -> dict[str, Any]:
    return {
        "spools": list(group.spools),
        "multiplier": group.multiplier,
        "set_diameter_mm": group.set_diameter_mm,
        "as_it_is": group.as_it_is,
        "residual_pct": group.residual_pct,
    }


def unopened(found: Unopened | None) -> dict[str, Any] | None:
    """What is known of the spools that were not inspected; None where all were."""
    if found is None:
        return None
    by = found.by_diameter
    return {
        "spools": found.spools,
        "bad_upper95": found.bad_upper,
        "by_diameter": None
        if by is None
        else {
            "multiplier": by.multiplier,
            "p_accept": by.fate.accept,
            "p_accept_ci95": list(by.fate.accept_ci),
            "p_tune": by.fate.tune,
            "p_tune_ci95": list(by.fate.tune_ci),
            "p_reject": by.fate.reject,
            "p_reject_ci95": list(by.fate.reject_ci),
            "expected_bad": by.expected_bad,
            "expected_bad_ci95": list(by.expected_bad_ci95),
        },
        "more_spools": found.more_spools,
        "action": found.action,
        "text": found.text,
    }


def effort(verdict: LotVerdict, course: "Course | None") -> dict[str, Any]:
    """How closely this lot was looked at and how closely the next one will be, with the reason."""
    state = verdict.asked.state
    out: dict[str, Any] = {
        "state": state,
        "is_due": verdict.asked.is_due,
        "spools_asked": verdict.needed,
        "next_state": state,
        "changed": False,
        "text": "",
    }
    if course is None:
        out["text"] = "No history is known of this supplier and material: inspected as normal."
        return out
    out["next_state"] = course.after.state
    out["changed"] = course.after.state != state
    out["text"] = course.text
    return out
