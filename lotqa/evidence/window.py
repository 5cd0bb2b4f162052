"""Which waves along the filament do the places read not see?

Places x_1 .. x_n meet a wave of length L, amplitude A and unknown phase.  With the spectral window

    W(1/L) = |sum_j exp(2 pi i x_j / L)| / n                     [1]_, [2]_

their mean square about their own mean is (A**2 / 2) (1 - W**2) on average over the phase.  W = 1
is blindness: every place meets the same phase, as every 2 m with waves of 2, 1, 0.667 .. 0.1 m.
A wave of nearly such a length, 1/L + e, reads at every place as one of length 1/e: a slow drift
that is not there.  Chance alone brings W**2 beyond w with probability exp(-n w) at one length, and
some 1000 lengths lie between 5 cm and 25 m: below MIN_PLACES only exact spacing is told from it.

.. [1] Deeming, Astrophys. Space Sci. 36 (1975) 137, eq. (17): uneven sampling.
.. [2] The same number is the vector strength, or mean resultant length, of the phases: Mardia &
   Jupp, Directional Statistics (2000), 2.3.1 and, for its chance, 6.3.1 (Rayleigh).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.model import BoolArray, FloatArray

SHORTEST_M = 0.05  # the shortest waves seen in logs are 10 cm long (common practice, no source)
MIN_PLACES = 10  # see above
FEW_WINDOW = 0.999  # what counts as exact below MIN_PLACES: 7 mm of 1 m
LEAST_PLACES = 3  # two places are always evenly spaced
ROUND_STEPS = (1, 2, 4, 5, 10, 20)  # to a metre, each a sum of two before: where people read
STEPS_A_CYCLE = 8  # of a wave: neighbours so alike that the eye sees a drift
PER_RESOLUTION = 8  # frequencies a line width 1/stretch: W at its peak is missed by 1 %
EDGE = 1e-3  # of the highest frequency: a peak there may be found a little above it
AT_ONCE = 1_000_000  # phases in memory
BLOCK = 1024  # spools at once, so that their phases stay in the cache


@dataclass(frozen=True, slots=True)
class BlindWave:
    """A wavelength at which the places all meet the same phase."""

    wavelength_m: float
    window: float
    drift_from_m: float  # waves between these lengths read as a drift or a slow wave
    drift_to_m: float


def spectral_window(position_m: ArrayLike, frequency_per_m: ArrayLike) -> FloatArray:
    """W of positions (n,) at frequencies (f,) [1]_.

    >>> spectral_window([0.0, 2.0, 4.0], [0.5, 0.25]).round(3).tolist()
    [1.0, 0.333]
    """
    x = np.asarray(position_m, dtype=np.float64)
    frequency = np.atleast_1d(np.asarray(frequency_per_m, dtype=np.float64))
    block = max(1, AT_ONCE // len(x))
    parts = [
        _resultant(frequency[i : i + block, None] * x) for i in range(0, len(frequency), block)
    ]
    return np.concatenate(parts) if parts else np.empty(0)


def hidden_window(position_m: ArrayLike) -> FloatArray:
    """Largest W of positions (k, n) at the lengths that human spacing hides; (k,).

    Those are the mean spacing, the largest common measure of the positions, and ROUND_STEPS.
    NaN where positions are unknown or too few, or chance alone would do.
    """
    x = np.atleast_2d(np.asarray(position_m, dtype=np.float64))
    k, n = x.shape
    known = np.isfinite(x).all(axis=-1)
    window = np.full(k, np.nan)
    if n < LEAST_PLACES or not known.any():
        return window
    from_first = x[known] - x[known][:, :1]
    # An archive is often read with one list of positions; then one row tells for all.
    alike = bool((np.ptp(from_first, axis=0) < 1e-9).all())
    rows = from_first[:1] if alike else from_first
    seen = np.concatenate([_hidden(rows[i : i + BLOCK]) for i in range(0, len(rows), BLOCK)])
    if n < MIN_PLACES:
        seen = np.where(seen >= FEW_WINDOW, seen, np.nan)
    window[known] = seen
    return window


def blind_wavelengths(position_m: ArrayLike, window_max: float) -> list[BlindWave]:
    """Every length from the stretch to SHORTEST_M whose W exceeds ``window_max``, longest first.

    Positions (n,) that are unknown, or fewer than LEAST_PLACES, give an empty list.

    >>> [round(w.wavelength_m, 2) for w in blind_wavelengths(0.2 * np.arange(12), 0.9)]
    [0.2, 0.1, 0.07, 0.05]
    """
    x = np.sort(np.asarray(position_m, dtype=np.float64))
    if len(x) < LEAST_PLACES or not np.isfinite(x).all() or x[-1] <= x[0]:
        return []
    limit = max(window_max, FEW_WINDOW) if len(x) < MIN_PLACES else window_max
    step = 1 / (PER_RESOLUTION * (x[-1] - x[0]))
    highest = 1 / SHORTEST_M
    frequency = np.arange(PER_RESOLUTION - 1, int(np.ceil(highest / step)) + 2) * step
    window = spectral_window(x, frequency)
    inner = window[1:-1]
    # A peak may stand a little above the frequencies tried; 0.98 is more than is missed.
    peak = (inner >= window[:-2]) & (inner > window[2:]) & (inner > 0.98 * limit)
    slow = (len(x) - 1) / (STEPS_A_CYCLE * float(x[-1] - x[0]))
    found = []
    for start in frequency[1:-1][peak]:
        best, height = _summit(x, float(start), step)
        if height > limit and best <= highest * (1 + EDGE):
            drift = (1 / (best + slow), 1 / (best - slow) if best > slow else np.inf)
            found.append(BlindWave(1 / best, height, *drift))
    return found


def largest_window(position_m: ArrayLike) -> float:
    """Largest W of positions (n,) at any length from SHORTEST_M to the stretch, to 1 %."""
    x = np.asarray(position_m, dtype=np.float64)
    stretch_m = float(np.ptp(x))
    step = 1 / (PER_RESOLUTION * stretch_m)
    frequency = np.arange(1 / stretch_m, 1 / SHORTEST_M + step, step)
    return float(spectral_window(x, frequency).max(initial=0.0))


def _resultant(cycles: FloatArray) -> FloatArray:
    angle = 2 * np.pi * cycles
    resultant: FloatArray = np.hypot(np.cos(angle).mean(axis=-1), np.sin(angle).mean(axis=-1))
    return resultant


def _hidden(x: FloatArray) -> FloatArray:
    """hidden_window of rows (k, n) that start at 0."""
    n = x.shape[-1]
    index = np.arange(n) - (n - 1) / 2
    spacing = np.sort(x, axis=-1) @ index / np.sum(index**2)  # least squares of position on number
    measure = np.gcd.reduce(np.rint(1000 * x).astype(np.int64), axis=-1) / 1000
    stretch = np.ptp(x, axis=-1)
    largest = np.zeros(len(x))

    def meet(fits: BoolArray, window: FloatArray) -> None:
        largest[fits] = np.maximum(largest[fits], window)

    for length in (spacing, measure):
        fits = (length >= SHORTEST_M) & (length <= stretch)
        meet(fits, _resultant(x[fits] / length[fits, None]))
    # The phases of finer steps are products of those of coarser ones, which spares their sines.
    phase = {1: np.exp(2j * np.pi * x)}
    for steps in ROUND_STEPS:
        if steps not in phase:
            part = next(s for s in phase if steps - s in phase)
            phase[steps] = phase[part] * phase[steps - part]
        fits = stretch >= 1 / steps
        meet(fits, np.abs(phase[steps].mean(axis=-1))[fits])
    return largest


def _summit(x: FloatArray, start: float, step: float) -> tuple[float, float]:
    """Frequency and height of the peak of W within a step of ``start``."""
    for _ in range(5):
        tried = start + step * np.linspace(-1, 1, 17)
        window = spectral_window(x, tried)
        start, step = float(tried[np.argmax(window)]), step / 8
    return start, float(window.max())
