"""Effective places against dense matrices, exact expectations and simulated spools of known truth.

The recursion along the filament is checked by contrasts: with H the orthonormal contrasts, H x has
no mean, and its likelihood with the variance integrated out needs only H R H'.
"""

from itertools import pairwise, product

import numpy as np
import pytest
from scipy.linalg import helmert
from scipy.special import logsumexp
from scipy.stats import chi2
from scipy.stats import t as student

from lotqa.evidence.dependence import (
    BLOCK,
    LENGTHS,
    MIN_PLACES,
    OWN_SHARES,
    RATIO_MIN,
    effective_places,
    process_variance,
)
from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.spool import lot_evidence
from tests.coverage_study import SECTION, readings_of
from tests.simulator import Filament, Tool, measure, uneven_positions_m

PERFECT = Tool(scatter_sd_mm=0.0, step_mm=0.0)
MEAN_MM, SD_MM = 1.75, 0.012


def spools(correlation_m, n_places, n_spools, seed, tool=PERFECT):
    return measure(
        Filament(mean_mm=MEAN_MM, sd_mm=SD_MM, correlation_m=correlation_m),
        np.random.default_rng(seed),
        n_spools=n_spools,
        n_places=n_places,
        tool=tool,
    )


def correlation(position_m, length_m, own):
    apart = np.abs(position_m[:, None] - position_m)
    return (1 - own) * np.exp(-apart / length_m) + own * np.eye(len(position_m))


def dense(position_m, x):
    """(log ratio, n_mean, df) of one spool by whole matrices."""
    n = len(x)
    contrasts = helmert(n)
    spacing = np.ptp(position_m) / (n - 1)

    def likelihood(r):
        inside = contrasts @ r @ contrasts.T
        y = contrasts @ x
        squares = y @ np.linalg.solve(inside, y)
        return -0.5 * np.linalg.slogdet(inside)[1] - (n - 1) / 2 * np.log(squares)

    models = [correlation(position_m, a * spacing, v) for a, v in product(LENGTHS, OWN_SHARES)]
    logs = np.array([likelihood(r) - likelihood(np.eye(n)) for r in models])
    weights = np.exp(np.append(np.log(0.1 / len(logs)) + logs, np.log(0.9)))
    weights /= weights.sum()
    # Variance of the plain mean over what s**2 is on average, both straight from the matrix.
    variance, df = [], []
    for r in [*models, np.eye(n)]:
        of_mean = r.sum() / n**2
        of_s2 = (np.trace(r) - r.sum() / n) / (n - 1)
        variance.append(of_mean / of_s2)
        df.append(n**2 / np.sum(r**2) - 1)
    inflation = weights @ np.array(variance)
    return (
        logsumexp(logs) - np.log(len(logs)),
        1 + (n - 1) / (n * inflation),
        1 / (weights @ (1 / np.array(df))),
    )


@pytest.mark.parametrize("correlation_m", [0.03, 3.0])
def test_as_whole_matrices_have_it(correlation_m):
    measured = spools(correlation_m, 15, 40, seed=15)
    got = effective_places(measured.position_m, measured.place_mm)
    shown = 0
    for i in range(40):
        log_ratio, n_mean, df = dense(measured.position_m[i], measured.place_mm[i])
        assert np.log(got.ratio[i]) == pytest.approx(log_ratio, abs=1e-8)
        if log_ratio < np.log(RATIO_MIN):
            assert (got.n_mean[i], got.df_spread[i]) == (15, 14)
        else:
            shown += 1
            assert got.n_mean[i] == pytest.approx(n_mean, rel=1e-8)
            assert got.df_spread[i] == pytest.approx(df, rel=1e-8)
    assert shown > 20 if correlation_m == 3.0 else shown < 8


def test_variance_of_the_filament_is_put_right_exactly():
    """E s**2 = (tr R - 1'R1/n) / (n - 1) for any correlation matrix R."""
    n = 12
    r = correlation(np.sort(np.random.default_rng(2).uniform(0, 10, n)), 1.5, 0.2)
    expected_s2 = (np.trace(r) - r.sum() / n) / (n - 1)
    n_mean = np.array([n**2 / r.sum()])
    assert expected_s2 < 0.9
    assert process_variance(np.array([expected_s2]), n, n_mean)[0] == pytest.approx(1.0)


@pytest.mark.parametrize("n", [10, 20, 40])
def test_independent_places_keep_their_number(n):
    k = 4000
    measured = spools(0.001, n, k, seed=n)
    got = effective_places(measured.position_m, measured.place_mm)
    assert 0.965 * n < got.n_mean.mean() < n
    assert (got.n_mean <= n).all()
    alarms = np.mean(got.n_mean < n)
    assert 0.01 < alarms < 0.06
    # The expectation of a likelihood ratio is 1 where the denominator is true; so Markov holds.
    assert got.ratio.mean() == pytest.approx(1.0, abs=5 * got.ratio.std() / np.sqrt(k))
    assert alarms < 1 / RATIO_MIN


def test_dependent_places_count_for_fewer_and_the_more_so():
    found = [
        effective_places(m.position_m, m.place_mm).n_mean.mean()
        for m in (spools(length, 20, 1000, seed=7) for length in (0.03, 0.5, 1.0, 2.0, 4.0))
    ]
    assert all(a > b for a, b in pairwise(found))
    # At 4 m the truth is n**2 / sum rho, from the positions alone.
    positions = uneven_positions_m(np.random.default_rng(7), 200, 20)
    truth = np.mean([400 / correlation(p, 4.0, 0.0).sum() for p in positions])
    assert truth < found[-1] < 2 * truth
    assert found[-1] < 7.5


def evidence_of(measured):
    k = len(measured.position_m)
    return lot_evidence(
        readings_of(measured, np.arange(k), measured.diameter_mm),
        SECTION,
        Scatter(0.0, np.inf, "none"),
        Offset(0.0, 0.0, 6, None, None),
        0.0,
        0.01,
    ).diameter


def plain_half_mm(d):
    """Half of Student's interval as if all places were independent."""
    return student.ppf(0.975, d.n_places - 1) * d.s_observed_mm / np.sqrt(d.n_places)


@pytest.mark.parametrize(
    ("correlation_m", "plain_at_most", "at_least"),
    # Read off a run of 6000 spools: 0.950 and 0.951, 0.848 and 0.892, 0.719 and 0.868; four
    # standard errors of 3000 spools are 0.016 to 0.033.
    [(0.03, 0.966, 0.935), (1.0, 0.875, 0.868), (2.0, 0.752, 0.843)],
)
def test_the_interval_of_the_mean_holds_better(correlation_m, plain_at_most, at_least):
    d = evidence_of(spools(correlation_m, 20, 3000, seed=11))
    off_mm = np.abs(d.mean_mm - MEAN_MM)
    plain = np.mean(off_mm <= plain_half_mm(d))
    held = np.mean((d.mean_lo_mm <= MEAN_MM) & (d.mean_hi_mm >= MEAN_MM))
    assert plain < plain_at_most
    assert at_least < held < 0.97
    assert held >= plain


@pytest.mark.parametrize("n", [10, 20, 40])
def test_independent_places_pay_little_for_it(n):
    d = evidence_of(spools(0.001, n, 3000, seed=n + 1))
    width = (d.mean_hi_mm - d.mean_lo_mm) / 2 / plain_half_mm(d)
    assert 1.0 <= width.mean() < 1.03
    assert np.median(width) == pytest.approx(1.0)
    held = np.mean((d.mean_lo_mm <= MEAN_MM) & (d.mean_hi_mm >= MEAN_MM))
    assert held == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 3000) + 0.005)


def test_the_interval_of_the_spread_holds_better():
    """Against the sd of a long filament, of which 25 m show less at a correlation of 2 m."""
    d = evidence_of(spools(2.0, 20, 3000, seed=12))
    ratio = (d.s_observed_mm / SD_MM) ** 2 * 19
    plain = np.mean((ratio >= chi2.ppf(0.025, 19)) & (ratio <= chi2.ppf(0.975, 19)))
    held = np.mean((d.sd_lo_mm <= SD_MM) & (d.sd_hi_mm >= SD_MM))
    assert held > plain + 0.03
    assert d.sd_mm.mean() > d.s_observed_mm.mean()


def test_scatter_hides_dependence_and_does_no_harm():
    calm = effective_places(*(lambda m: (m.position_m, m.place_mm))(spools(2.0, 20, 1000, seed=3)))
    rough = spools(2.0, 20, 1000, seed=3, tool=Tool(scatter_sd_mm=0.02, step_mm=0.01))
    got = effective_places(rough.position_m, rough.diameter_mm.mean(axis=-1))
    assert calm.n_mean.mean() < got.n_mean.mean() <= 20


def test_what_makes_no_difference():
    m = spools(2.0, 16, 60, seed=5)
    base = effective_places(m.position_m, m.place_mm)
    assert (base.n_mean < 16).any()
    for position, x in (
        (m.position_m + 100.0, m.place_mm),
        (m.position_m * 39.37, m.place_mm),
        (m.position_m, 1000 * m.place_mm + 5e3),
        (m.position_m, -m.place_mm),
        (-m.position_m[:, ::-1], m.place_mm[:, ::-1]),  # from the other end
    ):
        got = effective_places(position, x)
        assert got.n_mean == pytest.approx(base.n_mean, rel=1e-6)
        assert got.ratio == pytest.approx(base.ratio, rel=1e-6)


def test_many_at_once_are_as_one_at_a_time():
    k = BLOCK + 3
    m = spools(2.0, 10, k, seed=6)
    got = effective_places(m.position_m, m.place_mm)
    for i in (0, BLOCK - 1, BLOCK, k - 1):
        alone = effective_places(m.position_m[i], m.place_mm[i])
        assert alone.ratio == pytest.approx(got.ratio[i : i + 1], rel=1e-9)
        assert alone.n_mean == pytest.approx(got.n_mean[i : i + 1], rel=1e-9)


def test_what_cannot_be_judged_counts_in_full():
    x = np.cumsum(np.random.default_rng(1).normal(size=20))  # as dependent as can be
    position = np.arange(20.0)
    assert effective_places(position, x).n_mean[0] < 6
    some = position.copy()
    some[3] = np.nan
    few = MIN_PLACES - 1
    for where, values in (
        (some, x),
        (np.zeros(20), x),
        (position, np.full(20, 1.7512345)),
        (position[:few], x[:few]),
        (position[:1], x[:1]),
    ):
        got = effective_places(where, values)
        assert (got.n_mean[0], got.df_spread[0]) == (len(values), len(values) - 1)
        assert np.isnan(got.ratio[0])


def test_places_that_alternate_gain_nothing():
    x = np.where(np.arange(20) % 2, 1.0, -1.0) + np.random.default_rng(4).normal(0, 0.1, 20)
    assert effective_places(np.arange(20.0), x).n_mean[0] == 20


def test_a_drift_counts_as_dependence():
    x = 0.01 * np.arange(20.0) + np.random.default_rng(8).normal(0, 0.01, 20)
    assert effective_places(np.arange(20.0), x).n_mean[0] < 6


def test_a_short_wave_read_unevenly_leaves_places_independent():
    """12 cm at places a metre apart: the phases are as good as drawn."""
    m = measure(
        Filament(sd_mm=0.003, wave_amplitude_mm=0.012, wave_period_m=0.12),
        np.random.default_rng(9),
        n_spools=2000,
        tool=PERFECT,
    )
    assert effective_places(m.position_m, m.place_mm).n_mean.mean() > 19.2
