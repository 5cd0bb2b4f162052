"""Few places at uneven positions: scipy's Lomb-Scargle, known waves, shuffled noise."""

import numpy as np
import pytest
from scipy.signal import lombscargle
from scipy.stats import binom

from lotqa.evidence.waves.uneven import (
    LEAST_PLACES,
    floating_mean_power,
    uneven_wave,
    wave_frequencies,
)


def places(rng, n, stretch_m=5.0):
    return np.sort(rng.uniform(0, stretch_m, n))


def test_power_is_that_of_scipy():
    rng = np.random.default_rng(1)
    t = places(rng, 25)
    x = rng.normal(1.75, 0.01, 25)
    f = wave_frequencies(t)
    want = lombscargle(t, x, 2 * np.pi * f, normalize=True, floating_mean=True)
    assert floating_mean_power(t, x, f) == pytest.approx(want, abs=1e-8)


def test_power_is_what_least_squares_takes_away():
    """Zechmeister & Kuerster 2009, eq. (4): the drop of chi-square, here by numpy.linalg."""
    rng = np.random.default_rng(2)
    t, x = places(rng, 14), rng.normal(1.75, 0.01, 14)
    for f in (0.7, 3.3, 11.0):
        angle = 2 * np.pi * f * t
        design = np.stack([np.ones(14), np.cos(angle), np.sin(angle)], axis=1)
        left = np.linalg.lstsq(design, x, rcond=None)[1][0]
        want = 1 - left / np.sum((x - x.mean()) ** 2)
        assert floating_mean_power(t, x, [f])[0] == pytest.approx(want, rel=1e-9)


def test_many_columns_at_once():
    rng = np.random.default_rng(3)
    t, x = places(rng, 20), rng.normal(1.75, 0.01, (20, 3))
    f = wave_frequencies(t)
    got = floating_mean_power(t, x, f)
    for j in range(3):
        assert got[:, j] == pytest.approx(floating_mean_power(t, x[:, j], f))


def test_a_wave_is_found_with_its_length_and_height():
    rng = np.random.default_rng(4)
    t = places(rng, 30)
    x = 1.75 + 0.014 * np.sin(2 * np.pi * t / 0.2 + 1) + rng.normal(0, 0.003, 30)
    told = uneven_wave(t, x, seed=1)
    assert told.found
    assert told.cannot is None
    assert told.period_m == pytest.approx(0.2, rel=0.005)
    assert told.amplitude_mm == pytest.approx(0.014, rel=0.2)
    assert told.significance == pytest.approx(1 / 2000)  # no shuffle of 1999 comes near


@pytest.mark.parametrize("draw", ["normal", "uniform", "exponential"])
def test_false_alarms_come_at_their_rate_whatever_the_distribution(draw):
    """Of 150 spools of pure scatter, by the binomial: 5 % and 1 %, one study of a thousand out."""
    rng = np.random.default_rng(5)
    p = []
    for i in range(150):
        t = places(rng, 15, 2.0)
        x = getattr(rng, draw)(size=15)
        p.append(uneven_wave(t, x, seed=i, permutations=199, shortest_m=0.1).significance)
    for level in (0.01, 0.05, 0.5):
        hits = int(np.sum(np.array(p) <= level))
        assert hits <= binom.ppf(0.999, 150, level)
        assert hits >= binom.ppf(0.001, 150, level)


def test_same_seed_same_answer():
    rng = np.random.default_rng(6)
    t, x = places(rng, 15), rng.normal(size=15)
    once, again = (uneven_wave(t, x, seed=7, permutations=99) for _ in range(2))
    assert once == again


def test_evenly_spaced_places_list_the_aliases():
    """At a spacing D the frequencies f, 1/D - f, 1/D + f ... read alike (sampling theorem)."""
    t = 0.5 * np.arange(24)
    x = 1.75 + 0.01 * np.sin(2 * np.pi * t / 0.36)
    told = uneven_wave(t, x, seed=1, permutations=99)
    assert "every 0.5 m" in told.cannot
    possible = sorted([told.period_m, *told.aliases_m])
    fold = 1 / 0.36
    for f in (fold, abs(fold - 2), fold + 2, 4 - fold, 6 - fold):
        assert min(abs(p * f - 1) for p in possible) < 0.02


def test_uneven_places_have_no_such_aliases():
    rng = np.random.default_rng(8)
    t = places(rng, 40)
    x = 1.75 + 0.01 * np.sin(2 * np.pi * t / 0.36) + rng.normal(0, 0.001, 40)
    assert uneven_wave(t, x, seed=1, permutations=99).aliases_m == ()


@pytest.mark.parametrize(
    ("t", "x", "said"),
    [
        (np.arange(11.0) ** 1.1, np.arange(11.0), "11 places do not carry a wave"),
        (np.full(20, np.nan), np.arange(20.0), "positions of some places are not known"),
        (np.arange(20.0) ** 1.1, np.full(20, 1.75), "all places read the same"),
        (np.full(20, 3.0), np.arange(20.0), "too close together"),
    ],
)
def test_what_the_places_cannot_carry_is_said(t, x, said):
    told = uneven_wave(t, x, seed=1)
    assert not told.found
    assert said in told.cannot


def test_positions_known_badly_shorten_what_is_looked_for():
    rng = np.random.default_rng(9)
    t = places(rng, LEAST_PLACES)
    told = uneven_wave(t, rng.normal(size=LEAST_PLACES), seed=1, u_position_m=0.02, permutations=99)
    assert told.shortest_m == pytest.approx(0.16)
