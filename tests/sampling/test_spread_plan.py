"""The requirement on the spread, by the chi-square law: scipy, exact sums and seeded lots."""

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.sampling.spread import largest_ratio, probability_accept_spread

RATIOS = np.array([0.3, 0.7, 0.9, 1.0, 1.1, 1.5, 3.0])


@pytest.mark.parametrize("df", [1, 2, 5, 19, 39, 200])
def test_as_scipy_has_the_chi_square(df):
    expected = stats.chi2.cdf(df / RATIOS**2, df)
    assert probability_accept_spread(RATIOS, df) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("df", "terms"),
    [
        (2, np.ones_like),
        (4, lambda h: 1.0 + h),
        (6, lambda h: 1.0 + h + h**2 / 2),
    ],
)
@pytest.mark.parametrize("ratio", [0.6, 1.0, 1.7])
def test_even_degrees_of_freedom_have_a_closed_form(df, terms, ratio):
    """P(chi2 <= 2 h) = 1 - exp(-h) (1 + h + h^2/2 + ...), the Poisson sum."""
    h = df / ratio**2 / 2
    expected = 1 - exp(-h) * terms(h)
    got = probability_accept_spread(np.array([ratio]), df)
    assert got == pytest.approx([expected], abs=1e-12)


def test_a_spread_of_nothing_is_always_accepted_and_an_immense_one_never():
    got = probability_accept_spread(np.array([0.0, 1e-9, 1e6]), 9)
    assert got == pytest.approx([1.0, 1.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("df", [1, 4, 19, 39])
def test_the_more_spread_the_less_is_accepted(df):
    got = probability_accept_spread(np.linspace(0.4, 2.5, 80), df)
    open_question = (got[:-1] < 1 - 1e-12) & (got[1:] > 1e-12)  # elsewhere it is 1 or 0 to a float
    assert np.count_nonzero(open_question) > 30
    assert (np.diff(got)[open_question] < 0).all()


def test_more_places_tell_good_from_bad_better():
    few, many = (probability_accept_spread(np.array([0.8, 1.25]), df) for df in (9, 39))
    assert many[0] > few[0]
    assert many[1] < few[1]


@given(st.floats(0.001, 0.999), st.integers(1, 300))
def test_largest_ratio_is_the_inverse(accepted_with, df):
    ratio = largest_ratio(accepted_with, df)
    again = probability_accept_spread(np.array([ratio]), df)
    assert again == pytest.approx([accepted_with], abs=1e-9)
    assert ratio == pytest.approx(np.sqrt(df / stats.chi2.ppf(accepted_with, df)), rel=1e-7)


@given(st.floats(0.05, 5.0), st.floats(0.0, 3.0), st.integers(1, 100))
def test_what_is_known_of_the_reading_is_taken_off(ratio, taken_off, df):
    """s_obs^2 - t <= 1 with s_obs^2 = (ratio^2 + t) chi2 / df."""
    expected = stats.chi2.cdf(df * (1 + taken_off) / (ratio**2 + taken_off), df)
    got = probability_accept_spread(np.array([ratio]), df, taken_off=taken_off)
    assert got == pytest.approx([expected], abs=1e-11)


def test_nothing_taken_off_is_the_plain_case_and_each_ratio_has_its_own():
    plain = probability_accept_spread(RATIOS, 19)
    assert probability_accept_spread(RATIOS, 19, taken_off=0.0) == pytest.approx(plain, abs=1e-15)
    taken_off = np.linspace(0.0, 1.2, RATIOS.size)
    together = probability_accept_spread(RATIOS, 19, taken_off=taken_off)
    alone = [
        probability_accept_spread(RATIOS[i : i + 1], 19, taken_off=float(taken_off[i]))[0]
        for i in range(RATIOS.size)
    ]
    assert together == pytest.approx(alone, abs=1e-15)


def test_a_reading_that_blurs_makes_the_choice_less_sharp():
    sharp = probability_accept_spread(np.array([0.6, 1.6]), 19)
    blurred = probability_accept_spread(np.array([0.6, 1.6]), 19, taken_off=1.0)
    assert blurred[0] < sharp[0]
    assert blurred[1] > sharp[1]


@pytest.mark.parametrize(("ratio", "taken_off"), [(0.9, 0.0), (1.2, 0.0), (0.9, 0.5), (1.2, 1.5)])
def test_by_measuring_many_spools(ratio, taken_off):
    """Twenty places a spool; five standard errors of the share of 40,000 spools."""
    runs, places = 40_000, 20
    rng = np.random.default_rng(11)
    reading = np.sqrt(ratio**2 + taken_off) * rng.standard_normal((runs, places))
    share = np.mean(reading.var(axis=1, ddof=1) - taken_off <= 1)
    (p,) = probability_accept_spread(np.array([ratio]), places - 1, taken_off=taken_off)
    assert abs(share - p) <= 5 * np.sqrt(p * (1 - p) / runs)


@pytest.mark.parametrize("accepted_with", [0.0, 1.0, -0.1, 1.5, float("nan")])
def test_a_probability_lies_between_nothing_and_one(accepted_with):
    with pytest.raises(ValueError) as caught:
        largest_ratio(accepted_with, 9)
    assert f"{accepted_with:g}" in str(caught.value)


@pytest.mark.parametrize("df", [0, -1])
def test_a_single_place_has_no_spread(df):
    for call in (
        lambda: largest_ratio(0.9, df),
        lambda: probability_accept_spread(np.array([1.0]), df),
    ):
        with pytest.raises(ValueError) as caught:
            call()
        assert str(df) in str(caught.value)


def test_an_unknown_spread_has_no_chance():
    assert np.isnan(probability_accept_spread(np.array([np.nan]), 9)[0])
