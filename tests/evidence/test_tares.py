"""The mass of the next reel: against Student, a regression library and seeded draws of reels."""

from itertools import permutations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from lotqa.evidence.tares import (
    ENOUGH,
    EmptyReel,
    TareRecord,
    TareWeighing,
    empty_reels,
    record_for,
    record_of,
    tare_from_record,
)

NORMAL = stats.norm.ppf(0.975)
LIKE_SD_G = 8.0
KRANICH, TALLOW = "Kranich Filament", "Tallow & Reed"


def record(masses_g, **changed) -> TareRecord:
    reels = [EmptyReel(KRANICH, None, None, float(m), None, None) for m in masses_g]
    found = record_of(reels, **changed)
    assert found is not None
    return found


def weighing(mass_g, reel, *, supplier=KRANICH, kind=None, material=None, day=None):
    return TareWeighing(supplier, kind, material, reel, mass_g, day)


def asked(weighings, supplier=KRANICH, kind=None, material=None):
    return record_for(empty_reels(weighings), supplier, kind, material)


# The next reel.


@pytest.mark.parametrize("n", [5, 6, 12, 60])
def test_the_interval_of_the_next_reel_is_students(n):
    """scipy's t and the prediction of a regression on a constant, both outside the project."""
    rng = np.random.default_rng(n)
    masses_g = rng.normal(214.0, 3.0, n)
    mass_g, u_g = tare_from_record(record(masses_g), 0.0, LIKE_SD_G)
    fit = sm.OLS(masses_g, np.ones(n)).fit()
    lo_g, hi_g = fit.get_prediction([[1.0]]).conf_int(obs=True, alpha=0.05)[0]
    assert mass_g == pytest.approx((lo_g + hi_g) / 2, rel=1e-12)
    # The normal factor is taken from Student's with 1e9 degrees of freedom: nine digits.
    assert NORMAL * u_g == pytest.approx((hi_g - lo_g) / 2, rel=1e-8)
    ratio = u_g / np.std(masses_g, ddof=1)
    student = stats.t.ppf(0.975, n - 1) / NORMAL
    assert ratio == pytest.approx(student * np.sqrt((n + 1) / n), rel=1e-8)


@pytest.mark.parametrize("n", [5, 8, 20])
def test_the_interval_holds_the_next_reel_in_95_of_100(n):
    rng, draws = np.random.default_rng(1974 + n), 200_000
    reels_g = rng.normal(0.0, 3.0, (draws, n))
    next_g = rng.normal(0.0, 3.0, draws)
    # With a scale that adds nothing the uncertainty is a multiple of the standard deviation.
    per_sd = tare_from_record(TareRecord(0.0, 1.0, n, None, None, None), 0.0, LIKE_SD_G)[1]
    half_g = NORMAL * per_sd * np.std(reels_g, axis=1, ddof=1)
    covered = np.mean(np.abs(next_g - np.mean(reels_g, axis=1)) <= half_g)
    noise = np.sqrt(0.95 * 0.05 / draws)
    assert abs(covered - 0.95) < 4 * noise
    # Without the stretch it would hold it in less: the test can tell the difference.
    short = np.std(reels_g, axis=1, ddof=1) * NORMAL * np.sqrt(1 + 1 / n)
    assert np.mean(np.abs(next_g - np.mean(reels_g, axis=1)) <= short) < 0.95 - 8 * noise


@pytest.mark.parametrize("n", range(1, ENOUGH))
@pytest.mark.parametrize("true_sd_g", [3.0, LIKE_SD_G])
def test_few_reels_hold_the_next_one_at_least_as_often(n, true_sd_g):
    rng, draws = np.random.default_rng(7 * n), 4_000
    inside = 0
    for reels_g in rng.normal(214.0, true_sd_g, (draws, n + 1)):
        mass_g, u_g = tare_from_record(record(reels_g[:n]), 0.0, LIKE_SD_G)
        inside += abs(reels_g[n] - mass_g) <= NORMAL * u_g
    assert inside / draws > 0.95 - 4 * np.sqrt(0.95 * 0.05 / draws)


def test_few_reels_that_differ_more_than_reels_do_are_believed():
    close = tare_from_record(record([214.0, 215.0, 216.0]), 0.0, LIKE_SD_G)[1]
    apart = tare_from_record(record([180.0, 215.0, 250.0]), 0.0, LIKE_SD_G)[1]
    assert close == pytest.approx(LIKE_SD_G * np.sqrt(4 / 3))
    assert apart > 4 * close


def test_the_scale_adds_to_the_variance():
    reels = record([211.0, 214.0, 215.0, 219.0, 213.0])
    without, alone = tare_from_record(reels, 0.0, LIKE_SD_G)[1], 1.4
    assert tare_from_record(reels, alone, LIKE_SD_G)[1] ** 2 == pytest.approx(without**2 + alone**2)


# Which reels count, and how often.


def test_a_reel_counts_once_however_often_it_was_weighed():
    rows = [weighing(210.0, "a"), weighing(220.0, "b"), weighing(214.0, "a"), weighing(212.0, "a")]
    found = asked(rows)
    assert (found.n, found.mean_g) == (2, (212.0 + 220.0) / 2)
    assert found.sd_g == pytest.approx(8.0 / np.sqrt(2))  # two values apart by d scatter by d/√2
    assert [r.n_weighings for r in empty_reels(rows)] == [3, 1]


def test_one_reel_has_no_scatter_and_none_no_record():
    assert asked([weighing(214.0, "a")]).sd_g is None
    assert asked([]) is None
    assert record_of([]) is None


def test_the_order_of_entry_does_not_matter():
    rows = [weighing(m, r, kind="k") for m, r in ((210.0, "a"), (216.0, "b"), (221.0, "c"))]
    found = {asked(order, kind="k") for order in permutations(rows)}
    assert len(found) == 1


def test_the_span_of_the_record_is_that_of_its_weighings():
    rows = [
        weighing(214.0, "a", day="2026-03-01"),
        weighing(214.0, "b"),
        weighing(214.0, "a", day="2025-11-30"),
    ]
    found = asked(rows)
    assert (found.first, found.last) == ("2025-11-30", "2026-03-01")


GREY = [weighing(214.0 + i, f"g{i}", kind="Grey  ring", material="plastic") for i in range(3)]
BOARD = [weighing(150.0 + i, f"b{i}", kind="board", material="cardboard") for i in range(3)]
NAMELESS = [weighing(240.0, "n0", material="plastic"), weighing(160.0, "n1", material="cardboard")]
OTHER = [weighing(300.0, "o0", supplier=TALLOW, kind="grey ring", material="plastic")]
ALL = [*GREY, *BOARD, *NAMELESS, *OTHER]


def test_a_kind_is_found_whatever_case_and_blanks():
    found = asked(ALL, " kranich  FILAMENT", "GREY ring", "plastic")
    assert (found.n, found.mean_g, found.kind, found.n_kinds) == (3, 215.0, "Grey  ring", None)


def test_a_kind_that_is_known_to_be_of_another_material_does_not_count():
    assert asked(GREY, kind="grey ring", material="cardboard") is None
    assert asked(GREY, kind="grey ring").n == 3
    unsaid = [weighing(214.0, "a", kind="grey ring")]
    assert asked(unsaid, kind="grey ring", material="plastic").n == 1


def test_without_its_kind_the_material_speaks_and_each_kind_counts_once():
    found = asked(ALL, kind="black ring", material="plastic")
    assert (found.n, found.n_kinds, found.kind) == (4, 2, None)  # three grey ones, one nameless
    assert found.mean_g == (215.0 + 240.0) / 2
    assert found.sd_g == pytest.approx(25.0 / np.sqrt(2))


def test_many_reels_of_one_other_kind_say_little_of_this_one():
    many = [weighing(214.0, f"g{i}", kind="grey ring", material="plastic") for i in range(30)]
    found = asked(many, kind="black ring", material="plastic")
    assert (found.n, found.n_kinds, found.sd_g) == (30, 1, None)
    as_one = tare_from_record(record([214.0]), 1.0, LIKE_SD_G)
    assert tare_from_record(found, 1.0, LIKE_SD_G) == as_one


def test_a_reel_without_a_kind_is_answered_by_such_reels_of_its_material():
    assert asked(ALL, material="cardboard").mean_g == 160.0
    assert asked(ALL).n == 2
    assert asked(GREY) is None  # they have a kind, the one asked for has none


def test_another_supplier_never_speaks():
    assert asked(OTHER, kind="grey ring", material="plastic") is None
    assert asked(ALL, TALLOW, "grey ring", "plastic").mean_g == 300.0
    assert asked(ALL, None, "grey ring", "plastic") is None
    assert asked([weighing(1.0, "x", supplier=" ")], " ") is None
