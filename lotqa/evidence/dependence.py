"""Places near each other repeat the same fact: how many independent places are n places worth?

Of n places with correlations rho_ij the mean is worth, and the spread, as many independent ones as

    n_mean = n**2 / sum_ij rho_ij          n_spread = n**2 / sum_ij rho_ij**2      [1]_

Model: rho = (1 - v) exp(-distance / L) between two places, v the share that each place has of its
own (scatter of reading, waves shorter than the spacing).  Each model on a grid of L (in units of
the mean spacing) and v gets its likelihood, mean and variance integrated out [2]_, by the Markov
recursion along the filament.  Ratio: that likelihood, averaged over the grid, over that of
independent places.  Below RATIO_MIN the places count as independent; above, every model has its say
by its posterior weight.  By Markov's inequality independent places reach a ratio of c in at most
1/c of all cases (for 3, found by simulation: 4 %).  So n_mean stays close to n where there is no
dependence, and what n places are too few to show goes unseen (L = 1 m, 20 places over 25 m: every
second time).  Drift counts as correlation.  Supposes normal places; speaks of the whole filament.

.. [1] Bayley & Hammersley, Suppl. J. Royal Statist. Soc. 8 (1946) 184.  Of s**2 in such a series:
   Priestley, Spectral Analysis and Time Series (1981), 5.3 (from memory).
.. [2] Harville, Biometrika 61 (1974) 383, restricted likelihood; here with the prior 1/sigma.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import logsumexp

from lotqa.evidence.arrays import as_matrix
from lotqa.model import FloatArray

MIN_PLACES = 10  # fewer tell a length of correlation from nothing only when it is their stretch
LENGTHS = (0.5, 1.0, 2.0, 4.0)  # L over mean spacing: neighbours correlate by 0.14 to 0.78
OWN_SHARES = (0.05, 0.5)  # v: hardly any scatter, or as much as the filament's own change
RATIO_MIN = 3.0  # see above
SHARE_INDEPENDENT = (
    0.9  # prior weight: good stock changes over centimetres, places stand a metre off
)
BLOCK = 2048  # spools at once, so that the arrays of the recursion stay in the cache


@dataclass(frozen=True, slots=True, eq=False)
class Effective:
    """What the places of k spools are worth; arrays (k,)."""

    n_mean: FloatArray  # independent places with the same uncertainty of the mean
    df_spread: FloatArray  # degrees of freedom of their s
    ratio: FloatArray  # likelihood of dependence over independence; NaN where not judged


def effective_places(position_m: ArrayLike, x: ArrayLike) -> Effective:
    """Worth of the places ``x`` (k, n) at rising positions (k, n) or (n,), spaced as they are.

    n and n - 1 where nothing can be told: below MIN_PLACES, a position unknown (NaN), all
    positions or all values equal.  Raises TooFewReadings without any place.
    """
    matrix = as_matrix(x, what="a number of effective places")
    k, n = matrix.shape
    where = np.broadcast_to(np.atleast_2d(np.asarray(position_m, dtype=np.float64)), matrix.shape)
    n_mean, df_spread = np.full(k, float(n)), np.full(k, n - 1.0)
    ratio = np.full(k, np.nan)
    if n < MIN_PLACES:
        return Effective(n_mean, df_spread, ratio)
    centred = matrix - matrix.mean(axis=-1)[:, None]
    s = np.sqrt(np.sum(centred**2, axis=-1) / (n - 1))
    smallest = np.abs(matrix).max(axis=-1) * n * np.finfo(np.float64).eps  # equal but for digits
    gaps = np.diff(where, axis=-1)
    judged = np.flatnonzero(
        (s > smallest) & np.isfinite(gaps).all(axis=-1) & (where[:, -1] > where[:, 0])
    )
    for begin in range(0, len(judged), BLOCK):
        rows = judged[begin : begin + BLOCK]
        z = (centred[rows] / s[rows, None]).T
        spacing = (gaps[rows] / gaps[rows].mean(axis=-1)[:, None]).T
        n_mean[rows], df_spread[rows], ratio[rows] = _averaged(spacing, z)
    return Effective(n_mean, df_spread, ratio)


def process_variance(s_squared: FloatArray, n: ArrayLike, n_mean: FloatArray) -> FloatArray:
    """Variance of the filament where s**2 of n dependent places reads too little of it [1]_.

    E s**2 = variance n (n_mean - 1) / (n_mean (n - 1)).

    >>> float(process_variance(np.array([1.0]), 20, np.array([20.0]))[0])
    1.0
    """
    count = np.asarray(n, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(n_mean < count, n_mean * (count - 1) / (count * (n_mean - 1)), 1.0)
    return s_squared * factor


def _averaged(spacing: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(n_mean, df_spread, ratio) of z (n, k) of variance 1, averaged over all models."""
    n, k = z.shape
    likelihood, pairs, pairs_squared = _models(spacing, z)
    independent = -0.5 * np.log(n) - (n - 1) / 2 * np.log(n - 1.0)
    log_weight = likelihood - independent - np.log(len(likelihood))
    log_ratio = logsumexp(log_weight, axis=0)
    prior = np.log((1 - SHARE_INDEPENDENT) / SHARE_INDEPENDENT)
    all_weights = np.concatenate([np.zeros((1, k)), log_weight + prior])
    weight = np.exp(all_weights - logsumexp(all_weights, axis=0))
    none = np.full((1, k), float(n))
    n_mean = n**2 / np.concatenate([none, pairs])
    n_spread = n**2 / np.concatenate([none, pairs_squared])
    # Averaged are the variance of the mean in units of s**2, and 1/df.
    variance = np.sum(weight * (n - 1) / (n * (n_mean - 1)), axis=0)
    df = 1 / np.sum(weight / (n_spread - 1), axis=0)
    shown = log_ratio >= np.log(RATIO_MIN)
    with np.errstate(over="ignore"):
        ratio = np.exp(log_ratio)
    return (
        np.where(shown, 1 + (n - 1) / (n * variance), float(n)),
        np.where(shown, df, n - 1.0),
        ratio,
    )


def _models(spacing: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log likelihood, sum rho_ij and sum rho_ij**2 of every model: arrays (models, k).

    One pass along the filament: the value is predicted from the place before, both for the
    readings and for a constant 1, whose weight the mean has.
    """
    n, k = z.shape
    length, own = (np.array(v)[:, None] for v in zip(*product(LENGTHS, OWN_SHARES), strict=True))
    shared = 1 - own
    shape = (len(length), k)
    predicted, predicted_one = np.zeros(shape), np.zeros(shape)
    variance = np.broadcast_to(shared, shape)
    log_det, zz, z1, one = (np.zeros(shape) for _ in range(4))
    before, before_squared, pairs, pairs_squared = (np.zeros(shape) for _ in range(4))
    for i in range(n):
        if i:
            rho = np.exp(-spacing[i - 1] / length)
            rho_squared = rho**2
            before = rho * (1 + before)  # sum over all earlier places of exp(-distance / L)
            before_squared = rho_squared * (1 + before_squared)
            pairs += before
            pairs_squared += before_squared
            predicted, predicted_one = rho * predicted, rho * predicted_one
            variance = rho_squared * variance + shared * (1 - rho_squared)
        total = variance + own
        error, error_one = z[i] - predicted, 1 - predicted_one
        gain = variance / total
        log_det += np.log(total)
        zz += error * error / total
        z1 += error * error_one / total
        one += error_one * error_one / total
        predicted = predicted + gain * error
        predicted_one = predicted_one + gain * error_one
        variance = own * gain
    squares = zz - z1**2 / one
    likelihood = -0.5 * (log_det + np.log(one) + (n - 1) * np.log(squares))
    return likelihood, n + 2 * shared * pairs, n + 2 * shared**2 * pairs_squared
