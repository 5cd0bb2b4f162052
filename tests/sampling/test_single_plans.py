"""Single sampling plans by AQL: what must hold whatever the table, which is held elsewhere."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from lotqa.sampling.plan import SAMPLE_SIZE, code_letter, sample_size_for_lot
from lotqa.sampling.single_plans import AQLS_PCT, LEVELS, SinglePlan, single_plan

SEVERITIES = ("normal", "tightened", "reduced")
ENDLESS = 2_000_000  # a lot larger than any sample
lots = st.one_of(st.integers(1, 500), st.integers(1, ENDLESS))
aqls = st.sampled_from(AQLS_PCT)
levels = st.sampled_from(LEVELS)
severities = st.sampled_from(SEVERITIES)


@given(lots, aqls, levels, severities)
def test_a_plan_can_be_carried_out(lot_size, aql, level, severity):
    plan = single_plan(lot_size, aql, level, severity)
    assert 1 <= plan.n <= lot_size
    assert 0 <= plan.acceptance < plan.rejection
    if severity != "reduced":
        assert plan.rejection == plan.acceptance + 1


@given(lots, aqls, levels)
def test_the_sample_is_that_of_the_letter_arrived_at(lot_size, aql, level):
    plan = single_plan(lot_size, aql, level)
    assert plan.n == min(lot_size, SAMPLE_SIZE[plan.letter])


def test_normal_level_two_is_what_is_meant_when_nothing_is_said():
    for lot_size in (5, 60, 1000):
        assert single_plan(lot_size, 1.5) == single_plan(lot_size, 1.5, "II", "normal")
    assert single_plan(1000, 1.5) != single_plan(1000, 1.5, severity="tightened")
    assert single_plan(1000, 1.5) != single_plan(1000, 1.5, level="I")


def test_without_an_arrow_the_letter_is_that_of_the_lot():
    """Letter J at AQL 1.5 has its own plan; letter C at 1.5 does not."""
    assert single_plan(1000, 1.5).letter == code_letter(1000) == "J"
    assert single_plan(20, 1.5).letter == "D"
    assert code_letter(20) == "C"
    assert single_plan(1000, 1.5).n == sample_size_for_lot(1000)


def test_a_lot_smaller_than_its_sample_is_measured_whole_with_the_printed_numbers():
    assert single_plan(7, 1.0) == SinglePlan("E", 7, 0, 1)
    assert single_plan(40, 0.65, severity="tightened") == SinglePlan("G", 32, 0, 1)
    assert single_plan(31, 0.65, severity="tightened") == SinglePlan("G", 31, 0, 1)
    assert single_plan(1, 10.0) == SinglePlan("C", 1, 1, 2)


def chance(plan, fraction):
    """Chance that a lot without end is accepted; on reduced also by fewer than the rejections."""
    return binom.cdf(plan.rejection - 1, plan.n, fraction)


def test_a_lot_at_the_aql_is_nearly_always_accepted():
    """Between 0.87 and 0.995 in every cell of the normal table, by the binomial."""
    found = [
        chance(single_plan(ENDLESS, aql, level), aql / 100) for aql in AQLS_PCT for level in LEVELS
    ]
    assert min(found) > 0.87
    assert max(found) < 0.995


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("aql", AQLS_PCT)
def test_tightened_accepts_no_more_than_normal_and_reduced_no_less(aql, level):
    """From the AQL upwards.

    Below it the curves of two plans of different size may cross: there the larger sample with
    the larger number accepts a hair more (up to 2e-6 in these tables).
    """
    fraction = np.array([1.0, 2.0, 4.0, 8.0]) * aql / 100
    tightened, normal, reduced = (
        chance(single_plan(ENDLESS, aql, level, severity), fraction)
        for severity in ("tightened", "normal", "reduced")
    )
    assert (tightened <= normal + 1e-12).all()
    assert (normal <= reduced + 1e-12).all()


@given(lots, aqls, levels)
def test_reduced_never_measures_more_and_tightened_never_accepts_with_more(lot_size, aql, level):
    normal, tightened, reduced = (
        single_plan(lot_size, aql, level, severity) for severity in SEVERITIES
    )
    assert reduced.n <= normal.n <= tightened.n
    assert tightened.acceptance <= normal.acceptance


@given(st.integers(1, ENDLESS), levels)
def test_a_stricter_aql_accepts_no_more(lot_size, level):
    """Binomial chance at one and the same fraction bad, in the order of the AQLs.

    For the AQLs that the letter of the lot has a plan for.  An arrow leads to another size, and
    from there one may well accept more than the next AQL does (600 spools at level III: 0.15 %
    takes 0 of 80, 0.25 % takes 1 of 200; with 1 % bad these let pass 45 and 40 in a hundred).
    """
    plans = [single_plan(lot_size, aql, level) for aql in AQLS_PCT]
    own = [p for p in plans if p.letter == code_letter(lot_size, level)]
    assert own
    for fraction in (0.001, 0.01, 0.1):
        assert (np.diff([chance(p, fraction) for p in own]) >= -1e-12).all()


def test_a_plan_cannot_be_changed_by_mistake():
    with pytest.raises(dataclasses.FrozenInstanceError):
        single_plan(100, 1.0).n = 3


@pytest.mark.parametrize("aql", [0.0, -1.0, 0.012, 1.2, 15.0, float("nan")])
def test_an_aql_between_the_preferred_ones_is_refused_and_they_are_told(aql):
    with pytest.raises(ValueError) as caught:
        single_plan(100, aql)
    message = str(caught.value)
    assert f"{aql:g}" in message
    rest = message.replace(f"{aql:g}", "", 1)
    assert all(f"{preferred:g}" in rest for preferred in AQLS_PCT)


@pytest.mark.parametrize("level", ["IV", "ii", "S1", "2", ""])
def test_a_level_that_is_none_is_refused_and_the_levels_are_told(level):
    with pytest.raises(ValueError) as caught:
        single_plan(100, 1.0, level)
    message = str(caught.value)
    assert level in message
    assert all(known in message for known in LEVELS)


@pytest.mark.parametrize("severity", ["Normal", "strict", ""])
def test_a_severity_that_is_none_is_refused_and_the_three_are_told(severity):
    with pytest.raises(ValueError) as caught:
        single_plan(100, 1.0, "II", severity)
    message = str(caught.value)
    assert severity in message
    assert all(known in message for known in SEVERITIES)


@pytest.mark.parametrize("lot_size", [0, -5])
def test_a_lot_without_spools_is_refused(lot_size):
    with pytest.raises(ValueError) as caught:
        single_plan(lot_size, 1.0)
    message = str(caught.value)
    assert str(lot_size) in message
    assert "1" in message.replace(str(lot_size), "", 1)
