"""The rule of printed digits must itself be able to fail."""

import pytest

from tests.published.source import DATA, agrees, last_digit, load, one


@pytest.mark.parametrize(
    ("printed", "unit"), [("2.217", 0.001), ("44.0", 0.1), ("5", 1.0), ("1.5E-05", 1e-6)]
)
def test_the_unit_of_the_last_digit(printed, unit):
    assert last_digit(printed) == pytest.approx(unit, rel=1e-12)


def test_half_a_unit_passes_and_more_does_not():
    assert agrees(2.2175, "2.217")
    assert not agrees(2.21751, "2.217")
    assert not agrees(2.21649, "2.217")


def test_nan_agrees_with_nothing():
    assert not agrees(float("nan"), "2.217")


def test_two_values_are_not_one():
    with pytest.raises(AssertionError):
        one([1.0, 2.0])


@pytest.mark.parametrize("path", sorted(DATA.glob("*.json")), ids=lambda p: p.name)
def test_each_stored_file_says_where_it_comes_from(path):
    assert load(path.name)["_provenance"]
