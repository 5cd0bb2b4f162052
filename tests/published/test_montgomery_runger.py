"""Examples of D. C. Montgomery and G. C. Runger, Applied Statistics and Probability for Engineers.

1. Example 6-2: pull-off force of eight connectors (page seen).
2. Table 16-3: concentration, 20 batches in order (page seen); the printed cumulative sum about 99
   (table 16-7) checks that the data are the printed ones.
"""

import numpy as np
import pytest

from lotqa.evidence.order import lag1, runs_test, trend
from lotqa.evidence.summary import mean_interval, summarise
from tests.published.source import agrees, one

FORCE = np.array([12.6, 12.9, 13.4, 12.3, 13.6, 13.5, 12.6, 13.1])
FIRST_TEN = [102, 94.8, 98.3, 98.4, 102, 98.5, 99, 97.7, 100, 98.1]
LAST_TEN = [101.3, 98.7, 101.1, 98.4, 97, 96.7, 100.3, 101.4, 97.2, 101]
CONCENTRATION = np.array([*FIRST_TEN, *LAST_TEN])
PRINTED_SUMS = (
    "3.0 -1.2 -1.9 -2.5 0.5 0.0 0.0 -1.3 -0.3 -1.2 1.1 0.8 2.9 2.3 0.3 -2.0 -0.7 1.7 -0.1 1.9"
)


def test_pull_off_force():
    got = summarise(FORCE)
    assert got.n == 8
    assert agrees(got.mean, "13.0")
    assert agrees(one(got.s) ** 2, "0.2286")
    assert agrees(got.s, "0.48")


def test_concentration_data_are_the_printed_ones():
    sums = np.cumsum(CONCENTRATION - 99)
    assert all(agrees(s, printed) for s, printed in zip(sums, PRINTED_SUMS.split(), strict=True))


def test_concentration():
    got = summarise(CONCENTRATION)
    assert agrees(got.mean, "99.1")
    assert one(got.mean) == pytest.approx(99.095, rel=1e-13)
    lo, hi = mean_interval(got.mean, got.s, got.n)
    assert one(lo) < 99 < one(hi)  # "the process mean is 99"


def test_concentration_is_in_control_so_no_order_effect_shows():
    """The book's chart shows no signal; none of three order tests may cry at 1 %."""
    assert one(runs_test(CONCENTRATION).p) > 0.01
    assert one(trend(np.arange(20.0), CONCENTRATION).p) > 0.01
    assert one(lag1(CONCENTRATION)[1]) > 0.01
