"""Sentences read as people say them, and rounding never makes two unlike figures look alike."""

import math

import pytest

from lotqa.suppliers.signals import MeanComparison, SpreadComparison
from lotqa.suppliers.words import mean_signal, offset, percent, spread_signal, trend


def test_offset_names_the_side():
    assert offset(-0.021, [-0.030, -0.012]) == "0.021 mm below nominal (95 % 0.012 to 0.030)"
    assert offset(0.021, [0.012, 0.030]) == "0.021 mm above nominal (95 % 0.012 to 0.030)"


def test_an_interval_over_nominal_names_both_sides():
    assert offset(-0.002, [-0.010, 0.006]) == (
        "0.002 mm below nominal (95 % 0.010 below to 0.006 above)"
    )


@pytest.mark.parametrize("ci", [None, [None, 0.01]])
def test_an_interval_that_is_not_known_is_left_out(ci):
    assert offset(0.021, ci) == "0.021 mm above nominal"


def test_a_small_offset_is_not_rounded_to_nothing():
    assert offset(0.0003, [0.0001, 0.0005]) == "0.0003 mm above nominal (95 % 0.0001 to 0.0005)"


def test_a_spread_signal_tells_both_figures_apart():
    found = SpreadComparison(0.015, 0.005, 0.0061, 1e-9, 4, True)
    assert spread_signal(found, False) == "spread rose: 0.015 mm against 0.005 mm of 4 earlier lots"
    close = SpreadComparison(0.00520, 0.00480, 0.0051, 0.009, 60, True)
    assert spread_signal(close, False) == (
        "spread rose: 0.0052 mm against 0.0048 mm of 60 earlier lots"
    )


def test_a_mean_signal_tells_where_and_what_was_expected():
    found = MeanComparison(-0.031, -0.012, 0.010, 5, True)
    assert mean_signal(found, False) == (
        "mean moved down: 0.031 mm below nominal, expected 0.012 below to 0.010 above "
        "from 5 earlier lots"
    )
    barely = MeanComparison(0.01004, -0.012, 0.01001, 5, True)
    assert mean_signal(barely, False).startswith("mean moved up: 0.01004 mm above")
    assert "0.01001 above" in mean_signal(barely, False)


def test_a_trend_is_stated_only_when_its_interval_leaves_zero_out():
    line = {"slope_mm_per_year": 0.012, "ci95": [0.004, 0.020], "years": 1.5, "lots": 6}
    assert trend(line) == "6 lots over 1.5 years: 0.012 mm a year thicker (95 % 0.004 to 0.020)"
    unsure = line | {"ci95": [-0.004, 0.028]}
    assert trend(unsure) == (
        "6 lots over 1.5 years: no trend shown (95 % 0.004 mm thinner to 0.028 mm thicker a year)"
    )


@pytest.mark.parametrize("share", [0.0001, 0.004, 0.996, 0.9999])
def test_a_share_is_not_rounded_to_none_or_all(share):
    assert 0 < float(percent(share)) < 100


def test_none_and_all_stay_so():
    assert (percent(0.0), percent(1.0)) == ("0", "100")


def test_figures_of_any_size_find_an_end():
    assert offset(1e-14, [-1e-15, 1e-13])
    assert "anything" in mean_signal(MeanComparison(1.0, -math.inf, 0.1, 2, True), False)
