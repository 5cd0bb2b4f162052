"""Averaged spectra over six octaves and more at bounded memory: a pyramid of decimated levels.

Each level halves the rate twice by half-band filters and averages the periodograms of segments of
SEGMENT points under a Hann window, half overlapping [1]_; it answers for the two octaves between
BAND_LOW and BAND_HIGH cycles a point.  The level below the last that filled WHOLE points is read
as one single segment over its longest section, down to LEAST_CYCLES waves in that section.

    density = 2 step sum |X|**2 / (n_segments sum w**2)                 mm**2 per (cycle/m)
    degrees of freedom = 2 K / (1 + 2 c**2 (K - 1) / K),  c = 1/6 for Hann at half overlap [1]_

A density of a wave of amplitude A integrates to A**2 / 2 whatever its place between two bins.

.. [1] Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70; c: Harris, Proc. IEEE 66 (1978) 51,
   table 1 (Hann, overlap correlation 16.7 % at 50 %).
.. [2] Kaiser window: Oppenheim & Schafer, Discrete-Time Signal Processing (1989), 7.4.3.
"""

from dataclasses import dataclass, field
from functools import cache

import numpy as np

from lotqa.model import FloatArray

SEGMENT = 512
HOP = SEGMENT // 2
OVERLAP_CORRELATION = 1 / 6  # [1]_
WHOLE = 1024  # points from which a level is averaged; below, it is read as one piece
LEAST_POINTS = 64
LEAST_CYCLES = 10  # longest period: a tenth of the length
STRAIGHT_CYCLES = 3  # fewer waves in a piece are partly its straight line, which is taken away
BAND_LOW, BAND_HIGH = 3 / 32, 3 / 8  # cycles a point; the next level starts where this one stops
STOPBAND_DB = 80.0
HALF_LENGTHS = (12, 24)  # of the two filters; transition bands 0.31 and 0.125 cycles a point
SEGMENTS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class LevelSpectrum:
    """Spectrum of one level, all bins; those in ``tested`` it answers for."""

    frequency_per_m: FloatArray
    density: FloatArray
    df: float  # degrees of freedom of one bin
    tested: slice
    fitted: slice  # those that the continuum is fitted to: some more at the low end

    @property
    def width_per_m(self) -> float:
        """Distance of two bins."""
        return float(self.frequency_per_m[1] - self.frequency_per_m[0])


@cache
def half_band(half: int) -> FloatArray:
    """Taps at odd distances below ``half`` of a half-band low-pass; its middle is 1/2."""
    beta = 0.1102 * (STOPBAND_DB - 8.7)  # [2]_
    window = np.kaiser(2 * half + 1, beta)[half:]
    odd = np.arange(1, half, 2)
    taps: FloatArray = 0.5 * np.sinc(odd / 2) * window[odd]
    taps *= 0.25 / taps.sum()
    taps.flags.writeable = False  # shared by all levels
    return taps  # a constant passes unchanged


@dataclass(slots=True, eq=False)
class Halver:
    """Low-pass and every second point, as a stream; only points with full support come out."""

    half: int
    _taps: FloatArray = field(init=False)
    _tail: FloatArray = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        self._taps = half_band(self.half)

    def add(self, x: FloatArray) -> FloatArray:
        x = np.concatenate([self._tail, x])
        reach = 2 * len(self._taps) - 1
        n = (len(x) - 2 * reach - 1) // 2 + 1
        if n <= 0:
            self._tail = x
            return np.empty(0)
        # The middle is x[2 m + reach] with reach odd: neighbours at odd distances are even points.
        even, odd = np.ascontiguousarray(x[::2]), x[1::2]
        middle = (reach - 1) // 2
        y: FloatArray = 0.5 * odd[middle : middle + n]
        for i, tap in enumerate(self._taps):
            left, right = middle - i, middle + 1 + i
            y += tap * (even[left : left + n] + even[right : right + n])
        self._tail = x[2 * n :]
        return y

    def restart(self) -> None:
        self._tail = np.empty(0)


@dataclass(slots=True, eq=False)
class Level:
    """One level of the pyramid."""

    power: FloatArray = field(default_factory=lambda: np.zeros(HOP + 1))
    n_segments: int = 0
    ever_full: bool = False
    longest: FloatArray = field(default_factory=lambda: np.empty(0))
    _young: list[FloatArray] = field(default_factory=list)  # this section while still short
    _n_section: int = 0
    _tail: FloatArray = field(default_factory=lambda: np.empty(0))
    _halvers: tuple[Halver, Halver] = field(
        default_factory=lambda: (Halver(HALF_LENGTHS[0]), Halver(HALF_LENGTHS[1]))
    )

    def add(self, x: FloatArray) -> FloatArray:
        """Take points of this level; returns those for the next."""
        self._n_section += len(x)
        if self._n_section < WHOLE:
            self._young.append(x)
        else:
            self.ever_full = True
            self._young.clear()
        joined = np.concatenate([self._tail, x])
        n = max(0, (len(joined) - SEGMENT) // HOP + 1)
        if n:
            views = np.lib.stride_tricks.sliding_window_view(joined, SEGMENT)[::HOP]
            for begin in range(0, n, SEGMENTS_AT_ONCE):
                self.power += periodograms(views[begin : begin + SEGMENTS_AT_ONCE])
            self.n_segments += n
        self._tail = joined[n * HOP :]
        return self._halvers[1].add(self._halvers[0].add(x))

    def end_section(self) -> None:
        if self._n_section < WHOLE and self._n_section > len(self.longest):
            self.longest = np.concatenate(self._young)
        self._young.clear()
        self._n_section, self._tail = 0, np.empty(0)
        for halver in self._halvers:
            halver.restart()


@dataclass(slots=True, eq=False)
class Pyramid:
    """Levels that grow as the trace does."""

    levels: list[Level] = field(default_factory=lambda: [Level()])

    def add(self, x: FloatArray) -> None:
        """Take consecutive points of the finest grid."""
        i = 0
        while len(x):
            if i == len(self.levels):
                self.levels.append(Level())
            x = self.levels[i].add(x)
            i += 1

    def end_section(self) -> None:
        for level in self.levels:
            level.end_section()

    def spectra(self, step_m: float) -> list[LevelSpectrum]:
        """Spectra from the finest level to the coarsest; empty if the trace is too short."""
        found = []
        for i, level in enumerate(self.levels):
            step = step_m * 4**i
            if level.ever_full:
                found.append(_averaged(level, step))
                continue
            if len(level.longest) >= LEAST_POINTS:
                found.append(_single(level.longest, step))
            break
        return found


def periodograms(segments: FloatArray) -> FloatArray:
    """Sum over segments (k, n) of |X|**2 / sum w**2, each free of its straight line."""
    n = segments.shape[-1]
    window = np.sin(np.pi * (np.arange(n) + 0.5) / n) ** 2  # Hann
    centred = np.arange(n) - (n - 1) / 2
    line = np.stack([np.full(n, n**-0.5), centred / np.sqrt(np.sum(centred**2))])
    flat = segments - (segments @ line.T) @ line
    transform = np.fft.rfft(flat * window, axis=-1)
    total: FloatArray = np.sum(transform.real**2 + transform.imag**2, axis=0)
    return np.asarray(total / np.sum(window**2))


def _averaged(level: Level, step_m: float) -> LevelSpectrum:
    k = level.n_segments
    df = 2 * k / (1 + 2 * OVERLAP_CORRELATION**2 * (k - 1) / k)
    band = slice(int(BAND_LOW * SEGMENT), int(BAND_HIGH * SEGMENT))
    return LevelSpectrum(
        np.arange(HOP + 1) / (SEGMENT * step_m),
        2 * step_m * level.power / k,
        df,
        band,
        band,
    )


def _single(x: FloatArray, step_m: float) -> LevelSpectrum:
    n = len(x)
    return LevelSpectrum(
        np.arange(n // 2 + 1) / (n * step_m),
        2 * step_m * periodograms(x[None, :]),
        2.0,
        slice(LEAST_CYCLES, int(BAND_HIGH * n)),
        slice(STRAIGHT_CYCLES, int(BAND_HIGH * n)),
    )
