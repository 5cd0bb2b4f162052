"""Effort after a row of lots: every step and sentence by hand, then what must hold of any row.

Lots are written as letters: a taken firmly, t to be tuned, p taken provisionally, r rejected, c
taken with a critical finding, u taken firmly but only weighed and looked at, q the same
provisionally.
"""

from collections import deque
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.sampling.switching import NAMES, LotOutcome, Rules, effort_after

RULES = Rules(2, 5, 5, 10, 10, 4, 5, 0.5)
ONES = Rules(1, 1, 1, 1, 1, 1, 1, 1.0)
A10 = "a" * 10
A20 = "a" * 20
EFFORT = {"skip": 0, "reduced": 1, "normal": 2, "tightened": 3}
KINDS = {
    "a": ("accept", "firm", 0, True),
    "t": ("tune", "firm", 0, True),
    "p": ("accept", "provisional", 0, True),
    "r": ("reject", "firm", 0, True),
    "c": ("accept", "firm", 1, True),
    "u": ("accept", "firm", 0, False),
    "q": ("accept", "provisional", 0, False),
}


def day(i: int) -> str:
    return (date(2026, 1, 5) + timedelta(weeks=i)).isoformat()


def lots(letters: str) -> list[LotOutcome]:
    """K-1, K-2, ..., a week apart."""
    return [LotOutcome(f"K-{i + 1}", day(i), *KINDS[x]) for i, x in enumerate(letters)]


def after(letters: str, rules: Rules = RULES):
    return effort_after(lots(letters), rules)


NO_CHANGE = "no lot so far asks for a change: normal"
BACK = "five lots in a row were taken: back to normal"
REDUCED = "ten lots in a row were taken: reduced"
SKIP = "ten further lots in a row were taken: skip-lot, one lot of four is measured"


@pytest.mark.parametrize(("letters", "state", "since", "why"), [
    # Nothing happened yet.
    ("", "normal", None, "no earlier lots: normal"),
    ("a", "normal", None, NO_CHANGE),
    ("r", "normal", None, NO_CHANGE),
    ("aaaaaaaaa", "normal", None, NO_CHANGE),
    # Normal to tightened: two of five, or fewer.
    ("rr", "tightened", 2, "the last two lots were rejected: tightened"),
    ("rar", "tightened", 3, "two of the last three lots were rejected: tightened"),
    ("raaar", "tightened", 5, "two of the last five lots were rejected: tightened"),
    ("aaaraaar", "tightened", 8, "two of the last five lots were rejected: tightened"),
    ("raaaar", "normal", None, NO_CHANGE),
    ("cc", "tightened", 2, "the last two lots had a critical finding: tightened"),
    ("rc", "tightened", 2, "the last two lots were rejected or had a critical finding: tightened"),
    ("cac", "tightened", 3, "two of the last three lots had a critical finding: tightened"),
    # Tightened to normal: five in a row.
    ("rraaaa", "tightened", 2, "the last two lots were rejected: tightened"),
    ("rraaaaa", "normal", 7, BACK),
    ("rrtatat", "normal", 7, BACK),
    ("rraaaaraaaa", "tightened", 2, "the last two lots were rejected: tightened"),
    ("rraaaaraaaaa", "normal", 12, BACK),
    ("rraaaacaaaaa", "normal", 12, BACK),
    ("aaaarraaaaa", "normal", 11, BACK),  # lots before tightening do not count
    ("rraaaaarr", "tightened", 9, "the last two lots were rejected: tightened"),
    ("rraaaaar", "normal", 7, BACK),  # the lots that tightened it are behind it
    # Normal to reduced: ten in a row.
    (A10, "reduced", 10, REDUCED),
    ("tttttttttt", "reduced", 10, REDUCED),
    ("raaaaaaaaaa", "reduced", 11, REDUCED),
    ("caaaaaaaaa", "normal", None, NO_CHANGE),
    ("rraaaaa" + "a" * 9, "normal", 7, BACK),
    ("rraaaaa" + A10, "reduced", 17, REDUCED),
    # Reduced to normal: one bad.
    (A10 + "r", "normal", 11, "lot K-11 was rejected: back to normal"),
    (A10 + "c", "normal", 11, "lot K-11 had a critical finding: back to normal"),
    (A10 + "rr", "tightened", 12, "the last two lots were rejected: tightened"),
    (A10 + "raaac", "tightened", 15,
     "two of the last five lots were rejected or had a critical finding: tightened"),
    (A10 + "raaaar", "normal", 11, "lot K-11 was rejected: back to normal"),
    (A10 + "r" + "a" * 9, "normal", 11, "lot K-11 was rejected: back to normal"),
    (A10 + "r" + A10, "reduced", 21, REDUCED),
    # Reduced to skip-lot: ten further ones; skip-lot to normal: one bad.
    (A10 + "a" * 9, "reduced", 10, REDUCED),
    (A20, "skip", 20, SKIP),
    (A20 + "a" * 30, "skip", 20, SKIP),
    (A20 + "r", "normal", 21, "lot K-21 was rejected: back to normal"),
    (A20 + "uuc", "normal", 23, "lot K-23 had a critical finding: back to normal"),
    (A20 + "uucr", "tightened", 24,
     "the last two lots were rejected or had a critical finding: tightened"),
])  # fmt: skip
def test_the_state_and_why(letters, state, since, why):
    found = after(letters)
    assert (found.state, found.why) == (state, why)
    assert found.since == (None if since is None else day(since - 1))


FIRM = "so measure enough spools and places"
STOP = "since tightening began: stop buying until the supplier has acted"


@pytest.mark.parametrize(("letters", "state", "advice"), [
    ("", "normal", None),
    ("aaaa", "normal", None),
    # Provisional verdicts alone earn nothing, neither do lots that were not measured.
    ("p" * 10, "normal", "ten lots in a row were taken, but none of them firmly: reduced "
     f"inspection asks for 5 firm ones, {FIRM}"),
    ("aaaapppppp", "normal", "ten lots in a row were taken, but only 4 of them firmly: reduced "
     f"inspection asks for 5 firm ones, {FIRM}"),
    ("aaaaappppp", "reduced", None),
    ("p" * 10 + "aaaa", "normal", "ten lots in a row were taken, but only 4 of them firmly: "
     f"reduced inspection asks for 5 firm ones, {FIRM}"),
    ("p" * 10 + "aaaaa", "reduced", None),
    ("u" * 10, "normal", "ten lots in a row were taken, but none of them was measured: measure one "
     "before reduced inspection"),
    ("u" * 9 + "a", "reduced", None),
    ("rrppppp", "tightened", "five lots in a row were taken, but none of them firmly: normal "
     f"inspection asks for 3 firm ones, {FIRM}"),
    ("rraappp", "tightened", "five lots in a row were taken, but only 2 of them firmly: normal "
     f"inspection asks for 3 firm ones, {FIRM}"),
    ("rraaapp", "normal", None),
    ("rruuuuu", "tightened", "five lots in a row were taken, but none of them was measured: "
     "measure one before normal inspection"),
    (A10 + "p" * 10, "reduced", "ten further lots in a row were taken, but none of them firmly: "
     f"skip-lot asks for 5 firm ones, {FIRM}"),
    (A10 + "u" * 10, "reduced", "ten further lots in a row were taken, but none of them was "
     "measured: measure one before skip-lot"),
    # The supplier does not get better.
    ("rrrrrr", "tightened", None),
    ("rrrrrrr", "tightened", f"five lots were rejected {STOP}"),
    ("rrraraararaar", "tightened", f"five lots were rejected {STOP}"),
    ("rrccccc", "tightened", f"five lots had a critical finding {STOP}"),
    ("rrrcrrrr", "tightened", f"six lots were rejected or had a critical finding {STOP}"),
    ("rrrrrrrppppp", "tightened", f"five lots were rejected {STOP}; five lots in a row were taken, "
     f"but none of them firmly: normal inspection asks for 3 firm ones, {FIRM}"),
    ("rrrrrrraaaaa", "normal", None),
])  # fmt: skip
def test_what_keeps_the_effort_up_is_told(letters, state, advice):
    found = after(letters)
    assert (found.state, found.advice) == (state, advice)


@pytest.mark.parametrize(("letters", "rules", "state", "told"), [
    ("r", ONES, "tightened", "the last lot was rejected: tightened"),
    ("c", ONES, "tightened", "the last lot had a critical finding: tightened"),
    ("aar", replace(RULES, tighten_rejected=1), "tightened",
     "one of the last three lots was rejected: tightened"),
    ("ra", ONES, "normal", "one lot was taken: back to normal"),
    ("a", ONES, "reduced", "one lot was taken: reduced"),
    ("aa", ONES, "skip", "one further lot was taken: skip-lot, every lot is measured"),
    ("a" * 13, replace(RULES, reduce_accepted=13), "reduced",
     "13 lots in a row were taken: reduced"),
    ("a" * 20, replace(RULES, skip_interval=20), "skip",
     "ten further lots in a row were taken: skip-lot, one lot of 20 is measured"),
])  # fmt: skip
def test_other_numbers_in_words(letters, rules, state, told):
    found = after(letters, rules)
    assert (found.state, found.why) == (state, told)


@pytest.mark.parametrize(("letters", "told"), [
    ("rr", f"one lot was rejected {STOP}"),
    ("rc", f"one lot had a critical finding {STOP}"),
    ("p", f"one lot was taken, but not firmly: reduced inspection asks for a firm one, {FIRM}"),
    ("u", "one lot was taken, but it was not measured: measure one before reduced inspection"),
    ("ap", f"one further lot was taken, but not firmly: skip-lot asks for a firm one, {FIRM}"),
])  # fmt: skip
def test_one_lot_is_not_several(letters, told):
    assert after(letters, ONES).advice == told


def test_every_change_is_kept_with_the_lot_that_brought_it():
    found = after("rraaaaa" + A20 + "r")
    told = [(c.lot, c.day, c.before, c.after, c.why) for c in found.changes]
    assert told == [
        ("K-2", day(1), "normal", "tightened", "the last two lots were rejected: tightened"),
        ("K-7", day(6), "tightened", "normal", BACK),
        ("K-17", day(16), "normal", "reduced", REDUCED),
        ("K-27", day(26), "reduced", "skip", SKIP),
        ("K-28", day(27), "skip", "normal", "lot K-28 was rejected: back to normal"),
    ]


@pytest.mark.parametrize(("letters", "is_due"), [
    (A20, False),
    (A20 + "uu", False),
    (A20 + "uuu", True),
    (A20 + "uuuu", True),  # it was due and nobody measured: the next one still is
    (A20 + "uuua", False),
    (A20 + "uuuauuu", True),
    (A20 + "uau", False),
    ("a" * 17 + "uuu", True),  # lots on reduced inspection that were not measured count as well
    ("u" * 9, True),
    ("", True),
])  # fmt: skip
def test_on_skip_lot_the_fourth_is_due(letters, is_due):
    assert after(letters).is_due is is_due


@pytest.mark.parametrize(("changed", "told"), [
    ({"tighten_rejected": 0}, "tighten_rejected is 0: write a number of lots, 1 or more"),
    ({"skip_interval": -4}, "skip_interval is -4: write a number of lots, 1 or more"),
    ({"firm_share": 1.5}, "firm_share is 1.5: write a share from 0 to 1"),
    ({"firm_share": float("nan")}, "firm_share is nan: write a share from 0 to 1"),
    ({"tighten_rejected": 6}, "tighten_rejected is 6, of a tighten_window of 5: so many can never "
     "be rejected, make the window wider"),
])  # fmt: skip
def test_rules_that_cannot_be_are_refused(changed, told):
    with pytest.raises(ValueError) as caught:
        replace(RULES, **changed)
    assert str(caught.value) == told


def test_a_share_of_lots_is_not_pushed_over_by_binary_rounding():
    """0.07 of 100 lots is seven; 0.07 * 100 in binary is a little more."""
    assert 0.07 * 100 > 7
    rules = replace(RULES, reduce_accepted=100, firm_share=0.07)
    assert after("a" * 7 + "p" * 93, rules).state == "reduced"
    assert after("a" * 6 + "p" * 94, rules).state == "normal"


def test_even_a_share_of_nothing_asks_for_one_firm_lot():
    rules = replace(RULES, firm_share=0.0)
    assert after("p" * 40, rules).state == "normal"
    assert after("p" * 9 + "a", rules).state == "reduced"


# What holds of any row of lots.

SHARES = st.sampled_from(["0", "0.1", "0.3", "0.5", "0.7", "1"])
SMALL = st.integers(1, 4)


@st.composite
def any_rules(draw):
    window = draw(st.integers(1, 6))
    bad = draw(st.integers(1, window))
    return Rules(bad, window, *(draw(SMALL) for _ in range(5)), float(draw(SHARES)))


ANY_ROW = st.text(st.sampled_from("aaaaaatpprcuq"), max_size=40)  # mostly good, so that all is met


@given(ANY_ROW, any_rules(), st.sampled_from("rc"))
def test_right_after_a_bad_lot_the_effort_is_never_less(letters, rules, bad):
    before, found = after(letters, rules), after(letters + bad, rules)
    assert EFFORT[found.state] >= EFFORT[before.state]
    assert found.state in ("normal", "tightened")


@given(ANY_ROW, any_rules())
def test_less_effort_is_earned_by_lots_taken_firm_and_measured(letters, rules):
    row = lots(letters)
    number = {lot.lot: i for i, lot in enumerate(row)}
    asked = {
        "normal": rules.restore_accepted,
        "reduced": rules.reduce_accepted,
        "skip": rules.skip_accepted,
    }
    begins = 0
    for change in effort_after(row, rules).changes:
        ends = number[change.lot] + 1
        if EFFORT[change.after] < EFFORT[change.before]:
            n = asked[change.after]
            earned = row[ends - n : ends]
            assert ends - n >= begins  # none counts twice
            assert all(lot.verdict != "reject" and lot.critical == 0 for lot in earned)
            firm = sum(lot.standing == "firm" for lot in earned)
            assert firm >= max(1, ceil(Fraction(str(rules.firm_share)) * n))
            assert any(lot.measured for lot in earned)
        begins = ends


@given(st.text(st.sampled_from("pqr"), max_size=60), any_rules())
def test_provisional_verdicts_alone_never_relax(letters, rules):
    changes = effort_after(lots(letters), rules).changes
    assert [c.after for c in changes] in ([], ["tightened"])


@given(st.text(st.sampled_from("uqr"), max_size=60), any_rules())
def test_lots_that_nobody_measured_never_relax(letters, rules):
    changes = effort_after(lots(letters), rules).changes
    assert [c.after for c in changes] in ([], ["tightened"])


@given(
    st.lists(st.sampled_from(["accept", "tune", "reject"]), max_size=40),
    st.integers(1, 9),
    any_rules(),
)
def test_a_critical_finding_never_relaxes_whatever_the_verdict(verdicts, critical, rules):
    row = [LotOutcome(f"K-{i}", day(i), v, "firm", critical) for i, v in enumerate(verdicts)]
    changes = effort_after(row, rules).changes
    assert [c.after for c in changes] in ([], ["tightened"])


@given(ANY_ROW, any_rules())
def test_changes_are_a_chain_and_the_effort_is_its_end(letters, rules):
    found = after(letters, rules)
    states = ["normal", *(c.after for c in found.changes)]
    assert [c.before for c in found.changes] == states[:-1]
    assert found.state == states[-1]
    assert found.since == (found.changes[-1].day if found.changes else None)
    assert all(c.before != c.after for c in found.changes)


@given(ANY_ROW, ANY_ROW, any_rules())
def test_later_lots_do_not_rewrite_earlier_changes(first, more, rules):
    early, late = after(first, rules).changes, after(first + more, rules).changes
    assert late[: len(early)] == early


@given(ANY_ROW, any_rules())
def test_only_on_skip_lot_a_lot_may_go_unmeasured(letters, rules):
    found = after(letters, rules)
    assert found.is_due or found.state == "skip"
    assert found.state in NAMES


@given(st.integers(1, 8), st.integers(1, 60))
def test_who_measures_what_is_due_measures_one_of_the_interval(interval, n):
    rules = replace(RULES, skip_interval=interval)
    letters = A20
    for _ in range(n):
        letters += "a" if after(letters, rules).is_due else "u"
    skipped = letters[20:]
    assert skipped.count("a") == n // interval
    assert "u" * interval not in skipped


def counted(letters: str, rules: Rules) -> str:
    """The state by running counters, for rows of a and r only: another road to the same rules."""
    state, run, recent = "normal", 0, deque(maxlen=rules.tighten_window)
    for letter in letters:
        bad = letter == "r"
        run = 0 if bad else run + 1
        recent.append(bad)
        was = state
        if state == "normal" and bad and sum(recent) >= rules.tighten_rejected:
            state = "tightened"
        elif state == "normal" and run >= rules.reduce_accepted:
            state = "reduced"
        elif (state == "tightened" and run >= rules.restore_accepted) or (
            state in ("reduced", "skip") and bad
        ):
            state = "normal"
        elif state == "reduced" and run >= rules.skip_accepted:
            state = "skip"
        if state != was:
            run = 0
            recent.clear()
            if state == "normal" and bad:
                recent.append(True)
    return state


@given(st.text(st.sampled_from("aaaaar"), max_size=80), any_rules())
def test_running_counters_give_the_same_state(letters, rules):
    assert after(letters, rules).state == counted(letters, rules)
