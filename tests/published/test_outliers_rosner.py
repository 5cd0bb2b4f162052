"""Generalised ESD test: Rosner 1983 and the NIST/SEMATECH e-Handbook 1.3.5.17.3, 1.3.5.17.1.

1. B. Rosner, Percentage points for a generalized ESD many-outlier procedure, Technometrics 25
   (1983) 165-172: 54 values, up to 10 outliers, three found although the first test is not
   significant (masking).  The handbook's table, from memory, is cut off after three decimals.
2. Grubbs' test is the case of one outlier: Tietjen and Moore's uranium data, handbook 1.3.5.17.1.
3. CMH-17-1G (Composite Materials Handbook), table 8.5.7, critical values of the maximum normed
   residual at 0.05, and its example in 8.3.11.1.1: the same statistic under another name.
"""

import numpy as np
import pytest

from lotqa.evidence.outliers import generalized_esd
from lotqa.evidence.summary import summarise
from tests.published.source import agrees, load, one

ROSNER = load("nist_handbook.json")["rosner"]
URANIUM = load("nist_handbook.json")["uranium"]
MNR = load("tolerance_tables.json")["cmh_17_mnr"]["critical"]
EXAMPLE = load("tolerance_tables.json")["cmh_17_mnr_example"]
X = np.array(ROSNER["x"])


@pytest.fixture(scope="module")
def rosner():
    return generalized_esd(X, 10, alpha=ROSNER["alpha"])


@pytest.mark.parametrize("i", range(10))
def test_statistics_and_critical_values_of_the_handbook_table(rosner, i):
    # Cut off after three decimals: the full value lies in the thousandth above the printed one.
    assert 0 <= np.asarray(rosner.statistic)[0, i] - float(ROSNER["R"][i]) < 0.001
    assert 0 <= np.asarray(rosner.critical)[i] - float(ROSNER["lam"][i]) < 0.001
    # Six decimals, recomputed by another hand.
    assert np.asarray(rosner.statistic)[0, i] == pytest.approx(ROSNER["R_6"][i], abs=0.6e-6)
    assert np.asarray(rosner.critical)[i] == pytest.approx(ROSNER["lam_6"][i], abs=0.6e-6)


def test_values_are_taken_in_the_order_of_the_handbook(rosner):
    order = np.asarray(rosner.order)[0]
    assert X[order].tolist() == ROSNER["removed"]
    assert len(set(order.tolist())) == 10


def test_three_outliers_in_spite_of_masking(rosner):
    assert np.asarray(rosner.statistic)[0, 0] < np.asarray(rosner.critical)[0]
    assert one(rosner.n_outliers) == ROSNER["n_outliers"]


def test_the_first_test_alone_would_be_masked():
    assert one(generalized_esd(X, 1).n_outliers) == 0


def test_grubbs_statistic_of_the_uranium_data():
    x = np.array(URANIUM["x"])
    got = generalized_esd(x, 1)
    assert agrees(got.statistic, URANIUM["G"])
    # ESD looks at both ends with alpha / 2 each; the handbook looks at the upper end with 0.05.
    assert agrees(generalized_esd(x, 1, alpha=0.10).critical, URANIUM["critical_one_sided"])
    assert one(got.n_outliers) == 1
    assert x[one_index(got)] == URANIUM["outlier"]


def one_index(got):
    return int(np.asarray(got.order).ravel()[0])


@pytest.mark.parametrize("n", sorted(int(n) for n in MNR))
def test_critical_values_of_the_maximum_normed_residual(n):
    x = np.random.default_rng(n).normal(size=n)
    assert agrees(generalized_esd(x, 1, alpha=0.05).critical, MNR[str(n)])


@pytest.mark.parametrize("batch", ["batch_2", "batch_3"])
def test_worked_example_of_the_maximum_normed_residual(batch):
    case = EXAMPLE[batch]
    x = np.array(case["x"])
    summary = summarise(x)
    assert agrees(summary.mean, case["mean"])
    assert agrees(summary.s, case["s"])
    got = generalized_esd(x, 1)
    assert agrees(got.statistic, case["mnr"])
    assert agrees(got.critical, case["critical"])
    assert one(got.n_outliers) == len(case["outliers"])
    if case["outliers"]:
        assert [one_index(got)] == case["outliers"]


def test_spools_are_judged_one_by_one():
    calm = np.random.default_rng(8).normal(size=len(X))
    got = generalized_esd(np.vstack([X, calm, X[::-1]]), 10)
    assert np.asarray(got.statistic).shape == (3, 10)
    assert np.asarray(got.critical).shape == (10,)
    assert np.asarray(got.n_outliers).tolist()[::2] == [3, 3]
    assert X[::-1][np.asarray(got.order)[2]].tolist() == ROSNER["removed"]


def test_shift_and_scale_change_nothing():
    base, moved = generalized_esd(X, 10), generalized_esd(1.75 - 0.01 * X, 10)
    assert np.asarray(moved.statistic) == pytest.approx(np.asarray(base.statistic), rel=1e-9)
    assert np.asarray(moved.order).tolist() == np.asarray(base.order).tolist()
