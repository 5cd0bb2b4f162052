"""What earlier lots of one supplier and material say about the effort that the next one deserves.

Lots are counted from the last change of state on, with the bad lot if one brought it back to
normal; "bad" is rejected, or with a critical finding:

    normal    -> tightened   a of the last b (or fewer) lots bad            2 of 5 [1]_
    tightened -> normal      c in a row taken                               5      [1]_
    normal    -> reduced     d in a row taken                               10     [2]_
    reduced   -> normal      one bad                                               [2]_
    reduced   -> skip        e further lots in a row taken
    skip      -> normal      one bad; else one lot of f is measured         1 of 4 [3]_
    tightened                g bad in all: stop buying                      5      [1]_

A lot to be tuned is taken.  Less effort never rests on provisional verdicts alone: a share of the
lots must be firm, one measured.  No limit numbers [2]_; no random draw of the lots to measure [3]_.

.. [1] MIL-STD-105E 4.7.1, 4.7.2, 4.8; ISO 2859-1:1999 9.3.1, 9.3.2, 9.4.  For a steady supply.
.. [2] MIL-STD-105E 4.7.3, 4.7.4; ISO 2859-1:1999 9.3.3 has a score instead.
.. [3] 7 CFR 42.120, 42.123 (one lot of two, or of four); ISO 2859-3 (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from math import ceil
from typing import Literal

from lotqa.model import StandingWord, VerdictWord

State = Literal["normal", "tightened", "reduced", "skip"]

NAMES: dict[State, str] = {
    "normal": "normal inspection",
    "tightened": "tightened inspection",
    "reduced": "reduced inspection",
    "skip": "skip-lot",
}
_WORDS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LotOutcome:
    """One lot as its newest inspection left it."""

    lot: str
    day: str  # ISO date
    verdict: VerdictWord
    standing: StandingWord
    critical: int = 0  # critical findings
    measured: bool = True  # False: weighed and looked at only

    @property
    def bad(self) -> bool:
        """Whether the lot speaks against its supplier."""
        return self.verdict == "reject" or self.critical > 0


@dataclass(frozen=True, slots=True)
class Rules:
    """The numbers of the rules, in lots; ``firm_share`` is a share of 1."""

    tighten_rejected: int
    tighten_window: int
    restore_accepted: int
    reduce_accepted: int
    skip_accepted: int
    skip_interval: int
    stop_rejected: int
    firm_share: float

    def __post_init__(self) -> None:
        counts = {f: getattr(self, f) for f in self.__slots__ if f != "firm_share"}
        for field, n in counts.items():
            if not n >= 1:
                raise ValueError(f"{field} is {n}: write a number of lots, 1 or more")
        if not 0 <= self.firm_share <= 1:
            raise ValueError(f"firm_share is {self.firm_share:g}: write a share from 0 to 1")
        if not self.tighten_rejected <= self.tighten_window:
            raise ValueError(
                f"tighten_rejected is {self.tighten_rejected}, of a tighten_window of "
                f"{self.tighten_window}: so many can never be rejected, make the window wider"
            )


@dataclass(frozen=True, slots=True)
class Change:
    """A change of state, and the lot that brought it."""

    lot: str
    day: str  # of that lot, ISO date
    before: State
    after: State
    why: str


@dataclass(frozen=True, slots=True)
class Effort:
    """The state that the next lot meets; ``since`` is None where it never changed."""

    state: State
    since: str | None  # ISO date
    why: str
    changes: tuple[Change, ...]  # all of them, oldest first
    advice: str | None  # what to do beside, or what keeps the effort from getting less
    is_due: bool  # the next lot is to be measured; False on skip-lot only


def effort_after(outcomes: Sequence[LotOutcome], rules: Rules) -> Effort:
    """The effort after ``outcomes``, which are in the order of their days; normal at the start.

    >>> rules = Rules(2, 5, 5, 10, 10, 4, 5, 0.5)
    >>> bad = [LotOutcome(lot, "2026-05-04", "reject", "firm") for lot in ("K-7", "K-8")]
    >>> effort_after(bad, rules).why
    'the last two lots were rejected: tightened'
    """
    state: State = "normal"
    counted: list[LotOutcome] = []
    changes: list[Change] = []
    for lot in outcomes:
        counted.append(lot)
        step = _step(state, counted, rules)
        if step is not None:
            after, why = step
            changes.append(Change(lot.lot, lot.day, state, after, why))
            # A bad lot that ends reduced inspection is one of the consecutive lots of [1]_ as well.
            state, counted = after, [lot] if after == "normal" and lot.bad else []
    if changes:
        since, why = changes[-1].day, changes[-1].why
    elif outcomes:
        since, why = None, "no lot so far asks for a change: normal"
    else:
        since, why = None, "no earlier lots: normal"
    skipped = sum(1 for _ in takewhile(lambda lot: not lot.measured, reversed(outcomes)))
    is_due = state != "skip" or skipped >= rules.skip_interval - 1
    return Effort(state, since, why, tuple(changes), _advice(state, counted, rules), is_due)


def _step(state: State, counted: list[LotOutcome], rules: Rules) -> tuple[State, str] | None:
    """The next state and why, if the last of the lots counted brings one."""
    last = counted[-1]
    if last.bad:
        if state == "normal":
            return _tightened(counted[-rules.tighten_window :], rules)
        if state == "tightened":
            return None
        what = "had a critical finding" if last.critical else "was rejected"
        return "normal", f"lot {last.lot} {what}: back to normal"
    asked = _asked(state, rules)
    if asked is None:
        return None
    after, n = asked
    row = counted[-n:]
    if not _all_taken(row, n) or _withheld(row, after, rules) is not None:
        return None
    end = {
        "normal": "back to normal",
        "reduced": "reduced",
        "skip": f"skip-lot, {_measured_share(rules.skip_interval)}",
    }[after]
    return after, f"{_in_a_row(n, after)}: {end}"


def _tightened(window: list[LotOutcome], rules: Rules) -> tuple[State, str] | None:
    bad = [lot for lot in window if lot.bad]
    if len(bad) < rules.tighten_rejected:
        return None
    if len(bad) == len(window):
        who = "the last lot" if len(bad) == 1 else f"the last {_word(len(bad))} lots"
    else:
        who = f"{_word(len(bad))} of the last {_word(len(window))} lots"
    return "tightened", f"{who} {_fault(bad)}: tightened"


def _asked(state: State, rules: Rules) -> tuple[State, int] | None:
    """The state of less effort next to this one, and the lots in a row that it asks for."""
    if state == "tightened":
        return "normal", rules.restore_accepted
    if state == "normal":
        return "reduced", rules.reduce_accepted
    if state == "reduced":
        return "skip", rules.skip_accepted
    return None


def _all_taken(row: list[LotOutcome], n: int) -> bool:
    return len(row) == n and not any(lot.bad for lot in row)


def _withheld(row: list[LotOutcome], after: State, rules: Rules) -> str | None:
    """What the lots taken in a row still lack for less effort; None if nothing."""
    n, one = len(row), len(row) == 1
    firm = sum(lot.standing == "firm" for lot in row)
    # Rounded first: 0.07 of 100 lots is seven, not eight.
    needed = max(1, ceil(round(rules.firm_share * n, 9)))
    if firm < needed:
        few = "not firmly" if one else f"{f'only {firm}' if firm else 'none'} of them firmly"
        of = "a firm one" if one else f"{needed} firm ones"
        return (
            f"{_in_a_row(n, after)}, but {few}: {NAMES[after]} asks for {of}, "
            "so measure enough spools and places"
        )
    if not any(lot.measured for lot in row):
        none = "it was not measured" if one else "none of them was measured"
        return f"{_in_a_row(n, after)}, but {none}: measure one before {NAMES[after]}"
    return None


def _advice(state: State, counted: list[LotOutcome], rules: Rules) -> str | None:
    told = []
    bad = [lot for lot in counted if lot.bad]
    if state == "tightened" and len(bad) >= rules.stop_rejected:
        lots = "one lot" if len(bad) == 1 else f"{_word(len(bad))} lots"
        told.append(
            f"{lots} {_fault(bad)} since tightening began: stop buying until the supplier has acted"
        )
    asked = _asked(state, rules)
    if asked is not None:
        after, n = asked
        row = counted[-n:]
        lacking = _withheld(row, after, rules) if _all_taken(row, n) else None
        if lacking is not None:
            told.append(lacking)
    return "; ".join(told) or None


def _fault(bad: list[LotOutcome]) -> str:
    critical = sum(lot.critical > 0 for lot in bad)
    were = "was" if len(bad) == 1 else "were"
    if critical == 0:
        return f"{were} rejected"
    if critical == len(bad):
        return "had a critical finding"
    return f"{were} rejected or had a critical finding"


def _in_a_row(n: int, after: State) -> str:
    further = " further" if after == "skip" else ""
    return (
        f"one{further} lot was taken" if n == 1 else f"{_word(n)}{further} lots in a row were taken"
    )


def _measured_share(interval: int) -> str:
    return "every lot is measured" if interval == 1 else f"one lot of {_word(interval)} is measured"


def _word(n: int) -> str:
    return _WORDS[n] if n < len(_WORDS) else str(n)
