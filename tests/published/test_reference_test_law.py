"""The reference test of Directive 76/211/EEC, Annex II, as printed.

1. Council Directive 76/211/EEC, Annex I, 1 and 2.4; Annex II, 2.1.3, 2.2.1, 2.2.2 and 2.3.3, as
   shown at legislation.gov.uk/eudr/1976/211 (annexes; annex II, divisions 2.2.1, 2.2.2, 2.3).
2. UK SI 2006/659, Schedule 2: 3.5 (single plan), 3.6 and 4.7 (fewer than 100 packages).
3. Northern Ireland SR 2011/331, Schedule 2, 1.3 = Directive, Annex II, 1: the error of measuring
   may be one fifth of the tolerable negative error.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.net_content import (
    Stage,
    contents_decision,
    limits_g,
    mean_limit_g,
    measuring_error_max_g,
    plan_for,
)
from tests.published.source import agrees

# [1] Annex II, 2.2.1: number in batch; order, number, aggregate number, acceptance, rejection
DOUBLE = """
100 500    1st 30 30 1 3    2nd 30 60 4 5
501 3200   1st 50 50 2 5    2nd 50 100 6 7
3201 10000 1st 80 80 3 7    2nd 80 160 8 9
"""
# [2] 3.5: number in group, number in sample, acceptance, rejection
SINGLE = """
100 500    50 3 4
501 3200   80 5 6
3201 10000 125 7 8
"""
# [1] Annex II, 2.3.3: number in batch, number in sample, factor of s
MEAN = [(100, 500, 30, "0.503"), (501, 10000, 50, "0.379")]
# [1] Annex I, 2.4: usual labels, tolerable negative error twice taken off
LIMITS = [(1000, 985, 970), (750, 735, 720), (500, 485, 470), (250, 241, 232), (5000, 4925, 4850)]


def rows(table):
    return [line.split() for line in table.strip().splitlines()]


@pytest.mark.parametrize("row", rows(DOUBLE), ids=lambda r: f"{r[0]}-{r[1]}")
@pytest.mark.parametrize("end", [0, 1])
def test_double_plan(row, end):
    printed = tuple(Stage(*map(int, row[i + 1 : i + 5])) for i in (2, 7))
    assert [row[2], row[7]] == ["1st", "2nd"]
    plan = plan_for(int(row[end]), "double")
    assert (plan.kind, plan.stages) == ("double", printed)


@pytest.mark.parametrize("row", rows(SINGLE), ids=lambda r: f"{r[0]}-{r[1]}")
@pytest.mark.parametrize("end", [0, 1])
def test_single_plan(row, end):
    n, accept, reject = map(int, row[2:])
    plan = plan_for(int(row[end]), "single")
    assert (plan.kind, plan.stages) == ("single", (Stage(n, n, accept, reject),))


@pytest.mark.parametrize("batch", [100, 10000])
def test_destructive_plan_whatever_the_number(batch):
    plan = plan_for(batch, "destructive")
    assert plan.stages == (Stage(20, 20, 1, 2),)
    assert plan.n_mean == 20
    assert agrees(plan.mean_factor, "0.640")


@pytest.mark.parametrize("kind", ["double", "single"])
@pytest.mark.parametrize("end", [0, 1])
@pytest.mark.parametrize("row", MEAN)
def test_sample_and_factor_of_the_mean(row, end, kind):
    plan = plan_for(row[end], kind)
    assert plan.n_mean == row[2]
    assert agrees(plan.mean_factor, row[3])


@pytest.mark.parametrize("kind", ["double", "single", "destructive"])
def test_the_factors_are_students(kind):
    """Annex II, 2.3.1: the 0.995 quantile of n - 1 degrees of freedom over the root of n."""
    for batch in (100, 501):
        plan = plan_for(batch, kind)
        exact = stats.t.ppf(0.995, plan.n_mean - 1) / np.sqrt(plan.n_mean)
        assert agrees(exact, f"{plan.mean_factor:.3f}")


@pytest.mark.parametrize(("batch", "few"), [(1, 0), (19, 0), (20, 1), (39, 1), (40, 2), (99, 4)])
def test_a_small_batch_is_weighed_whole(batch, few):
    """[1] 2.1.3: 100 %; [2] 3.6: not more than 5 % below, 4.7: the mean not below the label."""
    plan = plan_for(batch, "double")
    assert (plan.kind, plan.stages[0].n_total, plan.n_mean) == ("whole", batch, batch)
    below = np.arange(batch) < few
    assert contents_decision(below, plan) == "accept"
    assert contents_decision(np.arange(batch) <= few, plan) == "reject"
    assert mean_limit_g(1000.0, 5.0, plan) == 1000.0
    assert plan_for(batch, "destructive") is None


@pytest.mark.parametrize(("label", "t1", "t2"), LIMITS)
def test_limits_of_usual_labels(label, t1, t2):
    assert limits_g(float(label)) == pytest.approx((t1, t2), abs=1e-9)


@pytest.mark.parametrize(("label", "error"), [(1000, 3.0), (250, 1.8), (2300, 6.9)])
def test_error_of_measuring(label, error):
    assert measuring_error_max_g(float(label)) == pytest.approx(error, abs=1e-9)


def test_worked_mean_tests():
    """Worked from the printed factors: a label of 1000 g, s 2.4 g."""
    for batch, least in ((300, "998.79"), (800, "999.09")):
        assert agrees(mean_limit_g(1000.0, 2.4, plan_for(batch, "double")), least)
    assert agrees(mean_limit_g(1000.0, 2.4, plan_for(300, "destructive")), "998.46")
