"""Two limits, spread unknown: accepted where the fractions below and above together are few enough.

The other road to the chance of acceptance goes over the mean, not over the spread: at a given mean
every sample is accepted up to one largest s, so that a chi-square probability is left.  That holds
for three spools too, where a centred mean is *not* the one that bears most spread.
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from lotqa.sampling.variables import (
    accept_probability_one_limit,
    accept_probability_two_limits,
    acceptance_curve,
    judge_two_limits,
    maximum_sd_ratio,
    most_fraction,
)

LSL, USL = 1.70, 1.80
WIDTH = USL - LSL


def outside(q, n):
    """Estimated fraction beyond a limit q sample deviations away, by Student's law; any shape."""
    u = np.clip(np.asarray(q, dtype=float) * np.sqrt(n) / (n - 1), -1, 1)
    with np.errstate(divide="ignore"):
        return special.stdtr(n - 2, -u * np.sqrt(n - 2) / np.sqrt(1 - u**2))


def together(mean, s, n, lsl=LSL, usl=USL):
    return outside((mean - lsl) / s, n) + outside((usl - mean) / s, n)


def largest_s(mean, n, most):
    """The largest accepted s at this mean, in widths of the tolerance; limits 0 and 1."""
    return optimize.brentq(
        lambda s: float(together(mean, s, n, 0.0, 1.0)) - most, 1e-9, 2.0, xtol=1e-14
    )


def over_the_mean(mu, sigma, n, most):
    """Chance of acceptance by integrating over the mean."""
    mu, sigma = (mu - LSL) / WIDTH, sigma / WIDTH
    sd = sigma / np.sqrt(n)

    def part(z):
        s = largest_s(mu + sd * z, n, most)
        return stats.norm.pdf(z) * special.chdtr(n - 1, (n - 1) * (s / sigma) ** 2)

    k = optimize.brentq(lambda q: float(outside(q, n)) - most, 0, (n - 1) / np.sqrt(n))
    first = k / (k + (n - 1) / np.sqrt(n))  # from here on both limits count
    ends = (np.array([1e-7, first, 0.5, 1 - first, 1 - 1e-7]) - mu) / sd
    marks = np.unique(
        np.clip(np.concatenate([ends, [-2, 0, 2]]), max(-9, ends[0]), min(9, ends[-1]))
    )
    return sum(integrate.quad(part, a, b, epsabs=1e-11, epsrel=1e-9)[0] for a, b in pairwise(marks))


CASES = [
    *[(3, most) for most in (0.0759, 0.3369)],
    *[(4, most) for most in (0.0149, 0.1641)],
    *[(5, most) for most in (0.0005, 0.0333, 0.2655)],
    *[(7, 0.0354), (10, 0.0077), (13, 0.05), (35, 0.0558), (200, 0.0204)],
]
LOTS = np.array(  # mean and spread, the latter in widths
    [
        (1.750, 0.05),
        (1.750, 0.20),
        (1.750, 0.30),
        (1.750, 0.60),
        (1.763, 0.15),
        (1.737, 0.25),
        (1.790, 0.04),
        (1.790, 0.30),
        (1.805, 0.10),
        (1.700, 0.02),
    ]
)


@pytest.mark.parametrize(("n", "most"), CASES)
def test_chance_of_acceptance_by_integrating_over_the_mean(n, most):
    mu, sigma = LOTS[:, 0], LOTS[:, 1] * WIDTH
    got = accept_probability_two_limits(mu, sigma, LSL, USL, n, most)
    assert got.shape == mu.shape
    expected = [over_the_mean(m, s, n, most) for m, s in zip(mu, sigma, strict=True)]
    assert got == pytest.approx(expected, abs=1e-9)  # what the function promises
    assert ((got >= 0) & (got <= 1)).all()


@pytest.mark.parametrize(("n", "most"), CASES)
def test_chance_of_acceptance_by_judging_many_lots(n, most):
    """Five standard errors of the share of 20,000 samples of the same lots."""
    runs = 20_000
    sample = np.random.default_rng(3951).standard_normal((runs, n))
    mean, s = sample.mean(axis=1), sample.std(axis=1, ddof=1)
    mu, sigma = LOTS[:, 0], LOTS[:, 1] * WIDTH
    for i, p in enumerate(accept_probability_two_limits(mu, sigma, LSL, USL, n, most)):
        share = np.mean(together(mu[i] + sigma[i] * mean, sigma[i] * s, n) <= most)
        assert abs(share - p) <= 5 * np.sqrt(p * (1 - p) / runs) + 1e-6


@pytest.mark.parametrize(("n", "k"), [(3, 1.12), (5, 1.53), (10, 1.72), (50, 1.93)])
def test_with_one_limit_far_away_the_other_decides(n, k):
    fraction = np.array([0.002, 0.02, 0.1, 0.4])
    expected = accept_probability_one_limit(fraction, n, k)
    z, sigma = stats.norm.isf(fraction), np.full(4, 0.02)
    for lsl, usl, mu in (
        (1.7, 1.7 + 0.02 * 90, 1.7 + 0.02 * z),
        (1.7, 1.7 + 0.02 * 90, 1.7 + 0.02 * (90 - z)),
    ):
        got = accept_probability_two_limits(mu, sigma, lsl, usl, n, most_fraction(k, n))
        assert got == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("n", "most"), CASES)
def test_a_lot_and_its_mirror_image_are_judged_alike(n, most):
    mu, sigma = LOTS[:, 0], LOTS[:, 1] * WIDTH
    got = accept_probability_two_limits(mu, sigma, LSL, USL, n, most)
    mirrored = accept_probability_two_limits(LSL + USL - mu, sigma, LSL, USL, n, most)
    assert mirrored == pytest.approx(got, abs=1e-9)
    scaled = accept_probability_two_limits(
        30 * mu - 7, 30 * sigma, 30 * LSL - 7, 30 * USL - 7, n, most
    )
    assert scaled == pytest.approx(got, abs=1e-9)
    alone = [
        accept_probability_two_limits(mu[i : i + 1], sigma[i : i + 1], LSL, USL, n, most)[0]
        for i in range(mu.size)
    ]
    assert alone == pytest.approx(got, abs=1e-12)


@pytest.mark.parametrize("n", [3, 5, 20])
def test_more_spread_and_a_mean_further_off_are_accepted_less(n):
    sigma = np.linspace(0.05, 1.0, 40) * WIDTH
    curve = accept_probability_two_limits(np.full(40, 1.75), sigma, LSL, USL, n, 0.05)
    assert (np.diff(curve) < 1e-6).all()
    assert curve[0] > 0.99
    mu = np.linspace(1.75, 1.85, 40)
    curve = accept_probability_two_limits(mu, np.full(40, 0.1 * WIDTH), LSL, USL, n, 0.05)
    assert (np.diff(curve) < 1e-6).all()
    more = accept_probability_two_limits(mu, np.full(40, 0.1 * WIDTH), LSL, USL, n, 0.1)
    assert (more >= curve - 1e-6).all()


@pytest.mark.parametrize("n", [3, 4, 10])
def test_a_lot_without_spread_is_accepted_by_its_mean(n):
    mu = np.array([1.69, 1.7001, 1.75, 1.7999, 1.81])
    for sigma in (0.0, 1e-9):
        got = accept_probability_two_limits(mu, np.full(5, sigma), LSL, USL, n, 0.05)
        assert got == pytest.approx([0, 1, 1, 1, 0], abs=1e-9)


@pytest.mark.parametrize("n", [3, 5, 12])
@pytest.mark.parametrize("mean", [1.69, 1.71, 1.75, 1.782, 1.83])
@pytest.mark.parametrize("s", [0.004, 0.03, 0.2])
def test_the_judgement_of_a_sample(n, mean, s):
    below, above = (float(outside(q, n)) for q in ((mean - LSL) / s, (USL - mean) / s))
    for most in (0.01, 0.2):
        got = judge_two_limits(mean, s, n, LSL, USL, most)
        assert got.below == pytest.approx(below, abs=1e-11)
        assert got.above == pytest.approx(above, abs=1e-11)
        assert bool(got.accepted) == (below + above <= most)
    mirrored = judge_two_limits(LSL + USL - mean, s, n, LSL, USL, 0.2)
    assert mirrored.below == pytest.approx(above, abs=1e-9)
    assert mirrored.above == pytest.approx(below, abs=1e-9)


@pytest.mark.parametrize(
    ("mean", "below", "above"), [(1.69, 1, 0), (1.71, 0, 0), (1.75, 0, 0), (1.81, 0, 1)]
)
def test_a_sample_without_spread_lies_on_one_side_whole(mean, below, above):
    got = judge_two_limits(mean, 0.0, 5, LSL, USL, 0.03)
    assert (got.below, got.above) == (below, above)
    assert bool(got.accepted) == (below + above == 0)


@pytest.mark.parametrize(("mean", "s"), [(np.nan, 0.01), (1.75, np.nan), (np.nan, 0.0)])
def test_an_unknown_sample_is_never_accepted(mean, s):
    assert not judge_two_limits(mean, s, 5, LSL, USL, 0.5).accepted


def test_an_unknown_lot_has_no_chance():
    mu, sigma = np.array([np.nan, 1.75, np.nan, 1.75]), np.array([0.01, np.nan, 0.0, 0.01])
    got = accept_probability_two_limits(mu, sigma, LSL, USL, 5, 0.05)
    assert np.isnan(got).tolist() == [True, True, True, False]


@pytest.mark.parametrize("n", [3, 4, 5, 10, 35, 200])
@pytest.mark.parametrize("most", [0.003, 0.05, 0.3])
def test_centred_samples_are_accepted_up_to_the_largest_spread(n, most):
    s = maximum_sd_ratio(most, n) * WIDTH
    assert judge_two_limits(1.75, s * (1 - 1e-6), n, LSL, USL, most).accepted
    assert not judge_two_limits(1.75, s * (1 + 1e-6), n, LSL, USL, most).accepted


@pytest.mark.parametrize(("n", "most"), CASES)
def test_the_acceptance_curve_by_trying_every_mean(n, most):
    """A grid of means: the ends found lie within one step of the curve."""
    largest = maximum_sd_ratio(most, n)
    ratio = np.array([0.02, 0.3, 0.6, 0.9, 0.98, 1.3]) * largest
    curve = acceptance_curve(ratio, n, most)
    assert curve.shape == (6, 2)
    mean = np.linspace(0, 1, 20_001)
    for r, (low, high) in zip(ratio, curve, strict=True):
        accepted = mean[together(mean, r, n, 0.0, 1.0) <= most]
        if accepted.size:
            assert 0 <= accepted[0] - low <= mean[1] + 1e-9
            assert 0 <= high - accepted[-1] <= mean[1] + 1e-9
        else:
            assert np.isnan([low, high]).all()
        assert np.isnan(low) or together(low, r, n, 0.0, 1.0) == pytest.approx(most, rel=1e-5)
    assert np.isnan(curve[-1]).all()


@given(st.integers(3, 60), st.floats(0.4, 2.2), st.floats(0.001, 1.0))
@settings(max_examples=50)
def test_far_from_the_other_limit_the_curve_is_straight(n, k, share):
    """Lowest mean k s, as long as no spool of such a sample can lie beyond the other limit."""
    furthest = (n - 1) / np.sqrt(n)
    if k < 0.98 * furthest:
        ratio = np.array([share / (k + furthest)])
        ((low, high),) = acceptance_curve(ratio, n, most_fraction(k, n))
        assert low == pytest.approx(k * ratio[0], rel=1e-6)
        assert high == pytest.approx(1 - k * ratio[0], rel=1e-6)


def test_without_spread_every_mean_within_the_limits_is_accepted():
    assert acceptance_curve(np.array([0.0]), 5, 0.03) == pytest.approx(np.array([[0, 1]]), abs=1e-9)


def test_three_spools_bear_most_spread_beside_the_centre():
    """The arc sine is hollow: two small fractions make more than one of double distance.

    k = 1.122 at most = 7.59 %.  Centred, s may be 0.4361 of the width; beside the centre the far
    limit drops out and s may be 1 / (k + 2 / sqrt(3)) = 0.4392 of it.
    """
    most, s = 0.0759, 0.438
    k = 2 / np.sqrt(3) * np.sin(np.pi * (0.5 - most))
    assert not judge_two_limits(0.5, s, 3, 0.0, 1.0, most).accepted
    assert judge_two_limits(0.493, s, 3, 0.0, 1.0, most).accepted
    assert judge_two_limits(0.507, s, 3, 0.0, 1.0, most).accepted
    ((low, high),) = acceptance_curve(np.array([s]), 3, most)
    assert (low, high) == pytest.approx((k * s, 1 - k * s), abs=1e-6)


@pytest.mark.parametrize("n", [2, 1])
def test_two_spools_cannot_be_judged_by_fractions(n):
    one = np.array([1.75])
    for call in (
        lambda: judge_two_limits(1.75, 0.01, n, LSL, USL, 0.05),
        lambda: acceptance_curve(np.array([0.1]), n, 0.05),
        lambda: accept_probability_two_limits(one, 0 * one + 0.01, LSL, USL, n, 0.05),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert str(n) in str(caught.value)


@pytest.mark.parametrize(("lsl", "usl"), [(1.8, 1.7), (1.75, 1.75)])
def test_limits_stand_in_their_order(lsl, usl):
    one = np.array([1.75])
    for call in (
        lambda: judge_two_limits(1.75, 0.01, 5, lsl, usl, 0.05),
        lambda: accept_probability_two_limits(one, 0 * one + 0.01, lsl, usl, 5, 0.05),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert f"{lsl:g}" in str(caught.value)
        assert f"{usl:g}" in str(caught.value)


def test_a_spread_is_not_less_than_nothing():
    mu = np.array([1.75, 1.76])
    for call in (
        lambda: judge_two_limits(1.75, -0.013, 5, LSL, USL, 0.05),
        lambda: accept_probability_two_limits(mu, np.array([0.01, -0.013]), LSL, USL, 5, 0.05),
        lambda: acceptance_curve(np.array([0.2, -0.013]), 5, 0.05),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert "-0.013" in str(caught.value)
