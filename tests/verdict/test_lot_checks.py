"""Checks of the lot as a whole: the means by variables, findings by class, the size of the sample.

Sources: MIL-STD-414 for the fraction outside (form 2 by the beta distribution of scipy, as the
standard's estimate M is built); MIL-STD-105E, tables I, II-A to II-C, for acceptance numbers.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.errors import UnusableCriteria
from lotqa.evidence.gauge import Offset
from lotqa.evidence.lot_model import lot_draws
from lotqa.model import Finding
from lotqa.verdict import lot_checks
from lotqa.verdict.lot import Asked, judge_lot
from lotqa.verdict.lot_numbers import spool_means
from lotqa.verdict.outcome import PASS, REJECT
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case, goods

PIN = Offset(0.0, 0.001, 30, None, None)


def spread_out(means_mm, n=20, sd_mm=0.004):
    spools = {str(i): exact(n, m, sd_mm, seed=i) for i, m in enumerate(means_mm)}
    return evidence(readings(spools), offset=PIN)


def means_check(means_mm, **limits):
    found = spread_out(means_mm)
    made = case(found, limits={f"lot.{k}": v for k, v in limits.items()})
    return lot_checks.means(found, lot_draws(spool_means(found)), made.criteria)


def outside(values, lsl, usl):
    """Estimated fraction outside by MIL-STD-414 form 2: symmetric beta with n/2 - 1."""
    n, mean, s = len(values), np.mean(values), np.std(values, ddof=1)
    beta = stats.beta(n / 2 - 1, n / 2 - 1)

    def part(q):
        return float(beta.cdf(max(0.0, 0.5 - 0.5 * q * np.sqrt(n) / (n - 1))))

    return part((mean - lsl) / s) + part((usl - mean) / s)


@pytest.mark.parametrize("means_mm", [
    (1.74, 1.75, 1.76), (1.77, 1.785, 1.79, 1.792), (1.71, 1.75, 1.79, 1.74, 1.77),
])  # fmt: skip
def test_the_share_outside_is_the_estimate_of_the_standard(means_mm):
    check = means_check(means_mm)
    assert check.reason.value == pytest.approx(outside(means_mm, 1.70, 1.80), abs=1e-9)


def test_the_limit_takes_a_good_lot_as_often_as_stated():
    """k by scipy's noncentral t: one limit, 2.5 % beyond, accepted 95 times in a hundred."""
    n = 5
    k = stats.nct.ppf(0.05, n - 1, np.sqrt(n) * stats.norm.ppf(1 - 0.025)) / np.sqrt(n)
    check = means_check((1.74, 1.745, 1.75, 1.755, 1.76))
    assert f"k {k:.3f}" in check.reason.text
    q = 0.5 - 0.5 * k * np.sqrt(n) / (n - 1)
    assert check.reason.limit == pytest.approx(stats.beta(1.5, 1.5).cdf(q), rel=1e-9)


def test_means_that_scatter_to_the_edge_reject_the_lot_and_only_surely_bad_ones_do_so_firmly():
    thick = means_check((1.790, 1.797, 1.804, 1.811, 1.818))
    assert thick.levels == (REJECT, REJECT, REJECT)
    edge = means_check((1.785, 1.791, 1.803))
    assert edge.levels[0] == REJECT
    assert edge.levels[1] == PASS  # of so few, a good lot may look like this
    assert edge.reason.standing == "provisional"


def test_two_spools_have_no_such_estimate_and_it_can_be_left_out():
    assert means_check((1.70, 1.80)) == lot_checks.NOTHING
    assert means_check((1.70, 1.75, 1.80), good_pct=0) == lot_checks.NOTHING


def judged(findings, received, n=3, state="normal", **limits):
    """A lot of ``n`` good spools with ``findings`` of (spool, class), judged."""
    found = spread_out([1.752, 1.751, 1.7525, 1.7515, 1.752][:n])
    names = found.spools
    rows = [tuple(Finding(s, "x", g) for s, g in findings if s == name) for name in names]
    made = case(found, goods(findings=rows), limits={f"lot.{k}": v for k, v in limits.items()})
    spools = judge_spools(made)
    return judge_lot(found, spools, made.criteria, received, None, None, made.goods, Asked(state))


def line(verdict, grade):
    return next(r for r in verdict.reasons if r.check == f"lot.findings_{grade}")


def test_a_critical_finding_rejects_the_lot():
    assert line(judged([("1", "critical")], 10), "critical").outcome == "reject"
    assert judged([("1", "critical")], 10).verdict == "reject"


def test_spools_count_by_their_worst_finding():
    got = judged([("1", "minor"), ("1", "major"), ("2", "minor")], 10)
    assert line(got, "major").value == 1
    assert line(got, "minor").value == 1
    assert line(got, "major").text.startswith("1 spool (1) has a major finding as the worst;")


@pytest.mark.parametrize(("received", "state", "n", "taken"), [
    # MIL-STD-105E, level II: letter, AQL 2.5 %, master tables II-A, II-B, II-C.
    (10, "normal", 5, 0),  # B, arrow down to C: 5, 0
    (60, "normal", 20, 1),  # E, arrow down to F: 20, 1
    (60, "tightened", 32, 1),  # E, arrows down to G: 32, 1
    (100, "reduced", 8, 0),  # F: 8, 0 and 2
    (3000, "normal", 125, 7),  # K: 125, 7
])  # fmt: skip
def test_the_number_taken_is_that_of_the_tables(received, state, n, taken):
    reason = line(judged([("1", "minor")], received, state=state, minor_decides=0), "major")
    assert reason.limit == taken
    assert f"AQL 2.5 %, {n} spools, takes {taken}" in reason.text


def test_more_minor_findings_than_taken_are_told_and_decide_only_where_asked():
    many = [(str(i), "minor") for i in range(3)]
    told = judged(many, 10)
    assert told.verdict == "accept"
    assert line(told, "minor").outcome == "undecided"
    assert line(told, "minor").text.endswith("agree on it with the supplier first.")
    assert judged(many, 10, minor_decides=1).verdict == "reject"


def test_an_aql_that_the_tables_do_not_have_is_told():
    with pytest.raises(UnusableCriteria, match=r"lot.major_aql_pct is 3: .*write one of"):
        judged([("1", "minor")], 10, major_aql_pct=3.0)


def test_no_findings_file_makes_no_check_of_it():
    found = spread_out((1.752, 1.751, 1.7525))
    made = case(found)
    got = judge_lot(found, judge_spools(made), made.criteria, 10, None, None, made.goods)
    assert not [r for r in got.reasons if r.check.startswith("lot.findings")]


@pytest.mark.parametrize(("state", "is_due", "asked"), [
    # MIL-STD-105E: lot of 20 is letter C: 5; the next letter D: 8; table II-C: 2.
    ("normal", True, 5), ("tightened", True, 8), ("reduced", True, 2), ("skip", True, 2),
    ("skip", False, 0),
])  # fmt: skip
def test_the_history_sets_how_many_are_asked(state, is_due, asked):
    found = spread_out((1.752, 1.751, 1.7525))
    made = case(found)
    got = judge_lot(found, judge_spools(made), made.criteria, 20, None, None, made.goods,
                    Asked(state, is_due))  # fmt: skip
    assert got.needed == asked
    assert (got.standing == "provisional") is (asked > 3)
