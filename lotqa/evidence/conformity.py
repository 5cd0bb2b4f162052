"""How likely is it that the filament truly conforms, and who bears which risk?

Probability of conformity [1]_: the share of the distribution of the quantity, given what was
measured, that lies inside its limits; with estimate y, uncertainty u and nu degrees of freedom:

    p = T_nu((upper - y) / u) - T_nu((lower - y) / u)

A normal prior (m, tau) is combined by weights 1/u**2 and 1/tau**2 [2]_, or with finite nu by Bayes'
rule on a grid: few places that agree by luck would outweigh it.  For a standard deviation with
observed variance s**2 (df) that holds a known part r**2 of reading:

    p(sd <= limit) = P(chi2(df) >= df s**2 / (limit**2 + r**2))

The specific risk of an acceptance is 1 - p (the buyer's), that of a rejection p (the maker's).
Over a production N(m, tau) measured with u, the global risks of accepting inside [lower + g,
upper - g] are integrals over true and measured value [3]_.  A nonconformity is stated to a
supplier only outside the limit by more than the expanded uncertainty [4]_.

.. [1] JCGM 106:2012, 7.2 to 7.4.   .. [2] JCGM 106:2012, 6.3 and 7.2 (normal prior).
.. [3] JCGM 106:2012, 9.5, eq. (19), (20).   .. [4] ISO 14253-1:2017, proving nonconformity.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtr, stdtr

from lotqa.model import BoolArray, FloatArray

BAYES_NODES = 1601  # across +/- 9 standard deviations of the prior, 4000 of the measurement
NODES = 400  # of the integral over true values, Gauss-Legendre between +/- 8 tau


@dataclass(frozen=True, slots=True)
class Prior:
    """What earlier lots of a supplier say of the mean of a spool to come."""

    mean_mm: float
    sd_mm: float
    n_lots: int


def probability_within(
    value: ArrayLike, u: ArrayLike, df: ArrayLike, lower: ArrayLike, upper: ArrayLike
) -> FloatArray:
    """Probability that the quantity lies in [lower, upper] [1]_; ``df`` infinite is normal.

    >>> round(float(probability_within(13.6, 1.8, np.inf, 12.5, 16.3)), 2)    # JCGM 106, SAE 40 oil
    0.66
    """
    centre, spread, freedom = (np.asarray(v, dtype=np.float64) for v in (value, u, df))
    top, bottom = np.asarray(upper, dtype=np.float64), np.asarray(lower, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        high, low = (top - centre) / spread, (bottom - centre) / spread
    p = _student(high, freedom) - _student(low, freedom)
    exact = (centre >= bottom) & (centre <= top)  # both limits belong to the interval
    return np.where(spread == 0, np.where(np.isnan(centre), np.nan, exact), p)


def _student(z: FloatArray, df: FloatArray) -> FloatArray:
    known = np.isfinite(df)
    return np.asarray(np.where(known, stdtr(np.where(known, df, 1.0), z), ndtr(z)))


def with_prior(value: ArrayLike, u: ArrayLike, prior: Prior) -> tuple[FloatArray, FloatArray]:
    """(mean, standard deviation) of the quantity from its measurement and a normal prior [2]_.

    >>> mean, sd = with_prior(1.76, 0.01, Prior(1.74, 0.01, 5))
    >>> round(float(mean), 3), round(float(sd), 4)
    (1.75, 0.0071)
    """
    w = 1 / np.asarray(u, dtype=np.float64) ** 2
    w0 = 1 / prior.sd_mm**2
    total = w + w0
    mean = (w * np.asarray(value, dtype=np.float64) + w0 * prior.mean_mm) / total
    return np.asarray(mean), np.asarray(1 / np.sqrt(total))


def probability_within_given_prior(
    value: float, u: float, df: float, prior: Prior, lower: float, upper: float
) -> float:
    """Probability of [lower, upper] from a measurement with ``df`` and a normal prior [2]_.

    >>> prior = Prior(1.74, 0.01, 5)
    >>> round(probability_within_given_prior(1.76, 0.01, np.inf, prior, 1.75, 1.90), 3)
    0.5
    """
    if not np.isfinite(df):
        mean, sd = with_prior(value, u, prior)
        return float(probability_within(mean, sd, np.inf, lower, upper))
    # Dense where either of both is narrow, far out for Student's tails, ending on the limits.
    span = np.linspace(-9.0, 9.0, BAYES_NODES)
    by_prior, by_measurement = prior.mean_mm + prior.sd_mm * span, value + u * np.sinh(span)
    x = np.unique(np.concatenate([by_prior, by_measurement, [lower, upper]]))
    log_density = -(((x - prior.mean_mm) / prior.sd_mm) ** 2) / 2
    log_density -= (df + 1) / 2 * np.log1p(((x - value) / u) ** 2 / df)
    density = np.exp(log_density - log_density.max())
    pieces = np.diff(x) * (density[1:] + density[:-1]) / 2
    inside = (x[:-1] >= lower) & (x[1:] <= upper)
    return float(pieces[inside].sum() / pieces.sum())


def probability_sd_at_most(
    observed_variance: ArrayLike, df: ArrayLike, reading_variance: ArrayLike, limit: ArrayLike
) -> FloatArray:
    """Probability that the filament's own sd is at most ``limit``; see module text.

    >>> round(float(probability_sd_at_most(1.0, 19, 0.0, 1.0)), 2)
    0.46
    """
    freedom = np.asarray(df, dtype=np.float64)
    top = np.asarray(limit, dtype=np.float64) ** 2 + np.asarray(reading_variance, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = freedom * np.asarray(observed_variance, dtype=np.float64) / top
    return np.asarray(
        np.where(freedom > 0, chdtrc(np.where(freedom > 0, freedom, 1.0), ratio), np.nan)
    )


@dataclass(frozen=True, slots=True)
class Risks:
    """Share of a whole production, as fractions of all spools."""

    consumer: float  # accepted and truly outside
    producer: float  # refused and truly inside


@cache
def _gauss() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights on -1 to 1; finding them costs more than all integrals."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return np.asarray(nodes), np.asarray(weights)


def global_risks(
    mean: float, tau: float, u: float, lower: float, upper: float, guard: float = 0.0
) -> Risks:
    """Risks of accepting inside [lower + guard, upper - guard] over a production N(mean, tau) [3]_.

    >>> risks = global_risks(0.0, 1.0, 0.25, -2.0, 2.0)      # Deaver: 0.8 % and 1.5 %
    >>> round(risks.consumer, 4), round(risks.producer, 4)
    (0.008, 0.0149)
    """
    nodes, weights = _gauss()

    def integral(a: float, b: float, accepted: bool) -> float:
        """Over true values from a to b: density times P(accepted) or P(refused)."""
        a, b = max(a, mean - 8 * tau), min(b, mean + 8 * tau)
        if b <= a:
            return 0.0
        x = (b - a) / 2 * nodes + (a + b) / 2
        density = np.exp(-(((x - mean) / tau) ** 2) / 2) / (tau * np.sqrt(2 * np.pi))
        inside = ndtr((upper - guard - x) / u) - ndtr((lower + guard - x) / u)
        chance = inside if accepted else 1 - inside
        return float(np.sum(weights * density * chance) * (b - a) / 2)

    return Risks(
        consumer=integral(-np.inf, lower, True) + integral(upper, np.inf, True),
        producer=integral(lower, upper, False),
    )


def nonconformity_shown(
    value: ArrayLike, expanded: ArrayLike, lower: ArrayLike, upper: ArrayLike
) -> BoolArray:
    """True where the value is outside by more than its expanded uncertainty [4]_.

    >>> nonconformity_shown([1.81, 1.83], 0.02, 1.70, 1.80).tolist()
    [False, True]
    """
    centre, reach = np.asarray(value, dtype=np.float64), np.asarray(expanded, dtype=np.float64)
    top, bottom = np.asarray(upper, dtype=np.float64), np.asarray(lower, dtype=np.float64)
    return np.asarray((centre - reach > top) | (centre + reach < bottom))
