"""The four answers of an operating characteristic, each by scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.sampling.lot_risk import Lots, Procedure, probability_accept_lot
from lotqa.sampling.operating import in_lot, operating

LOTS = Lots(0.012, 0.005, 0.006)
PROCEDURE = Procedure(5, 20, 0.05, 0.0125, None)


@given(st.integers(1, 60), st.data())
def test_whole_numbers_of_bad_spools_are_hypergeometric(lot, data):
    n = data.draw(st.integers(1, lot))
    c = data.draw(st.integers(0, 2))
    bad = data.draw(st.integers(0, lot))
    got = in_lot([bad / lot], lot, n, c)
    assert got[0] == pytest.approx(stats.hypergeom.cdf(c, lot, bad, n), abs=1e-12)


@given(st.floats(0, 1), st.integers(1, 60), st.data())
def test_a_share_between_is_that_mixture_which_has_it_on_average(share, lot, data):
    n = data.draw(st.integers(1, lot))
    got = float(in_lot([share], lot, n, 0)[0])
    below = int(np.floor(share * lot))
    above = min(below + 1, lot)
    weight = share * lot - below
    expected = (1 - weight) * stats.hypergeom.pmf(0, lot, below, n) + weight * stats.hypergeom.pmf(
        0, lot, above, n
    )
    assert got == pytest.approx(expected, abs=1e-8)


def test_a_decimal_that_misses_its_whole_number_by_the_last_digit_is_that_number():
    assert in_lot([0.1 + 0.2], 10, 3, 0)[0] == in_lot([3 / 10], 10, 3, 0)[0]
    assert in_lot([0.3], 10, 3, 0)[0] == pytest.approx(35 / 120)  # 7 of 10 three times, by hand


def test_a_process_is_binomial_and_means_are_noncentral_t():
    bad = np.array([0.05, 0.3])
    found = operating(bad, 20, PROCEDURE, LOTS, 1.0)
    assert found.process == pytest.approx((1 - bad) ** 5, rel=1e-12)
    t = stats.nct(4, -stats.norm.ppf(bad) * np.sqrt(5))
    assert found.means == pytest.approx(t.sf(np.sqrt(5)), abs=1e-8)


def test_two_spools_or_no_plan_have_no_means_together():
    two = Procedure(2, 20, 0.05, 0.0125, None)
    assert operating([0.1], 5, two, LOTS, 1.0).means is None
    assert operating([0.1], 20, PROCEDURE, LOTS, None).means is None


def test_a_lot_that_is_not_measured_is_always_taken():
    none = Procedure(0, 20, 0.05, 0.0125, None)
    found = operating([0.1, 0.9], 20, none, LOTS, None)
    for chances in (found.in_lot, found.process, found.procedure):
        assert chances.tolist() == [1.0, 1.0]


def test_the_whole_procedure_is_that_of_the_same_lots_and_the_same_each_time():
    bad = np.array([0.05, 0.3])
    first, again = (operating(bad, 20, PROCEDURE, LOTS, 1.0).procedure for _ in range(2))
    assert first.tolist() == again.tolist()
    assert first.tolist() == probability_accept_lot(bad, PROCEDURE, LOTS).tolist()


@pytest.mark.parametrize("bad", [-0.01, 1.01])
def test_a_share_that_cannot_be(bad):
    with pytest.raises(ValueError):
        operating([bad], 20, PROCEDURE, LOTS, 1.0)
