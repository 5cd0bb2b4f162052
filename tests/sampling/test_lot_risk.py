"""What the whole procedure lets through: limit cases that scipy knows exactly.

Sources: binomial (scipy) where a spool is seen as it is; noncentral t (scipy) where only the means
decide; chi-square (scipy) where only the spread does.  Sampling error: 20,000 lots, four standard
errors.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from lotqa.sampling.lot_risk import LOTS, Lots, Procedure, draw, probability_accept_lot
from lotqa.sampling.variables import k_for, most_fraction

BAD = np.array([0.05, 0.1, 0.3, 0.5])
EXACT = Lots(between_sd_mm=0.012, within_sd_mm=0.0, place_reading_sd_mm=0.0)
COUNTED = Procedure(3, 20, 0.05, np.inf, None)


def near(found, expected):
    error = np.sqrt(np.maximum(expected * (1 - expected), 1e-4) / LOTS)
    return bool((np.abs(found - expected) <= 4 * error).all())


@pytest.mark.parametrize("n", [1, 2, 3, 8])
@pytest.mark.parametrize("taken", [0, 1])
def test_spools_seen_as_they_are_are_counted(n, taken):
    found = probability_accept_lot(BAD, replace(COUNTED, n_spools=n, rejected_max=taken), EXACT)
    assert near(found, stats.binom.cdf(taken, n, BAD))


@pytest.mark.parametrize("n", [3, 5, 8])
def test_means_alone_are_judged_by_the_noncentral_t(n):
    """The limit far enough off on the other side; no spool is counted as bad."""
    k = k_for(0.025, 0.95, n)
    means = Procedure(n, 20, 0.05, np.inf, most_fraction(k, n), rejected_max=n)
    found = probability_accept_lot(BAD, means, replace(EXACT, between_sd_mm=0.004))
    t = stats.nct(n - 1, -stats.norm.ppf(BAD) * np.sqrt(n))
    assert near(found, t.sf(k * np.sqrt(n)))


@pytest.mark.parametrize("places", [5, 20])
@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.2])
def test_spread_alone_is_judged_by_chi_square(places, ratio):
    """One spool far inside the label; where nothing is taken off, what is judged is s itself."""
    limit = 0.0125
    lots = Lots(0.007, ratio * limit, 0.0)  # seven of these from the limit: about nominal
    found = probability_accept_lot(1e-12, Procedure(1, places, 0.05, limit, None), lots)
    df = places - 1
    expected = stats.chi2.cdf(df / ratio**2, df)
    assert near(found, np.asarray(expected))


def test_a_blurred_view_takes_more_of_the_bad_and_fewer_of_the_good():
    sharp, blurred = (
        probability_accept_lot(np.array([0.02, 0.7]), COUNTED, replace(EXACT, u_offset_mm=u))
        for u in (0.0, 0.01)
    )
    assert blurred[0] < sharp[0]
    assert blurred[1] > sharp[1]


def test_what_the_tool_is_off_by_is_common_to_the_spools_of_a_lot():
    drawn = draw(COUNTED, Lots(1e-9, 0.0, 0.0, u_offset_mm=0.01))
    assert np.ptp(drawn.shift_mm, axis=1).max() < 1e-7
    assert np.std(drawn.shift_mm[:, 0]) == pytest.approx(0.01, rel=0.03)


@pytest.mark.parametrize("places", [5, 20])
@pytest.mark.parametrize("ratio", [0.9, 1.0, 1.05])
def test_the_spread_of_all_spools_together_is_chi_square_of_all_their_places(places, ratio):
    """Every spool may be rejected, so that only the lot as a whole can be."""
    limit, n = 0.0125, 4
    lots = Lots(0.007, ratio * limit, 0.0)
    found = probability_accept_lot(
        1e-12, Procedure(n, places, 0.05, limit, None, rejected_max=n), lots
    )
    df = n * (places - 1)
    assert near(found, np.asarray(stats.chi2.cdf(df / ratio**2, df)))


def test_none_bad_is_a_lot_about_nominal_and_all_bad_is_not_taken():
    none, all_bad = probability_accept_lot([0.0, 1.0], COUNTED, EXACT)
    assert none == pytest.approx(1.0, abs=1e-3)  # each limit 4.2 of the sd off: 3e-5 a spool
    assert all_bad == 0.0


def test_none_bad_says_nothing_of_the_spread():
    lots = Lots(0.007, 0.0125, 0.0)
    found = probability_accept_lot(0.0, Procedure(1, 20, 0.05, 0.0125, None), lots)
    assert near(found, np.asarray(stats.chi2.cdf(19, 19)))


@pytest.mark.parametrize("bad", [0.0, 0.001, 0.02])
def test_no_lot_is_better_than_one_about_nominal(bad):
    """Spools that differ by 0.03 mm: a good twentieth lies beyond either limit at the best."""
    wide = replace(EXACT, between_sd_mm=0.03)
    inside = 1 - 2 * stats.norm.sf(0.05 / 0.03)
    assert near(probability_accept_lot(bad, COUNTED, wide), np.asarray(inside**3))


def test_spools_all_alike_are_good_or_bad_together():
    alike = replace(EXACT, between_sd_mm=0.0)
    assert probability_accept_lot([0.0, 1.0], COUNTED, alike).tolist() == [1.0, 0.0]


def test_the_same_plan_states_the_same():
    again = [probability_accept_lot(BAD, COUNTED, EXACT) for _ in range(2)]
    assert again[0].tolist() == again[1].tolist()
    assert again[0].shape == BAD.shape
    assert (np.diff(again[0]) < 0).all()


@pytest.mark.parametrize("bad", [-0.1, 1.1, np.nan])
def test_a_share_that_cannot_be(bad):
    with pytest.raises(ValueError, match="write 0 to 1"):
        probability_accept_lot(bad, COUNTED, EXACT)
