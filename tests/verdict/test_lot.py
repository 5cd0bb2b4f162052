"""The verdict on the lot: rules, standing, numbers and whole sentences.

Sources: scipy's hypergeometric for the spools not opened; one-way analysis by plain loops;
simulation of lots for the interval of the lot's mean, four standard errors of slack.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.gauge import Offset
from lotqa.verdict.lot import judge_lot, lot_numbers
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import case

KINDS = {"accept": (1.752, 0.006), "tune": (1.78, 0.006), "reject": (1.752, 0.04)}


def lot(kinds, received=None, until="2026-09-30", limits=None, n=20):
    spools = {f"roll {i}": exact(n, *KINDS[k], seed=i) for i, k in enumerate(kinds)}
    found = evidence(readings(spools), offset=Offset(0.0, 0.0015, 30, None, None))
    made = case(found, limits={"centring.cpk_min": 0.5} | (limits or {}))
    judged = judge_spools(made)
    assert [judged.verdict(i) for i in range(len(kinds))] == list(kinds)
    return judge_lot(found, judged, made.criteria, received, until)


def text(verdict, key):
    return next(r.text for r in verdict.reasons if r.check == key)


@pytest.mark.parametrize(("kinds", "most", "verdict"), [
    (("accept",), 0, "accept"),
    (("accept", "tune"), 0, "tune"),
    (("accept", "reject"), 0, "reject"),
    (("accept", "accept", "reject"), 1, "accept"),  # so many may be
    (("accept", "tune", "reject"), 1, "tune"),
    (("accept", "reject", "reject"), 1, "reject"),
    (("reject",), 1, "accept"),
])  # fmt: skip
def test_the_lot_by_its_spools(kinds, most, verdict):
    # Spools of so different spread are told apart, and their spread is not judged together.
    got = lot(kinds, limits={"lot.rejected_max": most, "lot.alike_alpha": 0.5})
    assert got.verdict == verdict
    counted = (got.accepted, got.tuned, got.rejected)
    assert counted == tuple(kinds.count(k) for k in ("accept", "tune", "reject"))


@pytest.mark.parametrize(("kinds", "received", "standing"), [
    (("accept",) * 3, 10, "firm"),
    (("accept",) * 2, 10, "provisional"),  # three are asked for a lot of ten
    (("accept",) * 2, None, "firm"),
    (("reject",) * 2, 10, "firm"),  # a firm rejection needs no further spool
    (("tune",) * 2, 10, "provisional"),
])  # fmt: skip
def test_the_plan_for_the_lot_size_bears_on_the_standing(kinds, received, standing):
    assert lot(kinds, received).standing == standing


def test_more_spools_measured_than_received_is_taken_as_all():
    got = lot(("accept",) * 3, 2)
    assert text(got, "lot.sample") == "3 of 3 spools inspected; ISO 2859-1 level II asks for 2."
    assert got.unopened is None


def test_sentences_of_a_sampled_lot():
    got = lot(("accept",) * 2, 10)
    assert text(got, "lot.spools") == (
        "Of the inspected spools: 2 accepted, 0 to be tuned, 0 rejected; up to 0 rejected are "
        "taken."
    )
    assert text(got, "lot.sample") == (
        "2 of 10 spools inspected; ISO 2859-1 level II asks for 3: inspect 1 more."
    )
    assert text(got, "lot.unopened") == (
        "2 of 10 spools inspected, drawn at random as is supposed; of the 8 not opened at "
        "most 7 would be rejected (95 % sure). By the diameters one of them prints as set now "
        "within the limits in over 99 of 100 cases (95 %: over 99) and would be rejected in under "
        "1 (95 %: under 1); lumps, dirt or wet are not in this."
    )
    assert got.action == (
        "Accept and shelve; print as it is. Inspect 1 more of the lot to be firm."
    )


@pytest.mark.parametrize(("received", "n"), [(10, 3), (20, 5), (40, 8), (6, 6)])
def test_what_is_said_of_the_unopened_by_scipy(received, n):
    got = lot(("accept",) * n, received)
    # The largest number of bad ones among all with which seeing none is not rarer than 5 %.
    possible = [d for d in range(received - n + 1) if stats.hypergeom.pmf(0, received, d, n) > 0.05]
    assert (0 if got.unopened is None else got.unopened.bad_upper) == max(possible)


@pytest.mark.parametrize(("kinds", "until", "action"), [
    (("accept",), None, "Accept and shelve; print as it is."),
    (("reject", "reject"), "2026-09-30", "Do not print; claim by 2026-09-30."),
    (("reject", "reject"), None, "Do not print; claim within the claim window."),
])  # fmt: skip
def test_what_to_do(kinds, until, action):
    assert lot(kinds, until=until).action == action


def test_one_multiplier_for_a_lot_to_be_tuned():
    got = lot(("tune", "tune"))
    # Volume of 1.78 mm against 1.75 mm, to the digits printed.
    assert got.multiplier == pytest.approx(1.75**2 / 1.78**2, rel=1e-3)
    assert got.action == (
        f"Tune before printing: one multiplier for the lot is {got.multiplier:.3f}, or the "
        f"diameter {got.set_diameter_mm:.3f} mm, never both."
    )
    assert got.set_diameter_mm == pytest.approx(1.78, rel=1e-3)


def test_spools_that_differ_in_spread_are_not_judged_together():
    got = lot(("accept", "accept", "reject"))
    reason = next(r for r in got.reasons if r.check == "lot.spread")
    assert reason.outcome == "not_checked"
    groups = [
        exact(20, *KINDS[k], seed=i).mean(axis=1)
        for i, k in enumerate(("accept", "accept", "reject"))
    ]
    p = stats.bartlett(*groups).pvalue
    assert reason.value == pytest.approx(p, rel=1e-9)
    assert reason.text == (
        "The spools differ in spread (Bartlett, p below 0.001): each is judged by itself, and "
        "those not opened may be like any of them."
    )
    assert p < 0.001


def test_together_the_spools_know_their_spread_better_than_each():
    spools = {str(i): exact(12, 1.752, 0.009, seed=i) for i in range(6)}
    found = evidence(readings(spools))
    lo, hi = lot_numbers(found).within_spool_sd_ci95_mm
    assert lo > found.diameter.sd_lo_mm.max()
    assert hi < found.diameter.sd_hi_mm.min()


def test_components_by_plain_loops():
    rng = np.random.default_rng(3)
    spools = {
        str(i): 1.75 + 0.01 * rng.normal() + 0.008 * rng.normal(size=(n, 2))
        for i, n in enumerate((10, 14, 20, 9))
    }
    got = lot_numbers(evidence(readings(spools), offset=Offset(0.0, 0.0, 6, None, None)))
    means = [d.mean(axis=1) for d in spools.values()]
    n = np.array([len(m) for m in means])
    grand = np.concatenate(means).mean()
    ms_within = sum(((m - m.mean()) ** 2).sum() for m in means) / (n.sum() - len(n))
    ms_between = sum(k * (m.mean() - grand) ** 2 for k, m in zip(n, means, strict=True)) / 3
    n0 = (n.sum() - (n**2).sum() / n.sum()) / 3
    assert got.between_spool_sd_mm == pytest.approx(
        np.sqrt(max((ms_between - ms_within) / n0, 0)), rel=1e-9
    )
    assert got.mean_mm == pytest.approx(np.mean([m.mean() for m in means]), rel=1e-12)


def test_mean_of_the_lot_is_covered_for_the_spools_not_opened_too(monkeypatch):
    monkeypatch.setattr("lotqa.verdict.lot_numbers.COMPONENTS_SPOOLS", 0)  # slow, and not asked for
    rng = np.random.default_rng(4)
    u_pin, between, inside = 0.003, 0.008, []
    for _ in range(300):
        true = 1.75 + between * rng.normal(size=3) + u_pin * rng.normal()
        spools = {str(i): m + 0.006 * rng.normal(size=(10, 2)) for i, m in enumerate(true)}
        got = lot_numbers(evidence(readings(spools), offset=Offset(0.0, u_pin, 6, None, None)))
        inside.append(got.mean_ci95_mm[0] <= 1.75 <= got.mean_ci95_mm[1])
    assert np.mean(inside) >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / 300)


def test_a_lot_of_one_spool_and_of_one_place():
    got = lot(("accept",)).numbers
    assert got.between_spool_sd_mm is None
    assert got.mean_ci95_mm is not None
    thin = lot_numbers(evidence(readings({"a": np.array([[1.75, 1.76]])})))
    assert thin.mean_mm == pytest.approx(1.755)
    assert (thin.mean_ci95_mm, thin.within_spool_sd_mm, thin.between_spool_sd_mm) == (None,) * 3


def test_one_place_on_each_of_several_spools():
    spools = {str(i): np.array([[1.75 + i / 100] * 2]) for i in range(3)}
    got = lot_numbers(evidence(readings(spools)))
    assert got.within_spool_sd_mm is None
    assert got.between_spool_sd_mm is None
    assert got.mean_ci95_mm[0] < got.mean_mm < got.mean_ci95_mm[1]


@given(st.permutations(["accept", "tune", "reject", "accept"]))
def test_order_of_spools_does_not_matter(order):
    got = lot(tuple(order), 20, n=12)
    plain = lot(("accept", "accept", "reject", "tune"), 20, n=12)
    assert (got.verdict, got.standing, got.action) == (plain.verdict, plain.standing, plain.action)
