"""The smooth spectrum that waves must stand out from.

Red noise, drifts and the gauge give a spectrum that changes slowly with frequency, but rarely that
of a first-order process, so none is supposed: the logarithm of the density is a natural cubic
spline of the logarithm of the frequency, with a knot an octave, fitted by Whittle's likelihood,
that is as a gamma regression with df/2 as shape [1]_, [2]_.  Bins that stand out from it are left
out and it is fitted again, so that waves do not lift what they are judged by (the idea of [3]_).
Its own uncertainty is the Fisher information's; against it a bin is an F of (df, df_continuum).

.. [1] Percival & Walden, Spectral Analysis for Physical Applications (1993), 6.6 and 10.
.. [2] Wahba, J. Amer. Statist. Assoc. 75 (1980) 122: smoothing the log periodogram by splines;
   natural cubic basis: Hastie, Tibshirani & Friedman, Elements of Statistical Learning, (5.4).
.. [3] Mann & Lees, Climatic Change 33 (1996) 409: robust estimate of the background.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from lotqa.model import BoolArray, FloatArray

BINS_A_KNOT = 24  # at least; fewer of 2 degrees of freedom do not hold a knot
OUT_P = 1e-3  # bins less likely than this are left out, with their neighbours under the window
NEIGHBOURS = 2  # half width of the main lobe of Hann, in bins
FIRST_OUT = 4.0  # times the running median: kept out of the first round
RATIO_CAP = 10.0  # one step of the regression is not led away by a single bin
ROUNDS = 6
STEPS = 8  # of the regression
SHARED = 35 / 18  # bins under Hann repeat each other: 1 + 2 (4/9) + 2 (1/36), by its three terms
MEDIAN_BINS = 75  # of the start; five times as wide as anything called a wave


@dataclass(frozen=True, slots=True, eq=False)
class Continuum:
    """Fitted density and its degrees of freedom; arrays (n,) as the bins given."""

    density: FloatArray
    df: FloatArray


def fit_continuum(frequency_per_m: FloatArray, density: FloatArray, df: FloatArray) -> Continuum:
    """Fit the continuum of bins at rising frequencies (n,), positive, each with ``df``."""
    basis = _basis(np.log(frequency_per_m))
    log_start = np.asarray(np.log(_running_median(density)), dtype=np.float64)
    keep = density < FIRST_OUT * np.exp(log_start)
    fitted = log_start
    unscaled = np.identity(basis.shape[1], dtype=np.float64)
    for _ in range(ROUNDS):
        fitted, unscaled = _regress(basis[keep], density[keep], df[keep], basis, fitted)
        continuum = Continuum(np.exp(fitted), _df(basis, unscaled))
        kept = ~_near(tail_probability(density, df, continuum) < OUT_P)
        if np.array_equal(kept, keep) or kept.sum() < 3 * basis.shape[1]:
            break
        keep = kept
    return Continuum(np.exp(fitted), _df(basis, unscaled))


def tail_probability(density: FloatArray, df: FloatArray, continuum: Continuum) -> FloatArray:
    """Chance of a bin as high as this, or higher, if there were only the continuum."""
    p = fdtrc(df, continuum.df, density / continuum.density)
    return np.asarray(p, dtype=np.float64)


def _df(basis: FloatArray, unscaled: FloatArray) -> FloatArray:
    variance = SHARED * np.einsum("ij,jk,ik->i", basis, unscaled, basis)
    return np.asarray(2 / np.maximum(variance, 1e-12))


def _regress(
    basis: FloatArray,
    density: FloatArray,
    df: FloatArray,
    everywhere: FloatArray,
    start: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """(log density everywhere, covariance of the coefficients) by Fisher scoring."""
    weight = df / 2
    information: FloatArray = np.asarray(
        np.linalg.inv(basis.T @ (weight[:, None] * basis)), dtype=np.float64
    )
    coefficients = everywhere.T @ start  # the basis is orthonormal over all bins
    for _ in range(STEPS):
        ratio = density * np.exp(-np.clip(basis @ coefficients, -600, 600))
        step = information @ (basis.T @ (weight * (np.minimum(ratio, RATIO_CAP) - 1)))
        coefficients = coefficients + step
        if np.abs(step).max() < 1e-6:
            break
    return everywhere @ coefficients, information


def _running_median(density: FloatArray) -> FloatArray:
    width = min(MEDIAN_BINS, (len(density) - 1) // 2 * 2 + 1)
    padded = np.pad(density, width // 2, mode="reflect")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=-1)
    positive = density[density > 0]
    floor = positive.min() if len(positive) else 1.0
    return np.asarray(np.maximum(smooth, floor))


def _near(out: BoolArray) -> BoolArray:
    """``out`` with its neighbours."""
    wide = out.copy()
    for shift in range(1, NEIGHBOURS + 1):
        wide[shift:] |= out[:-shift]
        wide[:-shift] |= out[shift:]
    return wide


def _basis(x: FloatArray) -> FloatArray:
    """Natural cubic spline basis (n, knots), made orthonormal for the sake of digits [2]_."""
    knots = _knots(x)
    if len(knots) < 3:
        raw = np.stack([np.ones_like(x), x - x.mean()], axis=-1)
    else:
        cubes = np.maximum(x[:, None] - knots, 0.0) ** 3
        d = (cubes[:, :-1] - cubes[:, -1:]) / (knots[-1] - knots[:-1])
        raw = np.concatenate([np.ones((len(x), 1)), x[:, None], d[:, :-1] - d[:, -1:]], axis=1)
    basis: FloatArray = np.linalg.qr(raw)[0]
    return basis


def _knots(x: FloatArray) -> FloatArray:
    """Ends, and between them a knot an octave or every BINS_A_KNOT bins, whichever is wider."""
    knots, last = [x[0]], 0
    for i in range(1, len(x)):
        if x[i] - x[last] >= np.log(2) and i - last >= BINS_A_KNOT:
            knots.append(x[i])
            last = i
    if len(knots) > 1 and (len(x) - last < BINS_A_KNOT or x[-1] - knots[-1] < np.log(2) / 2):
        knots.pop()
    return np.array([*knots, x[-1]])
