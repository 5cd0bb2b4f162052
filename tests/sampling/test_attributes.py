"""Counting bad spools: by drawing every sample, by exact fractions, by trying every plan."""

from fractions import Fraction
from itertools import combinations
from math import ceil, comb, floor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from lotqa.sampling.attributes import (
    acceptance_probability,
    fraction_accepted_with,
    plan_for_risks,
    process_probability,
    zero_acceptance_size,
    zero_acceptance_size_endless,
)


def hypergeometric(n_lot, n_bad, n, c):
    """Probability of at most c bad among n drawn, as an exact fraction."""
    return sum(
        Fraction(comb(n_bad, k) * comb(n_lot - n_bad, n - k), comb(n_lot, n))
        for k in range(min(c, n_bad, n) + 1)
    )


def binomial(p, n, c):
    """The same for a lot without end."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(min(c, n) + 1))


@pytest.mark.parametrize(("n_lot", "n", "c"), [(8, 3, 0), (8, 3, 1), (7, 4, 2), (6, 6, 1)])
def test_by_drawing_every_sample_there_is(n_lot, n, c):
    samples = list(combinations(range(n_lot), n))
    share = [sum(sum(i < d for i in s) <= c for s in samples) for d in range(n_lot + 1)]
    got = acceptance_probability(np.arange(n_lot + 1), n_lot, n, c)
    assert got == pytest.approx(np.array(share) / len(samples), abs=1e-12)


@pytest.mark.parametrize(
    ("n_lot", "n", "c"),
    [(1, 1, 0), (20, 5, 0), (30, 5, 4), (60, 59, 3), (500, 80, 7), (500, 500, 10)],
)
def test_every_number_of_bad_spools_by_exact_fractions(n_lot, n, c):
    exact = [float(hypergeometric(n_lot, d, n, c)) for d in range(n_lot + 1)]
    got = acceptance_probability(np.arange(n_lot + 1), n_lot, n, c)
    assert got.shape == (n_lot + 1,)
    # Logarithms of factorials of 500 lose three digits or so.
    assert got == pytest.approx(exact, abs=1e-11)
    assert ((got >= 0) & (got <= 1)).all()


def test_large_lots_keep_their_digits():
    n_bad = np.array([0, 50, 300, 1000, 4000])
    exact = [float(hypergeometric(20_000, int(d), 125, 3)) for d in n_bad]
    assert acceptance_probability(n_bad, 20_000, 125, 3) == pytest.approx(exact, abs=1e-9)


@given(st.integers(1, 80), st.data())
@settings(max_examples=40)
def test_more_bad_spools_are_never_accepted_more_often(n_lot, data):
    n = data.draw(st.integers(1, n_lot))
    c = data.draw(st.integers(0, n))
    curve = acceptance_probability(np.arange(n_lot + 1), n_lot, n, c)
    assert (np.diff(curve) <= 1e-12).all()
    assert curve[: c + 1] == pytest.approx(1.0, abs=1e-12)
    assert curve == pytest.approx(stats.hypergeom.cdf(c, n_lot, np.arange(n_lot + 1), n), abs=1e-9)
    # One spool more allowed is accepted at least as often.
    assert (acceptance_probability(np.arange(n_lot + 1), n_lot, n, c + 1) >= curve - 1e-12).all()


def test_the_whole_lot_measured_leaves_no_chance():
    got = acceptance_probability(np.arange(13), 12, 12, 2)
    assert got == pytest.approx([1.0] * 3 + [0.0] * 10, abs=1e-12)


@pytest.mark.parametrize(
    ("n_bad", "n_lot", "n"), [(-1, 10, 2), (11, 10, 2), (3, 10, 11), (3, 10, -1)]
)
def test_numbers_that_cannot_be_are_refused(n_bad, n_lot, n):
    with pytest.raises(ValueError) as caught:
        acceptance_probability(np.array([1, n_bad]), n_lot, n, 0)
    wrong = n if 0 <= n_bad <= n_lot else n_bad
    assert str(wrong) in str(caught.value)
    assert str(n_lot) in str(caught.value)


@pytest.mark.parametrize(("n", "c"), [(1, 0), (2, 1), (13, 0), (50, 1), (125, 7), (5, 5)])
def test_a_process_by_exact_fractions(n, c):
    fraction = [Fraction(k, 40) for k in range(41)]
    exact = [float(binomial(p, n, c)) for p in fraction]
    got = process_probability(np.array([float(p) for p in fraction]), n, c)
    assert got.shape == (41,)
    assert got == pytest.approx(exact, abs=1e-12)


def test_a_huge_lot_is_nearly_endless():
    """|hypergeometric - binomial| <= n (n - 1) / (2 N) <= n^2 / N, Diaconis and Freedman 1980."""
    n_lot, n, c = 1_000_000, 32, 2
    n_bad = np.array([1_000, 30_000, 100_000, 300_000])
    near = process_probability(n_bad / n_lot, n, c)
    assert acceptance_probability(n_bad, n_lot, n, c) == pytest.approx(near, abs=n**2 / n_lot)


@given(st.floats(0.001, 0.999), st.integers(1, 300), st.data())
@settings(max_examples=60)
def test_the_fraction_accepted_so_often_is_the_inverse(pa, n, data):
    c = data.draw(st.integers(0, n - 1))
    p = fraction_accepted_with(pa, n, c)
    assert 0 < p < 1
    assert stats.binom.cdf(c, n, p) == pytest.approx(pa, abs=1e-9)
    assert process_probability(np.array([p]), n, c) == pytest.approx([pa], abs=1e-9)


def test_without_a_bad_spool_allowed_the_fraction_is_a_root():
    """(1 - p)^n = pa."""
    assert fraction_accepted_with(0.25, 2, 0) == pytest.approx(0.5, rel=1e-12)
    assert fraction_accepted_with(0.1, 20, 0) == pytest.approx(1 - 0.1 ** (1 / 20), rel=1e-12)


@pytest.mark.parametrize("pa", [0.0, 1.0, -0.2, 1.3, float("nan")])
def test_a_chance_lies_between_never_and_always(pa):
    with pytest.raises(ValueError) as caught:
        fraction_accepted_with(pa, 10, 1)
    assert f"{pa:g}" in str(caught.value)


@pytest.mark.parametrize("risk", [0.05, 0.1, 0.5])
@pytest.mark.parametrize("n_lot", [1, 2, 12, 40])
def test_the_smallest_sample_by_trying_every_size(n_lot, risk):
    exact_risk = Fraction(str(risk))
    for n_bad in range(1, n_lot + 1):
        first = next(
            n for n in range(n_lot + 1) if hypergeometric(n_lot, n_bad, n, 0) <= exact_risk
        )
        assert zero_acceptance_size(n_bad, risk, n_lot) == first


def test_a_risk_met_exactly_is_met():
    """Half the lot bad, one drawn: accepted with probability 1/2; two of four: 1/6."""
    assert zero_acceptance_size(5, 0.5, 10) == 1
    assert zero_acceptance_size_endless(0.5, 0.125) == 3
    assert zero_acceptance_size_endless(0.25, 0.5625) == 2
    assert zero_acceptance_size_endless(0.75, 0.25) == 1


@given(st.floats(0.001, 0.9), st.floats(0.001, 0.9))
def test_the_smallest_sample_of_an_endless_lot(fraction, risk):
    n = zero_acceptance_size_endless(fraction, risk)
    # Within rounding of the powers themselves.
    assert (1 - fraction) ** n <= risk * (1 + 1e-9)
    assert n >= 1
    assert n == 1 or (1 - fraction) ** (n - 1) > risk * (1 - 1e-9)


@given(st.integers(2, 60), st.data())
@settings(max_examples=40)
def test_a_lot_that_ends_needs_no_more_than_one_that_does_not(n_lot, data):
    n_bad = data.draw(st.integers(1, n_lot - 1))
    n = zero_acceptance_size(n_bad, 0.05, n_lot)
    assert n <= zero_acceptance_size_endless(n_bad / n_lot, 0.05)
    assert n <= n_lot - n_bad + 1


@pytest.mark.parametrize("risk", [0.0, 1.0, -0.1, 2.0, float("nan")])
def test_a_risk_lies_between_nothing_and_one(risk):
    for call in (
        lambda: zero_acceptance_size(2, risk, 20),
        lambda: zero_acceptance_size_endless(0.05, risk),
        lambda: plan_for_risks(0.01, risk, 0.1, 0.1),
        lambda: plan_for_risks(0.01, 0.05, 0.1, risk),
        lambda: plan_for_risks(0.01, 0.05, 0.1, risk, 100),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert f"{risk:g}" in str(caught.value)


@pytest.mark.parametrize("n_bad", [0, -2, 21])
def test_bad_spools_are_of_the_lot_and_at_least_one(n_bad):
    with pytest.raises(ValueError) as caught:
        zero_acceptance_size(n_bad, 0.1, 20)
    assert str(n_bad) in str(caught.value)
    assert "20" in str(caught.value)


@pytest.mark.parametrize("fraction", [0.0, -0.1, 1.5, float("nan")])
def test_a_fraction_of_nothing_needs_no_sample(fraction):
    with pytest.raises(ValueError) as caught:
        zero_acceptance_size_endless(fraction, 0.1)
    assert f"{fraction:g}" in str(caught.value)


def tried(accept_good, accept_bad, producer_risk, consumer_risk, sizes):
    """The first size and then number allowed that keep both risks, by trying all; None if none."""
    for n in sizes:
        for c in range(n):
            if accept_good(n, c) >= 1 - producer_risk and accept_bad(n, c) <= consumer_risk:
                return n, c
    return None


ENDLESS_CASES = [
    (0.01, 0.05, 0.10, 0.10),
    (0.02, 0.05, 0.15, 0.20),
    (0.05, 0.10, 0.20, 0.10),
    (0.001, 0.05, 0.30, 0.10),
    (0.20, 0.30, 0.80, 0.30),
    (0.30, 0.10, 0.55, 0.05),
]


@pytest.mark.parametrize(("good", "alpha", "bad", "beta"), ENDLESS_CASES)
def test_the_smallest_plan_for_a_process(good, alpha, bad, beta):
    plan = plan_for_risks(good, alpha, bad, beta)
    expected = tried(
        lambda n, c: stats.binom.cdf(c, n, good),
        lambda n, c: stats.binom.cdf(c, n, bad),
        alpha,
        beta,
        range(1, 200),
    )
    assert (plan.n, plan.acceptance) == expected
    assert plan.producer_risk == pytest.approx(stats.binom.sf(plan.acceptance, plan.n, good))
    assert plan.consumer_risk == pytest.approx(stats.binom.cdf(plan.acceptance, plan.n, bad))
    assert plan.producer_risk <= alpha
    assert plan.consumer_risk <= beta


LOT_CASES = [
    (0.01, 0.05, 0.10, 0.10, 100),
    (0.05, 0.05, 0.20, 0.10, 40),
    (0.02, 0.05, 0.15, 0.10, 300),
    (0.05, 0.10, 0.30, 0.10, 20),
    (0.10, 0.05, 0.40, 0.10, 30),
    (0.03, 0.05, 0.07, 0.10, 100),  # 7 of 100, although 0.07 * 100 is a little more in binary
    (0.29, 0.20, 0.60, 0.10, 100),  # 29 of 100, although 0.29 * 100 is a little less
]


@pytest.mark.parametrize(("good", "alpha", "bad", "beta", "n_lot"), LOT_CASES)
def test_the_smallest_plan_for_a_lot(good, alpha, bad, beta, n_lot):
    n_good = floor(Fraction(str(good)) * n_lot)
    n_bad = ceil(Fraction(str(bad)) * n_lot)
    plan = plan_for_risks(good, alpha, bad, beta, n_lot)
    expected = tried(
        lambda n, c: stats.hypergeom.cdf(c, n_lot, n_good, n),
        lambda n, c: stats.hypergeom.cdf(c, n_lot, n_bad, n),
        alpha,
        beta,
        range(1, n_lot),
    )
    assert (plan.n, plan.acceptance) == expected
    accepted_good = hypergeometric(n_lot, n_good, plan.n, plan.acceptance)
    accepted_bad = hypergeometric(n_lot, n_bad, plan.n, plan.acceptance)
    assert plan.producer_risk == pytest.approx(float(1 - accepted_good), abs=1e-9)
    assert plan.consumer_risk == pytest.approx(float(accepted_bad), abs=1e-9)


@pytest.mark.parametrize(
    ("good", "bad", "n_lot", "n_good"),
    [(0.20, 0.25, 4, 0), (0.30, 0.31, 10, 3), (0.29, 0.30, 100, 29), (0.10, 0.15, 1, 0)],
)
def test_where_no_sample_will_do_everything_is_inspected(good, bad, n_lot, n_good):
    """Limits so near each other that even one spool left out breaks a risk of 1 in 1000."""
    plan = plan_for_risks(good, 0.001, bad, 0.001, n_lot)
    assert (plan.n, plan.acceptance) == (n_lot, n_good)
    assert plan.producer_risk == pytest.approx(0.0, abs=1e-12)
    assert plan.consumer_risk == pytest.approx(0.0, abs=1e-12)


def test_a_lot_needs_no_more_than_a_process_where_the_fractions_are_whole_spools():
    plan = plan_for_risks(0.01, 0.05, 0.10, 0.10, 1000)
    assert plan.n <= plan_for_risks(0.01, 0.05, 0.10, 0.10).n


@pytest.mark.parametrize("lot_size", [None, 50])
@pytest.mark.parametrize(
    ("good", "bad", "named"),
    [
        (0.0, 0.1, "0"),
        (-0.1, 0.1, "-0.1"),
        (0.1, 1.0, "1"),
        (0.2, 0.2, "0.2"),
        (0.3, 0.1, "0.3"),
        (float("nan"), 0.1, "nan"),
        (0.1, float("nan"), "nan"),
    ],
)
def test_good_is_less_than_bad_and_both_are_fractions(good, bad, named, lot_size):
    with pytest.raises(ValueError) as caught:
        plan_for_risks(good, 0.05, bad, 0.1, lot_size)
    assert named in str(caught.value)
