"""What a few spools say of a lot, where it comes down to intervals that are known exactly.

1. ISO 16269-6:2014, Annex F: two-sided tolerance factors, printed rounded up; the exact integral
   that they are from, here with scipy.stats (Odeh and Owen 1980, from memory).
2. Hahn and Meeker, Statistical Intervals (1991), 4.7 and 4.6: Student's prediction of one more,
   chi-square limits of a standard deviation; 4.5, a fraction beyond a limit by the noncentral t
   (numbers of sections from memory).
3. Krishnamoorthy and Mathew, Technometrics 46 (2004) 44: the pivots of the one-way random model,
   drawn here at random (from memory).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from lotqa.evidence.lot_model import (
    SpoolMeans,
    between_sd_interval,
    fate,
    lot_draws,
    predicted_spool,
    tolerance_interval,
)
from tests.evidence.spool_means import CASE, NEVER, between, half, slack, spools
from tests.published.source import load

ISO = load("tolerance_tables.json")["iso_16269_6"]["tables"]
WIDE = {"accept_lo_mm": -NEVER, "accept_hi_mm": NEVER, "lsl_mm": -NEVER, "usl_mm": NEVER}


def exact_factor(k, content):
    """The two-sided tolerance factor of k normal values by confidence, from its integral [1].

    Over the mean z / sqrt(k), by the trapezium, exact for a smooth bell but for 1e-12.
    """
    z = np.linspace(-9, 9, 181)
    radius = np.array(
        [
            brentq(lambda r, d=d: stats.norm.cdf(d + r) - stats.norm.cdf(d - r) - content, 0, 60)
            for d in z / np.sqrt(k)
        ]
    )

    def confident(factor):
        return 0.1 * stats.norm.pdf(z) @ stats.chi2.sf((k - 1) * (radius / factor) ** 2, k - 1)

    return lambda confidence: brentq(lambda f: confident(f) - confidence, 1.0, 400.0, xtol=1e-7)


@pytest.mark.parametrize(("content", "confidence", "k"), [
    (0.95, 0.95, 5), (0.95, 0.95, 10), (0.95, 0.95, 26), (0.99, 0.95, 9), (0.90, 0.90, 8),
    (0.90, 0.95, 2),
])  # fmt: skip
def test_spools_even_in_themselves_have_the_factors_of_iso_16269_6(content, confidence, k):
    """No filament varies within a spool: metres are spool means, k normal values."""
    means = spools(k)
    draws = lot_draws(means)
    m = len(draws.mu_mm)
    got = half(tolerance_interval(means, draws, content, confidence)) / 0.01
    exact = exact_factor(k, content)
    assert between(got, exact, confidence, m)
    (printed,) = (
        float(table["k"][str(k)])
        for table in ISO.values()
        if (table["coverage"], table["confidence"]) == (content, confidence)
    )
    assert -1e-6 < printed - exact(confidence) < 1.01e-4  # rounded up at the fourth decimal


@pytest.mark.parametrize("confidence", [0.80, 0.95, 0.99])
@pytest.mark.parametrize("k", [2, 3, 8, 30])
def test_the_next_spool_is_predicted_by_student(k, confidence):
    means = spools(k)
    draws = lot_draws(means)
    lo, hi = predicted_spool(means, draws, confidence)
    width = 0.01 * np.sqrt(1 + 1 / k)
    p, m = (1 + confidence) / 2, len(draws.mu_mm)
    assert between((hi - 1.75) / width, lambda q: stats.t.ppf(q, k - 1), p, m)
    assert between((1.75 - lo) / width, lambda q: stats.t.ppf(q, k - 1), p, m)


@pytest.mark.parametrize("confidence", [0.80, 0.95])
@pytest.mark.parametrize("k", [2, 3, 8, 30])
def test_the_spread_between_spools_has_chi_square_limits(k, confidence):
    draws = lot_draws(spools(k))
    m, df = len(draws.mu_mm), k - 1

    def quantile(q):
        return 0.01 * np.sqrt(df / stats.chi2.isf(q, df))

    lo, hi = between_sd_interval(draws, confidence)
    assert between(lo, quantile, (1 - confidence) / 2, m)
    assert between(hi, quantile, (1 + confidence) / 2, m)


@pytest.mark.parametrize("n_places", [2, 10, 40])
def test_what_means_of_places_do_not_know_is_taken_off_the_spread_between(n_places):
    """Within known exactly: the chi-square limits of the means, less v / n, none below 0."""
    means = spools(6, n_places=n_places, variance=4e-4)
    draws = lot_draws(means)

    def quantile(q):
        return np.sqrt(max(0.0, 5e-4 / stats.chi2.isf(q, 5) - 4e-4 / n_places))

    lo, hi = between_sd_interval(draws)
    assert between(lo, quantile, 0.025, len(draws.mu_mm))
    assert between(hi, quantile, 0.975, len(draws.mu_mm))


def test_unequal_numbers_of_places_count_by_their_harmonic_mean():
    even = spools(4, n_places=4, variance=3e-4, df=12, reading=0.0)
    uneven = replace(even, n_places=np.array([3.0, 6.0, 6.0, 3.0]))
    one, other = lot_draws(even), lot_draws(uneven)
    for name in ("mu_mm", "between_sd_mm", "within_sd_mm"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)
    for interval in (tolerance_interval, predicted_spool):
        assert interval(even, one) == pytest.approx(interval(uneven, other), rel=1e-9)


def test_spread_within_has_chi_square_limits_and_reading_is_taken_off():
    draws = lot_draws(spools(5, n_places=6, variance=4e-4, df=25, reading=1.5e-4))
    m = len(draws.mu_mm)
    for p in (0.025, 0.2, 0.5, 0.9, 0.975):
        got = np.quantile(draws.within_sd_mm, p)

        def quantile(q):
            return np.sqrt(max(0.0, 25 * 4e-4 / stats.chi2.isf(q, 25) - 1.5e-4))

        assert between(got, quantile, p, m)
    assert lot_draws(spools(5, variance=1e-4, reading=2e-4)).within_sd_mm.max() == 0.0


def test_a_supposed_reading_variance_lies_anywhere_in_its_range():
    draws = lot_draws(spools(5, variance=4e-4, df=NEVER, reading=2e-4, limits=(1e-4, 3e-4)))
    left = draws.within_sd_mm**2
    for p in (0.1, 0.5, 0.9):
        # The freedom of 1e9 leaves a relative 5e-5 of chance, 2e-8 mm2, and as much by rounding.
        error = 2e-4 * slack(p, len(left)) + 8e-8
        assert np.quantile(left, p) == pytest.approx(1e-4 + 2e-4 * p, abs=error)


@pytest.mark.parametrize("k", [3, 8])
def test_chances_of_the_next_spool_are_those_of_student(k):
    draws = lot_draws(spools(k))
    lo, hi, lsl, usl = 1.744, 1.761, 1.725, 1.782
    got = fate(draws, lo, hi, lsl, usl, NEVER)
    width = 0.01 * np.sqrt(1 + 1 / k)

    def chance(a, b):
        return float(np.diff(stats.t.cdf((np.array([a, b]) - 1.75) / width, k - 1))[0])

    # The average over draws of a chance, which varies by less than 1/2 from draw to draw.
    error = 0.5 / np.sqrt(len(draws.mu_mm))
    assert got.accept == pytest.approx(chance(lo, hi), abs=error)
    assert got.reject == pytest.approx(1 - chance(lsl, usl), abs=error)
    assert got.tune == pytest.approx(chance(lsl, lo) + chance(hi, usl), abs=error)


@pytest.mark.parametrize("confidence", [0.90, 0.95])
@pytest.mark.parametrize("k", [3, 8, 25])
def test_the_chance_beyond_one_limit_has_the_limits_of_the_noncentral_t(k, confidence):
    """K = (mean - L) / s: P(t'(k-1, sqrt(k) z) <= sqrt(k) K) = q where 1 - Phi(z) lies below L."""
    K = 1.2
    draws = lot_draws(spools(k))
    got = fate(draws, 1.75 - 0.01 * K, NEVER, 1.75 - 0.01 * K, NEVER, NEVER, confidence)

    def quantile(q):
        root = np.sqrt(k)
        z = brentq(lambda z: stats.nct.cdf(root * K, k - 1, root * z) - q, -15, 15)
        return stats.norm.sf(z)

    m = len(draws.mu_mm)
    for end, q in zip(got.reject_ci, ((1 - confidence) / 2, (1 + confidence) / 2), strict=True):
        assert between(end, quantile, q, m)
    assert got.accept_ci == pytest.approx((1 - got.reject_ci[1], 1 - got.reject_ci[0]), abs=1e-9)
    assert got.tune_ci == pytest.approx((0.0, 0.0), abs=1e-12)


def test_filament_that_varies_too_much_within_is_rejected_whatever_its_mean():
    means = spools(5, n_places=6, variance=4e-4, df=25, reading=1.5e-4)
    draws = lot_draws(means)
    got = fate(draws, **WIDE, within_sd_max_mm=0.016)
    chance = stats.chi2.cdf(25 * 4e-4 / (0.016**2 + 1.5e-4), 25)
    assert got.reject == pytest.approx(chance, abs=slack(chance, len(draws.mu_mm)))
    assert got.accept == pytest.approx(1 - got.reject, abs=1e-12)
    known = lot_draws(replace(means, df=1e7))  # sqrt(2.5e-4) = 0.0158
    assert fate(known, **WIDE, within_sd_max_mm=0.0155).reject == 1.0
    assert fate(known, **WIDE, within_sd_max_mm=0.0161).accept == pytest.approx(1.0, abs=1e-12)


def test_spools_that_do_not_differ_fall_on_one_side_of_a_limit():
    """Means closer than their places explain: between is 0 in the draws, the chance a step."""
    draws = lot_draws(spools(4, s=1e-9, n_places=2, variance=1e-6))
    assert draws.between_sd_mm.max() == 0.0
    got = fate(draws, 1.76, NEVER, -NEVER, NEVER, NEVER)
    assert (got.accept, got.tune, got.reject) == pytest.approx((0.0, 1.0, 0.0), abs=1e-12)


@pytest.mark.parametrize(("df", "freedom"), [(np.inf, np.inf), (6.0, 6.0)])
def test_an_offset_of_the_tool_adds_in(df, freedom):
    """Spools equal to 1e-9 mm: nothing is left to predict but the tool."""
    means = spools(5, s=1e-9, variance=1e-16, reading=0.0, u_offset=0.005, offset_df=df)
    draws = lot_draws(means)
    law = stats.norm if np.isinf(freedom) else stats.t(freedom)
    lo, hi = predicted_spool(means, draws)
    assert between((hi - 1.75) / 0.005, law.ppf, 0.975, len(draws.mu_mm))
    assert between((1.75 - lo) / 0.005, law.ppf, 0.975, len(draws.mu_mm))
    # The lot is narrow, the tool may be off: 95 % of the time by less than its quantile.
    assert between(half(tolerance_interval(means, draws)) / 0.005, law.ppf, 0.975, len(draws.mu_mm))


@pytest.mark.parametrize("u_offset", [0.0, 0.004, 0.02])
def test_the_pivots_drawn_at_random_say_the_same(u_offset):
    """10**6 lots by the formulas of [3]; ends within the slack of either set of draws."""
    means = spools(**(CASE | {"u_offset": u_offset}))
    draws = lot_draws(means)
    rng, size, k = np.random.default_rng(2004), 10**6, 6
    observed = 4e-4 * 24 / rng.chisquare(24, size)
    total = 5e-4 / rng.chisquare(5, size)
    sb2 = np.maximum(0, total - observed / 5)
    mu = rng.normal(size=size) * np.sqrt((sb2 + observed / 5) / k) + u_offset * rng.standard_t(
        8, size
    )
    sw2 = np.maximum(0, observed - 1e-4)
    next_mu = mu + np.sqrt(sb2) * rng.normal(size=size)
    m = len(draws.mu_mm)
    lo, hi = predicted_spool(means, draws)
    assert between(hi - 1.75, lambda q: np.quantile(next_mu, q), 0.975, m)
    assert between(lo - 1.75, lambda q: np.quantile(next_mu, q), 0.025, m)
    # The half-width is enough in 95 % of the random lots.
    h, sd = half(tolerance_interval(means, draws)), np.sqrt(sb2 + sw2)
    held = stats.norm.cdf((h - mu) / sd) - stats.norm.cdf((-h - mu) / sd)
    assert np.mean(held >= 0.95) == pytest.approx(0.95, abs=slack(0.95, m))


def test_limits_hold_the_lot_as_often_as_promised():
    """Seeded, 400 lots of 5 spools of 6 places; the pivots may err to the safe side only."""
    rng, held, hit, n = np.random.default_rng(44), 0, 0, 400
    for _ in range(n):
        y = 1.75 + 0.01 * rng.normal(size=(5, 1)) + 0.012 * rng.normal(size=(5, 6))
        pooled = float(np.mean(np.var(y, axis=1, ddof=1)))
        means = SpoolMeans(y.mean(axis=1), np.full(5, 6.0), pooled, 25.0, 0.0, 0.0, np.inf)
        draws = lot_draws(means, 2000)
        lo, hi = tolerance_interval(means, draws)
        law = stats.norm(1.75, np.hypot(0.01, 0.012))
        held += law.cdf(hi) - law.cdf(lo) >= 0.95
        lo, hi = predicted_spool(means, draws)
        hit += lo <= 1.75 + 0.01 * rng.normal() <= hi
    assert held / n > 0.95 - 4 * slack(0.95, n)
    assert abs(hit / n - 0.95) < 4 * slack(0.95, n)
