"""The same numbers from scipy and statsmodels, on seeded spools and on hard ones.

A second opinion is no published source, but it is another hand: these libraries share no line with
the code under test beyond special functions.
"""

import numpy as np
import pytest
from scipy import stats
from statsmodels.api import OLS, add_constant
from statsmodels.sandbox.stats.runs import runstest_1samp
from statsmodels.stats.diagnostic import normal_ad
from statsmodels.stats.weightstats import DescrStatsW
from statsmodels.tsa.stattools import acf

from lotqa.evidence.normality import anderson_darling
from lotqa.evidence.order import autocorrelation, lag1, runs_test, trend
from lotqa.evidence.summary import mean_interval, sd_interval, summarise
from lotqa.evidence.variances import oneway
from tests.published.source import one

RNG = np.random.default_rng(20_25)
SPOOLS = {
    "steady": RNG.normal(1.75, 0.008, (4, 30)),
    "drifting": RNG.normal(1.75, 0.008, (4, 30)) + np.linspace(0, 0.05, 30),
    "read to 0.01": np.round(RNG.normal(1.75, 0.02, (4, 25)), 2),
    "few places": RNG.normal(1.75, 0.02, (4, 5)),
    "heavy tails": 1.75 + 0.01 * RNG.standard_t(2, (4, 40)),
}


@pytest.fixture(params=SPOOLS, scope="module")
def spools(request):
    return SPOOLS[request.param]


def test_summary(spools):
    got = summarise(spools)
    described = stats.describe(spools, axis=1)
    assert got.n == described.nobs
    assert np.asarray(got.mean) == pytest.approx(described.mean, rel=1e-13)
    assert np.asarray(got.s) == pytest.approx(np.sqrt(described.variance), rel=1e-11)
    assert np.asarray(got.low).tolist() == described.minmax[0].tolist()
    assert np.asarray(got.high).tolist() == described.minmax[1].tolist()
    assert np.asarray(got.median) == pytest.approx(np.median(spools, axis=1), rel=1e-14)


@pytest.mark.parametrize("confidence", [0.80, 0.95, 0.99])
def test_interval_of_the_mean(spools, confidence):
    got = summarise(spools)
    lo, hi = mean_interval(got.mean, got.s, got.n, confidence)
    for i, row in enumerate(spools):
        expected = DescrStatsW(row).tconfint_mean(alpha=1 - confidence)
        assert (np.asarray(lo)[i], np.asarray(hi)[i]) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("df", [1, 4, 29, 1000])
@pytest.mark.parametrize("confidence", [0.90, 0.95])
def test_interval_of_sd_leaves_the_promised_tails(df, confidence):
    lo, hi = (one(limit) for limit in sd_interval(0.01, df, confidence))
    tail = (1 - confidence) / 2
    assert stats.chi2.cdf(df * (0.01 / hi) ** 2, df) == pytest.approx(tail, rel=1e-9)
    assert stats.chi2.sf(df * (0.01 / lo) ** 2, df) == pytest.approx(tail, rel=1e-9)


def test_runs(spools):
    got = runs_test(spools)
    for i, row in enumerate(spools):
        z, p = runstest_1samp(row, cutoff="median", correction=False)
        assert np.asarray(got.z)[i] == pytest.approx(z, rel=1e-10, abs=1e-12)
        assert np.asarray(got.p)[i] == pytest.approx(p, rel=1e-10)


def test_trend_at_uneven_places(spools):
    n = spools.shape[1]
    position_m = np.cumsum(np.random.default_rng(n).uniform(0.1, 0.9, n))
    got = trend(position_m, spools)
    for i, row in enumerate(spools):
        fit = OLS(row, add_constant(position_m)).fit()
        lo, hi = fit.conf_int(alpha=0.05)[1]
        scale = max(abs(lo), abs(hi))
        assert np.asarray(got.slope)[i] == pytest.approx(fit.params[1], abs=1e-9 * scale)
        assert np.asarray(got.lo)[i] == pytest.approx(lo, abs=1e-9 * scale)
        assert np.asarray(got.hi)[i] == pytest.approx(hi, abs=1e-9 * scale)
        assert np.asarray(got.t)[i] == pytest.approx(fit.tvalues[1], rel=1e-8, abs=1e-8)
        assert np.asarray(got.p)[i] == pytest.approx(fit.pvalues[1], rel=1e-7)


def test_autocorrelation(spools):
    got = np.asarray(autocorrelation(spools, 4))
    expected = [acf(row, nlags=4, adjusted=False, fft=False) for row in spools]
    assert got == pytest.approx(np.array(expected), rel=1e-9, abs=1e-11)
    assert np.asarray(lag1(spools)[0]) == pytest.approx(got[:, 1], rel=1e-12, abs=1e-13)


@pytest.mark.parametrize("name", ["steady", "drifting", "read to 0.01", "heavy tails"])
def test_normality(name):
    spools = SPOOLS[name]
    a2, p = anderson_darling(spools)
    for i, row in enumerate(spools):
        expected_a2, expected_p = normal_ad(row)
        assert np.asarray(a2)[i] == pytest.approx(expected_a2, rel=1e-9)
        assert np.asarray(p)[i] == pytest.approx(expected_p, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize("sizes", [(5, 5, 5), (3, 9, 5, 2), (2, 30)])
def test_components_of_unbalanced_groups(sizes):
    """F from scipy, and n0 as the trace that makes MSB unbiased, by explicit projections."""
    rng = np.random.default_rng(sum(sizes))
    group = np.repeat(np.arange(len(sizes)), sizes)
    x = rng.normal(1.75, 0.01, len(group)) + rng.normal(0, 0.02, len(sizes))[group]
    got = oneway(x, group)
    f = stats.f_oneway(*(x[group == g] for g in range(len(sizes)))).statistic
    members = (group[:, None] == np.arange(len(sizes))).astype(float)
    n = len(x)
    to_groups = members @ np.linalg.inv(members.T @ members) @ members.T
    n0 = np.trace(members.T @ (to_groups - np.ones((n, n)) / n) @ members) / (len(sizes) - 1)
    assert one(got.n0) == pytest.approx(n0, rel=1e-10)
    within = np.sum((x - to_groups @ x) ** 2) / (n - len(sizes))
    assert one(got.within) == pytest.approx(within, rel=1e-10)
    assert one(got.between) == pytest.approx(within * (f - 1) / n0, rel=1e-8)
