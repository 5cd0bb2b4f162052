"""How many spools to measure, against the printed tables of MIL-STD-105E (1989).

1. Table I, code letters: all seven levels, as printed, both ends of every row.
2. Tables II-A, II-B, II-C: at one AQL the plans that allow nothing bad.  II-A gives each letter one
   such AQL; II-B has its own sample there, of the next letter; II-C a smaller one.  Letter R allows
   something at every AQL of II-A, so it has no larger sample to go to.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.sampling.effort import REDUCED_SIZE, spools_to_measure
from tests.sampling.code_letters import TABLE_I

LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
LAST_LOTS = [first - 1 for first, _ in TABLE_I[1:]] + [2_000_000]
# AQL at which II-A allows nothing bad; letter; sample of II-A, II-B and II-C at that AQL
NOTHING_BAD_ALLOWED = """
6.5    A    2    3   2
4.0    B    3    5   2
2.5    C    5    8   2
1.5    D    8   13   3
1.0    E   13   20   5
0.65   F   20   32   8
0.40   G   32   50  13
0.25   H   50   80  20
0.15   J   80  125  32
0.10   K  125  200  50
0.065  L  200  315  80
0.040  M  315  500 125
0.025  N  500  800 200
0.015  P  800 1250 315
0.010  Q 1250 2000 500
"""
PRINTED = {
    letter: {"normal": int(normal), "tightened": int(tightened), "reduced": int(reduced)}
    for _, letter, normal, tightened, reduced in map(
        str.split, NOTHING_BAD_ALLOWED.split("\n")[1:-1]
    )
}
PRINTED["R"] = {"normal": 2000, "tightened": 2000, "reduced": 800}
STATES = ("normal", "tightened", "reduced")

lots = st.one_of(st.integers(1, 500), st.integers(1, 2_000_000))
levels = st.sampled_from(LEVELS)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("column", "level"), list(enumerate(LEVELS)))
def test_sample_of_every_row_of_lots(column, level, state):
    for (first, letters), last in zip(TABLE_I, LAST_LOTS, strict=True):
        printed = PRINTED[letters[column]][state]
        assert spools_to_measure(first, state, level=level) == min(first, printed)
        assert spools_to_measure(last, state, level=level) == min(last, printed)


def test_every_letter_of_the_tables_is_met():
    met = {letter for _, letters in TABLE_I for letter in letters}
    assert met == set(PRINTED) == set(REDUCED_SIZE)


@pytest.mark.parametrize("level", LEVELS)
def test_a_lot_on_skip_lot_that_is_due_is_measured_as_on_reduced(level):
    for lot_size, _ in TABLE_I:
        due = spools_to_measure(lot_size, "skip", True, level)
        assert due == spools_to_measure(lot_size, "reduced", level=level)


@given(lots, levels)
def test_a_lot_on_skip_lot_that_is_not_due_is_not_measured(lot_size, level):
    assert spools_to_measure(lot_size, "skip", False, level) == 0


@given(lots, levels, st.sampled_from(STATES))
def test_off_skip_lot_every_lot_is_measured(lot_size, level, state):
    not_due = spools_to_measure(lot_size, state, False, level)
    assert not_due == spools_to_measure(lot_size, state, True, level) >= 1


@given(lots, levels)
def test_never_more_than_the_lot_and_more_the_stricter(lot_size, level):
    reduced, normal, tightened = (
        spools_to_measure(lot_size, state, level=level)
        for state in ("reduced", "normal", "tightened")
    )
    assert 1 <= reduced <= normal <= tightened <= lot_size


@given(lots, lots, levels, st.sampled_from(STATES))
def test_a_larger_lot_is_never_measured_at_fewer_spools(one_lot, other, level, state):
    small, large = sorted((one_lot, other))
    assert spools_to_measure(small, state, level=level) <= spools_to_measure(
        large, state, level=level
    )


def test_normal_inspection_at_level_two_is_meant_when_nothing_is_said():
    for lot_size in (1, 20, 90, 5000):
        assert spools_to_measure(lot_size) == spools_to_measure(lot_size, "normal", True, "II")
    assert [spools_to_measure(n) for n in (1, 2, 20, 60, 100)] == [1, 2, 5, 13, 20]


@pytest.mark.parametrize(
    ("lot_size", "normal", "tightened", "reduced"),
    [(2, 2, 2, 2), (3, 2, 3, 2), (5, 2, 3, 2), (12, 3, 5, 2), (7, 2, 3, 2), (40, 8, 13, 3)],
)
def test_small_lots_as_a_workshop_buys_them(lot_size, normal, tightened, reduced):
    got = [spools_to_measure(lot_size, state) for state in STATES]
    assert got == [normal, tightened, reduced]
