"""Waves from few places at uneven positions, as read by hand along one spool.

At each frequency a sine and a floating mean are fitted by least squares; the power [1]_ is

    p(f) = 1 - residual squares with the wave / squares about the mean           0 .. 1

Significance by permutation: the values are shuffled over the places, the highest power over all
frequencies is taken anew, and the share of shuffles that reach the one found, the given order
counted in, is the chance of a false alarm [2]_.  That is exact whatever the distribution, if the
places are independent: a drift along the spool is found as a long wave.  Periods that fit nearly
as well (the squares left over not larger by chance: likelihood ratio, chi-square of 2 at 95 %) are
told beside the best one as ``aliases``; with evenly spaced places there is always a whole row of
them.  Fewer than LEAST_PLACES places do not carry it: five numbers of a wave are fitted to them.

.. [1] Zechmeister & Kuerster, Astron. Astrophys. 496 (2009) 577, eq. (5): floating mean.
.. [2] Phipson & Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) art. 39: (b + 1) / (m + 1).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.window import SHORTEST_M, blind_wavelengths
from lotqa.model import FloatArray

LEAST_PLACES = 12
PER_RESOLUTION = 5  # frequencies a line width 1/stretch
LONGEST_SHARE = 0.5  # of the stretch; a longer wave is not to be told from a drift
PLACES_PER_WAVE_U = 8.0  # a position u wrong shifts the phase by 2 pi u / period: below 45 degrees
PERMUTATIONS = 1999
FALSE_ALARM = 0.01
ALIAS_CHI2 = 5.991  # upper 5 % of chi-square with 2 degrees of freedom
EVEN_WINDOW = 0.98  # spectral window from which the places count as evenly spaced
MOST_ALIASES = 40
AT_ONCE = 2_000_000  # numbers in memory


@dataclass(frozen=True, slots=True)
class UnevenWave:
    """The best wave through the places; ``cannot`` in words if they do not carry an answer."""

    period_m: float
    amplitude_mm: float
    share_of_variance: float
    significance: float  # chance that shuffled places show such a wave at any length
    found: bool
    aliases_m: tuple[float, ...]  # other periods that fit as well: best, then longest, first
    shortest_m: float  # periods looked at
    longest_m: float
    cannot: str | None = None


def wave_frequencies(position_m: ArrayLike, shortest_m: float = SHORTEST_M) -> FloatArray:
    """Frequencies per metre that positions (n,) are searched at: empty if none fits."""
    stretch = float(np.ptp(np.asarray(position_m, dtype=np.float64)))
    if not stretch > 0:
        return np.empty(0)
    step = 1 / (PER_RESOLUTION * stretch)
    first = 1 / (LONGEST_SHARE * stretch)
    return np.arange(first, 1 / shortest_m + step / 2, step)


def floating_mean_power(
    position_m: ArrayLike, x: ArrayLike, frequency_per_m: ArrayLike
) -> FloatArray:
    """Power (f,) or (f, k) of values (n,) or (n, k) at positions (n,) [1]_.

    >>> t = np.array([0.0, 0.3, 1.1, 1.7, 2.9, 3.2])
    >>> float(floating_mean_power(t, 1.75 + np.sin(2 * np.pi * t), [1.0]).round(6)[0])
    1.0
    """
    values = np.asarray(x, dtype=np.float64)
    y = values.reshape(len(values), -1)
    y = y - y.mean(axis=0)
    norm = np.sum(y**2, axis=0)
    position = np.asarray(position_m, dtype=np.float64)
    frequency = np.atleast_1d(np.asarray(frequency_per_m, dtype=np.float64))
    power = np.zeros((len(frequency), y.shape[1]))
    block = max(1, AT_ONCE // max(y.shape))
    for begin in range(0, len(frequency), block):
        first, second = _directions(position, frequency[begin : begin + block])
        part = (first @ y) ** 2 + (second @ y) ** 2
        power[begin : begin + block] = part
    power = np.divide(power, norm, out=np.zeros_like(power), where=norm > 0)
    return np.asarray(power.reshape((len(frequency), *values.shape[1:])))


def uneven_wave(
    position_m: ArrayLike,
    x_mm: ArrayLike,
    *,
    seed: int,
    shortest_m: float = SHORTEST_M,
    u_position_m: float = 0.0,
    false_alarm: float = FALSE_ALARM,
    permutations: int = PERMUTATIONS,
) -> UnevenWave:
    """Look for a wave in places ``x_mm`` (n,) at ``position_m`` (n,), NaN where unknown.

    ``u_position_m`` is how well a position is known; waves it would smear are not looked at.
    """
    position = np.asarray(position_m, dtype=np.float64)
    x = np.asarray(x_mm, dtype=np.float64)
    shortest = max(shortest_m, PLACES_PER_WAVE_U * u_position_m)
    if not np.isfinite(position).all():
        return _nothing("the positions of some places are not known: note them in metres")
    if len(x) < LEAST_PLACES:
        missing = LEAST_PLACES - len(x)
        return _nothing(
            f"{len(x)} places do not carry a wave, {LEAST_PLACES} may: read {missing} more"
        )
    frequency = wave_frequencies(position, shortest)
    if len(frequency) < PER_RESOLUTION:
        return _nothing("the places lie too close together for a wave: spread them over metres")
    if not np.ptp(x) > 0:
        return _nothing("all places read the same")
    power = floating_mean_power(position, x, frequency)
    best = int(np.argmax(power))
    f, height = _summit(position, x, float(frequency[best]), float(frequency[1] - frequency[0]))
    order = np.random.default_rng(seed)
    shuffled = order.permuted(np.tile(x, (permutations, 1)), axis=1).T
    highest = _highest(position, shuffled, frequency)
    # Against the grid's own highest: the summit between two frequencies has no counterpart there.
    reached = int(np.sum(highest >= power[best] * (1 - 1e-12)))
    significance = (reached + 1) / (permutations + 1)
    aliases = _aliases(position, x, frequency, power, f, height)
    return UnevenWave(
        1 / f,
        float(np.sqrt(np.sum(_wave(position, x, f) ** 2))),
        height,
        significance,
        significance <= false_alarm,
        aliases,
        shortest,
        float(1 / frequency[0]),
        _even_words(position, shortest),
    )


def _nothing(cannot: str) -> UnevenWave:
    nan = float("nan")
    return UnevenWave(nan, nan, nan, nan, False, (), nan, nan, cannot)


def _even_words(position: FloatArray, shortest: float) -> str | None:
    """A sentence if the places are so evenly spaced that lengths are told apart by nothing."""
    blind = blind_wavelengths(position, EVEN_WINDOW)
    if not blind:
        return None
    spacing = blind[0].wavelength_m
    if spacing < shortest:
        return None
    return (
        f"the places repeat every {spacing:.3g} m, so that a wave of one length reads like "
        "waves of others: read again at uneven places"
    )


def _directions(position: FloatArray, frequency: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two orthonormal vectors (f, n) that span sine and cosine once the mean is taken away."""
    angle = 2 * np.pi * frequency[:, None] * position
    c, s = np.cos(angle), np.sin(angle)
    c -= c.mean(axis=1, keepdims=True)
    s -= s.mean(axis=1, keepdims=True)
    # tau makes the two orthogonal, as in Lomb's form; then neither of them can vanish first.
    tau = 0.5 * np.arctan2(2 * np.sum(c * s, axis=1), np.sum(c * c, axis=1) - np.sum(s * s, axis=1))
    turn_c, turn_s = np.cos(tau)[:, None], np.sin(tau)[:, None]
    first, second = c * turn_c + s * turn_s, s * turn_c - c * turn_s
    return _unit(first), _unit(second)


def _unit(vectors: FloatArray) -> FloatArray:
    norm = np.sqrt(np.sum(vectors**2, axis=1, keepdims=True))
    # Below this only the rounding of the sines is left: the places all meet one phase.
    usable = norm > 1e-6 * np.sqrt(vectors.shape[1])
    return np.asarray(np.divide(vectors, norm, out=np.zeros_like(vectors), where=usable))


def _highest(position: FloatArray, values: FloatArray, frequency: FloatArray) -> FloatArray:
    """Highest power of each column of ``values`` (n, k) over all frequencies."""
    y = values - values.mean(axis=0)
    norm = np.sum(y**2, axis=0)
    highest = np.zeros(y.shape[1])
    block = max(1, AT_ONCE // y.shape[1])
    for begin in range(0, len(frequency), block):
        first, second = _directions(position, frequency[begin : begin + block])
        part = first @ y
        part *= part
        other = second @ y
        other *= other
        part += other
        np.maximum(highest, part.max(axis=0), out=highest)
    return np.asarray(highest / norm)


def _summit(position: FloatArray, x: FloatArray, f: float, step: float) -> tuple[float, float]:
    """Frequency and height of the peak within a step of ``f``."""
    height = 0.0
    for _ in range(4):
        tried = f + step * np.linspace(-1, 1, 17)
        tried = tried[tried > 0]
        power = floating_mean_power(position, x, tried)
        f, height, step = float(tried[np.argmax(power)]), float(power.max()), step / 8
    return f, height


def _aliases(
    position: FloatArray,
    x: FloatArray,
    frequency: FloatArray,
    power: FloatArray,
    f: float,
    height: float,
) -> tuple[float, ...]:
    """Other periods whose squares left over are not larger than chance makes them."""
    # n log(residual / residual of the best) <= chi-square, solved for the power.
    left_over = (1 - height) * np.exp(ALIAS_CHI2 / len(x))
    width = 1 / float(np.ptp(position))
    inner = np.flatnonzero(
        (power[1:-1] >= power[:-2]) & (power[1:-1] > power[2:]) & (power[1:-1] > 0)
    )
    tops = []
    step = float(frequency[1] - frequency[0])
    for i in (inner + 1).tolist():
        # A summit between two frequencies stands at most this much over the higher of them.
        if 1 - power[i] > left_over + 0.1 * height or abs(frequency[i] - f) < width:
            continue
        at, top = _summit(position, x, float(frequency[i]), step)
        if 1 - top <= left_over + 1e-9 and abs(at - f) >= width:
            tops.append((-round(top, 6), -1 / at))
    return tuple(-period for _, period in sorted(tops)[:MOST_ALIASES])


def _wave(position: FloatArray, x: FloatArray, f: float) -> FloatArray:
    """(sine, cosine) amplitudes of the least-squares wave of frequency ``f``."""
    angle = 2 * np.pi * f * position
    design = np.stack([np.ones_like(angle), np.sin(angle), np.cos(angle)], axis=1)
    fitted: FloatArray = np.linalg.lstsq(design, x, rcond=None)[0]
    return fitted[1:]
