"""The streaming spectrum against scipy, known waves, and noise that has none."""

import tracemalloc

import numpy as np
import pytest
from scipy import signal
from scipy.stats import binom

from lotqa.evidence.waves.pyramid import HALF_LENGTHS, HOP, SEGMENT, Halver, Pyramid, periodograms
from lotqa.evidence.waves.spectrum import Spectrum
from lotqa.model import TraceChunk
from tests.evidence.waves.false_alarms import PHIS, detected, false_alarm_counts
from tests.evidence.waves.traces import STEP_M, look, red_noise


def metres(n, step_m=STEP_M):
    return step_m * np.arange(n)


def sine(length_m, period_m, amplitude_mm, phase=0.0):
    return amplitude_mm * np.sin(2 * np.pi * length_m / period_m + phase)


def test_averaged_level_is_welchs_estimate():
    """scipy.signal.welch with the same window, segments and straight lines taken away."""
    x = red_noise(np.random.default_rng(1), 20_000, 0.9, 0.005)
    pyramid = Pyramid()
    for part in np.array_split(x, 7):
        pyramid.add(part)
    pyramid.end_section()
    got = pyramid.spectra(STEP_M)[0]
    # scipy's Hann for n points is that of n + 1 without the last; ours is centred on the segment.
    window = np.sin(np.pi * (np.arange(SEGMENT) + 0.5) / SEGMENT) ** 2
    f, want = signal.welch(
        x, fs=1 / STEP_M, window=window, nperseg=SEGMENT, noverlap=HOP, detrend="linear"
    )
    assert got.frequency_per_m == pytest.approx(f)
    inner = slice(1, -1)  # scipy halves the two end bins, which are not used here
    assert got.density[inner] == pytest.approx(want[inner], rel=1e-9)


def test_a_short_trace_is_one_periodogram():
    x = red_noise(np.random.default_rng(2), 700, 0.5, 0.005)
    window = np.sin(np.pi * (np.arange(700) + 0.5) / 700) ** 2
    f, want = signal.periodogram(x, fs=1 / STEP_M, window=window, detrend="linear")
    got = 2 * STEP_M * periodograms(x[None, :])
    assert len(f) == len(got)
    assert got[1:-1] == pytest.approx(want[1:-1], rel=1e-9)


def test_the_halving_filters_pass_and_stop_as_designed():
    """Their response by scipy.signal.freqz: 80 dB, as asked of the Kaiser window, less one."""
    for half, stop in ((HALF_LENGTHS[0], 0.5 - 3 / 32), (HALF_LENGTHS[1], 0.5 - 3 / 16)):
        halver = Halver(half)
        impulse = np.zeros(201)
        impulse[100] = 1.0
        # Both phases of every second point, interlaced, are the whole response.
        odd, even = halver.add(impulse), Halver(half).add(impulse[1:])
        n = min(len(odd), len(even))
        taps = np.stack([odd[:n], even[:n]], axis=1).ravel()
        w, h = signal.freqz(taps, worN=4096, fs=1.0)
        assert np.abs(h[w <= 0.5 - stop]) == pytest.approx(1.0, abs=1.2e-4)
        assert np.abs(h[w >= stop]).max() < 10 ** (-79 / 20)


def test_levels_continue_each_other():
    """White noise has one density, sigma**2 times twice the step, at every level."""
    x = np.random.default_rng(3).normal(1.75, 0.005, 400_000)
    pyramid = Pyramid()
    pyramid.add(x)
    pyramid.end_section()
    spectra = pyramid.spectra(STEP_M)
    assert len(spectra) >= 4
    for s in spectra[:4]:
        band = s.density[s.tested]
        # Mean of m bins, each with df degrees of freedom, neighbours under Hann repeating 35/18.
        slack = 4 * np.sqrt(35 / 18 * 2 / s.df / len(band))
        assert band.mean() == pytest.approx(2 * STEP_M * 0.005**2, rel=slack)


@pytest.mark.parametrize("period_m", [0.02, 0.0613, 0.107, 0.12, 0.36, 1.7, 6.3])
@pytest.mark.parametrize("sd_mm", [1e-5, 0.0005])
def test_amplitude_and_period_of_a_wave_whatever_its_place_between_bins(period_m, sd_mm):
    length = metres(100_000)
    x = np.random.default_rng(4).normal(1.75, sd_mm, len(length)) + sine(length, period_m, 0.01, 1)
    told = look(length, x)
    assert len(told.waves) == 1
    wave = told.waves[0]
    assert wave.amplitude_mm == pytest.approx(0.01, rel=0.005)
    assert abs(wave.period_m - period_m) < 4 * wave.u_period_m + 1e-6 * period_m
    assert wave.u_period_m < 0.02 * period_m
    assert wave.share_of_variance == pytest.approx(5e-5 / (5e-5 + sd_mm**2), rel=0.01)
    assert wave.significance < 1e-3


def test_several_waves_strongest_first():
    length = metres(134_000)
    x = red_noise(np.random.default_rng(5), len(length), 0.95, 0.004)
    given = {0.36: 0.005, 0.20: 0.004, 0.10: 0.003, 0.13: 0.002}
    for i, (period, amplitude) in enumerate(given.items()):
        x = x + sine(length, period, amplitude, i)
    waves = look(length, x).waves
    assert [round(w.period_m, 3) for w in waves] == list(given)
    assert [w.amplitude_mm for w in waves] == pytest.approx(list(given.values()), rel=0.15)


def test_a_bent_wave_is_one_wave_with_its_harmonics():
    length = metres(134_000)
    noise = red_noise(np.random.default_rng(6), len(length), 0.9, 0.002)
    square = 0.004 * np.sign(np.sin(2 * np.pi * length / 0.2))
    waves = look(length, noise + square).waves
    assert len(waves) == 1
    # Fourier: a square of height a has the waves 4 a / (pi m) for odd m.
    assert waves[0].amplitude_mm == pytest.approx(0.004 * 4 / np.pi, rel=0.02)
    assert waves[0].harmonics[:4] == (3, 5, 7, 9)
    assert all(order % 2 for order in waves[0].harmonics)


def test_a_second_wave_of_half_the_length_and_like_height_is_its_own():
    length = metres(134_000)
    noise = red_noise(np.random.default_rng(7), len(length), 0.9, 0.002)
    x = noise + sine(length, 0.2, 0.004) + sine(length, 0.1, 0.003)
    assert [round(w.period_m, 3) for w in look(length, x).waves] == [0.2, 0.1]


@pytest.mark.parametrize("wander", [0.02, 0.05])
def test_a_wave_of_wandering_length_is_one_wave(wander):
    """Its phase walks at random; the variance of the wave stays, spread over a wider peak."""
    length = metres(134_000)
    rng = np.random.default_rng(8)
    x = red_noise(rng, len(length), 0.9, 0.004)
    phase = np.cumsum(rng.normal(0, wander, len(length)))
    told = look(length, x + 0.01 * np.sin(2 * np.pi * length / 0.12 + phase)).waves
    assert len(told) == 1
    assert told[0].period_m == pytest.approx(0.12, rel=0.01)
    assert told[0].amplitude_mm == pytest.approx(0.01, rel=0.06)


def test_false_alarms_stay_at_their_nominal_rate():
    """1000 traces of pure noise; the longer study is tests.evidence.waves.false_alarms."""
    runs, levels = 200, (0.01, 0.1)
    counts = sum(false_alarm_counts(600, runs, phi, 9, levels) for phi in PHIS)
    total = runs * len(PHIS)
    # Binomial limits that a true rate of the nominal passes in one of a thousand studies a side.
    assert counts[0] <= binom.ppf(0.999, total, 0.01)
    assert counts[1] <= binom.ppf(0.999, total, 0.1)
    assert counts[1] >= binom.ppf(0.001, total, 0.05)  # nor is it a test that never speaks


@pytest.mark.parametrize("period_m", [0.10, 0.20, 0.36])
@pytest.mark.parametrize("phi", [0.9, 0.99])
def test_waves_of_half_a_standard_deviation_are_found_in_a_spool(period_m, phi):
    n, ratio = detected(134_000, 5, phi, period_m, seed=10)
    assert n == 5
    assert ratio.mean() == pytest.approx(1.0, abs=0.06)


@pytest.mark.parametrize("upset", ["lumps", "splices", "drift", "step 0.01", "uneven speed"])
def test_what_is_no_wave_is_not_called_one(upset):
    rng = np.random.default_rng(11)
    length = metres(134_000)
    for _ in range(3):
        x = red_noise(rng, len(length), 0.95, 0.004)
        if upset == "lumps":
            for row in rng.integers(0, len(x) - 4, 40):
                x[row : row + 4] += 0.2
        elif upset == "splices":
            x[40_000:] += 0.05
            x[70_000:] -= 0.04
        elif upset == "drift":
            x += 0.06 * length / length[-1]
        elif upset == "step 0.01":
            x = np.round(x, 2)
        else:
            length = np.cumsum(STEP_M * (1 + 0.5 * np.sin(np.arange(len(x)) / 3000)))
        assert look(length, x).waves == ()


def test_chunks_may_be_cut_anywhere():
    rng = np.random.default_rng(12)
    length = np.sort(metres(30_000) + rng.uniform(0, 0.002, 30_000))
    x = red_noise(rng, (2, 30_000), 0.9, 0.004).T + sine(length, 0.2, 0.004)[:, None]
    whole, cut = look(length, x), look(length, x, size=300)
    assert cut.waves[0].period_m == pytest.approx(whole.waves[0].period_m, rel=1e-3)
    even = metres(30_000)
    whole, cut = look(even, x), look(even, x, size=777)
    assert cut.density == pytest.approx(whole.density, rel=1e-9)


def test_dense_rows_are_averaged_on_the_grid():
    rng = np.random.default_rng(13)
    length = metres(400_000, 1e-4)
    x = rng.normal(1.75, 0.004, len(length)) + sine(length, 0.1, 0.002)
    for size in (250_000, 999):
        (wave,) = look(length, x, size=size).waves
        assert wave.period_m == pytest.approx(0.1, rel=2e-3)
        assert wave.amplitude_mm == pytest.approx(0.002, rel=0.02)


def test_nothing_is_read_across_a_gap_or_a_restart():
    """Where the log jumps a phase at each restart, a wave keeps its height within the sections."""
    rng = np.random.default_rng(14)
    length = metres(120_000)
    x = red_noise(rng, len(length), 0.9, 0.003)
    phase = np.repeat(rng.uniform(0, 2 * np.pi, 10), 12_000)
    x += 0.004 * np.sin(2 * np.pi * length / 0.2 + phase)
    restarts = tuple(range(12_000, 120_000, 12_000))
    assert look(length, x, sections=restarts).waves[0].amplitude_mm == pytest.approx(0.004, rel=0.1)
    jumped = length + np.repeat(np.arange(10.0), 12_000)  # a metre is missing each time
    assert look(jumped, x).longest_m == pytest.approx(12_000 * STEP_M / 10, rel=0.2)


def test_repeated_lengths_and_a_stuck_log():
    x = red_noise(np.random.default_rng(15), 40_000, 0.9, 0.003)
    length = metres(40_000)
    x += sine(length, 0.2, 0.004)
    told = look(np.repeat(length, 3), np.repeat(x, 3)).waves
    assert [round(w.period_m, 3) for w in told] == [0.2]
    assert look(np.zeros(500), x[:500]).why_not is not None


@pytest.mark.parametrize(
    ("n", "x", "said"),
    [(0, 1.75, "64 steps"), (40, 1.75, "64 steps"), (5_000, 1.75, "every row reads the same")],
)
def test_what_cannot_be_looked_at_is_said(n, x, said):
    told = look(metres(n), np.full(n, x))
    assert told.waves == ()
    assert said in told.why_not


def test_the_limit_of_the_plot_is_the_one_that_decides():
    length = metres(60_000)
    x = red_noise(np.random.default_rng(16), len(length), 0.9, 0.004) + sine(length, 0.2, 0.003)
    told = look(length, x)
    over = told.frequency_per_m[told.density > told.limit]
    assert len(over) > 0
    assert np.all(np.abs(over / 5 - 1) < 0.1)


def test_memory_does_not_grow_with_the_trace():
    rng = np.random.default_rng(17)
    spectrum, peaks = Spectrum(), []
    tracemalloc.start()
    for i in range(24):
        rows = i * 50_000 + np.arange(50_000)
        spectrum.add(TraceChunk(STEP_M * rows, rng.normal(1.75, 0.01, (50_000, 2)), 0))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.reset_peak()
    tracemalloc.stop()
    assert max(peaks[12:]) < 1.1 * max(peaks[2:12])
    assert peaks[-1] < 40e6


def test_a_log_that_stands_still_at_first_is_read_from_where_it_moves():
    x = red_noise(np.random.default_rng(18), 40_000, 0.9, 0.003) + sine(metres(40_000), 0.2, 0.004)
    length = np.concatenate([np.zeros(5_000), metres(40_000)])
    told = look(length, np.concatenate([np.full(5_000, 1.75), x]), size=1_000).waves
    assert [round(w.period_m, 3) for w in told] == [0.2]
