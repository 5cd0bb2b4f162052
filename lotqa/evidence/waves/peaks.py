"""Peaks of one level of the spectrum, told from their own skirts.

A peak is a local maximum of the tested bins whose p is small enough.  The window spreads a pure
wave over LOBE bins to either side; a wave whose length wanders is wider.  A weaker maximum is a
wave of its own only if it lies beyond LOBE and the valley between falls below what is significant,
or the maximum stands over the valley as it would have to over a continuum: F of (df, 3 df).

The excess over the continuum under a peak is its variance; the centre of it is its frequency, with

    u**2 = sum_i (f_i - f)**2 var_i / (sum excess)**2,   var_i = density_i**2 2 / df x SHARED

as for a random wave of narrow band [1]_: for one that is perfectly steady it is too large.

.. [1] Percival & Walden, Spectral Analysis for Physical Applications (1993), 6.6: variance of a
   spectral estimate; the centre of excess by propagation, JCGM 100:2008, 5.1.2.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri

from lotqa.evidence.waves.continuum import SHARED, Continuum
from lotqa.evidence.waves.pyramid import LevelSpectrum
from lotqa.model import BoolArray, FloatArray

LOBE = 3  # bins: half the main lobe of Hann, and one for a wave between two bins
WIDEST = 64  # bins to either side that the excess is summed over
MIN_RATIO = 2.0  # less is not to be told from a hump of the continuum, however many rows
VALLEY_BINS = 3  # averaged; the lowest single one of many is low by chance


@dataclass(frozen=True, slots=True)
class Peak:
    """One peak of one level."""

    frequency_per_m: float
    u_frequency_per_m: float
    variance_mm2: float
    p: float  # of its highest bin, alone
    width_per_m: float  # of a bin


def upper_ratio(df: FloatArray, df_continuum: FloatArray, p: float) -> FloatArray:
    """Ratio of density and continuum that noise passes with probability ``p``."""
    # The upper tail by the lower tail of the reciprocal, which keeps the digits of a small p.
    ratio: FloatArray = 1 / fdtri(df_continuum, df, p)
    return ratio


def find_peaks(
    spectrum: LevelSpectrum, continuum: Continuum, p: FloatArray, p_one: float
) -> list[Peak]:
    """Peaks of ``spectrum`` with p <= ``p_one``, strongest first.

    ``continuum`` and ``p`` are of all its bins (n,), tested or not.
    """
    density = spectrum.density
    begin, end = max(spectrum.tested.start - 1, 1), min(spectrum.tested.stop, len(density) - 1)
    bins = np.arange(begin, end)
    high = (p <= p_one) & (density >= MIN_RATIO * continuum.density)
    tops = bins[
        high[bins] & (density[bins] >= density[bins - 1]) & (density[bins] > density[bins + 1])
    ]
    told: list[int] = []
    df = np.array(spectrum.df)
    chance = max(MIN_RATIO, float(upper_ratio(df, VALLEY_BINS / SHARED * df, p_one)))
    smooth = np.convolve(density, np.full(VALLEY_BINS, 1 / VALLEY_BINS), mode="same")
    for top in tops[np.argsort(-density[tops])].tolist():
        if all(_separate(top, other, density, smooth, high, chance) for other in told):
            told.append(top)
    return [_peak(top, told, spectrum, continuum, float(p[top]), high) for top in told]


def _separate(
    top: int,
    other: int,
    density: FloatArray,
    smooth: FloatArray,
    high: BoolArray,
    chance: float,
) -> bool:
    """Whether the weaker ``top`` is a wave apart from the stronger ``other``."""
    if abs(top - other) <= LOBE:
        return False
    lo, hi = min(top, other), max(top, other)
    lowest = lo + int(np.argmin(smooth[lo : hi + 1]))
    return not bool(high[lowest]) or bool(density[top] > chance * smooth[lowest])


def _peak(
    top: int,
    told: list[int],
    spectrum: LevelSpectrum,
    continuum: Continuum,
    p: float,
    high: BoolArray,
) -> Peak:
    density = spectrum.density
    lo = _reach(top, -1, told, density, high)
    hi = _reach(top, 1, told, density, high)
    under = slice(lo, hi + 1)
    width = spectrum.width_per_m
    excess = density[under] - continuum.density[under]
    total = max(float(excess.sum()), float(density[top] - continuum.density[top]))
    f = spectrum.frequency_per_m[under]
    centre = float(np.sum(np.maximum(excess, 0.0) * f) / np.sum(np.maximum(excess, 0.0)))
    spread = np.sum((f - centre) ** 2 * density[under] ** 2) * SHARED * 2 / spectrum.df
    return Peak(centre, float(np.sqrt(spread)) / total, total * width, p, width)


def _reach(top: int, way: int, told: list[int], density: FloatArray, high: BoolArray) -> int:
    """Last bin on one side of ``top`` that belongs to it."""
    end = top
    others = [way * (t - top) for t in told if way * (t - top) > 0]
    nearest = min(others, default=2 * WIDEST)
    furthest = WIDEST
    if nearest <= WIDEST:  # up to the valley between the two
        between = density[top : top + way * nearest : way]
        furthest = int(np.argmin(between))
    for distance in range(1, furthest + 1):
        i = top + way * distance
        if not 0 < i < len(density) - 1 or (distance > LOBE and not high[i]):
            break
        end = i
    return end
