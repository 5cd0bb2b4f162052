"""Single sampling plans by AQL: how many spools, and how many of them may have a finding.

The three master tables [1]_ follow one rule.  Number the code letters A, B, C ... and the AQLs
0.010, 0.015, 0.025 ... from 0; then what is printed depends on the sum of both alone: from 14 on
the entries of _DIAGONALS, below them "use the first plan below", beyond them "the first above".
Where an arrow would leave the table it points the other way.  Following an arrow changes the
sample size, too.  A sample larger than the lot is the whole lot, with the printed numbers [2]_.

Normal and tightened: accepted with up to ``acceptance`` bad spools, rejected from ``rejection``
on, which is one more.  Reduced: between the two the lot is taken, but the next one is inspected
as normal again [3]_.

.. [1] MIL-STD-105E (1989), tables I, II-A, II-B, II-C; the same in ISO 2859-1 but for reduced
   inspection, where the edition of 1999 closed the gap (from memory).
.. [2] MIL-STD-105E, note below tables II: "do 100 percent inspection" (from memory).
.. [3] MIL-STD-105E, note below table II-C, and 4.7.4 (from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from lotqa.sampling.effort import REDUCED_SIZE
from lotqa.sampling.plan import LETTERS, SAMPLE_SIZE, code_letter

AQLS_PCT = (
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65,
    1.0, 1.5, 2.5, 4.0, 6.5, 10.0,
)  # fmt: skip
LEVELS = tuple(LETTERS)

_Entry = tuple[int, int] | Literal["up", "down"]  # acceptance and rejection number, or an arrow
_FIRST_DIAGONAL = 14
_DIAGONALS: Mapping[str, tuple[_Entry, ...]] = {
    "normal": (
        (0, 1), "up", "down",
        (1, 2), (2, 3), (3, 4), (5, 6), (7, 8), (10, 11), (14, 15), (21, 22),
    ),
    "tightened": (
        "down", (0, 1), "down", "down",
        (1, 2), (2, 3), (3, 4), (5, 6), (8, 9), (12, 13), (18, 19),
    ),
    "reduced": (
        (0, 1), "up", "down",
        (0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13),
    ),
}  # fmt: skip
_SIZES: Mapping[str, Mapping[str, int]] = {
    "normal": SAMPLE_SIZE,
    "tightened": {**SAMPLE_SIZE, "S": 3150},  # S is met by an arrow only
    "reduced": REDUCED_SIZE,
}


@dataclass(frozen=True, slots=True)
class SinglePlan:
    """One sample: ``letter`` is the one arrived at, after the arrows."""

    letter: str
    n: int  # spools
    acceptance: int  # bad spools, at most
    rejection: int  # bad spools from which on the lot is rejected


def single_plan(
    lot_size: int, aql_pct: float, level: str = "II", severity: str = "normal"
) -> SinglePlan:
    """The plan for a lot of ``lot_size`` spools; ``aql_pct`` is one of AQLS_PCT [1]_.

    Raises ValueError for a lot without spools and for an AQL, a level or a severity ("normal",
    "tightened", "reduced") that the tables do not have.

    >>> single_plan(1000, 1.5)
    SinglePlan(letter='J', n=80, acceptance=3, rejection=4)
    >>> single_plan(20, 1.5)    # letter C has an arrow there
    SinglePlan(letter='D', n=8, acceptance=0, rejection=1)
    """
    if not lot_size >= 1:
        raise ValueError(f"lot_size is {lot_size}: write a number of spools, 1 or more")
    if aql_pct not in AQLS_PCT:
        known = ", ".join(f"{aql:g}" for aql in AQLS_PCT)
        raise ValueError(f"aql_pct is {aql_pct:g}: write one of {known}")
    if level not in LEVELS:
        raise ValueError(f'level is "{level}": write one of {", ".join(LEVELS)}')
    if severity not in _DIAGONALS:
        raise ValueError(f'severity is "{severity}": write one of {", ".join(_DIAGONALS)}')
    sizes = _SIZES[severity]
    letter, (acceptance, rejection) = _arrived(
        severity, list(sizes), code_letter(lot_size, level), AQLS_PCT.index(aql_pct)
    )
    return SinglePlan(letter, min(lot_size, sizes[letter]), acceptance, rejection)


def _arrived(
    severity: str, letters: list[str], letter: str, column: int
) -> tuple[str, tuple[int, int]]:
    """The letter at which the arrows end, with its numbers."""
    row = letters.index(letter)
    while isinstance(entry := _entry(severity, row, column), str):
        row += -1 if entry == "up" else 1
    return letters[row], entry


def _entry(severity: str, row: int, column: int) -> _Entry:
    diagonals = _DIAGONALS[severity]
    place = row + column - _FIRST_DIAGONAL
    if place < 0:
        return "down"
    if place >= len(diagonals):
        return "up"
    entry = diagonals[place]
    # At the corners, where the arrow of the diagonal leads to no row or no plan.
    if row == 0 and column == len(AQLS_PCT) - 1:
        return "down"
    if (row, column) == (len(SAMPLE_SIZE) - 1, 1):
        return "up"
    return entry
