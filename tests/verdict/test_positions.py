"""What the verdict says of where the places stand, and of places that repeat each other."""

import numpy as np

from lotqa.verdict import bench
from lotqa.verdict.more import more_places
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case, plain, told

N = 20
EVEN_M = 2.0 * np.arange(N)
NAME = "roll 1"


def lot(position_m, x_mm=None):
    d = exact(N, 1.752, 0.003, oval_mm=0.01, seed=1) if x_mm is None else x_mm
    return evidence(readings({NAME: d}, position_m={NAME: position_m}))


def reason_of(check):
    return check.reason(0)


def test_even_places_leave_the_verdict_open_and_the_waves_are_named():
    found = lot(EVEN_M)
    the_case = case(found)
    reason = reason_of(bench.positions(found, the_case.criteria))
    assert (reason.outcome, reason.standing) == ("undecided", "provisional")
    assert reason.text == (
        "The places stand so evenly that they do not see waves of 2.000 m, 1.000 m, 0.667 m, "
        "0.500 m, 0.400 m and 35 shorter ones down to 0.050 m; one of nearly such a length would "
        "look like a drift. Use uneven places: lotqa plan."
    )
    judgement = judge_spools(the_case)
    assert judgement.standing(0) == "provisional"
    assert judgement.verdict(0) == judge_spools(case(lot(uneven()))).verdict(0)


def uneven():
    return np.sort(np.random.default_rng(3).uniform(0, 40, N)).round(2)


def test_uneven_places_pass():
    found = lot(uneven())
    reason = reason_of(bench.positions(found, case(found).criteria))
    assert (reason.outcome, reason.standing) == ("pass", "firm")
    assert reason.text == (
        "The places stand unevenly enough to meet every wave at different phases."
    )


def test_unknown_positions_are_not_checked():
    found = lot(np.full(N, np.nan))
    reason = reason_of(bench.positions(found, case(found).criteria))
    assert (reason.outcome, reason.value) == ("not_checked", None)
    assert reason.text == (
        "No positions, or too few, to tell which waves the places miss: not checked."
    )


def test_the_limit_is_the_buyers():
    found = told(plain(1), "order", window=0.87)
    for limit, outcome in ((0.87, "pass"), (0.86, "undecided")):
        the_case = case(found, limits={"places.window_max": limit})
        assert reason_of(bench.positions(found, the_case.criteria)).outcome == outcome


def test_further_uneven_places_settle_even_ones():
    the_case = case(lot(EVEN_M))
    judgement = judge_spools(the_case)
    more = more_places(the_case, judgement, 0)
    only_positions = case(lot(uneven()))
    assert judge_spools(only_positions).firm[0]
    # 20 at one phase and m at any phase: 20 / (20 + m) on average, to fall to 0.87.
    assert more == np.ceil(20 / 0.87) - 20


def test_dependent_places_are_told_in_the_order_check():
    rng = np.random.default_rng(6)
    slow = np.cumsum(rng.normal(0, 0.004, N))
    found = lot(uneven(), (1.752 + slow - slow.mean())[:, None] + np.zeros((1, 2)))
    worth = found.diameter.n_effective[0]
    assert worth < 8
    text = reason_of(bench.order(found, case(found).criteria)).text
    assert f"they count as {worth:.1f} independent ones in every interval. Read further" in text
    assert text.startswith("The places show ")
    # The same places in an order drawn at random are worth their number, and the mean is surer.
    mixed = rng.permutation(N)
    other = lot(uneven(), (1.752 + slow - slow.mean())[mixed, None] + np.zeros((1, 2)))
    assert other.diameter.n_effective[0] == N
    width = [e.diameter.mean_hi_mm[0] - e.diameter.mean_lo_mm[0] for e in (found, other)]
    assert width[0] > 1.1 * width[1]


def test_places_counted_down_without_an_order_test_failing_say_so():
    found = told(plain(1), "diameter", n_effective=13.2)
    text = reason_of(bench.order(found, case(found).criteria)).text
    assert text == (
        "Near places may be alike, though it is not certain: 20 places count as 13.2 independent "
        "ones in every interval."
    )


def test_unknown_positions_leave_the_intervals_alone():
    slow = np.cumsum(np.random.default_rng(2).normal(0, 0.002, N))
    x = (1.752 + slow)[:, None] + np.zeros((1, 2))
    known, unknown = lot(uneven(), x), lot(np.full(N, np.nan), x)
    assert known.diameter.n_effective[0] < unknown.diameter.n_effective[0] == N
    assert unknown.diameter.df_spread[0] == N - 1
