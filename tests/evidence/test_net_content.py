"""Net content: decisions of the plans, mean of a batch, counts below a limit.

Roads: the binomial distribution for how often a plan accepts; plain loops over all orders of few
packs; seeded simulation of whole batches for the interval of the mean, four standard errors of
slack; splitting of a simulated error into the part that all packs share and the rest.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.net_content import (
    Plan,
    Stage,
    batch_mean,
    below,
    contents_decision,
    mean_limit_g,
    plan_for,
    tare_parts_g,
)

RNG = 20260601


@pytest.mark.parametrize("batch", [100, 501, 3201])
@pytest.mark.parametrize("share", [0.01, 0.025, 0.06])
def test_how_often_the_double_plan_accepts(batch, share):
    """Binomial road: accepted at once, or in between and few in the second sample."""
    plan = plan_for(batch, "double")
    first, second = plan.stages
    p = stats.binom.cdf(first.accept, first.n, share) + sum(
        stats.binom.pmf(k, first.n, share) * stats.binom.cdf(second.accept - k, second.n, share)
        for k in range(first.accept + 1, first.reject)
    )
    n = 4000
    drawn = np.random.default_rng(RNG).random((n, second.n_total)) < share
    seen = np.mean([contents_decision(row, plan) == "accept" for row in drawn])
    assert seen == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / n) + 1e-9)


def test_two_and_a_half_in_a_hundred_pass_nearly_always():
    """What a packer may have below T1 in practice (2.5 %) must not fail the single plan much.

    Binomial: 96 to 99 of 100 such batches pass, whatever their size.
    """
    for batch in (100, 501, 3201):
        stage = plan_for(batch, "single").stages[0]
        assert stats.binom.cdf(stage.accept, stage.n, 0.025) > 0.96


TINY = Plan("double", (Stage(2, 2, 0, 2), Stage(2, 4, 1, 2)), 2, 0.5)


def test_every_order_of_four_packs():
    for row in itertools.product((False, True), repeat=4):
        first, both = sum(row[:2]), sum(row)
        want = {0: "accept", 2: "reject"}.get(first, "accept" if both == 1 else "reject")
        assert contents_decision(row, TINY) == want


@given(st.lists(st.booleans(), max_size=60), st.integers(1, 5000))
def test_one_more_below_never_helps(packs, batch):
    plan = plan_for(batch, "double")
    order = {"accept": 0, "more": 1, "reject": 2}
    before = order[contents_decision(packs, plan)]
    for i, is_below in enumerate(packs):
        if not is_below:
            worse = [*packs[:i], True, *packs[i + 1 :]]
            assert order[contents_decision(worse, plan)] >= before


def test_too_few_packs_can_fail_a_plan_but_not_pass_it():
    plan = plan_for(200, "double")
    assert contents_decision([False] * 29, plan) == "more"
    assert contents_decision([False] * 30, plan) == "accept"
    assert contents_decision([True] * 3, plan) == "reject"
    assert contents_decision([True, True] + [False] * 28, plan) == "more"


def test_the_mean_test_passes_half_a_percent_of_batches_wrongly_failed():
    """A batch whose mean is the label exactly fails in 0.5 %: that is what 0.995 means."""
    plan, n = plan_for(200, "double"), 40_000
    net = np.random.default_rng(RNG).normal(1000.0, 3.0, (n, plan.n_mean))
    limits = np.array([mean_limit_g(1000.0, s, plan) for s in net.std(axis=1, ddof=1)])
    failed = np.mean(net.mean(axis=1) < limits)
    # 0.503 is printed to three digits: t(29) = 0.503 sqrt(30) has a tail of 0.502 %.
    tail = stats.t.sf(0.503 * np.sqrt(30), 29)
    assert failed == pytest.approx(tail, abs=4 * np.sqrt(tail / n))


@pytest.mark.parametrize("n_reels", [1, 4])
def test_parts_of_the_tare(n_reels):
    """Reels scatter by 8 g, each weighing by 1.2 g; the tare is the mean of other reels."""
    rng, s, u_scale, lots, packs = np.random.default_rng(RNG), 8.0, 1.2, 20_000, 5
    others = rng.normal(0, s, (lots, n_reels)).mean(axis=1) + rng.normal(0, u_scale, lots)
    gross_error = rng.normal(0, u_scale, lots)  # of one scale: the same for all packs of a lot
    error = rng.normal(0, s, (lots, packs)) + gross_error[:, None] - others[:, None]
    own2 = error.var(axis=1, ddof=1).mean()
    common2 = error.mean(axis=1).var(ddof=1) - own2 / packs
    u_tare = np.sqrt(s**2 * (1 + 1 / n_reels) + u_scale**2)
    own, common = tare_parts_g(np.hypot(u_tare, u_scale), u_tare, n_reels)
    assert own**2 == pytest.approx(own2, rel=4 * np.sqrt(2 / (lots * (packs - 1))))
    # relative standard error of a variance is sqrt(2 / lots); that of own2 / packs comes on top
    total2 = common2 + own2 / packs
    assert common**2 == pytest.approx(common2, abs=4 * np.sqrt(2 / lots) * total2)


def test_one_reel_is_the_cautious_guess():
    u_tare = float(np.sqrt(8.0**2 * (1 + 1 / 6) + 1.2**2))
    u_net = float(np.hypot(u_tare, 1.2))
    known, guessed = tare_parts_g(u_net, u_tare, 6), tare_parts_g(u_net, u_tare)
    assert guessed[1] > known[1]
    assert np.hypot(*guessed) == pytest.approx(u_net)


@pytest.mark.parametrize(("n", "batch"), [(3, 8), (8, 8), (30, 200)])
def test_the_interval_covers_the_mean_of_the_batch(n, batch):
    """Batches of finite size, weighed with one tare for all; truth is the mean of that batch."""
    rng, lots, s_reel, u_scale = np.random.default_rng(RNG), 4000, 6.0, 1.0
    truth = rng.normal(1000.0, 5.0, (lots, batch))
    tare_error = rng.normal(0, np.hypot(s_reel, u_scale), lots)  # of one other reel
    seen = (
        truth[:, :n]
        + rng.normal(0, s_reel, (lots, n))
        + (rng.normal(0, u_scale, lots) - tare_error)[:, None]
    )
    u_tare = np.sqrt(2 * s_reel**2 + u_scale**2)
    own, common = tare_parts_g(np.hypot(u_tare, u_scale), u_tare, 1)
    found = [batch_mean(row, own, common, batch) for row in seen]
    lo, hi = (np.array([getattr(f, k) for f in found]) for k in ("lo_g", "hi_g"))
    mean = truth.mean(axis=1)
    covered = np.mean((lo <= mean) & (mean <= hi))
    slack = 4 * np.sqrt(0.95 * 0.05 / lots)
    assert covered > 0.95 - slack
    # Half widths added as squares cover more than they say when both parts count: at most 2 %.
    assert covered < 0.97 + slack


def test_a_common_error_does_not_average_out():
    half = [
        (f.hi_g - f.lo_g) / 2
        for n in (4, 40, 99)
        for f in [batch_mean(np.full(n, 1000.0), 0.0, 3.0, n)]
    ]
    assert half == pytest.approx([stats.norm.ppf(0.975) * 3.0] * 3)


def test_own_errors_do_average_out():
    f = batch_mean(np.full(25, 1000.0), 5.0, 0.0, 25)
    assert f.u_measuring_g == pytest.approx(5.0 / np.sqrt(25))
    assert f.u_weighed_g == pytest.approx(1.0)


def test_one_of_several_tells_nothing_of_the_others():
    f = batch_mean([990.0], 0.0, 1.0, 5)
    assert (f.lo_g, f.hi_g) == (-np.inf, np.inf)
    assert not f.short_of(1000.0)
    assert batch_mean([990.0], 0.0, 1.0, 1).short_of(1000.0)


def test_masses_that_read_alike_still_scatter_by_the_step():
    """Two readings of 1 g step: s of a uniform step, Student's factor of one degree."""
    f = batch_mean([998.0, 998.0], 0.0, 0.0, 1000, step_g=1.0)
    want = stats.t.ppf(0.975, 1) * stats.uniform(0, 1).std() * np.sqrt(0.998 / 2)
    assert f.hi_g - f.mean_g == pytest.approx(want)
    assert batch_mean([998.0, 998.0], 0.0, 0.0, 1000).hi_g == 998.0


def test_short_asks_for_the_confidence_of_the_reference_test():
    """Of a large batch: the upper end is Student's at 0.995, as the law's mean test has it."""
    net = np.random.default_rng(RNG).normal(996.0, 4.0, 30)
    f = batch_mean(net, 0.0, 0.0, 10**9)
    want = net.mean() + stats.t.ppf(0.995, 29) * stats.sem(net)
    assert f.top_g == pytest.approx(want, abs=1e-6)
    assert f.short_of(want + 0.001)
    assert not f.short_of(want - 0.001)


@pytest.mark.parametrize(("net", "batch"), [([], 3), ([1.0, 2.0], 1)])
def test_more_than_the_batch_or_nothing_is_refused(net, batch):
    with pytest.raises(ValueError) as caught:
        batch_mean(net, 0.0, 0.0, batch)
    assert str(caught.value) == f"{len(net)} net masses of a batch of {batch}: give 1 to {batch}"


@given(
    st.lists(st.floats(900, 1100), min_size=1, max_size=9), st.floats(0, 30), st.floats(900, 1100)
)
def test_firmly_below_is_below_and_below_is_possibly_below(net, u, limit):
    firmly, estimated, possibly = below(net, u, limit)
    assert not np.any(firmly & ~estimated)
    assert not np.any(estimated & ~possibly)
