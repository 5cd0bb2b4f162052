import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.report.lot_reasons import value_and_limit
from lotqa.report.numbers import (
    MINUS,
    as_typed,
    beside_limit,
    interval,
    p_value,
    percent,
    shown,
)

FINITE = st.floats(-5000, 5000, allow_nan=False, allow_subnormal=False)


def read(text: str) -> float:
    return float(text.replace(MINUS, "-"))


@given(value=FINITE, limit=FINITE, digits=st.integers(0, 4))
def test_printed_value_and_limit_stand_in_their_true_order(value, limit, digits):
    value_text, limit_text = beside_limit(value, limit, digits)
    assert (read(value_text) < read(limit_text)) == (value < limit)
    assert (read(value_text) == read(limit_text)) == (value == limit)


@given(limit=st.floats(0.001, 100), steps=st.integers(1, 3), digits=st.integers(0, 4))
def test_the_nearest_neighbours_of_a_limit_still_read_differently(limit, steps, digits):
    value = limit
    for _ in range(steps):
        value = math.nextafter(value, math.inf)
    value_text, limit_text = beside_limit(value, limit, digits)
    assert read(value_text) > read(limit_text)


def test_plain_rounding_would_hide_the_difference():
    """The guard can fail: two digits alone print the same text for both."""
    assert f"{1.3299:.2f}" == f"{1.33:.2f}"
    assert beside_limit(1.3299, 1.33, 2) == ("1.3299", "1.33")


def test_a_limit_that_was_worked_out_is_rounded_as_its_value_is():
    assert beside_limit(0.0131, 0.05 / 3 / 1.33, 4) == ("0.0131", "0.0125")


@pytest.mark.parametrize("unknown", [None, math.nan, math.inf, -math.inf])
def test_what_is_not_known_is_a_dash(unknown):
    assert shown(unknown, 3) == "\u2013"
    assert as_typed(unknown) == "\u2013"
    assert interval((unknown, unknown), 3) == "\u2013"


def test_an_interval_may_have_one_end():
    assert interval((None, 0.0131), 4) == "at most 0.0131"
    assert interval((1.2, math.inf), 2) == "at least 1.20"


def test_no_negative_zero():
    assert shown(-0.0004, 3) == "0.000"
    assert shown(-0.0004, 3, sign=True) == "0.000"


@given(st.floats(0, 1))
def test_a_share_is_called_none_or_all_only_if_it_is(fraction):
    text = percent(fraction, 2)
    assert (text == "0.00") == (fraction == 0)
    assert (text == "100.00") == (fraction == 1)


def test_a_small_p_is_not_called_zero():
    assert p_value(0.0) == "< 0.001"
    assert p_value(0.0005) == "0.001"
    assert p_value(None) == "\u2013"


@pytest.mark.parametrize(
    ("value", "limit", "unit", "text"),
    [
        (0.0249, 0.0125, "mm", "value 0.0249\u00a0mm, limit 0.0125\u00a0mm"),
        (3.0, 0.0, "spools", "value 3\u00a0spools, limit 0\u00a0spools"),
        (2.0, 1.33, "", "value 2.00, limit 1.33"),
        (-2.7, 2.0, "%", "value \u22122.7\u00a0%, limit 2\u00a0%"),
        (1.75, [1.7, 1.8], "mm", "value 1.750\u00a0mm, limit 1.7 to\u00a01.8\u00a0mm"),
        (1.80001, [1.7, 1.8], "mm", "value 1.80001\u00a0mm, limit 1.7 to\u00a01.8\u00a0mm"),
        (5.0, None, "spools", "value 5\u00a0spools"),
        (None, 0.3, "%", ""),
    ],
)
def test_value_and_limit_of_a_reason(value, limit, unit, text):
    assert value_and_limit(value, limit, unit) == text
