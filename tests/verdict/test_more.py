"""How many more places: the promise is kept when they are read, and one fewer would not do.

The second road builds readings with the very mean and s at that many places and judges them from
the start, without the shortcut that made the promise.
"""

import numpy as np
import pytest

from lotqa.evidence.gauge import Offset, unchecked_offset
from lotqa.verdict.more import more_places
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case, plain, told

LOOSE = {"centring.cpk_min": 1.0}


def judged(n, mean, s, offset):
    """Case of one spool of n places with exactly this mean and s; no order, no outlier."""
    for seed in range(100):  # until neighbours are not alike by chance, which would cost places
        found = evidence(readings({"a": exact(n, mean, s, seed=seed)}), offset=offset)
        if found.diameter.n_effective[0] == n:
            break
    else:
        raise AssertionError(f"no order of {n} places counts as independent")
    found = told(found, "order", runs_p=0.5, trend_p=0.5, lag1_p=0.5, normal_p=0.5, window=0.1)
    # Extremes grow with the number of draws; they are not what is asked about.
    found = told(found, "diameter", low_mm=mean - 0.03, high_mm=mean + 0.03)
    return case(found, limits=LOOSE)


PIN = Offset(0.0, 0.0015, 30, None, None)


@pytest.mark.parametrize(("n", "mean", "s"), [
    (12, 1.752, 0.0115),
    (15, 1.762, 0.007),
    (20, 1.752, 0.0155),
    (10, 1.754, 0.012),
])  # fmt: skip
def test_so_many_more_make_it_firm_and_one_fewer_does_not(n, mean, s):
    made = judged(n, mean, s, PIN)
    before = judge_spools(made)
    assert before.standing(0) == "provisional"
    more = more_places(made, before, 0)
    assert more is not None
    assert more > 1
    after = judge_spools(judged(n + more, mean, s, PIN))
    assert (after.verdict(0), after.standing(0)) == (before.verdict(0), "firm")
    assert judge_spools(judged(n + more - 1, mean, s, PIN)).standing(0) == "provisional"


def test_a_firm_verdict_needs_none():
    made = case(plain())
    assert more_places(made, judge_spools(made), 0) == 0


def test_no_number_of_places_makes_up_for_an_unchecked_tool():
    made = judged(20, 1.75, 0.007, unchecked_offset(0.02))
    got = judge_spools(made)
    assert got.standing(0) == "provisional"
    assert more_places(made, got, 0) is None


def test_one_place_gives_nothing_to_reckon_with():
    made = case(evidence(readings({"a": np.array([[1.75, 1.75]])})))
    assert more_places(made, judge_spools(made), 0) is None


def test_too_few_places_are_made_up_to_the_number_asked():
    made = judged(6, 1.752, 0.0055, PIN)
    got = judge_spools(made)
    assert got.standing(0) == "provisional"
    assert more_places(made, got, 0) == 4


@pytest.mark.parametrize("last", [2, 79])
def test_a_place_to_be_read_again_is_settled_by_no_further_one(last):
    """Also in a lot of more spools than rungs, where an outlier stands far down the list."""
    rng = np.random.default_rng(1)
    d = {str(i): exact(12, 1.752, 0.006, seed=i) for i in range(last)}
    d[str(last)] = 1.752 + 0.001 * rng.standard_normal((12, 2))
    d[str(last)][5] += 0.02
    d["0"] = exact(12, 1.7525, 0.0115)
    found = evidence(readings(d))
    assert np.unique(found.places.spool[found.outlier]).tolist() == [last]
    made = case(found, limits=LOOSE)
    got = judge_spools(made)
    assert got.standing(last) == "provisional"
    assert more_places(made, got, last) is None
    # The outlier of the last spool is no matter of the first.
    alone = case(evidence(readings({"0": d["0"]})), limits=LOOSE)
    assert got.standing(0) == "provisional"
    assert more_places(made, got, 0) == more_places(alone, judge_spools(alone), 0)


@pytest.mark.parametrize("seed", range(6))
def test_the_promise_is_about_right_when_places_are_really_read(seed):
    """Fresh places move mean and s; yet at the promised number most verdicts are firm."""
    rng = np.random.default_rng(seed)
    firm = []
    for _ in range(8):
        x = 1.7565 + 0.0078 * rng.standard_normal((12, 1)) + np.zeros((12, 2))
        made = case(evidence(readings({"a": x}), offset=PIN), limits=LOOSE)
        got = judge_spools(made)
        more = more_places(made, got, 0)
        if more is None or more == 0:
            continue
        y = 1.7565 + 0.0078 * rng.standard_normal((12 + more, 1)) + np.zeros((12 + more, 2))
        after = judge_spools(case(evidence(readings({"a": y}), offset=PIN), limits=LOOSE))
        firm.append(after.standing(0) == "firm")
    assert sum(firm) >= len(firm) / 4
