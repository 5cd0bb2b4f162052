"""Blindness of places to waves, against waves that are really read, and circular statistics.

Trade facts (common practice, no source): a wave of 10 cm read every 10, 20, 50 or 200 cm shows
s = 0.000 where the truth is 0.021; one of 97 or 103 mm read every 200 mm looks like a drift.
"""

import numpy as np
import pytest
from scipy.stats import circvar

from lotqa.evidence.window import (
    blind_wavelengths,
    hidden_window,
    largest_window,
    spectral_window,
)
from tests.simulator import uneven_positions_m

LEVEL = 0.87
AMPLITUDE_MM = 0.03  # s = 0.0212


def read_mm(position_m, wavelength_m, phase=0.3):
    return AMPLITUDE_MM * np.sin(2 * np.pi * np.asarray(position_m) / wavelength_m + phase)


def lengths_mm(position_m):
    return [round(1000 * w.wavelength_m) for w in blind_wavelengths(position_m, LEVEL)]


def test_window_is_one_less_the_circular_variance():
    position = np.sort(np.random.default_rng(1).uniform(0, 25, 20))
    for length in (0.07, 0.3, 2.0):
        phases = 2 * np.pi * position / length
        assert spectral_window(position, 1 / length)[0] == pytest.approx(1 - circvar(phases))


@pytest.mark.parametrize(
    "position", [2.0 * np.arange(12), np.sort(np.random.default_rng(2).uniform(0, 9, 12))]
)
@pytest.mark.parametrize("length", [0.1, 0.37, 1.3])
def test_what_the_places_show_of_a_wave(position, length):
    """Mean square about the mean over all phases; an even grid of phases is exact."""
    phases = np.arange(64) * 2 * np.pi / 64
    seen = np.mean([read_mm(position, length, p).var() for p in phases])
    window = spectral_window(position, 1 / length)[0]
    assert seen == pytest.approx(AMPLITUDE_MM**2 / 2 * (1 - window**2), abs=1e-12)


@pytest.mark.parametrize("every_m", [0.1, 0.2, 0.5, 2.0])
def test_ten_centimetres_do_not_show_at_even_places(every_m):
    position = every_m * np.arange(20)
    assert read_mm(position, 0.1).std(ddof=1) < 1e-9
    assert 100 in lengths_mm(position)
    assert hidden_window(position)[0] == pytest.approx(1.0)
    jittered = position + np.random.default_rng(3).uniform(-0.05, 0.05, 20)
    assert read_mm(jittered, 0.1).std(ddof=1) == pytest.approx(0.021, abs=0.004)
    assert 100 not in lengths_mm(jittered)


def test_every_two_metres_hides_two_metres_over_every_whole_number():
    assert lengths_mm(2.0 * np.arange(20)) == [round(2000 / m) for m in range(1, 41)]
    assert lengths_mm(2.0 * np.arange(4)) == [round(2000 / m) for m in range(1, 41)]


@pytest.mark.parametrize("length_m", [0.097, 0.103])
def test_a_wave_nearly_hidden_is_read_as_a_drift(length_m):
    position = 0.2 * np.arange(20)
    slow_m = 1 / abs(1 / length_m - 10)
    assert slow_m > 3
    phase = 0.3 if length_m < 0.1 else np.pi - 0.3
    assert read_mm(position, length_m) == pytest.approx(read_mm(position, slow_m, phase), abs=1e-9)
    wave = next(w for w in blind_wavelengths(position, LEVEL) if abs(w.wavelength_m - 0.1) < 1e-6)
    assert wave.drift_from_m < length_m < wave.drift_to_m
    assert not wave.drift_from_m < 0.12 < wave.drift_to_m


def test_a_hand_that_misses_by_millimetres_still_hides_longer_waves():
    position = 2.0 * np.arange(20) + np.random.default_rng(4).normal(0, 0.005, 20)
    found = lengths_mm(position)
    assert {2000, 1000, 200, 100} <= set(found)
    assert 51 not in found
    assert hidden_window(position)[0] > 0.99


def test_uneven_places_on_whole_metres_are_not_uneven_enough():
    position = [1, 3, 4, 7, 11, 12, 13, 17, 18, 20]
    assert lengths_mm(position)[:3] == [1000, 500, 333]
    assert hidden_window(position)[0] == pytest.approx(1.0)
    assert hidden_window(0.3 * np.array(position))[0] == pytest.approx(1.0)


def test_uneven_places_hide_nothing():
    positions = uneven_positions_m(np.random.default_rng(5), 60, 20)
    assert (hidden_window(positions) < 0.8).all()
    assert not any(blind_wavelengths(p, LEVEL) for p in positions)


def test_the_quick_look_never_sees_more_than_the_full_one():
    rng = np.random.default_rng(6)
    for n in (12, 20):
        for position in uneven_positions_m(rng, 20, n, 10.0):
            # The full look misses the height of a peak by 1 %.
            assert hidden_window(position)[0] <= 1.01 * largest_window(position)


def test_few_places_are_judged_only_when_exactly_even():
    assert hidden_window([0.0, 2.0, 4.0, 6.0])[0] == pytest.approx(1.0)
    assert np.isnan(hidden_window([0.0, 0.73, 2.88, 5.11]))[0]
    assert np.isnan(hidden_window([0.0, 2.0]))[0]
    assert blind_wavelengths([0.0, 2.0], LEVEL) == []
    # What is named of few uneven places is still true of them.
    few = [0.07, 0.73, 2.88, 5.11]
    for wave in blind_wavelengths(few, LEVEL):
        seen = np.mean([read_mm(few, wave.wavelength_m, p).var() for p in np.arange(8) * np.pi / 4])
        assert np.sqrt(seen) < 0.05 * AMPLITUDE_MM


@pytest.mark.parametrize("grid_m", [0.05, 0.06, 0.25, 1.0, 3.0])
@pytest.mark.parametrize("seed", range(4))
def test_places_found_blind_always_have_a_wave_to_name(grid_m, seed):
    position = grid_m * np.sort(np.random.default_rng(seed).choice(60, size=12, replace=False))
    assert hidden_window(position)[0] == pytest.approx(1.0)
    waves = blind_wavelengths(position, LEVEL)
    assert any(w.wavelength_m == pytest.approx(grid_m, rel=1e-3) for w in waves)
    two_ends = np.repeat([0.0, 10.0], 6)
    assert 10_000 in lengths_mm(two_ends)


def test_unknown_positions_are_not_judged():
    rows = np.stack([2.0 * np.arange(12), 2.0 * np.arange(12)])
    rows[0, 4] = np.nan
    got = hidden_window(rows)
    assert np.isnan(got[0])
    assert got[1] == pytest.approx(1.0)
    assert blind_wavelengths(rows[0], LEVEL) == []
    assert blind_wavelengths(np.zeros(12), LEVEL) == []


def test_one_list_for_all_spools_is_as_each_alone():
    row = np.sort(np.random.default_rng(7).uniform(0, 25, 15)).round(2)
    alike = np.stack([row, row + 3.0, row])
    other = np.sort(np.random.default_rng(8).uniform(0, 25, 15)).round(2)
    mixed = hidden_window(np.vstack([alike, other]))
    assert hidden_window(alike) == pytest.approx(mixed[:3])
    assert mixed[3] == pytest.approx(hidden_window(other)[0])


def test_chance_of_a_high_window_is_rayleighs():
    """P(W**2 > w) is close to exp(-n w) for phases at random; within 1/n of itself at w n = 2."""
    n, k = 20, 20_000
    phases = np.random.default_rng(9).uniform(0, 1, (k, n))
    window = np.array([spectral_window(p, 1.0)[0] for p in phases])
    expected = np.exp(-2.0)
    error = 4 * np.sqrt(expected / k) + expected / n
    assert np.mean(window**2 > 2 / n) == pytest.approx(expected, abs=error)
