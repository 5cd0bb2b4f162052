"""How large a gauge study must be: what each design will tell, before anything is read.

p places read r times by each of o operators give the repeatability p o (r - 1) degrees of freedom,
and its sd the interval  s sqrt(df / chi2(1 - a/2, df)) ... s sqrt(df / chi2(a/2, df))  [1]_.  The
spread of places has p - 1 and that of operators o - 1; theirs are at least this wide, since
repeats blur both.  Two operators thus tell next to nothing about a third.

.. [1] NIST/SEMATECH e-Handbook, 7.2.3.1, confidence interval for the standard deviation.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence.summary import chi_square_factors
from lotqa.model import FloatArray

# Places, operators, trials: what fits in a quarter of an hour, and what it takes to know more.
DESIGNS = (
    (5, 1, 2),
    (5, 1, 3),
    (10, 1, 2),
    (10, 1, 3),
    (10, 1, 4),
    (10, 1, 5),
    (10, 2, 2),
    (10, 2, 3),
    (10, 3, 2),
    (10, 3, 3),
    (15, 3, 3),
)
MOST_DF = 100_000  # an interval narrower than this many repeats give is not asked for


@dataclass(frozen=True, slots=True)
class Design:
    """A study before it is made; factors turn a standard deviation into its interval."""

    n_places: int
    n_operators: int
    n_trials: int
    n_readings: int
    df_repeatability: int
    repeatability_factors: tuple[float, float]
    place_factors: tuple[float, float]
    operator_factors: tuple[float, float] | None  # None: one operator tells of no other


def design(n_places: int, n_operators: int, n_trials: int, confidence: float = 0.95) -> Design:
    """What a design will tell; at least 2 places, 1 operator, 2 trials.

    >>> d = design(10, 1, 3)
    >>> d.df_repeatability, [round(f, 3) for f in d.repeatability_factors]
    (20, [0.765, 1.444])
    """
    df = n_places * n_operators * (n_trials - 1)
    return Design(
        n_places=n_places,
        n_operators=n_operators,
        n_trials=n_trials,
        n_readings=n_places * n_operators * n_trials,
        df_repeatability=df,
        repeatability_factors=_factors(df, confidence),
        place_factors=_factors(n_places - 1, confidence),
        operator_factors=_factors(n_operators - 1, confidence) if n_operators > 1 else None,
    )


def df_needed(within: float, confidence: float = 0.95) -> int | None:
    """Fewest degrees of freedom whose upper limit stays ``within`` (a share) above the estimate.

    None where more than 100 000 would be needed.

    >>> df_needed(0.30), df_needed(0.50)
    (36, 17)
    """
    df = np.arange(1, MOST_DF + 1, dtype=np.float64)
    high: FloatArray = chi_square_factors(df, confidence)[1]
    enough = np.flatnonzero(high <= 1 + within)
    return int(df[enough[0]]) if len(enough) else None


def _factors(df: int, confidence: float) -> tuple[float, float]:
    low, high = chi_square_factors(float(df), confidence)
    return float(low), float(high)
