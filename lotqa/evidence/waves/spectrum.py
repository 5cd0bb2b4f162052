"""Waves in an in-line log: length, amplitude, share of the variance, chance of a false alarm.

    spectrum = Spectrum();  spectrum.add(chunk) ...;  waves = spectrum.finish()

The mean of the axes goes on an even grid, through a pyramid of averaged spectra, and each bin is
tested against a smooth continuum (see the neighbours in this folder).  With p the chance of one
bin, n bins tested, the chance that noise shows such a bin anywhere is at most [1]_

    significance = 1 - (1 - p)**n

A wave is a local maximum with significance <= ``false_alarm`` that also stands MIN_RATIO times
over the continuum.  Its amplitude is sqrt(2 x excess over the continuum under the peak), which no
place between two bins and no slow wandering of its length makes smaller; its frequency is the
centre of that excess.  The rate holds for noise with a smooth spectrum; simulated: tests.

.. [1] Sidak, J. Amer. Statist. Assoc. 62 (1967) 626; for periodograms: Scargle, Astrophys. J. 263
   (1982) 835, eq. (14), and Percival & Walden (1993), 10.9, on tests of unknown frequency.
"""

from dataclasses import dataclass, field

import numpy as np

from lotqa.evidence.waves.continuum import Continuum, fit_continuum, tail_probability
from lotqa.evidence.waves.grid import Grid, Piece
from lotqa.evidence.waves.peaks import LOBE, MIN_RATIO, Peak, find_peaks, upper_ratio
from lotqa.evidence.waves.pyramid import LEAST_CYCLES, LEAST_POINTS, LevelSpectrum, Pyramid
from lotqa.model import FloatArray, TraceChunk

FALSE_ALARM = 0.01
LEAST_SHARE = 1e-6  # of the variance; filters and window shed less of a wave elsewhere
SKIRT_REACH = 0.35  # of the length: so near a higher wave ...
SKIRT_SHARE = 0.3  # ... a wave lower than this is the higher one wandering
HARMONIC_SHARE = 0.5  # a harmonic weaker than this belongs to the shape of the longer wave
FIRST_HARMONICS = 4  # orders that show a shape; beyond them one is met by chance ...
HARMONIC_SLACK = 0.005  # of the length, at least
LAST_HARMONIC = 40  # ... unless the shape is shown


@dataclass(frozen=True, slots=True)
class Wave:
    """One wave along the filament."""

    period_m: float
    u_period_m: float  # standard uncertainty; the log's own error of length not included
    amplitude_mm: float  # half of peak to peak
    share_of_variance: float  # of all rows
    significance: float  # chance that noise alone shows such a wave anywhere in this spectrum
    harmonics: tuple[int, ...] = ()  # weaker waves of 1/2, 1/3 ... of this length, not listed apart


@dataclass(frozen=True, slots=True, eq=False)
class WaveEvidence:
    """Waves, strongest first, and the spectrum they were found in; arrays (bins,)."""

    waves: tuple[Wave, ...]
    frequency_per_m: FloatArray  # rising
    density: FloatArray  # mm**2 per (cycle/m)
    continuum: FloatArray
    limit: FloatArray  # density that a wave of one bin must pass
    shortest_m: float  # periods looked at; NaN if none
    longest_m: float
    variance_mm2: float
    why_not: str | None = None  # in words, if nothing could be looked at


@dataclass(slots=True, eq=False)
class Spectrum:
    """Streaming spectral estimate; memory does not grow with the trace, save by its logarithm."""

    _grid: Grid = field(default_factory=Grid)
    _pyramid: Pyramid = field(default_factory=Pyramid)
    _n: int = 0
    _mean: float = 0.0
    _squares: float = 0.0

    def add(self, chunk: TraceChunk) -> None:
        """Take the next rows."""
        if len(chunk) == 0:
            return
        axes = chunk.diameter_mm
        x = axes[:, 0].copy() if axes.shape[1] == 1 else _mean_of_axes(axes)
        self._moments(x)
        self._take(self._grid.add(chunk.length_m, x, chunk.new_section))

    def finish(self, false_alarm: float = FALSE_ALARM) -> WaveEvidence:
        """Waves of the whole trace, with ``false_alarm`` the chance of any false one."""
        self._take(self._grid.finish())
        variance = self._squares / self._n if self._n else np.nan
        step = self._grid.step_m
        spectra = self._pyramid.spectra(step) if step is not None else []
        bins = [s for s in spectra if s.tested.stop - s.tested.start >= LEAST_CYCLES]
        if not bins:
            return _nothing(variance, f"a wave needs {LEAST_POINTS} steps of length, without a gap")
        # A bin with no power at all, as of a constant, has no logarithm.
        if not variance > 0 or any(s.density[s.fitted].min() <= 0 for s in bins):
            return _nothing(variance, "every row reads the same")
        return _judge(bins, variance, false_alarm)

    def _take(self, pieces: list[Piece]) -> None:
        for piece in pieces:
            self._pyramid.add(piece.values)
            if piece.ends:
                self._pyramid.end_section()

    def _moments(self, x: FloatArray) -> None:
        """Mean and squares joined chunk by chunk (Chan, Golub & LeVeque 1983, eq. 1.5)."""
        n, mean = len(x), float(x.mean())
        squares = float(np.var(x)) * n
        total = self._n + n
        shift = mean - self._mean
        self._squares += squares + shift**2 * self._n * n / total
        self._mean += shift * n / total
        self._n = total


def _mean_of_axes(axes: FloatArray) -> FloatArray:
    total = axes[:, 0] + axes[:, 1]
    for i in range(2, axes.shape[1]):
        total += axes[:, i]
    return np.asarray(total / axes.shape[1])


def _nothing(variance: float, why_not: str) -> WaveEvidence:
    none = np.empty(0)
    return WaveEvidence((), none, none, none, none, np.nan, np.nan, variance, why_not)


def _judge(spectra: list[LevelSpectrum], variance: float, false_alarm: float) -> WaveEvidence:
    """Fit the continuum to the tested bins of all levels, then test them."""
    spectra = spectra[::-1]  # from the lowest frequencies
    frequency = np.concatenate([s.frequency_per_m[s.fitted] for s in spectra])
    density = np.concatenate([s.density[s.fitted] for s in spectra])
    df = np.concatenate([np.full(s.fitted.stop - s.fitted.start, s.df) for s in spectra])
    continuum = fit_continuum(frequency, density, df)
    n = sum(s.tested.stop - s.tested.start for s in spectra)
    p_one = -np.expm1(np.log1p(-false_alarm) / n)
    peaks: list[Peak] = []
    for spectrum in spectra:
        around = _everywhere(spectrum, frequency, continuum)
        p = tail_probability(spectrum.density, np.full(len(around.df), spectrum.df), around)
        peaks += find_peaks(spectrum, around, p, p_one)
    tested = slice(len(frequency) - n, None)
    waves = [_wave(peak, n, variance) for peak in _apart(peaks)]
    waves = _without_skirts(sorted(waves, key=lambda wave: -wave.amplitude_mm))
    return WaveEvidence(
        tuple(_with_harmonics(waves)),
        frequency[tested],
        density[tested],
        continuum.density[tested],
        _limit(df, continuum, p_one)[tested],
        float(1 / frequency[-1]),
        float(1 / frequency[tested][0]),
        variance,
    )


def _everywhere(spectrum: LevelSpectrum, frequency: FloatArray, continuum: Continuum) -> Continuum:
    """The continuum at all bins of a level, those beyond its band too, where peaks reach over."""
    where = np.log(np.maximum(spectrum.frequency_per_m, frequency[0]))
    x = np.log(frequency)
    log_density = np.interp(where, x, np.log(continuum.density))
    return Continuum(np.exp(log_density), np.interp(where, x, continuum.df))


def _limit(df: FloatArray, continuum: Continuum, p_one: float) -> FloatArray:
    ratio = np.maximum(upper_ratio(df, continuum.df, p_one), MIN_RATIO)
    return np.asarray(continuum.density * ratio)


def _apart(peaks: list[Peak]) -> list[Peak]:
    """One of two levels' views of a wave where their bands meet: that with the finer bins."""
    kept: list[Peak] = []
    for peak in sorted(peaks, key=lambda peak: peak.width_per_m):
        seen = any(
            other.width_per_m < peak.width_per_m
            and abs(peak.frequency_per_m - other.frequency_per_m) <= LOBE * peak.width_per_m
            for other in kept
        )
        if not seen:
            kept.append(peak)
    return kept


def _wave(peak: Peak, n_bins: int, variance: float) -> Wave:
    frequency = peak.frequency_per_m
    return Wave(
        period_m=1 / frequency,
        u_period_m=peak.u_frequency_per_m / frequency**2,
        amplitude_mm=float(np.sqrt(2 * peak.variance_mm2)),
        share_of_variance=min(1.0, peak.variance_mm2 / variance),
        significance=float(-np.expm1(n_bins * np.log1p(-min(peak.p, 1 - 1e-16)))),
    )


def _without_skirts(waves: list[Wave]) -> list[Wave]:
    """Leave out what a wave of wandering length sheds beside itself; strongest first."""
    kept: list[Wave] = []
    for wave in waves:
        if wave.share_of_variance >= LEAST_SHARE and not any(
            abs(np.log(wave.period_m / other.period_m)) < SKIRT_REACH
            and wave.amplitude_mm < SKIRT_SHARE * other.amplitude_mm
            for other in kept
        ):
            kept.append(wave)
    return kept


def _with_harmonics(waves: list[Wave]) -> list[Wave]:
    """Merge the weaker waves of 1/2, 1/3 ... of a wave's length into it; strongest first."""
    taken: set[int] = set()
    merged = []
    for i, wave in enumerate(waves):
        if i in taken:
            continue
        orders: list[int] = []
        for last in (FIRST_HARMONICS, LAST_HARMONIC):
            if last > FIRST_HARMONICS and not orders:
                break
            for j in range(i + 1, len(waves)):
                order = _order(wave, waves[j])
                if j not in taken and 2 <= order <= last:
                    taken.add(j)
                    orders.append(order)
        merged.append(
            Wave(
                wave.period_m,
                wave.u_period_m,
                wave.amplitude_mm,
                wave.share_of_variance,
                wave.significance,
                tuple(sorted(orders)),
            )
        )
    return merged


def _order(wave: Wave, other: Wave) -> int:
    """Which harmonic of ``wave`` the weaker ``other`` may be; 0 for none."""
    order = round(wave.period_m / other.period_m)
    if order < 2 or other.amplitude_mm > HARMONIC_SHARE * wave.amplitude_mm:
        return 0
    slack = 3 * float(np.hypot(other.u_period_m, wave.u_period_m / order))
    slack = max(slack, HARMONIC_SLACK * other.period_m)
    return order if abs(wave.period_m / order - other.period_m) <= slack else 0
