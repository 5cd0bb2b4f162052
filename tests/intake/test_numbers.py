"""Numbers as people and callipers type them; Python's decimal module is the second road."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.intake.numbers import Unreadable, read_number

LENGTH = {"mm": 1.0, "in": 25.4}  # NIST SP 811 (2008), B.6: the inch is 25.4 mm exactly


@pytest.mark.parametrize(
    ("typed", "value_mm"),
    [
        ("1.75", 1.75),
        ("1,75", 1.75),
        ("+001.75", 1.75),
        (" 1.75 ", 1.75),
        ("1,75 mm", 1.75),
        ("1.75mm", 1.75),
        ("1.75 MM", 1.75),
        (".5", 0.5),
        ("2.", 2.0),
        ("17.5e-1", 1.75),
        ("1 in", 25.4),
        ('0.5"', 12.7),
        ("0.5 inches", 12.7),
    ],
)
def test_every_common_way_to_type_a_number_is_read(typed, value_mm):
    assert read_number(typed, example="1.75", units=LENGTH) == pytest.approx(value_mm, rel=1e-15)


@pytest.mark.parametrize(
    ("typed", "advice"),
    [
        ("", "write a number such as 1.75"),
        ("1,7S", "write a number such as 1.75"),
        ("1.7S", "write a number such as 1.75"),
        ("nan", "write a number such as 1.75"),
        ("inf", "write a number such as 1.75"),
        ("1e999", "write a number such as 1.75"),
        ("1_000", "write a number such as 1.75"),
        ("0x1", "write a number such as 1.75"),
        ("١.٧٥", "write a number such as 1.75"),
        ("1.75-", "take the stray sign away, write a number such as 1.75"),
        ("+-1.75", "take the stray sign away, write a number such as 1.75"),
        (
            "1,234.5",
            "write it without marks between the thousands and with a point, such as 1234.5",
        ),
        (
            "1 234",
            "write it without marks between the thousands and with a point, such as 1234.5",
        ),
        ("1.75 cm", 'the unit "cm" is not read here: write mm or in, or no unit'),
    ],
)
def test_anything_else_says_what_to_write(typed, advice):
    assert read_number(typed, example="1.75", units=LENGTH) == Unreadable(advice)


@given(st.decimals(min_value=-9999, max_value=9999, places=4), st.sampled_from([".", ","]))
def test_value_agrees_with_decimal_to_the_last_bit(number: Decimal, mark: str):
    typed = str(number).replace(".", mark)
    assert read_number(typed, example="1") == float(number)


@given(st.text(max_size=12))
def test_no_text_makes_it_stumble_or_return_something_not_finite(typed):
    value = read_number(typed, example="1", units=LENGTH)
    assert isinstance(value, Unreadable) or math.isfinite(value)
