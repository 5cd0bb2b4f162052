"""Difference of two variances, and Bartlett's test.

Sources: scipy.stats as second opinion; coverage by seeded simulation, tolerance four standard
errors of the simulated rate; what must hold of any interval by hypothesis.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.variances import (
    bartlett_p,
    difference_interval,
    median_unbiased_variance,
)

variances = st.floats(1e-8, 1e-2)
freedoms = st.integers(1, 200)


@given(variances, freedoms, variances, freedoms, st.floats(0.05, 1.0))
def test_estimate_lies_between_its_limits_and_scales_with_the_unit(v1, df1, v2, df2, weight):
    d, lo, hi = difference_interval(v1, df1, v2, df2, weight)
    assert lo <= d <= hi
    assert d == pytest.approx(v1 - weight * v2, rel=1e-12, abs=1e-18)
    in_um = difference_interval(v1 * 1e6, df1, v2 * 1e6, df2, weight)
    assert [float(v) for v in in_um] == pytest.approx([1e6 * float(v) for v in (d, lo, hi)])


@given(variances, st.integers(1, 100), variances, st.integers(1, 100))
def test_more_freedom_of_either_variance_narrows_the_interval(v1, df1, v2, df2):
    def width(a, b):
        _, lo, hi = difference_interval(v1, a, v2, b)
        return float(hi - lo)

    assert width(df1 + 1, df2) <= width(df1, df2) * (1 + 1e-12)
    assert width(df1, df2 + 1) <= width(df1, df2) * (1 + 1e-12)


@pytest.mark.parametrize(("sd1", "df1", "sd2", "df2", "weight"), [
    (0.006, 19, 0.008, 8, 0.5),
    (0.0061, 9, 0.008, 8, 0.5),  # a filament of 0.002 under the scatter of two readings
    (0.0135, 39, 0.008, 8, 0.5),
    (0.0085, 19, 0.008, 30, 1.0),
])  # fmt: skip
def test_both_tails_are_missed_as_seldom_as_promised(sd1, df1, sd2, df2, weight):
    rng = np.random.default_rng(11)
    k = 40_000
    v1 = sd1**2 * rng.chisquare(df1, k) / df1
    v2 = sd2**2 * rng.chisquare(df2, k) / df2
    _, lo, hi = difference_interval(v1, df1, v2, df2, weight)
    truth = sd1**2 - weight * sd2**2
    rate = np.mean((lo <= truth) & (truth <= hi))
    slack = 4 * np.sqrt(0.95 * 0.05 / k)
    # The limits are recovered, not exact; for these freedoms the method errs to the safe side.
    assert 0.95 - slack <= rate <= 0.975


def test_nothing_is_bounded_without_freedom():
    _, lo, hi = difference_interval(1.0, 0, 0.5, 10)
    assert hi == np.inf
    assert lo <= 0
    _, lo, hi = difference_interval(1.0, 10, 0.5, 0)
    assert lo == -np.inf
    assert np.isfinite(hi)


def test_unknown_variance_gives_an_unbounded_interval_not_a_narrow_one():
    d, lo, hi = difference_interval(np.nan, 9, 0.5, 10)
    assert np.isnan(d)
    assert not np.isfinite(lo)
    assert not np.isfinite(hi)


def test_a_ceiling_lifts_the_upper_limit_only():
    _, lo, hi = difference_interval(0.0, 9, 1.0, np.inf, 0.5, v1_ceiling=0.7)
    assert lo == -0.5
    # The upper limit is the chi-square one of the ceiling, less the known half.
    assert hi == pytest.approx(0.7 * 9 / stats.chi2.ppf(0.025, 9) - 0.5)
    same = difference_interval(2.0, 9, 1.0, np.inf, 0.5, v1_ceiling=0.7)
    assert same == difference_interval(2.0, 9, 1.0, np.inf, 0.5)


@pytest.mark.parametrize("sizes", [(10, 10, 10), (5, 12, 30), (2, 40)])
def test_bartlett_as_scipy_computes_it(sizes):
    rng = np.random.default_rng(sum(sizes))
    groups = [rng.normal(1.75, 0.005 * (1 + i / 4), n) for i, n in enumerate(sizes)]
    s = [np.std(g, ddof=1) for g in groups]
    got = bartlett_p(s, [n - 1 for n in sizes])
    assert got == pytest.approx(stats.bartlett(*groups).pvalue, rel=1e-9)


def test_bartlett_where_readings_are_all_alike():
    assert bartlett_p([0.0, 0.0], [9, 9]) == 1.0
    assert bartlett_p([0.0, 0.01], [9, 9]) == 0.0
    assert bartlett_p([0.01], [9]) == 1.0


@pytest.mark.parametrize("truth", [0.6, 1.0, 1.4])
def test_a_supposed_variance_is_covered_wherever_in_its_range_it_is(truth):
    """v2 said to be 1 with a range 0.6 to 1.4: no draw of it, so no luck to cancel."""
    rng = np.random.default_rng(11)
    k, df, own = 20_000, 19, 0.5
    v1 = (own + truth) * rng.chisquare(df, k) / df
    _, lo, hi = difference_interval(v1, df, 1.0, 6.0, v2_limits=(0.6, 1.4))
    assert np.mean((lo <= own) & (own <= hi)) >= 0.95 - 4 * np.sqrt(0.05 / k)
    # By degrees of freedom instead, as if luck did cancel, one end of the range is missed.
    _, lo, hi = difference_interval(v1, df, 1.0, np.inf)
    missed = 1 - np.mean((lo <= own) & (own <= hi))
    assert truth == 1.0 or missed > 0.06


@pytest.mark.parametrize("df", [4, 9, 19, 59])
@pytest.mark.parametrize("removed", [0.0, 0.5, 1.0])
def test_the_estimate_is_as_likely_too_large_as_too_small(df, removed):
    """By the chi-square distribution itself (scipy): P(estimate < truth) = 1/2."""
    own = 2.0
    total = own + removed

    def estimate(probability):
        return median_unbiased_variance(
            total * stats.chi2.ppf(probability, df) / df, float(df), removed
        )

    assert estimate(0.5) == pytest.approx(own, rel=1e-12) or removed == 0.0
    if removed == 0.0:  # nothing is added to what was observed
        assert estimate(0.5) == pytest.approx(total * stats.chi2.ppf(0.5, df) / df, rel=1e-12)


def test_no_more_than_was_observed():
    assert median_unbiased_variance(9.0, [4.0, np.nan, 0.0, np.inf], 0.0).tolist() == [9.0] * 4
