"""The rules of switching, clause by clause, tried on every row of lots that is short enough.

1. MIL-STD-105E (1989), 4.7 and 4.8, as quoted in open copies (a page on the rules of MIL-STD-105
   and ISO 2859-1; a copy of the successor's 8.3 and 8.4):
   4.7.1  normal to tightened: "2 out of 5 (or fewer) consecutive lots or batches have been
          non-acceptable on original inspection";
   4.7.2  tightened to normal: "5 consecutive lots or batches have been considered acceptable";
   4.7.3  normal to reduced: the preceding 10 lots accepted, among other conditions;
   4.7.4  reduced to normal: a lot rejected, among other conditions;
   4.8    stop: the cumulative number of lots rejected on tightened inspection reaches 5.
2. ISO 2859-1:1999, 9.3.1, 9.3.2, 9.3.4, 9.4 say the same (chart of the rules, open copies); 9.3.3
   has a score of 30 instead of ten lots, two points a lot where nothing bad is allowed (points from
   memory).
3. 7 CFR 42.120: "only one-half or one-fourth of the lots offered for inspection are formally
   inspected"; 42.123, note 2: the lots are drawn strictly at random.
"""

from dataclasses import replace
from itertools import product

import pytest

from lotqa.criteria import read_criteria
from lotqa.history import rules_of
from lotqa.sampling.switching import LotOutcome, effort_after

SHIPPED = rules_of(read_criteria())


def after(row, rules=SHIPPED):
    """The effort after lots that are all measured and judged firmly: a accepted, r rejected."""
    words = {"a": "accept", "r": "reject"}
    return effort_after(
        [LotOutcome(f"L{i}", f"2026-01-{i:02d}", words[x], "firm") for i, x in enumerate(row, 1)],
        rules,
    )


def states(row, rules=SHIPPED):
    """The state that each next lot meets."""
    return [after(row[: i + 1], rules).state for i in range(len(row))]


def rows(n):
    return ["".join(row) for row in product("ar", repeat=n)]


def first(row, happens):
    """Index of the first lot at which something happens; None if it never does."""
    return next((i for i in range(len(row)) if happens(i)), None)


def test_105e_4_7_1_normal_to_tightened_in_every_row_of_nine():
    for row in rows(9):
        wanted = first(row, lambda i, row=row: row[max(0, i - 4) : i + 1].count("r") >= 2)
        found = states(row)
        assert (found.index("tightened") if "tightened" in found else None) == wanted


def test_105e_4_7_1_lots_rejected_on_either_side_of_the_switch_to_normal_are_consecutive():
    """Reduced inspection ends with the first, normal inspection is in effect at the second."""
    for row in rows(5):
        start = "a" * 10 + "r"
        wanted = first(row, lambda i, row=row: ("r" + row)[max(0, i - 3) : i + 2].count("r") >= 2)
        found = states(start + row)[len(start) :]
        assert (found.index("tightened") if "tightened" in found else None) == wanted


def test_105e_4_7_2_tightened_to_normal_in_every_row_of_nine():
    for row in rows(9):
        wanted = first(row, lambda i, row=row: i >= 4 and row[i - 4 : i + 1] == "aaaaa")
        found = states("rr" + row)[2:]
        assert (found.index("normal") if "normal" in found else None) == wanted


@pytest.mark.parametrize("bad", range(10))
def test_105e_4_7_3_ten_preceding_lots_to_reduced(bad):
    assert states("a" * 10)[-2:] == ["normal", "reduced"]
    row = "a" * bad + "r" + "a" * (9 - bad)
    assert after(row).state == "normal"
    assert states(row + "a" * (bad + 1))[-2:] == ["normal", "reduced"]


@pytest.mark.parametrize("good", range(10))
def test_105e_4_7_4_one_lot_rejected_ends_reduced(good):
    assert states("a" * (10 + good) + "r")[-2:] == ["reduced", "normal"]


@pytest.mark.parametrize("good", range(10))
def test_105e_4_8_the_fifth_lot_rejected_on_tightened_stops_it_however_spread(good):
    """Cumulative: good lots between them, too few in a row for normal, do not help."""
    gaps = [min(4, max(0, good - 4 * k)) for k in range(4)]
    row = "rr" + "".join("r" + "a" * gap for gap in gaps)
    assert after(row).advice is None
    advice = after(row + "r").advice
    assert advice is not None
    assert "stop buying until the supplier has acted" in advice


def test_2859_1_9_3_3_a_buyer_may_write_the_fifteen_lots_of_the_score():
    rules = replace(SHIPPED, reduce_accepted=30 // 2)
    assert states("a" * 15, rules)[-2:] == ["normal", "reduced"]


@pytest.mark.parametrize("interval", [2, 4])
def test_7_cfr_42_120_one_half_or_one_fourth_of_the_lots_is_inspected(interval):
    rules = replace(SHIPPED, skip_interval=interval)
    lots = [LotOutcome(f"L{i}", "2026-01-01", "accept", "firm") for i in range(20)]
    assert effort_after(lots, rules).state == "skip"
    for i in range(20, 100):
        due = effort_after(lots, rules).is_due
        lots.append(LotOutcome(f"L{i}", "2026-01-01", "accept", "firm", measured=due))
    assert sum(lot.measured for lot in lots[20:]) == 80 // interval


def test_7_cfr_42_123_skip_lot_may_follow_reduced_inspection_and_ends_with_a_bad_lot():
    """Note 3 (a): lots on reduced inspection qualify; normal inspection of every lot follows."""
    row = "a" * 20
    assert states(row)[-2:] == ["reduced", "skip"]
    assert (after(row + "r").state, after(row + "r").is_due) == ("normal", True)


def test_the_shipped_numbers_are_those_of_the_clauses():
    assert (SHIPPED.tighten_rejected, SHIPPED.tighten_window) == (2, 5)  # 4.7.1; 9.3.1
    assert SHIPPED.restore_accepted == 5  # 4.7.2; 9.3.2
    assert SHIPPED.reduce_accepted == 10  # 4.7.3
    assert SHIPPED.stop_rejected == 5  # 4.8; 9.4
    assert SHIPPED.skip_interval in (2, 4)  # 7 CFR 42.120
