"""Groups of spools that one number serves: the fewest, by trying every way to cut the row.

A multiplier is right where volume in is volume out: (set / true diameter)**2 (common practice; the
volume of a cylinder).
"""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.verdict.lot_groups import groups_of, told
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case

LIMIT_PCT = 2.0


def found(means_mm, limits=None):
    spools = {f"s{i}": exact(12, m, 0.004, seed=i) for i, m in enumerate(means_mm)}
    made = evidence(readings(spools))
    criteria = case(made, limits={"flow.error_max_pct": LIMIT_PCT} | (limits or {})).criteria
    return made, groups_of(made, np.ones(len(means_mm), dtype=bool), criteria)


def serves(areas) -> bool:
    """Whether some one multiplier leaves every spool within the limit: tries a fine row of them."""
    tried = np.linspace(min(areas), max(areas), 4001)[:, None]
    left = 100 * np.abs(np.asarray(areas) / tried - 1)
    return bool((left.max(axis=1) <= LIMIT_PCT + 1e-3).any())


def fewest(areas) -> int:
    """The fewest runs of the sorted areas that one number serves each, by trying all cuts."""
    areas = sorted(areas)
    for n_cuts in range(len(areas)):
        for cuts in combinations(range(1, len(areas)), n_cuts):
            ends = [0, *cuts, len(areas)]
            runs = pairwise(ends)
            if all(serves(areas[a:b]) for a, b in runs):
                return n_cuts + 1
    return len(areas)


@given(st.lists(st.integers(1700, 1800), min_size=1, max_size=7))
def test_the_groups_are_the_fewest(means_um):
    made, groups = found([m / 1000 for m in means_um])
    areas = 1 + made.flow.error_pct / 100
    assert len(groups) == fewest(areas)
    placed = [s for g in groups for s in g.spools]
    assert sorted(placed) == sorted(made.spools)  # each once, none lost
    for group in groups:
        assert group.residual_pct <= LIMIT_PCT + 1e-6


def test_the_number_of_a_group_lays_what_was_asked_on_average():
    made, (group,) = found([1.77, 1.775, 1.78])
    laid = np.mean(made.diameter.mean_mm**2 + made.diameter.sd_mm**2) / 1.75**2
    assert group.multiplier == pytest.approx(1 / laid, rel=2e-4)
    assert group.set_diameter_mm == pytest.approx(1.75 * np.sqrt(laid), rel=2e-4)
    assert group.as_it_is is False


def test_two_kinds_of_spools_are_sorted_with_a_number_each():
    _, groups = found([1.715, 1.785, 1.716, 1.784])
    assert [g.spools for g in groups] == [("s0", "s2"), ("s1", "s3")]
    thin, thick = (g.multiplier for g in groups)
    assert told(groups) == (
        f"sort it into 2 groups: spools s0, s2 multiplier {thin:.3f}; spools s1, s3 multiplier "
        f"{thick:.3f}"
    )
    assert thin > 1 > thick


def test_spools_that_print_within_the_limit_need_no_number():
    _, groups = found([1.752, 1.751])
    assert [g.as_it_is for g in groups] == [True]
    assert told(groups) == ""


def test_spools_that_are_not_to_be_used_are_in_no_group():
    spools = {f"s{i}": exact(12, m, 0.004, seed=i) for i, m in enumerate((1.72, 1.78))}
    made = evidence(readings(spools))
    criteria = case(made).criteria
    groups = groups_of(made, np.array([False, True]), criteria)
    assert [g.spools for g in groups] == [("s1",)]
    assert groups_of(made, np.zeros(2, dtype=bool), criteria) == ()
