"""One number for the whole lot, or sorted groups with a number each.

A group is a run of spools, sorted by flow, that one multiplier serves: after it every one of them
lays what was asked within the limit of the criteria.  There is such a number just where the
thickest and the thinnest are near enough, so the fewest groups are found by filling one after the
other from the thinnest spool on, which for numbers on a line is best [1]_.  The number is that of
the mean spool; where it would leave one beyond the limit, the nearest that does not.

.. [1] Kleinberg & Tardos, Algorithm Design (2006), 4.1: the greedy choice stays ahead.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence import flow
from lotqa.evidence.spool import LotEvidence
from lotqa.model import BoolArray, FloatArray
from lotqa.verdict.words import counted, number

HIDDEN = 1e-9  # of a per cent: what two roads to one figure may differ by


@dataclass(frozen=True, slots=True)
class Group:
    """Spools that one number serves."""

    spools: tuple[str, ...]
    multiplier: float  # to set, the diameter entry left as it is
    set_diameter_mm: float  # to enter instead
    as_it_is: bool  # every one of them prints within the limit without a new number
    residual_pct: float  # largest flow error left with the number; without it where as_it_is


def groups_of(evidence: LotEvidence, usable: BoolArray, criteria: Criteria) -> tuple[Group, ...]:
    """The fewest groups of the ``usable`` (k,) spools, from thin to thick; () without one."""
    limit = criteria["flow.error_max_pct"]
    error = evidence.flow.error_pct
    chosen = np.flatnonzero(usable & np.isfinite(error) & (evidence.diameter.n_places > 0))
    order = chosen[np.argsort(error[chosen], kind="stable")]
    return tuple(_group(evidence, rows, limit) for rows in _filled(error, order, limit))


def _filled(error_pct: FloatArray, order: "np.ndarray", limit: float) -> Iterator["np.ndarray"]:
    start = 0
    for i in range(1, len(order) + 1):
        if i == len(order) or _is_empty(*_served(error_pct[order[start : i + 1]], limit)):
            yield order[start:i]
            start = i


def _served(error_pct: FloatArray, limit_pct: float) -> tuple[float, float]:
    """The areas, in those asked for, from and to which a number may be set for all spools (k,).

    A spool of area a lays a / A with the number set for A: within the limit L where
    (1 - L) A <= a <= (1 + L) A.
    """
    laid = 1 + error_pct / 100
    return float(laid.max()) / (1 + limit_pct / 100), float(laid.min()) / (1 - limit_pct / 100)


def _is_empty(lo: float, hi: float) -> bool:
    return lo > hi * (1 + HIDDEN / 100)


def _group(evidence: LotEvidence, rows: "np.ndarray", limit: float) -> Group:
    error, section = evidence.flow.error_pct[rows], evidence.section
    lo, hi = _served(error, limit)
    laid = min(max(1 + float(error.mean()) / 100, lo), max(lo, hi))
    common = 100 * (laid - 1)
    left = np.abs((1 + error / 100) / laid - 1)
    as_it_is = bool(np.abs(error).max() <= limit)
    return Group(
        spools=tuple(evidence.spools[i] for i in np.sort(rows)),
        multiplier=section.multiplier * float(flow.multiplier(common)),
        set_diameter_mm=section.set_diameter_mm * float(np.sqrt(laid)),
        as_it_is=as_it_is,
        residual_pct=float(np.abs(error).max() if as_it_is else 100 * left.max()),
    )


def told(groups: tuple[Group, ...]) -> str:
    """What to enter, in a sentence; '' where nothing is to be entered."""
    if all(g.as_it_is for g in groups):
        return ""
    if len(groups) == 1:
        one = groups[0]
        return (
            f"one multiplier for the lot is {number(one.multiplier, 3)}, or the diameter "
            f"{number(one.set_diameter_mm, 3)} mm, never both"
        )
    if all(len(g.spools) == 1 for g in groups):
        return "each spool wants its own number, in the table"
    parts = [
        f"{'spool' if len(g.spools) == 1 else 'spools'} {', '.join(g.spools)} "
        + ("as set now" if g.as_it_is else f"multiplier {number(g.multiplier, 3)}")
        for g in groups
    ]
    return f"sort it into {counted(len(groups), 'group')}: {'; '.join(parts)}"
