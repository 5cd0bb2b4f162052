"""Comparisons, combination and standing: truth tables with edges and unknown values."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from lotqa.criteria import read_criteria
from lotqa.verdict.outcome import (
    PASS,
    REJECT,
    TUNE,
    Check,
    at_least,
    at_most,
    combine,
    levels,
    stretched,
    stretched_index,
    to_be_settled,
    within,
)

NAN, INF = np.nan, np.inf
UP = np.nextafter(1.0, 2.0)
DOWN = np.nextafter(1.0, 0.0)


def told(rule, *given_values, fail=REJECT):
    arrays = [np.array([float(v)]) for v in given_values[:3]]
    return tuple(int(v[0]) for v in rule(*arrays, *given_values[3:], fail))


@pytest.mark.parametrize(("value", "lo", "hi", "want"), [
    (0.5, 0.4, 0.6, (PASS, PASS, PASS)),
    (1.0, 1.0, 1.0, (PASS, PASS, PASS)),  # at the limit is accepted
    (UP, UP, UP, (REJECT, REJECT, REJECT)),
    (DOWN, DOWN, UP, (PASS, PASS, REJECT)),
    (UP, DOWN, UP, (REJECT, PASS, REJECT)),
    (2.0, 1.5, 3.0, (REJECT, REJECT, REJECT)),
    (0.5, 0.0, INF, (PASS, PASS, REJECT)),
    (0.5, -INF, INF, (PASS, PASS, REJECT)),
    (NAN, NAN, NAN, (REJECT, REJECT, REJECT)),  # unknown never passes
    (0.5, NAN, NAN, (PASS, REJECT, REJECT)),
    (INF, 0.5, INF, (REJECT, PASS, REJECT)),
])  # fmt: skip
def test_at_most_one(value, lo, hi, want):
    assert told(at_most, value, lo, hi, 1.0) == want


@given(*[st.floats(-3, 3)] * 3, st.sampled_from([PASS, TUNE, REJECT]))
def test_at_least_is_at_most_of_the_negatives(a, b, c, fail):
    lo, value, hi = sorted((a, b, c))
    assert told(at_least, value, lo, hi, 1.0, fail=fail) == told(
        at_most, -value, -hi, -lo, -1.0, fail=fail
    )


@pytest.mark.parametrize(("value", "lo", "hi", "want"), [
    (0.0, -0.5, 0.5, (PASS, PASS, PASS)),
    (1.0, -1.0, 1.0, (PASS, PASS, PASS)),  # both edges belong to it
    (UP, UP, UP, (TUNE, TUNE, TUNE)),
    (-UP, -UP, -UP, (TUNE, TUNE, TUNE)),
    (0.0, -2.0, 2.0, (PASS, PASS, TUNE)),
    (1.5, 0.5, 2.5, (TUNE, PASS, TUNE)),
    (-1.5, -2.0, -1.0, (TUNE, PASS, TUNE)),
    (3.0, 2.0, 4.0, (TUNE, TUNE, TUNE)),
    (0.0, -INF, INF, (PASS, PASS, TUNE)),
    (NAN, NAN, NAN, (TUNE, TUNE, TUNE)),
    (0.0, NAN, NAN, (PASS, TUNE, TUNE)),
])  # fmt: skip
def test_within_one_of_zero(value, lo, hi, want):
    assert told(within, value, lo, hi, -1.0, 1.0, fail=TUNE) == want


@given(*[st.floats(-3, 3)] * 3)
def test_best_is_never_worse_than_the_estimate_nor_the_estimate_than_the_worst(a, b, c):
    lo, value, hi = sorted((a, b, c))
    for rule, limits in ((at_most, (1.0,)), (at_least, (1.0,)), (within, (-1.0, 1.0))):
        point, best, worst = told(rule, value, lo, hi, *limits)
        assert best <= point <= worst


def check(key, point, best, worst, *, checked=True, undecided=None):
    arrays = [np.array([v], dtype=np.int8) for v in (point, best, worst)]
    return Check(
        key, *arrays, np.array([checked]), np.array([1.0]), np.array([2.0]), "mm",
        lambda i: f"sentence {i}.",
        None if undecided is None else np.array([undecided]),
    )  # fmt: skip


@pytest.mark.parametrize(("levels_", "verdict", "standing"), [
    ([(PASS, PASS, PASS)], "accept", "firm"),
    ([(PASS, PASS, REJECT)], "accept", "provisional"),
    ([(REJECT, PASS, REJECT)], "reject", "provisional"),
    ([(TUNE, TUNE, TUNE), (PASS, PASS, PASS)], "tune", "firm"),
    ([(TUNE, PASS, TUNE), (REJECT, REJECT, REJECT)], "reject", "firm"),  # the worse one is sure
    ([(TUNE, TUNE, TUNE), (PASS, PASS, REJECT)], "tune", "provisional"),
    ([(PASS, PASS, TUNE), (TUNE, TUNE, TUNE)], "tune", "firm"),  # an open pass changes nothing
    ([(REJECT, PASS, REJECT), (REJECT, PASS, REJECT)], "reject", "provisional"),
])  # fmt: skip
def test_the_worst_check_decides(levels_, verdict, standing):
    for order in (levels_, levels_[::-1]):
        got = combine(tuple(check(str(i), *v) for i, v in enumerate(order)))
        assert (got.verdict(0), got.standing(0)) == (verdict, standing)


def test_what_was_not_checked_does_not_count():
    got = combine((check("a", PASS, PASS, PASS), check("b", REJECT, PASS, REJECT, checked=False)))
    assert (got.verdict(0), got.standing(0)) == ("accept", "firm")
    assert [r.outcome for r in got.reasons(0)] == ["pass", "not_checked"]


@pytest.mark.parametrize(("made", "outcome", "standing"), [
    (check("a", PASS, PASS, PASS), "pass", "firm"),
    (check("a", TUNE, PASS, TUNE), "tune", "provisional"),
    (check("a", REJECT, REJECT, REJECT), "reject", "firm"),
    (check("a", PASS, PASS, REJECT, undecided=True), "undecided", "provisional"),
    (check("a", PASS, PASS, PASS, undecided=False), "pass", "firm"),
    (check("a", REJECT, PASS, REJECT, checked=False), "not_checked", "provisional"),
])  # fmt: skip
def test_the_line_about_a_check(made, outcome, standing):
    reason = made.reason(0)
    assert (reason.outcome, reason.standing, reason.text) == (outcome, standing, "sentence 0.")
    assert (reason.value, reason.limit, reason.unit) == (1.0, 2.0, "mm")


def test_unknown_and_unbounded_figures_are_none_in_a_line():
    made = check("a", PASS, PASS, PASS)
    for value in (NAN, INF, -INF):
        reason = Check(
            "a", made.point, made.best, made.worst, made.checked, np.array([value]),
            np.array([value]), "mm", made.sentence,
        ).reason(0)  # fmt: skip
        assert (reason.value, reason.limit) == (None, None)


def test_something_to_be_settled_never_fails_but_keeps_the_verdict_open():
    open_ = np.array([True, False])
    made = to_be_settled("a", open_, np.array([True, True]), np.zeros(2), np.zeros(2), "", str)
    got = combine((made,))
    assert [got.verdict(i) for i in (0, 1)] == ["accept", "accept"]
    assert [got.standing(i) for i in (0, 1)] == ["provisional", "firm"]
    assert [made.outcome(i) for i in (0, 1)] == ["undecided", "pass"]


def test_levels_read_unknown_as_failing():
    assert levels(np.array([1.0, NAN]) <= 2.0, TUNE).tolist() == [PASS, TUNE]


FIRM = read_criteria("[verdict]\nfirm_confidence = 0.98\n")


def test_a_normal_interval_is_stretched_to_the_confidence_asked():
    value, u = np.array([5.0, -1.0]), np.array([0.3, 2.0])
    lo, hi = (np.array(v) for v in scipy.stats.norm.interval(0.95, value, u))
    want = scipy.stats.norm.interval(0.98, value, u)
    np.testing.assert_allclose(stretched(value, lo, hi, FIRM), want, rtol=1e-12)


def test_an_index_is_stretched_as_the_spread_below_it():
    """Cp = room / sd: the ends of Cp are those of sd, turned round."""
    sd = np.array([1.0, 0.8, 1.4])
    low, high = stretched_index(*(np.array([3 / v]) for v in (sd[0], sd[2], sd[1])), FIRM)
    sd_lo, sd_hi = stretched(*(np.array([v]) for v in sd), FIRM)
    np.testing.assert_allclose((low, high), (3 / sd_hi, 3 / sd_lo), rtol=1e-12)


@pytest.mark.parametrize("rule", [stretched, stretched_index])
@pytest.mark.parametrize(("value", "lo", "hi"), [
    (NAN, NAN, NAN), (1.0, -INF, INF), (INF, 2.0, INF), (0.0, -1.0, INF), (1.33, 1.33, 1.33),
])  # fmt: skip
def test_what_is_not_bounded_or_known_stays(rule, value, lo, hi):
    arrays = [np.array([v]) for v in (value, lo, hi)]
    low, high = rule(*arrays, FIRM)
    for end, got in ((lo, low[0]), (hi, high[0])):
        if not np.isfinite(end) or end == value:
            np.testing.assert_equal(got, end)


def test_an_index_that_may_be_endless_has_no_upper_end():
    """The lower end of the spread is stretched to zero: nothing bounds Cp from above."""
    arrays = [np.array([v]) for v in (2.0, 1.5, 1000.0)]
    assert stretched_index(*arrays, FIRM)[1][0] == INF
