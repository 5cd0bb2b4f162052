"""How often a spool keeps the requirement on its spread, by its true spread.

The limit is 1.  A spool whose true spread is ``ratio`` times the limit is read at df + 1 places;
what is observed is its spread and that of the reading together, and a known part ``taken_off``
(squared, in squared limits) is subtracted again:

    s_obs**2 ~ (ratio**2 + taken_off) chi2(df) / df        accepted if s_obs**2 - taken_off <= 1

so that the chance is that of chi2(df) <= df (1 + taken_off) / (ratio**2 + taken_off) [1]_.
Supposes normal and independent readings, and that what is taken off is the true value.

.. [1] NIST/SEMATECH e-Handbook 7.2.3 (chi-square test of a standard deviation).
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincinv

from lotqa.model import FloatArray


def probability_accept_spread(
    ratio: ArrayLike, df: float, taken_off: ArrayLike = 0.0
) -> FloatArray:
    """Chance (m,) that true spreads ``ratio`` (m,), in limits, are accepted [1]_; NaN stays.

    Raises ValueError for a df that is not above 0, a negative ratio or a negative ``taken_off``.

    >>> probability_accept_spread([0.5, 1.0, 1.5], 19).round(3).tolist()
    [1.0, 0.543, 0.018]
    """
    _check_df(df)
    spread, known = (np.asarray(v, dtype=np.float64) for v in (ratio, taken_off))
    for name, values in (("ratio", spread), ("taken_off", known)):
        if (values < 0).any():
            raise ValueError(f"{name} is {values[values < 0][0]:g}: write 0 or more")
    with np.errstate(divide="ignore"):  # no spread at all is always accepted
        chi2 = df * (1 + known) / (spread**2 + known)
    return np.asarray(gammainc(df / 2, chi2 / 2))


def largest_ratio(accepted_with: float, df: float) -> float:
    """The true spread, in limits, that is accepted with this chance; nothing taken off.

    Raises ValueError for a chance that is not between 0 and 1, or a df that is not above 0.

    >>> round(largest_ratio(0.95, 19), 3)
    0.794
    """
    _check_df(df)
    if not 0 < accepted_with < 1:
        raise ValueError(
            f"accepted_with is {accepted_with:g}: write a number between 0 and 1, ends excluded"
        )
    return float(np.sqrt(df / (2 * gammaincinv(df / 2, accepted_with))))


def _check_df(df: float) -> None:
    if not df > 0:
        raise ValueError(f"df is {df}: read at two places or more, so that it is above 0")
