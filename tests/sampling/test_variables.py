"""One limit, spread unknown: noncentral t of scipy, integrals, closed forms and seeded lots.

The estimated fraction is held against two other roads: Student's law (a scaled deviation u of a
normal sample is t / sqrt(n - 2 + t^2), t with n - 2 degrees of freedom) and what makes it the
estimate it is, that its expectation is the fraction itself.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from lotqa.sampling.variables import (
    accept_probability_one_limit,
    estimated_fraction,
    k_for,
    maximum_sd_ratio,
    most_fraction,
    plan_for_risks_variables,
)

FRACTIONS = np.array([0.0005, 0.01, 0.05, 0.2, 0.5, 0.8])


def outside(q, n):
    """Estimated fraction beyond a limit that is q sample deviations away, by Student's law."""
    u = q * np.sqrt(n) / (n - 1)
    if abs(u) >= 1:
        return 0.0 if u > 0 else 1.0
    return stats.t.sf(u * np.sqrt((n - 2) / (1 - u**2)), n - 2)


@pytest.mark.parametrize("k", [-1.2, 0.0, 0.6, 1.53, 2.4])
@pytest.mark.parametrize("n", [2, 3, 5, 10, 35, 200])
def test_chance_of_acceptance_as_scipy_has_the_noncentral_t(n, k):
    delta = np.sqrt(n) * stats.norm.isf(FRACTIONS)
    got = accept_probability_one_limit(FRACTIONS, n, k)
    assert got.shape == FRACTIONS.shape
    assert got == pytest.approx(stats.nct.sf(np.sqrt(n) * k, n - 1, delta), abs=1e-9)


@pytest.mark.parametrize("n", [2, 3, 8, 40])
@pytest.mark.parametrize("k", [0.5, 1.7])
def test_chance_of_acceptance_by_integrating_over_the_spread(n, k):
    """Given s the mean is normal: accepted with Phi(sqrt(n) (z - k s / sigma))."""
    z = stats.norm.isf(FRACTIONS)
    for fraction, zp in zip(FRACTIONS, z, strict=True):
        expected, _ = integrate.quad(
            lambda v, zp=zp: (
                stats.chi.pdf(v, n - 1) * stats.norm.cdf(np.sqrt(n) * (zp - k * v / np.sqrt(n - 1)))
            ),
            0,
            np.sqrt(n - 1) + 10,
            epsabs=1e-12,
        )
        (got,) = accept_probability_one_limit(np.array([fraction]), n, k)
        assert got == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("n", [2, 3, 20])
def test_without_a_distance_kept_the_mean_alone_decides(n):
    """k = 0 accepts where the mean is within the limit: Phi(sqrt(n) z)."""
    expected = stats.norm.cdf(np.sqrt(n) * stats.norm.isf(FRACTIONS))
    assert accept_probability_one_limit(FRACTIONS, n, 0.0) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("n", "k"), [(2, 1.0), (3, 1.12), (5, 1.53), (20, 2.1)])
def test_chance_of_acceptance_by_judging_many_lots(n, k):
    """Five standard errors of the share of 40,000 samples."""
    runs = 40_000
    sample = np.random.default_rng(414).standard_normal((runs, n))
    mean, s = sample.mean(axis=1), sample.std(axis=1, ddof=1)
    fractions = np.array([0.01, 0.08, 0.3])
    for fraction, p in zip(fractions, accept_probability_one_limit(fractions, n, k), strict=True):
        share = np.mean((stats.norm.isf(fraction) - mean) / s >= k)
        assert abs(share - p) <= 5 * np.sqrt(p * (1 - p) / runs)


@pytest.mark.parametrize("n", [2, 3, 10])
def test_nothing_outside_is_always_accepted_and_everything_never(n):
    got = accept_probability_one_limit(np.array([0.0, 1.0]), n, 1.5)
    assert got == pytest.approx([1.0, 0.0], abs=1e-12)


@given(st.integers(2, 150), st.floats(0.2, 3.0))
@settings(max_examples=30, deadline=None)
def test_the_more_lies_outside_the_less_is_accepted(n, k):
    curve = accept_probability_one_limit(np.linspace(0.001, 0.9, 50), n, k)
    assert (np.diff(curve) <= 1e-12).all()
    assert ((curve >= 0) & (curve <= 1)).all()
    stricter = accept_probability_one_limit(np.linspace(0.001, 0.9, 50), n, k + 0.1)
    assert (stricter <= curve + 1e-12).all()


@given(st.floats(0.0005, 0.6), st.floats(0.01, 0.99), st.integers(2, 200))
@settings(max_examples=60, deadline=None)
def test_k_is_the_inverse(fraction, accepted_with, n):
    k = k_for(fraction, accepted_with, n)
    assert accept_probability_one_limit(np.array([fraction]), n, k) == pytest.approx(
        [accepted_with], abs=1e-8
    )
    delta = np.sqrt(n) * stats.norm.isf(fraction)
    assert stats.nct.sf(np.sqrt(n) * k, n - 1, delta) == pytest.approx(accepted_with, abs=1e-7)


@pytest.mark.parametrize("accepted_with", [0.02, 0.3, 0.5, 0.97])
@pytest.mark.parametrize("n", [2, 3, 12])
def test_half_a_lot_outside_leaves_students_law(n, accepted_with):
    expected = stats.t.isf(accepted_with, n - 1) / np.sqrt(n)
    assert k_for(0.5, accepted_with, n) == pytest.approx(expected, abs=1e-8)


def test_two_spools_and_half_a_lot_outside_leave_a_tangent():
    """One degree of freedom is Cauchy: k = tan(pi (1/2 - chance)) / sqrt(2)."""
    for accepted_with in (0.001, 0.1, 0.25, 0.4, 0.999):
        expected = np.tan(np.pi * (0.5 - accepted_with)) / np.sqrt(2)
        assert k_for(0.5, accepted_with, 2) == pytest.approx(expected, rel=1e-7)


def test_a_large_sample_leaves_the_normal_distance():
    """The excess over z falls as 1 / sqrt(n): z sd(s)/sigma and sd(mean)/sigma are that small."""
    n = 20_000
    z = stats.norm.isf(0.025)
    for accepted_with in (0.05, 0.95):
        near = z + stats.norm.isf(accepted_with) * np.sqrt((1 + z**2 / 2) / n)
        assert k_for(0.025, accepted_with, n) == pytest.approx(near, abs=10 / n)


@pytest.mark.parametrize("n", [3, 4, 5, 7, 10, 35, 200])
def test_estimated_fraction_by_students_law(n):
    q = np.concatenate([np.linspace(-3, 3, 61), [(n - 1) / np.sqrt(n), 40.0, -40.0]])
    got = estimated_fraction(q, n)
    assert got.shape == q.shape
    assert got == pytest.approx([outside(v, n) for v in q], abs=1e-11)


def test_estimated_fraction_in_closed_form():
    """Three spools: arc sine; four: a straight line; six: a cubic."""
    q = np.linspace(-1.1, 1.1, 23)
    three = 0.5 - np.arcsin(q * np.sqrt(3) / 2) / np.pi
    assert estimated_fraction(q, 3) == pytest.approx(three, abs=1e-9)
    assert estimated_fraction(q, 4) == pytest.approx(0.5 - q / 3, abs=1e-12)
    u = q * np.sqrt(6) / 5
    assert estimated_fraction(q, 6) == pytest.approx(0.5 - 0.75 * (u - u**3 / 3), abs=1e-12)


@pytest.mark.parametrize("n", [3, 5, 20])
def test_a_limit_that_no_sample_can_reach_has_nothing_beyond(n):
    """No spool lies further than (n - 1) / sqrt(n) sample deviations from the mean."""
    furthest = (n - 1) / np.sqrt(n)
    got = estimated_fraction(np.array([furthest * 1.000001, -furthest * 1.000001]), n)
    assert got.tolist() == [0.0, 1.0]
    assert estimated_fraction(np.array([furthest * 0.99]), n)[0] > 0


@given(st.floats(-4, 4), st.integers(3, 300))
def test_both_sides_of_a_limit_make_one(q, n):
    below, above = estimated_fraction(np.array([q, -q]), n)
    assert below + above == pytest.approx(1.0, abs=1e-10)


@pytest.mark.parametrize("fraction", [0.002, 0.05, 0.4])
@pytest.mark.parametrize("n", [3, 4, 5, 15])
def test_on_average_the_estimate_is_the_fraction(n, fraction):
    """Unbiased, Lieberman and Resnikoff 1955: the expectation over sqrt(n) Q, noncentral t.

    Q grows without end where s is small; there nothing is beyond the limit.
    """
    delta = np.sqrt(n) * stats.norm.isf(fraction)
    edge = n - 1  # of sqrt(n) Q, beyond it all or nothing lies outside
    low = max(-edge, stats.nct.ppf(1e-10, n - 1, delta))  # below it the estimate counts as 1

    def part(t):
        return estimated_fraction(np.array([t / np.sqrt(n)]), n)[0] * stats.nct.pdf(t, n - 1, delta)

    middle, _ = integrate.quad(part, low, edge, epsabs=1e-10, limit=400)
    assert middle + stats.nct.cdf(low, n - 1, delta) == pytest.approx(fraction, abs=1e-7)


def test_an_unknown_distance_has_an_unknown_fraction():
    assert np.isnan(estimated_fraction(np.array([np.nan, 1.0]), 5)).tolist() == [True, False]


@given(st.floats(0.1, 2.5), st.floats(0.0, 4.0), st.integers(3, 200))
def test_both_forms_judge_alike(k, q, n):
    """Where most is more than nothing, estimated <= most exactly where Q >= k."""
    most = most_fraction(k, n)
    assert most == pytest.approx(outside(k, n), abs=1e-11)
    if most > 1e-12 and abs(q - k) > 1e-9:
        assert (estimated_fraction(np.array([q]), n)[0] <= most) == (q >= k)


def test_largest_spread_in_closed_form():
    """Centred, half of most beyond each limit; four spools: 1 / (3 (1 - most)), three: a sine."""
    for most in (0.01, 0.1088, 0.3):
        assert maximum_sd_ratio(most, 4) == pytest.approx(1 / (3 * (1 - most)), rel=1e-9)
        three = np.sqrt(3) / 4 / np.sin(np.pi / 2 * (1 - most))
        assert maximum_sd_ratio(most, 3) == pytest.approx(three, rel=1e-7)


@pytest.mark.parametrize("n", [3, 4, 5, 10, 35, 200])
@pytest.mark.parametrize("most", [0.0005, 0.02, 0.1, 0.4])
def test_at_the_largest_spread_half_of_most_is_beyond_each_limit(n, most):
    q = 1 / (2 * maximum_sd_ratio(most, n))
    assert 2 * outside(q, n) == pytest.approx(most, rel=1e-6)


def scanned(good, producer_risk, bad, consumer_risk):
    """The first sample for which the producer's k also keeps the consumer's risk, by scipy."""
    for n in range(2, 400):
        delta_good, delta_bad = (np.sqrt(n) * stats.norm.isf(p) for p in (good, bad))
        t = stats.nct.isf(1 - producer_risk, n - 1, delta_good)
        taken = stats.nct.sf(t, n - 1, delta_bad)
        if taken <= consumer_risk:
            return n, t / np.sqrt(n), taken
    raise AssertionError("no plan found")


@pytest.mark.parametrize(
    ("good", "producer_risk", "bad", "consumer_risk"),
    [
        (0.01, 0.05, 0.10, 0.10),
        (0.02, 0.05, 0.15, 0.20),
        (0.05, 0.10, 0.20, 0.10),
        (0.001, 0.05, 0.30, 0.10),
        (0.20, 0.30, 0.80, 0.30),
        (0.30, 0.10, 0.55, 0.05),
        (0.01, 0.05, 0.03, 0.10),
    ],
)
def test_the_smallest_plan_by_trying_every_sample(good, producer_risk, bad, consumer_risk):
    plan = plan_for_risks_variables(good, producer_risk, bad, consumer_risk)
    n, k, taken = scanned(good, producer_risk, bad, consumer_risk)
    assert plan.n == n
    assert plan.k == pytest.approx(k, abs=1e-7)
    assert plan.producer_risk == pytest.approx(producer_risk, abs=1e-8)
    assert plan.consumer_risk == pytest.approx(taken, abs=1e-7)
    curve = accept_probability_one_limit(np.array([good, bad]), plan.n, plan.k)
    assert curve == pytest.approx([1 - plan.producer_risk, plan.consumer_risk], abs=1e-9)


@pytest.mark.parametrize("wrong", [-0.1, 0.0, 1.0, 1.5, float("nan")])
def test_fractions_and_chances_lie_between_nothing_and_one(wrong):
    for call in (
        lambda: k_for(wrong, 0.9, 10),
        lambda: k_for(0.01, wrong, 10),
        lambda: plan_for_risks_variables(0.01, wrong, 0.1, 0.1),
        lambda: plan_for_risks_variables(0.01, 0.05, 0.1, wrong),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert f"{wrong:g}" in str(caught.value)


@pytest.mark.parametrize(
    ("good", "bad", "named"),
    [(0.0, 0.1, "0"), (0.1, 1.0, "1"), (0.2, 0.2, "0.2"), (0.3, 0.1, "0.3"), (0.1, np.nan, "nan")],
)
def test_good_is_less_than_bad_and_both_are_fractions(good, bad, named):
    with pytest.raises(ValueError) as caught:
        plan_for_risks_variables(good, 0.05, bad, 0.1)
    assert named in str(caught.value)


@pytest.mark.parametrize("wrong", [-0.2, 1.3])
def test_a_fraction_outside_is_a_fraction(wrong):
    with pytest.raises(ValueError) as caught:
        accept_probability_one_limit(np.array([0.1, wrong]), 10, 1.5)
    assert f"{wrong:g}" in str(caught.value)


@pytest.mark.parametrize("n", [1, 0, -3])
def test_one_spool_has_no_spread(n):
    for call in (
        lambda: k_for(0.01, 0.9, n),
        lambda: accept_probability_one_limit(np.array([0.1]), n, 1.5),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert str(n) in str(caught.value)


@pytest.mark.parametrize("n", [2, 1])
def test_two_spools_have_no_estimated_fraction(n):
    for call in (
        lambda: estimated_fraction(np.array([1.0]), n),
        lambda: most_fraction(1.5, n),
        lambda: maximum_sd_ratio(0.05, n),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert str(n) in str(caught.value)
