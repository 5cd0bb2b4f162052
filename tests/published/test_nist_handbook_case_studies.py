"""Whole case studies of the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.4.2.

1.4.2.8 heat flow meter (ZARR13, 195 values), 1.4.2.6 filter transmittance (MAVRO, 50 values).
Data are NIST's own; the printed statistics were read as quoted elsewhere and recompute, save two
that are left out: a Grubbs value printed as 2.918673 (recomputed 2.918638) and, for the filter,
a runs statistic of another way with ties.
"""

import numpy as np
import pytest

from lotqa.evidence.normality import anderson_darling
from lotqa.evidence.order import lag1, runs_test, trend
from lotqa.evidence.summary import mean_interval, summarise
from tests.published.source import agrees, load, one

HEAT = load("nist_handbook.json")["heat_flow_meter"]
FILTER = load("nist_handbook.json")["filter_transmittance"]
PRINTED = HEAT["printed"]


@pytest.fixture(scope="module")
def heat():
    return np.array(HEAT["values"])


def test_location_and_variation(heat):
    got = summarise(heat)
    assert got.n == PRINTED["n"]
    assert agrees(got.mean, PRINTED["mean"])
    assert agrees(got.s, PRINTED["s"])
    assert one(got.low) == heat.min()
    assert one(got.high) == heat.max()


def test_confidence_interval_of_the_mean(heat):
    got = summarise(heat)
    lo, hi = mean_interval(got.mean, got.s, got.n)
    assert agrees(lo, PRINTED["mean_lo"])
    assert agrees(hi, PRINTED["mean_hi"])


def test_randomness(heat):
    assert agrees(runs_test(heat).z, PRINTED["runs_z"])
    assert agrees(lag1(heat)[0], PRINTED["r1"])


def test_fixed_location(heat):
    assert agrees(trend(np.arange(1.0, 196.0), heat).t, PRINTED["slope_t"])


def test_distribution(heat):
    """The page prints 0.129, which is A2 with the factor 1 + 4/n - 25/n**2.

    That factor is the one of Stephens 1974 (JASA 69, 730-737, table 1.0, case 3), in use before
    1986; A2 without a factor would print as 0.126.
    """
    a2, p = anderson_darling(heat)
    n = PRINTED["n"]
    assert agrees(one(a2) * (1 + 4 / n - 25 / n**2), PRINTED["a2"])
    assert one(p) > 0.05  # "the normality assumption is not rejected"


def test_drift_of_the_filter():
    values = load("strd_univariate.json")["sets"]["Mavro"]["values"]
    got = trend(np.arange(1.0, 51.0), np.array(values))
    assert agrees(got.t, FILTER["slope_t"])
    assert one(got.p) < 1e-5
    assert one(got.lo) > 0
