"""Places out of line: rate of false alarms by simulation, power, and what must not matter.

The tabulated values and the handbook example are checked among the published sources.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.errors import TooFewReadings
from lotqa.evidence.outliers import generalized_esd
from lotqa.evidence.spool import MIN_OUTLIERS, OUTLIER_SHARE
from tests.evidence.lots import evidence, readings, uneven_m

K = 20_000


@pytest.mark.parametrize("n", [10, 15, 40])
@pytest.mark.parametrize("alpha", [0.05, 0.01])
def test_one_outlier_is_called_at_most_as_often_as_stated(n, alpha):
    """The first step is Bonferroni over n places, so its level cannot be exceeded."""
    x = np.random.default_rng(n).normal(1.75, 0.01, (K, n))
    rate = np.mean(generalized_esd(x, 1, alpha).n_outliers > 0)
    assert rate <= alpha + 4 * np.sqrt(alpha * (1 - alpha) / K)


@pytest.mark.parametrize("n", [10, 15, 25, 40])
def test_as_used_sound_spools_are_marked_at_most_twice_as_often_as_stated(n):
    """The later steps are approximate, and add alarms of their own where places are few."""
    x = np.random.default_rng(n).normal(1.75, 0.01, (K, n))
    rate = np.mean(generalized_esd(x, n // OUTLIER_SHARE, 0.01).n_outliers > 0)
    assert rate <= 0.02
    assert rate > 0.005  # it is a test, not a decoration


def test_first_statistic_and_limit_are_those_of_grubbs():
    """Critical value from the t distribution of the largest residual, by scipy."""
    n, alpha = 20, 0.05
    got = generalized_esd(np.random.default_rng(1).normal(size=(1, n)), 2, alpha)
    t = stats.t.isf(alpha / (2 * n), n - 2)
    assert got.critical[0] == pytest.approx((n - 1) / np.sqrt(n) * np.sqrt(t**2 / (n - 2 + t**2)))


def test_two_lumps_do_not_hide_each_other():
    x = np.random.default_rng(2).normal(1.75, 0.005, (1, 20))
    x[0, [4, 11]] = 1.90, 1.905
    got = generalized_esd(x, 4, 0.01)
    assert int(got.n_outliers[0]) == 2
    assert sorted(got.order[0, :2].tolist()) == [4, 11]


@given(st.permutations(range(18)), st.floats(0.01, 100), st.floats(-10, 10))
def test_marked_places_follow_the_places(order, scale, shift):
    x = np.random.default_rng(3).normal(0, 0.01, 18)
    x[5] = 0.12
    plain = generalized_esd(x[None, :], 3, 0.01)
    mixed = generalized_esd(scale * x[list(order)][None, :] + shift, 3, 0.01)
    assert int(mixed.n_outliers[0]) == int(plain.n_outliers[0]) == 1
    assert order[int(mixed.order[0, 0])] == 5


def test_marked_places_stay_in_every_number():
    d = np.full((15, 2), 1.75) + 0.002 * np.random.default_rng(4).normal(size=(15, 2))
    d[7] += 0.1
    found = evidence(readings({"x": d}))
    assert np.flatnonzero(found.outlier).tolist() == [7]
    assert found.diameter.mean_mm[0] == pytest.approx(d.mean())
    assert found.diameter.high_mm[0] == d.max()


def test_marks_stand_at_their_own_spool():
    rng = np.random.default_rng(5)
    sizes = {"a": 12, "b": 20, "c": 12}
    spools = {k: 1.75 + 0.003 * rng.normal(size=(n, 2)) for k, n in sizes.items()}
    spools["c"][3] -= 0.1
    found = evidence(readings(spools))
    assert found.places.spool[found.outlier].tolist() == [2]
    assert found.places.position_m[found.outlier].tolist() == [uneven_m(12)[3]]


def test_few_places_mark_nothing():
    d = np.full((MIN_OUTLIERS - 1, 2), 1.75)
    d[2] = 1.95
    assert not evidence(readings({"x": d})).outlier.any()


def test_equal_places_have_nothing_out_of_line():
    assert generalized_esd(np.full((1, 12), 1.75), 2, 0.05).n_outliers.tolist() == [0]


def test_too_few_places_are_refused_with_the_number_missing():
    with pytest.raises(TooFewReadings) as caught:
        generalized_esd(np.zeros((1, 4)), 3)
    assert str(caught.value) == "3 outliers need 5 places, got 4: measure 1 more"
