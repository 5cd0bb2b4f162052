"""Probabilities of conformity and risks: scipy distributions, Bayes on a grid, Monte Carlo.

No formula of the module is typed again: tails come from scipy.stats, risks from its bivariate
normal, posteriors from a grid of prior times likelihood.  Simulated shares may miss by four
standard errors.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.conformity import (
    Prior,
    global_risks,
    nonconformity_shown,
    probability_sd_at_most,
    probability_within,
    probability_within_given_prior,
    with_prior,
)

VALUES = [1.68, 1.70, 1.72, 1.75, 1.79, 1.80, 1.83]


@pytest.mark.parametrize("df", [1, 4, 19, 60])
def test_a_mean_within_limits_by_student(df):
    law = stats.t(df, loc=VALUES, scale=0.011)
    got = probability_within(VALUES, 0.011, df, 1.70, 1.80)
    assert got == pytest.approx(law.cdf(1.80) - law.cdf(1.70), abs=1e-12)


def test_a_mean_within_limits_by_the_normal_law_when_the_uncertainty_is_known():
    law = stats.norm(VALUES, 0.011)
    got = probability_within(VALUES, 0.011, np.inf, 1.70, 1.80)
    assert got == pytest.approx(law.cdf(1.80) - law.cdf(1.70), abs=1e-12)


def test_one_limit_may_be_open():
    got = probability_within(1.75, 0.01, np.inf, -np.inf, [1.75, 1.77])
    assert got == pytest.approx([0.5, stats.norm.cdf(2)], abs=1e-12)


def test_without_uncertainty_it_is_yes_or_no_and_a_limit_is_inside():
    values = [1.69, 1.70, 1.75, 1.80, 1.81]
    for df in (4.0, np.inf):
        got = probability_within(values, 0.0, df, 1.70, 1.80)
        assert got.tolist() == [0.0, 1.0, 1.0, 1.0, 0.0]
    assert np.isnan(probability_within(np.nan, 0.0, np.inf, 1.70, 1.80))


@given(st.floats(1.6, 1.9), st.floats(1e-4, 0.1), st.floats(1, 200), st.floats(-0.5, 0.5))
def test_it_is_a_probability_that_shifts_with_its_limits(value, u, df, shift):
    p = probability_within(value, u, df, 1.70, 1.80)
    assert 0 <= p <= 1
    moved = probability_within(value + shift, u, df, 1.70 + shift, 1.80 + shift)
    assert moved == pytest.approx(float(p), abs=1e-6)


def by_grid(likelihood, prior, *, lower, upper):
    """(mean, sd, P within) of prior times likelihood over a million points."""
    x = np.linspace(prior.mean_mm - 12 * prior.sd_mm, prior.mean_mm + 12 * prior.sd_mm, 1_000_001)
    weight = stats.norm(prior.mean_mm, prior.sd_mm).pdf(x) * likelihood(x)
    weight /= weight.sum()
    mean = float(np.sum(weight * x))
    sd = float(np.sqrt(np.sum(weight * (x - mean) ** 2)))
    return mean, sd, float(weight[(x >= lower) & (x <= upper)].sum())


PRIORS = [Prior(1.74, 0.02, 5), Prior(1.79, 0.004, 12), Prior(1.75, 0.06, 3)]


@pytest.mark.parametrize("prior", PRIORS)
@pytest.mark.parametrize(("value", "u"), [(1.75, 0.01), (1.803, 0.004), (1.71, 0.03)])
def test_a_normal_measurement_and_a_prior(prior, value, u):
    mean, sd, p = by_grid(stats.norm(value, u).pdf, prior, lower=1.70, upper=1.80)
    got_mean, got_sd = with_prior(value, u, prior)
    assert float(got_mean) == pytest.approx(mean, abs=1e-8)
    assert float(got_sd) == pytest.approx(sd, rel=1e-6)
    # A grid point more or less at a limit: the density times the spacing.
    got = probability_within_given_prior(value, u, np.inf, prior, 1.70, 1.80)
    assert got == pytest.approx(p, abs=1e-4)


@pytest.mark.parametrize("prior", PRIORS)
@pytest.mark.parametrize("df", [1.5, 4.0, 19.0])
@pytest.mark.parametrize(("value", "u"), [(1.75, 0.01), (1.803, 0.0007), (1.71, 0.03)])
def test_a_student_measurement_and_a_prior(prior, df, value, u):
    _, _, p = by_grid(stats.t(df, value, u).pdf, prior, lower=1.70, upper=1.80)
    got = probability_within_given_prior(value, u, df, prior, 1.70, 1.80)
    assert got == pytest.approx(p, abs=2e-4)


def test_few_places_that_agree_by_luck_do_not_outweigh_the_prior():
    """Three places, u = 0.0005 from 2 degrees of freedom, against lots that all lay inside."""
    prior = Prior(1.79, 0.004, 12)
    as_known = probability_within_given_prior(1.802, 0.0005, np.inf, prior, 1.70, 1.80)
    as_found = probability_within_given_prior(1.802, 0.0005, 2.0, prior, 1.70, 1.80)
    assert as_known < 0.001
    assert as_found > 0.05


def test_a_vague_prior_changes_nothing():
    vague = Prior(1.0, 100.0, 3)
    for df in (3.0, np.inf):
        got = probability_within_given_prior(1.79, 0.01, df, vague, 1.70, 1.80)
        assert got == pytest.approx(float(probability_within(1.79, 0.01, df, 1.70, 1.80)), abs=2e-3)


@pytest.mark.parametrize("df", [4.0, 19.0, 39.0])
@pytest.mark.parametrize("reading", [0.0, 3e-5, 1.2e-4])
def test_the_spread_below_its_limit_by_monte_carlo(df, reading):
    """Whatever total variance gave s**2 by chance, less the part of reading: counted."""
    observed, limit, n = 1.3e-4, 0.010, 400_000
    chance = np.random.default_rng(4).chisquare(df, n)
    own = df * observed / chance - reading
    share = np.mean(own <= limit**2)
    got = float(probability_sd_at_most(observed, df, reading, limit))
    assert got == pytest.approx(share, abs=4 * np.sqrt(0.25 / n))


def test_the_spread_without_degrees_of_freedom_is_unknown():
    assert np.isnan(probability_sd_at_most(1e-4, 0.0, 0.0, 0.01))


@pytest.mark.parametrize("truth", [0.006, 0.0125])
def test_the_probability_of_the_spread_is_fair_at_the_limit(truth):
    """Told at the limit itself, p falls below a in a share a of all spools."""
    df, reading, n = 19.0, 4e-5, 20_000
    chance = np.random.default_rng(8).chisquare(df, n)
    observed = (truth**2 + reading) * chance / df
    p = probability_sd_at_most(observed, df, reading, truth)
    for a in (0.025, 0.1, 0.5, 0.9, 0.975):
        assert np.mean(p <= a) == pytest.approx(a, abs=4 * np.sqrt(a * (1 - a) / n))


def by_bivariate_normal(mean, tau, u, lower, upper, guard):
    """(consumer, producer) from the joint law of true and measured value."""
    top = np.hypot(tau, u)
    rho = tau / top
    law = stats.multivariate_normal(cov=[[1, rho], [rho, 1]], abseps=1e-10, releps=1e-10)

    def both(x, y):  # true <= x and measured <= y
        return law.cdf([(x - mean) / tau, (y - mean) / top])

    def box(x0, x1, y0, y1):
        return both(x1, y1) - both(x0, y1) - both(x1, y0) + both(x0, y0)

    far = 40 * top
    low, high = lower + guard, upper - guard
    good = box(lower, upper, low, high)
    accepted = box(mean - far, mean + far, low, high)
    inside = box(lower, upper, mean - far, mean + far)
    return accepted - good, inside - good


@pytest.mark.parametrize(("mean", "tau", "u", "guard"), [
    (1.75, 0.02, 0.005, 0.0),
    (1.77, 0.02, 0.010, 0.0),
    (1.74, 0.03, 0.008, 0.016),
    (1.79, 0.012, 0.012, -0.005),
    (1.90, 0.02, 0.006, 0.0),
])  # fmt: skip
def test_global_risks_by_the_bivariate_normal(mean, tau, u, guard):
    consumer, producer = by_bivariate_normal(mean, tau, u, 1.70, 1.80, guard)
    got = global_risks(mean, tau, u, 1.70, 1.80, guard)
    assert got.consumer == pytest.approx(consumer, abs=1e-8)
    assert got.producer == pytest.approx(producer, abs=1e-8)


def test_a_guard_band_moves_risk_from_buyer_to_maker():
    risks = [global_risks(1.76, 0.02, 0.008, 1.70, 1.80, g) for g in (-0.016, 0.0, 0.008, 0.016)]
    assert (np.diff([r.consumer for r in risks]) < 0).all()
    assert (np.diff([r.producer for r in risks]) > 0).all()


def test_nonconformity_needs_more_than_the_expanded_uncertainty():
    values = [1.67, 1.68, 1.69, 1.75, 1.81, 1.82, 1.83]
    # 1/64 and quarters are exact in binary: the limit of the zone itself shows nothing.
    shown = nonconformity_shown([1.234375, 1.21875, 1.5, 1.765625, 1.78125], 1 / 64, 1.25, 1.75)
    assert shown.tolist() == [False, True, False, False, True]
    got = nonconformity_shown(values, 0.025, 1.70, 1.80)
    assert got.tolist() == [True, False, False, False, False, False, True]
    assert not nonconformity_shown(np.nan, 0.02, 1.70, 1.80)
