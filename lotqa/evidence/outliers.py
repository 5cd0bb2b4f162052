"""Places out of line with the rest of their spool: generalised extreme studentised deviate.

Remove the value farthest from the mean r times; R_i = max |x - mean| / s of what is left;

    lambda_i = t (n - i) / sqrt((n - i - 1 + t**2) (n - i + 1)),  t = t(1 - a / (2 (n - i + 1)))

with n - i - 1 degrees of freedom.  The number of outliers is the largest i with R_i > lambda_i,
so that two outliers cannot hide each other.  Marked for re-reading, never removed: a lump is a
fact, not an error.  Supposes the rest is normal; fair from 15 places, good from 25.

.. [1] Rosner, Technometrics 25 (1983) 165; NIST/SEMATECH e-Handbook 1.3.5.17.3.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from lotqa.errors import TooFewReadings
from lotqa.evidence.arrays import as_matrix
from lotqa.evidence.summary import mean_and_s
from lotqa.model import FloatArray, IntArray

MIN_LEFT = 2  # values that must stay: one degree of freedom for the last critical value


@dataclass(frozen=True, slots=True, eq=False)
class Esd:
    """Statistic and removal order (k, r), critical values (r,), outliers found (k,)."""

    statistic: FloatArray
    critical: FloatArray
    order: IntArray  # column of x removed at each step
    n_outliers: IntArray


def generalized_esd(x: ArrayLike, max_outliers: int, alpha: float = 0.05) -> Esd:
    """Rosner's test of up to ``max_outliers`` in each row of ``x`` (k, n) [1]_.

    Raises TooFewReadings when fewer than 2 values would stay.
    """
    matrix = as_matrix(x, what="an outlier test")
    k, n = matrix.shape
    if n - max_outliers < MIN_LEFT:
        raise TooFewReadings(
            f"{max_outliers} outliers need {max_outliers + MIN_LEFT} places, got {n}: "
            f"measure {max_outliers + MIN_LEFT - n} more"
        )
    rows = np.arange(k)
    left = matrix.copy()
    columns = np.tile(np.arange(n), (k, 1))
    statistic = np.zeros((k, max_outliers))
    order = np.zeros((k, max_outliers), dtype=np.int64)
    for step in range(max_outliers):
        mean, s = mean_and_s(left)
        deviation = np.abs(left - mean[:, None])
        worst = np.argmax(deviation, axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = deviation[rows, worst] / s
        statistic[:, step] = np.where(s > 0, ratio, 0.0)  # all equal: nothing stands out
        order[:, step] = columns[rows, worst]
        keep = np.ones(left.shape, dtype=bool)
        keep[rows, worst] = False
        left = left[keep].reshape(k, -1)
        columns = columns[keep].reshape(k, -1)
    i = np.arange(1, max_outliers + 1)
    t = stdtrit(n - i - 1.0, 1 - alpha / (2 * (n - i + 1)))
    critical = t * (n - i) / np.sqrt((n - i - 1 + t**2) * (n - i + 1))
    beyond = statistic > critical
    n_outliers = np.where(beyond, i, 0).max(axis=-1)
    return Esd(statistic, critical, order, n_outliers)
