"""Net content of a lot: outcome, rules, reference test, what the lot's reasons tell.

The figures of the rules are those of Directive 76/211/EEC; its tables are checked in
tests/published.  1000 g: T1 985 g, T2 970 g.
"""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.criteria import read_criteria
from lotqa.evidence.weighings import Tare
from lotqa.verdict.lot import judge_lot
from lotqa.verdict.net_content import YARDSTICK, lot_reasons, net_content
from lotqa.verdict.outcome import PASS, REJECT
from lotqa.verdict.reference_test import sentence
from lotqa.verdict.spool import judge_spools
from tests.verdict.cases import UNWEIGHED, case, goods, plain


def spool(net_g, u_g=0.6, known="itself", u_tare_g=0.5, n_reels=None):
    tare = Tare(220.0, u_tare_g, known, known, n_reels)
    return replace(UNWEIGHED, tare=tare, net_g=net_g, u_net_g=u_g)


def criteria(rule=0.0):
    shipped = read_criteria()
    return replace(shipped, values=dict(shipped.values) | {"weight.average_rule": rule})


def found(nets, received=None, rule=0.0, label=1000.0, **more):
    weights = [w if w is None or not np.isscalar(w) else spool(w, **more) for w in nets]
    return net_content(goods(weights=weights, label_net_g=label), criteria(rule), received)


FULL = [1003.0, 1002.0, 1004.0, 1003.0]
SHORT = [991.0, 990.0, 992.0, 991.0]


def test_a_whole_lot_that_is_full_passes():
    got = found(FULL)
    assert (got.outcome, got.n_weighed, got.batch, got.short) == ("pass", 4, 4, False)
    assert [r.kept for r in got.rules] == [True, True, True]
    assert got.text == (
        "Mean net mass 1003.0 g (95 % 1001.8 to 1004.2; 4 of 4 spools) against the label's 1000 "
        "g: not short (yardstick: the packer's duty). Of that doubt ±1.2 g is common to all "
        "spools (the scale): it does not average out, however many are weighed."
    )
    assert sentence(got.test, 1000.0) == (
        "Reference test: a batch of 4 (fewer than 100) is weighed whole; up to 0 may be below "
        "T1, and the mean must reach the label. It is passed."
    )


def test_a_mean_short_beyond_doubt_breaks_the_average_rule():
    got = found(SHORT)
    assert (got.outcome, got.short, got.judged) == ("reject", True, False)
    assert [r.kept for r in got.rules] == [False, True, True]
    assert [r.text for r in got.rules] == [
        "On average not less than 1000 g: not kept.",
        "Few below T1 (985 g): 0 firmly, 0 possibly of 4 spools weighed; kept.",
        "None below T2 (970 g): 0 firmly, 0 possibly of 4 spools weighed; kept.",
    ]
    assert sentence(got.test, 1000.0).endswith("It fails by the mean.")


def test_a_single_pack_below_t2_is_enough():
    got = found([1014.0, 1014.0, 1014.0, 960.0])
    assert [r.kept for r in got.rules] == [None, False, False]
    assert (got.outcome, got.t2.firmly, got.t2.possibly) == ("reject", 1, 1)


@pytest.mark.parametrize(("rule", "level", "outcome", "told"), [
    (0.0, PASS, "undecided", "; these criteria do not reject by it"),
    (1.0, REJECT, "reject", ", by which these criteria reject the lot"),
])  # fmt: skip
def test_a_short_mean_is_told_and_rejects_only_where_the_buyer_says_so(rule, level, outcome, told):
    got_level, [reason] = lot_reasons(found(SHORT, rule=rule))
    assert (got_level, reason.outcome, reason.standing) == (level, outcome, "firm")
    assert (reason.check, reason.limit, reason.unit) == ("lot.net_content", 1000.0, "g")
    assert reason.text == (
        "Mean net mass 991.0 g (95 % 989.8 to 992.2) against the label's 1000 g: short "
        f"beyond doubt{told} ({YARDSTICK})."
    )


def judged(nets, rule):
    beside = goods(weights=[spool(v) for v in nets])
    made = case(plain(3), beside, limits={"weight.average_rule": rule, "centring.cpk_min": 0.5})
    net = net_content(made.goods, made.criteria, 3)
    return judge_lot(made.evidence, judge_spools(made), made.criteria, 3, "2026-09-30", net)


@pytest.mark.parametrize(("rule", "verdict"), [(0.0, "accept"), (1.0, "reject")])
def test_the_verdict_on_the_lot(rule, verdict):
    """10 g short is within the error of a single pack, but not of the mean."""
    got = judged([990.0, 991.0, 989.0], rule)
    assert (got.verdict, got.standing, got.rejected) == (verdict, "firm", 0)
    assert [r.check for r in got.reasons][-1] == "lot.net_content"


def test_a_full_lot_has_nothing_to_tell_unless_the_buyer_asks():
    assert lot_reasons(found(FULL)) == (PASS, ())
    assert lot_reasons(None) == (PASS, ())
    level, [reason] = lot_reasons(found(FULL, rule=1.0))
    assert (level, reason.outcome) == (PASS, "pass")


def test_what_weighing_cannot_settle_does_not_reject_even_where_the_buyer_asks():
    level, [reason] = lot_reasons(found([999.5, 1000.5, 1000.0], rule=1.0))
    assert (level, reason.outcome, reason.standing) == (PASS, "undecided", "provisional")
    assert "weighing cannot tell whether it is short" in reason.text


def test_supposed_reels_decide_nothing():
    got = found([900.0] * 4, known="supposed", u_g=40.0)
    assert (got.outcome, got.n_weighed, got.n_supposed, got.mean) == ("undecided", 0, 4, None)
    assert lot_reasons(found([900.0] * 4, rule=1.0, known="supposed", u_g=40.0)) == (PASS, ())
    assert got.text == (
        "4 spools weighed on a supposed reel: that decides nothing about the net content. Weigh "
        "a reel when it is empty."
    )
    assert got.test.outcome == "not_checked"
    assert sentence(got.test, 1000.0).endswith(
        "It cannot be run yet: 0 weighed on a known reel, weigh 4 more spools."
    )


def test_supposed_reels_are_left_out_of_a_mean():
    got = found([*(spool(v) for v in FULL), spool(500.0, 40.0, "supposed")], 5)
    assert (got.n_weighed, got.n_supposed, got.mean.mean_g) == (4, 1, pytest.approx(1003.0))
    assert got.text.endswith("1 spool on a supposed reel left out.")


def test_a_reel_taken_from_others_is_common_to_all_spools():
    """More spools shrink the doubt down to what they share, and no further."""
    doubts = [
        (got.mean.hi_g - got.mean.lo_g) / 2
        for n in (10, 90)
        for got in [found([990.0] * n, known="alike", u_g=9.1, u_tare_g=9.0)]
    ]
    one = found([990.0, 990.0], known="alike", u_g=9.1, u_tare_g=9.0)
    assert doubts[0] > doubts[1] > 1.959 * one.mean.u_common_g
    assert "(the scale and a reel's mass taken from others)" in one.text


def test_more_reels_weighed_empty_leave_less_in_common():
    """The tare's own error is s / sqrt(n) of n reels: the more were emptied, the less is common."""
    one, five = (
        found([spool(990.0, 9.1, "alike", 9.0, n)] * 3 + [spool(990.0)] * n) for n in (1, 5)
    )
    own_1, own_5 = (81.0 - (9.1**2 - 81.0)) / 2, (81.0 - (9.1**2 - 81.0)) * 5 / 6
    for got, own2, n in ((one, own_1, 1), (five, own_5, 5)):
        shared = 3 * np.sqrt(9.1**2 - own2) + n * 0.6
        assert got.mean.u_common_g == pytest.approx(shared / (3 + n), rel=1e-9)
    assert five.mean.u_common_g < one.mean.u_common_g


def test_no_label_and_nothing_weighed():
    got = found(FULL, label=None)
    assert (got.outcome, got.test, got.rules) == ("not_checked", None, ())
    assert got.text.endswith("; the label's net mass is not known: not checked.")
    bare = found([None, None])
    assert (bare.outcome, bare.text) == (
        "not_checked", "No net mass was weighed: net content not checked."
    )  # fmt: skip


def nets(n, mean=1001.0, sd=3.0, low=0):
    values = np.random.default_rng(3).normal(mean, sd, n)
    values[:low] = 980.0
    return values.tolist()


def test_a_large_lot_is_tested_by_the_first_sample():
    got = found(nets(30, mean=1006.0), 200)
    assert (got.test.plan.kind, got.test.n_needed, got.test.outcome) == ("double", 30, "pass")
    assert (got.test.contents, got.test.mean) == ("pass", "pass")
    assert sentence(got.test, 1000.0).startswith(
        "Reference test of a batch of 200 (double plan, packs not opened), drawn at random: weigh "
        "30: up to 1 below T1 accept, from 3 on reject; else 60 in all: up to 4 below T1 accept, "
        "from 5 on reject. The mean of 30 must be the label less 0.503 s, or more. It is passed. "
        "Least mean: "
    )
    assert {got.test.single.kind, got.test.destructive.kind} == {"single", "destructive"}


def test_two_below_t1_ask_for_the_second_sample():
    got = found(nets(30, mean=1006.0, low=2), 200)
    assert (got.test.contents, got.test.outcome, got.test.n_needed) == (
        "not_checked", "not_checked", 60
    )  # fmt: skip
    assert "30 weighed on a known reel, weigh 30 more spools" in sentence(got.test, 1000.0)
    again = found(nets(60, mean=1006.0, low=2), 200)
    assert (again.test.contents, again.test.n_below_t1) == ("pass", 2)


def test_three_below_t1_fail_the_first_sample():
    got = found(nets(30, mean=1006.0, low=3), 200)
    assert (got.test.contents, got.outcome) == ("reject", "reject")
    assert "It fails by the number below T1." in sentence(got.test, 1000.0)


def test_too_few_of_a_large_lot():
    got = found(nets(8), 600)
    assert (got.test.outcome, got.test.n_needed, got.outcome) == ("not_checked", 50, "undecided")
    assert "weigh 42 more spools" in sentence(got.test, 1000.0)


def test_packs_that_may_or_may_not_be_below_t1_leave_the_test_open():
    got = found([985.5, 1030.0, 1030.0, 1030.0], u_g=1.0)
    assert (got.test.contents, got.test.mean, got.test.outcome) == (
        "undecided", "pass", "undecided"
    )  # fmt: skip
    assert "weighing as here cannot settle the number below T1." in sentence(got.test, 1000.0)


@pytest.mark.parametrize(("by_g", "word"), [(1.5, "pass"), (0.5, "undecided"), (0.0, "undecided"),
                                            (-0.5, "undecided"), (-1.5, "reject")])  # fmt: skip
def test_the_mean_of_a_whole_lot_against_what_the_scale_leaves_open(by_g, word):
    """u = 0.6 g, common to all: 1.18 g to either side of the label nothing is said."""
    got = found([1000.0 + by_g] * 5)
    assert got.test.mean == word
    assert got.rules[0].kept is {"pass": True, "reject": False}.get(word)


def test_a_scale_too_coarse_for_an_inspector_is_told():
    """A fifth of 15 g is 3 g; 2 u = 3.2 g is more, 2 u = 3.0 g is not."""
    told = "An inspector must know each net mass to 3.0 g; here it is known to 3.2 g"
    assert told in sentence(found(FULL, u_g=1.6).test, 1000.0)
    assert "inspector" not in sentence(found(FULL, u_g=1.5).test, 1000.0)


def test_an_end_that_rounds_to_the_label_shows_its_digits():
    got = found([1001.17, 1001.18, 1001.16])
    assert got.mean.lo_g < 1000.0 < got.mean.lo_g + 0.05
    assert "95 % 1000.0 to" not in got.text
    assert "weighing cannot tell whether it is short" in got.text


def test_a_long_record_of_reels_leaves_little_in_common():
    """s**2 (1 + 1/n) of the reel: s**2 / n is common, 8 g and 20 reels make sqrt(3.2) = 1.8 g."""
    s2, n_reels, u_scale = 64.0, 20, 0.6
    u_tare = np.sqrt(s2 * (1 + 1 / n_reels) + u_scale**2)
    u_net = np.hypot(u_tare, u_scale)
    long = found([990.0] * 4, known="record", u_g=u_net, u_tare_g=u_tare, n_reels=n_reels)
    assert long.mean.u_common_g == pytest.approx(np.sqrt(s2 / n_reels + 2 * u_scale**2), rel=1e-6)
    short = found([990.0] * 4, known="record", u_g=u_net, u_tare_g=u_tare, n_reels=1)
    half = s2 * (1 + 1 / n_reels) / 2  # as if s**2 (1 + 1) were what is known of one reel
    assert short.mean.u_common_g == pytest.approx(np.sqrt(half + 2 * u_scale**2), rel=1e-6)
