"""Do the places follow a normal distribution?  Anderson-Darling with mean and sd estimated.

    A2 = -n - (1/n) sum (2i - 1) [ln Phi(z_i) + ln(1 - Phi(z_(n+1-i)))]
    A2* = A2 (1 + 0.75/n + 2.25/n**2), p from four branches of A2*                 [1]_

Rounded readings look non-normal to this test as soon as the step is not small against s; the
caller must not judge then.

.. [1] D'Agostino & Stephens, Goodness-of-Fit Techniques (1986), table 4.9 (case 3); the sample
   form: NIST/SEMATECH e-Handbook 1.3.5.14.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr

from lotqa.evidence.arrays import as_matrix
from lotqa.evidence.summary import mean_and_s
from lotqa.model import FloatArray

MIN_PLACES = 8  # below, the small-sample factor was not tabulated [1]_


def anderson_darling(x: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return (A2, p) of each row of ``x`` (k, n); NaN where all values are equal.

    Raises TooFewReadings below 8 places.
    """
    matrix = as_matrix(x, least=MIN_PLACES, what="a normality test")
    n = matrix.shape[-1]
    mean, s = mean_and_s(matrix)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (np.sort(matrix, axis=-1) - mean[:, None]) / s[:, None]
    # 1 - Phi(z) is Phi(-z): no digit is lost in the tails.
    terms = (2 * np.arange(1, n + 1) - 1) * (log_ndtr(z) + log_ndtr(-z[:, ::-1]))
    a2 = -n - np.mean(terms, axis=-1)
    return a2, _p_value(a2 * (1 + 0.75 / n + 2.25 / n**2))


def _p_value(a: FloatArray) -> FloatArray:
    """p of the modified statistic [1]_, four branches fitted by the authors."""
    with np.errstate(over="ignore", invalid="ignore"):
        p = np.select(
            [a < 0.2, a < 0.34, a < 0.6, a < 153.0, a >= 153.0],
            [
                1 - np.exp(-13.436 + 101.14 * a - 223.73 * a**2),
                1 - np.exp(-8.318 + 42.796 * a - 59.938 * a**2),
                np.exp(0.9177 - 4.279 * a - 1.38 * a**2),
                np.exp(1.2937 - 5.709 * a + 0.0186 * a**2),
                np.zeros_like(a),  # the last branch turns upward beyond its vertex at 153.5
            ],
            default=np.nan,
        )
    return np.asarray(p)
