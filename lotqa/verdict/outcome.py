"""From an estimate with its interval and a limit to an outcome: pass, tune or reject.

Every check answers three times for each spool: at the estimate, and at the best and the worst end
of its interval.  The worst check decides the spool; the standing is firm when the best ends of all
checks and the worst ends of all checks lead to the same verdict.  'Astride a limit' is so the one
rule for all checks.  The 95 % interval that is printed is stretched to the confidence that the
criteria ask of a firm verdict: at 95 % a spool that sits on its limit would be judged firmly wrong
one time in forty.

Comparisons are written 'accept only if value <= limit', so an unknown (NaN) never passes.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from lotqa.criteria import Criteria
from lotqa.model import BoolArray, FloatArray, OutcomeWord, StandingWord, VerdictWord

PASS, TUNE, REJECT = 0, 1, 2
OUTCOMES: tuple[OutcomeWord, ...] = ("pass", "tune", "reject")
VERDICTS: tuple[VerdictWord, ...] = ("accept", "tune", "reject")
Severity = int  # PASS, TUNE or REJECT
IntLevels = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Reason:
    """One line of a verdict; ``text`` is a sentence that can be pasted into a mail."""

    check: str
    outcome: OutcomeWord
    value: float | None
    limit: float | None
    unit: str
    text: str
    standing: StandingWord


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """One check of k spools; levels (k,) are PASS, TUNE or REJECT."""

    key: str
    point: IntLevels
    best: IntLevels
    worst: IntLevels
    checked: BoolArray  # False: does not enter the verdict, since nothing measured can tell
    value: FloatArray
    limit: FloatArray
    unit: str
    sentence: Callable[[int], str]  # of spool i; called only when a person reads it
    undecided: BoolArray | None = None  # nothing against it so far, but not settled either

    def outcome(self, i: int) -> OutcomeWord:
        """Outcome of spool ``i``.

        A value astride its limit is decided by the estimate; 'undecided' is left to checks that
        ask for something else to be done first (a ring pull, a place read again).
        """
        if self.undecided is not None and self.undecided[i]:
            return "undecided"
        if not self.checked[i]:
            return "not_checked"
        return OUTCOMES[int(self.point[i])]

    def reason(self, i: int) -> Reason:
        """The line about spool ``i``."""
        firm = bool(self.best[i] == self.worst[i])
        return Reason(
            check=self.key,
            outcome=self.outcome(i),
            value=_known(self.value[i]),
            limit=_known(self.limit[i]),
            unit=self.unit,
            text=self.sentence(i),
            standing="firm" if firm else "provisional",
        )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def levels(ok: ArrayLike, fail: Severity) -> IntLevels:
    """PASS where ``ok``, else ``fail``."""
    return np.where(np.asarray(ok, dtype=bool), PASS, fail).astype(np.int8)


def stretched(
    value: FloatArray, lo: FloatArray, hi: FloatArray, criteria: Criteria
) -> tuple[FloatArray, FloatArray]:
    """Ends (k,) of a 95 % interval, moved away from the value as a firm verdict asks.

    >>> from lotqa.criteria import read_criteria
    >>> lo, hi = stretched(np.array([1.0]), np.array([0.8]), np.array([1.4]), read_criteria())
    >>> round(float(lo[0]), 3), round(float(hi[0]), 3)    # 97.5 %
    (0.771, 1.457)
    """
    reach = float(ndtri(0.5 + criteria["verdict.firm_confidence"] / 2) / ndtri(0.975))
    with np.errstate(invalid="ignore"):  # what is not known or not bounded stays as it is
        down, up = value - reach * (value - lo), value + reach * (hi - value)
    return np.where(np.isfinite(down), down, lo), np.where(np.isfinite(up), up, hi)


def stretched_index(
    value: FloatArray, lo: FloatArray, hi: FloatArray, criteria: Criteria
) -> tuple[FloatArray, FloatArray]:
    """The same for Cp and Cpk, which go with one over the spread; ends below 0 stay."""
    with np.errstate(divide="ignore", invalid="ignore"):
        far, near = stretched(1 / value, 1 / hi, 1 / lo, criteria)
        low, high = 1 / near, np.where(far > 0, 1 / far, np.inf)
    # An end that is the value itself must not move by the last digit of a reciprocal.
    return (
        np.where((value > 0) & (lo > 0) & (lo != value), low, lo),
        np.where((value > 0) & (hi > 0) & (hi != value), high, hi),
    )


def at_most(
    value: FloatArray, lo: FloatArray, hi: FloatArray, limit: ArrayLike, fail: Severity
) -> tuple[IntLevels, IntLevels, IntLevels]:
    """(point, best, worst) of 'accept only if value <= limit'.

    >>> at_most(np.array([1.0]), np.array([0.5]), np.array([2.0]), 1.5, REJECT)[2].tolist()
    [2]
    """
    top = np.asarray(limit, dtype=np.float64)
    return levels(value <= top, fail), levels(lo <= top, fail), levels(hi <= top, fail)


def at_least(
    value: FloatArray, lo: FloatArray, hi: FloatArray, limit: ArrayLike, fail: Severity
) -> tuple[IntLevels, IntLevels, IntLevels]:
    """(point, best, worst) of 'accept only if value >= limit'."""
    bottom = np.asarray(limit, dtype=np.float64)
    return levels(value >= bottom, fail), levels(hi >= bottom, fail), levels(lo >= bottom, fail)


def within(
    value: FloatArray,
    lo: FloatArray,
    hi: FloatArray,
    bottom: ArrayLike,
    top: ArrayLike,
    fail: Severity,
) -> tuple[IntLevels, IntLevels, IntLevels]:
    """(point, best, worst) of 'accept only if bottom <= value <= top'."""
    low, high = np.asarray(bottom, dtype=np.float64), np.asarray(top, dtype=np.float64)
    return (
        levels((value >= low) & (value <= high), fail),
        levels((hi >= low) & (lo <= high), fail),  # some value of the interval is inside
        levels((lo >= low) & (hi <= high), fail),  # the whole interval is
    )


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """All checks of k spools and what they add up to."""

    checks: tuple[Check, ...]
    point: IntLevels
    best: IntLevels
    worst: IntLevels

    @property
    def firm(self) -> BoolArray:
        """(k,) True where the best and the worst ends of all intervals give one verdict."""
        return np.asarray(self.best == self.worst)

    def verdict(self, i: int) -> VerdictWord:
        """The verdict on spool ``i``."""
        return VERDICTS[int(self.point[i])]

    def standing(self, i: int) -> StandingWord:
        """Whether that verdict is firm."""
        return "firm" if self.firm[i] else "provisional"

    def reasons(self, i: int) -> tuple[Reason, ...]:
        """Every line about spool ``i``, in the order of the checks."""
        return tuple(check.reason(i) for check in self.checks)


def combine(checks: tuple[Check, ...]) -> Judgement:
    """The worst check decides, at the estimates and at both ends of the intervals."""

    def highest(name: str) -> IntLevels:
        rows = [np.where(c.checked, getattr(c, name), PASS) for c in checks]
        return np.asarray(np.maximum.reduce(rows), dtype=np.int8)

    return Judgement(checks, highest("point"), highest("best"), highest("worst"))


def to_be_settled(
    key: str,
    open_question: BoolArray,
    checked: BoolArray,
    value: FloatArray,
    limit: FloatArray,
    unit: str,
    sentence: Callable[[int], str],
) -> Check:
    """A check that never fails a spool but leaves its verdict provisional until settled."""
    passes = np.full(len(checked), PASS, dtype=np.int8)
    return Check(
        key=key,
        point=passes,
        best=passes,
        worst=levels(~open_question, REJECT),
        checked=checked,
        value=value,
        limit=limit,
        unit=unit,
        sentence=sentence,
        undecided=open_question,
    )
