"""Order statistics: NIST/SEMATECH e-Handbook 7.1.6 (90 failures).

Data as in NIST's file; the printed quartiles belong to the rule (n + 1) p, one of the nine
definitions of Hyndman and Fan 1996 (The American Statistician 50, 361-365).  The median is the same
in all of them; an outer quantile may follow any of them and must lie in their span.
"""

import numpy as np
import pytest

from lotqa.evidence.summary import summarise
from tests.published.source import load, one

ENTRY = load("nist_handbook.json")["failures_boxplot"]
X = np.array(ENTRY["x"], dtype=float)
NINE = [
    "inverted_cdf",
    "averaged_inverted_cdf",
    "closest_observation",
    "interpolated_inverted_cdf",
    "hazen",
    "weibull",
    "linear",
    "median_unbiased",
    "normal_unbiased",
]


def test_median_as_printed():
    assert one(summarise(X).median) == ENTRY["median"]


def test_the_stored_data_are_those_of_the_printed_quartiles():
    q1, q3 = np.quantile(X, [0.25, 0.75], method="weibull")
    assert (q1, q3) == (ENTRY["q1"], ENTRY["q3"])


@pytest.mark.parametrize(("name", "p"), [("q05", 0.05), ("q95", 0.95)])
def test_outer_quantiles_follow_one_of_the_nine_definitions(name, p):
    got = one(getattr(summarise(X), name))
    known = [np.quantile(X, p, method=method) for method in NINE]
    assert any(got == pytest.approx(value, rel=1e-12) for value in known)


def test_the_largest_value_is_marked_by_the_outer_fences_only_as_mild():
    got = summarise(X)
    assert (one(got.low), one(got.high)) == (30.0, 1441.0)
    assert 1211 < one(got.high) < 1679.75  # inner and outer fence of the page
