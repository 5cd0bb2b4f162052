"""Order along the filament: p-values under random order and under real order.

Sources: every order of a short series for the moments of r1; simulation of normal places, with
four standard errors of the simulated rate; drift and wave that must be seen.
"""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.order import autocorrelation, lag1, runs_test, trend
from tests.evidence.lots import evidence, exact, readings

K = 40_000


def null(n, seed=1):
    return np.random.default_rng(seed).normal(1.75, 0.008, (K, n))


def test_mean_of_r1_over_every_order_is_minus_one_over_n():
    x = np.array([1.71, 1.75, 1.74, 1.78, 1.80, 1.73, 1.76])
    r1 = autocorrelation(np.array(list(permutations(x))), 1)[:, 1]
    assert r1.mean() == pytest.approx(-1 / 7, rel=1e-9)


@pytest.mark.parametrize("n", [10, 20, 40])
def test_lag_1_is_centred_and_scaled_under_random_order(n):
    """z from p and the sign of r1 has mean 0 and sd 1; a centre off by 1/n(n-1) would show."""
    r1, p = lag1(null(n))
    z = np.sign(r1 + 1 / n) * stats.norm.isf(np.clip(p, 1e-300, 1) / 2)
    assert abs(z.mean()) < 4 / np.sqrt(K)
    assert z.std() == pytest.approx(1, abs=4 / np.sqrt(2 * K))


@pytest.mark.parametrize("n", [10, 20, 40])
@pytest.mark.parametrize("alpha", [0.05, 0.01])
def test_lag_1_never_raises_more_false_alarms_than_stated(n, alpha):
    _, p = lag1(null(n, 2))
    assert np.mean(p < alpha) <= alpha + 4 * np.sqrt(alpha * (1 - alpha) / K)


@pytest.mark.parametrize("n", [10, 40])
def test_p_of_a_trend_is_uniform_under_random_order(n):
    p = np.sort(trend(np.cumsum(np.random.default_rng(n).uniform(0.2, 2, n)), null(n, 3)).p)
    # Kolmogorov: 1 chance in 10,000 beyond 2.23 / sqrt(K).
    assert stats.kstest(p, "uniform").statistic < 2.23 / np.sqrt(K)


@pytest.mark.parametrize("n", [10, 20, 40])
def test_all_three_together_keep_the_stated_rate(n):
    """Each at a third of 1 %: the sum of false alarms is 1 % at most, whatever they share."""
    x = null(n, 4)
    p = np.stack([runs_test(x).p, trend(np.arange(n), x).p, lag1(x)[1]])
    rate = np.mean(np.nanmin(p, axis=0) < 0.01 / 3)
    assert rate <= 0.01 + 4 * np.sqrt(0.01 * 0.99 / K)


def test_runs_have_the_moments_of_random_order():
    x = null(20, 5)
    got = runs_test(x)
    assert got.z.mean() == pytest.approx(0, abs=4 / np.sqrt(K))
    assert got.z.std() == pytest.approx(1, abs=4 / np.sqrt(2 * K) * 1.5)


def test_a_drift_is_seen_as_a_slope_with_its_interval():
    rng = np.random.default_rng(6)
    at = np.sort(rng.uniform(0, 25, 30))
    x = 1.75 + 0.001 * at + 0.003 * rng.standard_normal((4000, 30))
    got = trend(at, x)
    assert np.mean((got.lo <= 0.001) & (got.hi >= 0.001)) == pytest.approx(
        0.95, abs=4 * np.sqrt(0.95 * 0.05 / 4000)
    )
    assert np.median(got.p) < 1e-6


def test_a_wave_of_twice_the_spacing_makes_too_many_runs():
    x = 1.75 + 0.01 * (-1.0) ** np.arange(20) + 0.001 * np.random.default_rng(7).normal(size=20)
    assert float(runs_test(x).z[0]) > 3
    assert float(lag1(x)[0][0]) < -0.8
    assert float(lag1(x)[1][0]) < 0.001


@given(st.floats(-5, 5), st.floats(0.001, 100), st.integers(10, 30))
def test_shift_and_scale_change_no_p(shift, scale, n):
    x = np.random.default_rng(n).normal(1.75, 0.01, (1, n))
    y = (x - 1.75) * scale + shift
    assert runs_test(y).p == pytest.approx(runs_test(x).p, nan_ok=True)
    assert lag1(y)[1] == pytest.approx(lag1(x)[1], rel=1e-6)
    assert trend(np.arange(n), y).p == pytest.approx(trend(np.arange(n), x).p, rel=1e-6)


def test_reading_from_the_other_end_turns_the_slope_only():
    x = np.random.default_rng(9).normal(1.75, 0.01, (3, 25))
    there, back = trend(np.arange(25), x), trend(np.arange(25), x[:, ::-1])
    assert np.asarray(back.slope) == pytest.approx(-np.asarray(there.slope), rel=1e-9)
    assert np.asarray(back.p) == pytest.approx(np.asarray(there.p), rel=1e-9)
    assert np.asarray(runs_test(x[:, ::-1]).n_runs).tolist() == runs_test(x).n_runs.tolist()


def test_places_all_equal_show_no_order():
    x = np.full((1, 12), 1.75)
    assert np.isnan(runs_test(x).p).all()
    assert np.isnan(lag1(x)[1]).all()
    assert trend(np.arange(12), x).p[0] == 1.0


def test_without_positions_the_order_typed_counts_and_no_slope_is_given():
    d = exact(15, 1.75, 0.01)
    d = d[np.argsort(d[:, 0])]  # typed from thin to thick
    found = evidence(readings({"x": d}, position_m={"x": [np.nan] * 15})).order
    assert found.trend_p[0] < 1e-6
    assert np.isnan(found.trend_per_m[0])
    assert not found.positions_known[0]
