"""Tolerance intervals: between which values lie most of the metres, and how sure.

Normal, two-sided: k so that mean +/- k s holds at least ``coverage`` of the population with
``confidence``.  Exact [1]_: with Phi(z + r) - Phi(z - r) = coverage,

    2 * integral over z > 0 of sqrt(n) phi(sqrt(n) z) P(chi2(df) > df r(z)**2 / k**2) dz

equals the confidence.  Howe's formula [2]_ is kept as a cross-check.  One-sided: noncentral t.
Without a distribution: minimum to maximum of n places hold ``coverage`` with confidence
1 - n c**(n-1) + (n-1) c**n (Wilks 1941) [3]_.  All suppose independent places.

.. [1] Odeh & Owen, Tables for Normal Tolerance Limits (1980); ISO 16269-6:2014, annex.
.. [2] Howe, JASA 64 (1969) 610; Guenther (1977); NIST/SEMATECH e-Handbook 7.2.6.3.
.. [3] Wilks, Ann. Math. Statist. 12 (1941) 91; ISO 16269-6:2014, distribution-free case.
"""

from functools import lru_cache

import numpy as np
from scipy.special import bdtrc, chdtrc, chdtri, nctdtrit, ndtr, ndtri

from lotqa.errors import TooFewReadings
from lotqa.evidence.roots import rising_root
from lotqa.model import FloatArray

GAUSS_NODES = 128  # on z in 0 .. 8.5 / sqrt(n); factors agree with tables to 8 digits


def _checked(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise TooFewReadings(f"a tolerance factor needs 2 places, got {n}: measure {2 - n} more")
    if not (0 < coverage < 1 and 0 < confidence < 1):
        raise ValueError(
            f"coverage {coverage} and confidence {confidence}: both lie between 0 and 1"
        )


@lru_cache(maxsize=1024)
def two_sided_factor(n: int, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Exact two-sided normal tolerance factor k for n places [1]_.

    Raises TooFewReadings below 2 places.

    >>> round(two_sided_factor(10), 3)
    3.393
    """
    _checked(n, coverage, confidence)
    df = n - 1
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS_NODES)
    reach = 8.5 / np.sqrt(n)  # beyond it phi(sqrt(n) z) is below 1e-16
    z = reach * (nodes + 1) / 2
    density = np.sqrt(n / (2 * np.pi)) * np.exp(-n * z**2 / 2) * weights * reach
    r = _half_width(z, coverage)

    def excess(k: float) -> float:
        return float(np.sum(density * chdtrc(df, df * (r / k) ** 2))) - confidence

    low = float(ndtri(0.5 + coverage / 2))
    high = 2 * howe_factor(n, coverage, confidence) + 1
    while excess(high) < 0:
        high *= 2
    return rising_root(excess, low * 1e-3, high)


def _half_width(z: FloatArray, coverage: float) -> FloatArray:
    """Solve Phi(z + r) - Phi(z - r) = coverage for r >= 0 by Newton's method from above."""
    r = np.abs(z) + ndtri(0.5 + coverage / 2)  # covers at least `coverage`, so r only falls
    for _ in range(60):
        slope = (np.exp(-((z + r) ** 2) / 2) + np.exp(-((z - r) ** 2) / 2)) / np.sqrt(2 * np.pi)
        step = (ndtr(z + r) - ndtr(z - r) - coverage) / slope
        r = r - step
        if np.max(np.abs(step)) < 1e-14:
            break
    return np.asarray(r)


def howe_factor(
    n: int, coverage: float = 0.95, confidence: float = 0.95, *, guenther: bool = False
) -> float:
    """Howe's approximation of the two-sided factor [2]_, on request with Guenther's correction.

    >>> round(howe_factor(43, 0.90, 0.99), 4)    # worked in the e-Handbook, 7.2.6.3
    2.2173
    """
    _checked(n, coverage, confidence)
    z = ndtri(0.5 + coverage / 2)
    chi2 = chdtri(n - 1, confidence)  # upper tail: the small quantile
    k = z * np.sqrt((n - 1) * (1 + 1 / n) / chi2)
    if guenther:
        k *= np.sqrt(1 + (n - 3 - chi2) / (2 * (n + 1) ** 2))
    return float(k)


@lru_cache(maxsize=1024)
def one_sided_factor(n: int, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """Exact one-sided normal tolerance factor by the noncentral t (ISO 16269-6:2014).

    >>> round(one_sided_factor(10), 3)
    2.911
    """
    _checked(n, coverage, confidence)
    root = np.sqrt(n)
    return float(nctdtrit(n - 1, ndtri(coverage) * root, confidence) / root)


def distribution_free_confidence(n: int, coverage: float) -> float:
    """Confidence that minimum to maximum of n places hold ``coverage`` of the metres [3]_.

    >>> round(distribution_free_confidence(93, 0.95), 3)
    0.95
    """
    if n < 2:
        return 0.0
    # P(at least two of n values fall in the uncovered tails)
    return float(bdtrc(1, n, 1 - coverage))


def distribution_free_coverage(n: int, confidence: float = 0.95) -> float:
    """Share of the metres that minimum to maximum of n places hold with ``confidence`` [3]_.

    >>> round(distribution_free_coverage(20), 3)
    0.784
    """
    if n < 2:
        return 0.0
    return 1 - rising_root(lambda u: float(bdtrc(1, n, u)) - confidence, 0.0, 1.0)


def distribution_free_size(coverage: float, confidence: float = 0.95) -> int:
    """Smallest n whose minimum to maximum hold ``coverage`` with ``confidence`` [3]_.

    >>> distribution_free_size(0.95, 0.95)
    93
    """
    _checked(2, coverage, confidence)
    n = 2
    while distribution_free_confidence(n, coverage) < confidence:
        n += 1
    return n
