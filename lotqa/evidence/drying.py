"""How warm a spool may be dried at home, with its reel.

    ceiling = min(glass transition - margin, what the reel stands)

Practice gives a range of temperatures; what lies above the ceiling is cut off, and where all of it
does, no temperature is given.  The glass transition counts for plastics that go soft there
(amorphous ones); semicrystalline and rubbery ones are dried far above theirs.  Industrial drying
runs without a reel and is no part of this.

Rests on practice: a home dryer misses what is set on it by a few kelvin (common practice, no
source), hence the margin.
"""

from dataclasses import dataclass
from typing import Literal

CutBy = Literal["glass transition", "reel"]
Refused = Literal["not known", "nothing is safe"]


@dataclass(frozen=True, slots=True)
class HomeDrying:
    """Temperatures and hours for drying with the reel; all None where none can be given."""

    lo_c: float | None
    hi_c: float | None
    lo_h: float | None
    hi_h: float | None
    ceiling_c: float | None  # None: neither glass transition nor reel sets one
    cut_by: CutBy | None  # what sets the ceiling, if it cuts into the practice
    refused: Refused | None


def home_drying(
    practice_c: tuple[float, float] | None,
    practice_h: tuple[float, float] | None,
    *,
    glass_transition_c: float | None,
    margin_k: float,
    stands_c: float | None,
) -> HomeDrying:
    """Temperatures of the practice below the ceiling.

    ``glass_transition_c`` is the lowest that sources give, None for a plastic that does not go
    soft there; ``stands_c`` what the reel stands, None where that is not known or nothing sags.

    >>> got = home_drying((50, 60), (2, 6), glass_transition_c=78, margin_k=5, stands_c=55)
    >>> got.lo_c, got.hi_c, got.ceiling_c, got.cut_by
    (50, 55, 55, 'reel')
    >>> home_drying((65, 90), (4, 12), glass_transition_c=None, margin_k=5, stands_c=60).refused
    'nothing is safe'
    """
    ceilings: list[tuple[float, CutBy]] = []
    if glass_transition_c is not None:
        ceilings.append((glass_transition_c - margin_k, "glass transition"))
    if stands_c is not None:
        ceilings.append((stands_c, "reel"))
    ceiling, by = min(ceilings, default=(None, None))
    if practice_c is None or practice_h is None:
        return HomeDrying(None, None, None, None, ceiling, None, "not known")
    lo, hi = practice_c
    if ceiling is None or hi <= ceiling:
        return HomeDrying(lo, hi, *practice_h, ceiling, None, None)
    if ceiling < lo:
        return HomeDrying(None, None, None, None, ceiling, by, "nothing is safe")
    return HomeDrying(lo, ceiling, *practice_h, ceiling, by, None)
