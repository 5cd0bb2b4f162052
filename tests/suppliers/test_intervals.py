"""Intervals of the suppliers room against other programs and against simulation."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from lotqa.suppliers.intervals import combined_interval, pair, share_interval


@pytest.mark.parametrize(("good", "n"), [(0, 1), (0, 12), (1, 1), (7, 9), (9, 9), (55, 300)])
def test_share_interval_agrees_with_statsmodels(good, n):
    low, high = proportion_confint(good, n, alpha=0.05, method="beta")
    # statsmodels returns NaN-free ends 0 and 1 itself; agreement to the last digits of a beta.
    assert share_interval(good, n) == pytest.approx((low, high), abs=1e-12)


def test_share_interval_holds_at_least_95_percent_for_every_share():
    n = 15
    ends = np.array([share_interval(k, n) for k in range(n + 1)])
    for share in np.linspace(0.01, 0.99, 99):
        covered = (ends[:, 0] <= share) & (share <= ends[:, 1])
        assert stats.binom.pmf(np.arange(n + 1), n, share)[covered].sum() >= 0.95


def test_of_no_spools_every_share_is_possible():
    assert share_interval(0, 0) == (0.0, 1.0)


def test_without_a_fixed_part_it_is_students_interval():
    x = np.array([1.741, 1.752, 1.747, 1.760])
    want = stats.t.interval(0.95, 3, loc=x.mean(), scale=stats.sem(x))
    assert combined_interval(x.mean(), stats.sem(x), 3, 0.0) == pytest.approx(want, abs=1e-12)


def test_without_scatter_it_is_the_normal_interval():
    want = stats.norm.interval(0.95, loc=1.75, scale=0.004)
    assert combined_interval(1.75, 0.0, 3, 0.004) == pytest.approx(want, abs=1e-9)


@pytest.mark.parametrize("n", [2, 3, 8])
@pytest.mark.parametrize("u_fixed", [0.0, 0.2, 1.0, 5.0])
def test_the_interval_covers_at_least_95_percent_in_simulation(n, u_fixed):
    rng = np.random.default_rng(20)
    n_runs = 20_000
    x = rng.normal(0.0, 1.0, (n_runs, n)) + u_fixed * rng.normal(size=(n_runs, 1))
    se = x.std(axis=1, ddof=1) / np.sqrt(n)
    low, high = combined_interval(x.mean(axis=1), se, n - 1, u_fixed)
    covered = np.mean((low <= 0) & (high >= 0))
    four_se = 4 * np.sqrt(0.95 * 0.05 / n_runs)  # 0.006; effective df fall short by up to 0.08
    assert covered > 0.95 - four_se
    if u_fixed == 0.0:
        assert covered < 0.95 + four_se


def test_one_value_is_unbounded_and_values_all_alike_say_nothing():
    assert combined_interval(1.75, 0.01, 0, 0.0) == (-np.inf, np.inf)
    assert np.isnan(combined_interval(1.75, 0.0, 3, 0.0)).all()


def test_open_ends_are_null_in_documents():
    assert pair(1.0, float("inf")) == [1.0, None]
    assert pair(float("nan"), float("inf")) is None
