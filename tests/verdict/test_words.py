"""Numbers in sentences: a printed value and its printed limit never look equal unless they are."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from lotqa.verdict.words import against, counted, interval, number, probability


@given(st.floats(-100, 100), st.floats(0.01, 100), st.integers(0, 4))
@example(1.3299999, 1.33, 2)
@example(0.0125001, 0.0125, 4)
@example(49.5, 50.0, 0)
@example(2.0, 2.0, 1)
def test_rounding_never_hides_on_which_side_a_value_is(value, limit, digits):
    shown, top = against(value, limit, digits)
    if abs(value - limit) > 1e-8:
        assert shown != top
    if value == limit:
        assert shown == top


@given(st.floats(-1, 1), st.sampled_from([0.05 / 3.99, 0.0125, 1.33, 2.0]), st.integers(2, 4))
@example(-0.011, 0.05 / 3.99, 4)  # 0.01252 is accepted up to 0.01253, not up to 0.0125
def test_the_printed_value_is_on_the_same_side_of_the_printed_limit(off, limit, digits):
    value = limit + off * 1e-3
    shown, top = against(value, limit, digits)
    if value > limit + 1e-8:
        assert float(shown) > float(top)
    elif value < limit - 1e-8:
        assert float(shown) < float(top)


@pytest.mark.parametrize(("value", "digits", "text"), [
    (-0.0001, 3, "0.000"), (0.0, 0, "0"), (-0.5, 1, "-0.5"), (np.nan, 2, "unknown"),
    (np.inf, 2, "unknown"), (1.005, 1, "1.0"),
])  # fmt: skip
def test_numbers(value, digits, text):
    assert number(value, digits) == text


@pytest.mark.parametrize(("lo", "hi", "text"), [
    (1.7, 1.8, "95 % 1.70 to 1.80"),
    (1.7, np.inf, "95 % from 1.70 up"),
    (-np.inf, 1.8, "95 % up to 1.80"),
    (-np.inf, np.inf, "interval unknown"),
    (np.nan, np.nan, "interval unknown"),
])  # fmt: skip
def test_intervals_in_words(lo, hi, text):
    assert interval(lo, hi, 2) == text


def test_counts_in_words():
    assert [counted(n, "place") for n in (0, 1, 2)] == ["0 places", "1 place", "2 places"]


@given(st.floats(0, 1))
def test_a_probability_is_never_told_as_zero(p):
    shown = probability(p)
    assert float(shown.split()[-1]) > 0
    assert shown.startswith("below") == (p < 0.001)
