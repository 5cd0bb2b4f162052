"""Does one spool carry a wave?  The places read by hand, looked at so that many spools are quick.

First a few shuffles of the values over the places (see :mod:`.uneven`): if ENOUGH of them reach
the power of the given order it is no wave, and the test stops there [1]_.  What is left is tested
in full, so that false alarms stay at FALSE_ALARM.  Shuffling supposes independent places: of known
drifters the straight line is taken away first, and a wave longer than DRIFT_SHARE of the stretch is
called the drift that it may be.  Fewer than LEAST_PLACES, unknown or repeating places say nothing.

What could be shown: scatter passes the power z with the chance 1 - (1 - (1 - z)**((n - 3) / 2))**m
over m independent lengths [2]_; m from the highest powers of the shuffles, whose mean of
-(n - 3) / 2 log(1 - z) is log m + 0.577.  A wave of amplitude a in scatter s makes (n - 3) / 2
z / (1 - z) a non-central F of 2 and n - 3 degrees of freedom with (n - 1) a**2 / (2 s**2) [3]_.
By simulation such a wave is found in 8 of 10 spools of 20 places; with fewer it is not told.

.. [1] Besag & Clifford, Biometrika 78 (1991) 301: sequential Monte Carlo p-values.
.. [2] Zechmeister & Kuerster, Astron. Astrophys. 496 (2009) 577 (section from memory: false alarm).
.. [3] Scheffe, The Analysis of Variance (1959), 2.8 (from memory): power of the F test.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ncfdtrinc

from lotqa.evidence.waves.uneven import (
    EVEN_WINDOW,
    FALSE_ALARM,
    LEAST_PLACES,
    PER_RESOLUTION,
    floating_mean_power,
    uneven_wave,
    wave_frequencies,
)
from lotqa.evidence.window import blind_wavelengths
from lotqa.model import FloatArray

FIRST = 99
ENOUGH = 5  # a wave at the limit of 1 % reaches it with a chance of 0.3 % (binomial of 99)
SURELY = 0.9
SURE_PLACES = 20
DRIFT_SHARE = 1 / 3
BLOCK = 256  # frequencies at once, so that their powers stay in the cache
SEED = 1_750  # fixed: the same places give the same answer for ever


@dataclass(frozen=True, slots=True)
class SpoolWave:
    """What the places say of waves; NaN where they say nothing."""

    found: bool
    is_drift: bool  # a long wave stands out, but the places drift
    period_m: float  # of the best wave, if it was tested in full
    amplitude_mm: float
    significance: float
    aliases_m: tuple[float, ...]  # other periods that fit as well: best first
    shortest_m: float  # periods looked at
    longest_m: float
    detectable_mm: float  # an amplitude that places of this scatter mostly show; NaN: too few
    cannot: str | None = None  # why the places do not carry an answer


def spool_wave(position_m: ArrayLike, x_mm: ArrayLike, *, drifts: bool) -> SpoolWave:
    """Look for a wave in places ``x_mm`` (n,) in their order along the filament.

    ``position_m`` (n,) is NaN where unknown; ``drifts`` tells that the places are known to drift.

    >>> spool_wave([0.0, 0.3, 1.1], [1.75, 1.74, 1.76], drifts=False).cannot
    '3 places were read, 12 are needed: read 9 more'
    """
    position = np.asarray(position_m, dtype=np.float64)
    x = np.asarray(x_mm, dtype=np.float64)
    cannot = _cannot(position, x)
    if cannot is not None:
        return _nothing(cannot)
    if drifts:
        x = _level(position, x)
    frequency = wave_frequencies(position)
    looked = 1 / float(frequency[-1]), 1 / float(frequency[0])
    shuffled = np.random.default_rng(SEED).permuted(np.tile(x, (FIRST, 1)), axis=1)
    columns = np.column_stack([x, shuffled.T])
    highest = np.zeros(FIRST + 1)
    for begin in range(0, len(frequency), BLOCK):
        power = floating_mean_power(position, columns, frequency[begin : begin + BLOCK])
        np.maximum(highest, power.max(axis=0), out=highest)
    reached = int(np.sum(highest[1:] >= highest[0] * (1 - 1e-12)))
    smallest = _detectable_mm(x, highest[1:])
    nan = float("nan")
    if reached >= ENOUGH:
        p = (reached + 1) / (FIRST + 1)
        return SpoolWave(False, False, nan, nan, p, (), *looked, smallest)
    told = uneven_wave(position, x, seed=SEED)
    is_long = told.period_m > DRIFT_SHARE * float(np.ptp(position))
    return SpoolWave(
        told.found and not (drifts and is_long),
        told.found and drifts and is_long,
        told.period_m,
        told.amplitude_mm,
        told.significance,
        told.aliases_m,
        *looked,
        smallest,
    )


def _detectable_mm(x: FloatArray, highest: FloatArray) -> float:
    """Amplitude that places with the scatter of ``x`` (n,) mostly show [2]_ [3]_; NaN if few."""
    n, df = len(x), len(x) - 3
    if n < SURE_PLACES:
        return float("nan")
    n_lengths = np.exp(np.mean(-df / 2 * np.log1p(-highest)) - np.euler_gamma)
    at_one = -np.expm1(np.log1p(-FALSE_ALARM) / n_lengths)
    left = at_one ** (2 / df)  # 1 - z
    noncentral = float(ncfdtrinc(2, df, 1 - SURELY, df / 2 * (1 - left) / left))
    return float(x.std(ddof=1) * np.sqrt(2 * noncentral / (n - 1)))


def _cannot(position: FloatArray, x: FloatArray) -> str | None:
    n = len(x)
    if n < LEAST_PLACES:
        were = "place was" if n == 1 else "places were"
        return f"{n} {were} read, {LEAST_PLACES} are needed: read {LEAST_PLACES - n} more"
    if not np.isfinite(position).all():
        return "the positions of some places are not known: note them in metres"
    if len(wave_frequencies(position)) < PER_RESOLUTION:
        return "the places lie too close together: spread them over metres"
    if not np.ptp(x) > 0:
        return "all places read the same"
    even = blind_wavelengths(position, EVEN_WINDOW)
    if even:
        return (
            f"the places repeat every {even[0].wavelength_m:.3g} m, so that a wave of one length "
            "reads like waves of others: read again at uneven places (lotqa plan)"
        )
    return None


def _nothing(cannot: str) -> SpoolWave:
    nan = float("nan")
    return SpoolWave(False, False, nan, nan, nan, (), nan, nan, nan, cannot)


def _level(position: FloatArray, x: FloatArray) -> FloatArray:
    """``x`` about its straight line by least squares."""
    off = position - position.mean()
    return np.asarray(x - off * (off @ x) / (off @ off))
