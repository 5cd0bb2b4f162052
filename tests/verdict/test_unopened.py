"""What is said of the spools not opened, and what to do with each.

Sources: where spools do not differ within and the tool is exact, the chance that the next one is
inside two limits is Student's t with k - 1 degrees of freedom (ISO 16269-8: prediction of one
further observation); simulation for the expected number of bad ones.
"""

import re

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.gauge import Offset
from lotqa.verdict.lot import judge_lot
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case

EXACT_TOOL = Offset(0.0, 0.0, 30, None, None)


def judged(means_mm, received, n=40, sd_mm=0.004, limits=None, offset=EXACT_TOOL):
    spools = {str(i): exact(n, m, sd_mm, seed=i) for i, m in enumerate(means_mm)}
    found = evidence(readings(spools), offset=offset)
    made = case(found, limits=limits or {})
    return judge_lot(found, judge_spools(made), made.criteria, received, None)


@pytest.mark.parametrize("means_mm", [
    (1.76, 1.78, 1.795, 1.77), (1.72, 1.75, 1.79), (1.755, 1.765, 1.775, 1.785, 1.795),
])  # fmt: skip
def test_the_chance_of_rejection_is_that_of_students_t(means_mm):
    """Steady spools at many places: their means are nearly exact."""
    by = judged(means_mm, 20, n=200, sd_mm=0.002).unopened.by_diameter
    k, mean, s = len(means_mm), np.mean(means_mm), np.std(means_mm, ddof=1)
    t = stats.t(k - 1, loc=mean, scale=s * np.sqrt(1 + 1 / k))
    assert by.fate.reject == pytest.approx(t.sf(1.80) + t.cdf(1.70), abs=0.01)


def test_the_expected_number_of_bad_ones_is_that_of_all_not_opened():
    found = judged((1.76, 1.78, 1.795, 1.77), 24).unopened
    by = found.by_diameter
    assert found.spools == 20
    assert by.expected_bad == pytest.approx(20 * by.fate.reject)
    assert by.expected_bad_ci95 == pytest.approx(tuple(20 * p for p in by.fate.reject_ci))
    assert by.fate.accept + by.fate.tune + by.fate.reject == pytest.approx(1)


def test_what_is_expected_of_the_unopened_is_what_is_in_them_on_average(monkeypatch):
    """Lots of 12 whose means are normal: expected rejections against true ones, 100 lots."""
    monkeypatch.setattr("lotqa.verdict.lot_numbers.COMPONENTS_SPOOLS", 0)  # slow, and not asked for
    rng = np.random.default_rng(8)
    expected, true = [], []
    for _ in range(100):
        means = 1.775 + 0.015 * rng.normal(size=12)
        found = judged(means[:5], 12, n=12).unopened
        expected.append(found.by_diameter.expected_bad)
        true.append(np.count_nonzero((means[5:] > 1.80) | (means[5:] < 1.70)))
    gap = np.array(expected) - np.array(true)
    # A prediction is wider than what is predicted: it may expect too many, hardly too few.
    assert gap.mean() > -3 * gap.std() / np.sqrt(100)
    assert gap.mean() < 0.6


def test_a_steady_lot_is_used_as_it_is():
    found = judged((1.751, 1.7512, 1.7508, 1.7511), 10).unopened
    assert found.action == "For each of the 6 not opened: print as set."
    assert found.more_spools == 0


def test_one_number_for_a_lot_that_is_off_and_alike():
    got = judged((1.780, 1.7803, 1.7798, 1.7801), 10)
    assert got.verdict == "tune"
    assert got.unopened.action == (
        f"For each of the 6 not opened: use the multiplier {got.multiplier:.3f}."
    )
    assert got.unopened.by_diameter.multiplier == got.multiplier
    assert got.unopened.by_diameter.fate.accept > 0.95


def test_a_sample_that_is_too_small_asks_for_more_first():
    got = judged((1.751, 1.7512), 10)
    assert got.unopened.action == "Measure 1 more before you open the others."


def test_how_many_more_is_told_and_as_many_more_of_the_same_settle_it():
    means = (1.747, 1.751, 1.757)
    got = judged(means, 10)
    more = got.unopened.more_spools
    assert more is not None
    assert more > 0
    assert got.unopened.action == (
        f"Measure {more} more; then, if they are like these, print as set for all the others."
    )
    # The same mean and spread from so many more spools.
    k, s = len(means), np.std(means, ddof=1)
    spots = np.linspace(-1, 1, k + more)
    again = judged(np.mean(means) + s * spots / spots.std(ddof=1), 10)
    assert again.unopened is None or again.unopened.more_spools == 0


def test_spools_that_do_not_share_a_number_are_measured_each():
    got = judged((1.715, 1.785, 1.716, 1.784), 10, limits={"lot.good_pct": 0.0})
    assert len(got.groups) == 2
    assert got.unopened.action == (
        "Measure each of the 6 not opened before use: the spools of this lot do not share one "
        "number."
    )
    assert got.multiplier is None


def test_a_rejected_lot_goes_back_whole():
    got = judged((1.81, 1.82, 1.83), 4)
    assert got.unopened.action == "Leave the one not opened closed: it goes back with the rest."


def test_one_measured_spool_says_nothing_of_the_others():
    got = judged((1.751,), 2, limits={})
    assert got.unopened.by_diameter is None
    assert got.unopened.action == "Measure 1 more before you open the others."


@pytest.mark.parametrize("means_mm", [(1.751, 1.751, 1.751), (1.83, 1.84, 1.85)])
def test_no_sample_says_none_or_all(means_mm):
    text = judged(means_mm, 30).unopened.text
    assert not re.search(r"\b(0|100) (of 100|\()", text)
    assert "over 99" in text


def test_the_number_of_bad_ones_is_told_where_there_are_any():
    found = judged((1.76, 1.78, 1.795, 1.77), 24).unopened
    by = found.by_diameter
    lo, hi = by.expected_bad_ci95
    assert f", {by.expected_bad:.1f} of the 20 ({lo:.1f} to {hi:.1f}); lumps" in found.text
    assert " of the 6 (" not in judged((1.751, 1.7512, 1.7508, 1.7511), 10).unopened.text
