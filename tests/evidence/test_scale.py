"""The check of the scale: what it buys is what simulated scales allow, and never more.

Sources: simulation of scales that err by their span, scatter and round; scipy's Student factor;
reels that scatter, common practice, no source.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.scale import (
    ScaleCheck,
    corrected_g,
    nearest_check,
    net_mass_table,
    scale_check,
    scale_checks,
    speaks_for,
    u_mass_g,
)
from lotqa.evidence.weight import interval, net_mass, u_weighing_g
from tests.evidence.monte_carlo import N_DRAWS, four_errors, within

BEFORE_AND_AFTER = np.array([False, True])
CHECK = ScaleCheck(2, 1.5, 0.5, 0.0, 1000.0, 0.5, False)
DEFAULTS = {
    "like_sd_g": 8.0,
    "default_half_width_g": 70.0,
    "material_half_width_g": {"cardboard": 30.0, "plastic": 40.0},
}


def check(reading_g, after=BEFORE_AND_AFTER, reference_g=1000.0, step_g=1.0, limit_g=2.0):
    known = np.full(len(reading_g), reference_g)
    return scale_check(known, reading_g, after, step_g=step_g, limit_of_error_g=limit_g)


class Bench:
    """A scale that errs by its span, drawn anew for each of k sessions; truth and readings."""

    def __init__(self, rng, k, *, limit_g, scatter_g, step_g, reference_g=1000.0):
        self.rng, self.scatter_g, self.step_g = rng, scatter_g, step_g
        self.span = rng.uniform(-limit_g, limit_g, k) / reference_g
        self.reference_g = reference_g
        self.true_reference_g = reference_g * (1 + 5e-4 * rng.uniform(-1, 1, k))

    def read_g(self, mass_g):
        shown = mass_g * (1 + self.span) + self.scatter_g * self.rng.standard_normal(mass_g.shape)
        return np.round(shown / self.step_g) * self.step_g


@pytest.mark.parametrize(("step_g", "limit_g"), [(1.0, 1.0), (1.0, 2.0), (5.0, 5.0), (0.01, 0.05)])
def test_net_mass_is_known_as_well_as_draws_of_two_weighings(step_g, limit_g):
    """Each weighing is off by up to the limit and by its rounding, both rectangular."""
    rng = np.random.default_rng(11)
    u = u_weighing_g(limit_g, step_g)
    found = net_mass(1220.0, u, 220.0, u, None)
    net = sum(
        sign * (within(rng, 0.0, limit_g) + within(rng, mass, step_g / 2))
        for sign, mass in ((1, 1220.0), (-1, 220.0))
    )
    assert np.std(net) == pytest.approx(found.u_g, rel=4 / np.sqrt(2 * N_DRAWS))
    lo, hi = interval(found.net_g, found.u_g)
    # A sum of rectangles has thinner tails than the normal whose interval is given.
    assert 0.95 - four_errors(N_DRAWS) <= np.mean((lo <= net) & (net <= hi)) < 0.97


@pytest.mark.parametrize(
    ("step_g", "limit_g", "scatter_g", "after"),
    [
        (1.0, 2.0, 0.0, [False]),
        (1.0, 2.0, 0.5, [False, True]),
        (5.0, 5.0, 1.25, [False, True]),
        (1.0, 2.0, 0.5, [False, False, False, True, True]),
        (0.1, 0.5, 0.4, [False] * 4 + [True] * 4),  # scatters more than its limit suggests
    ],
)
def test_a_corrected_weighing_near_the_known_mass_is_covered(step_g, limit_g, scatter_g, after):
    rng = np.random.default_rng(12)
    k = 1200
    bench = Bench(rng, k, limit_g=limit_g, scatter_g=scatter_g, step_g=step_g)
    readings = np.array([bench.read_g(bench.true_reference_g) for _ in after])
    true_g = rng.uniform(600.0, 1400.0, k)
    shown_g = bench.read_g(true_g)
    inside = []
    for i in range(k):
        found = check(readings[:, i], np.array(after), step_g=step_g, limit_g=limit_g)
        u = u_mass_g(step_g, limit_g, found, shown_g[i])
        lo, hi = interval(corrected_g(found, shown_g[i]), u)
        inside.append(lo <= true_g[i] <= hi)
    assert np.mean(inside) >= 0.95 - four_errors(k)


def test_the_check_would_not_cover_if_it_left_out_the_way_to_the_other_mass():
    """What the span term is for: without it, far from the known mass, the interval misses."""
    rng = np.random.default_rng(13)
    k = 4000
    span_g = rng.uniform(-5.0, 5.0, k)  # at a kilogram, known without error
    found = ScaleCheck(9, 0.0, 0.3, 0.0, 1000.0, 0.3, False)
    error_g = span_g * 1.45 - span_g + 0.3 * np.sqrt(2) * rng.standard_normal(k)
    u_with = u_mass_g(0.0, 5.0, found, 1450.0)
    u_without = np.hypot(found.u_g, found.scatter_g)
    assert np.mean(np.abs(error_g) <= 1.96 * u_with) >= 0.95 - four_errors(k)
    assert np.mean(np.abs(error_g) <= 1.96 * u_without) < 0.75


@pytest.mark.parametrize(("step_g", "limit_g"), [(1.0, 1.0), (1.0, 2.0), (5.0, 5.0)])
def test_a_check_buys_something_near_the_mass_and_nothing_far_from_it(step_g, limit_g):
    found = check([1000.0, 1000.0], step_g=step_g, limit_g=limit_g)
    unchecked = u_weighing_g(limit_g, step_g)
    assert u_mass_g(step_g, limit_g, found, 1000.0) < unchecked
    assert u_mass_g(step_g, limit_g, found, 220.0) == unchecked
    assert u_mass_g(step_g, limit_g, found, 1501.0) == unchecked
    assert u_mass_g(step_g, limit_g, None, 1000.0) == unchecked


def test_a_known_mass_that_is_no_better_than_the_scale_checks_nothing():
    """0.5 g in a kilogram against a scale that is said to be off by 0.5 g at most."""
    found = check([1000.0, 1000.0], step_g=0.1, limit_g=0.5)
    assert found.u_g > 0.5 / np.sqrt(3)
    assert u_mass_g(0.1, 0.5, found, 1000.0) > u_weighing_g(0.5, 0.1)


def test_the_uncertainty_grows_with_the_distance_from_the_known_mass():
    u = [u_mass_g(1.0, 2.0, CHECK, m) for m in (1000.0, 1100.0, 1300.0, 1500.0)]
    assert u == sorted(u)
    assert u[0] < u[-1]
    assert u_mass_g(1.0, 2.0, CHECK, 900.0) == pytest.approx(u[1])


def test_offset_is_the_middle_of_both_sides_however_often_each_was_read():
    found = check([1002.0, 1002.0, 1002.0, 1004.0], np.array([False, False, False, True]))
    assert (found.offset_g, found.shift_g, found.n_readings) == (3.0, 2.0, 4)
    one_side = check([1002.0, 1003.0], np.array([False, False]))
    assert (one_side.offset_g, one_side.shift_g) == (2.5, None)


def test_a_shift_widens_by_its_rectangle():
    """A weighing of the session lies anywhere between both checks: variance shift**2 / 12."""
    still, moved = check([1000.0, 1000.0]), check([997.0, 1003.0])
    rng = np.random.default_rng(14)
    anywhere = rng.uniform(-3.0, 3.0, N_DRAWS)
    more = moved.u_g**2 - still.u_g**2
    assert more == pytest.approx(np.var(anywhere), rel=0.01)  # of a rectangle: 4 * 0.9 / sqrt(n)


def test_many_readings_tell_their_scatter_with_student_s_factor():
    readings = np.array([999.0, 1001.0, 1000.0, 1002.0, 998.0, 1000.0])
    found = check(readings, np.zeros(6, dtype=bool))
    factor = stats.t.ppf(0.975, 5) / stats.norm.ppf(0.975)
    # The normal factor is taken at 1e9 degrees of freedom.
    assert found.scatter_g == pytest.approx(np.std(readings, ddof=1) * factor, rel=1e-8)
    quiet = check(np.full(6, 1000.0), np.zeros(6, dtype=bool))
    assert quiet.scatter_g == 0.0
    assert quiet.u_g >= np.hypot(1 / np.sqrt(12), 0.5 / np.sqrt(3)) - 1e-12  # rounding, known mass


def test_readings_of_both_sides_average_each_other_out():
    """Three a side with the same mean: six readings of a scatter of 1 g, known mass exact."""
    readings = [999.0, 1001.0, 1000.0, 1001.0, 1000.0, 999.0]
    found = scale_check(
        np.full(6, 1000.0),
        readings,
        np.array([False] * 3 + [True] * 3),
        step_g=0.0,
        limit_of_error_g=2.0,
        reference_limit_share=0.0,
    )
    factor = stats.t.ppf(0.975, 4) / stats.norm.ppf(0.975)
    assert found.u_g == pytest.approx(factor / np.sqrt(6), rel=1e-8)


def test_a_weighing_is_rounded_once_more():
    rng = np.random.default_rng(16)
    more = u_mass_g(5.0, 5.0, CHECK, 1000.0) ** 2 - u_mass_g(0.0, 5.0, CHECK, 1000.0) ** 2
    masses = rng.uniform(900.0, 1100.0, N_DRAWS)
    lost = masses - np.round(masses / 5.0) * 5.0
    assert more == pytest.approx(np.var(lost), rel=0.01)  # of a rectangle: 4 * 0.9 / sqrt(n)


@pytest.mark.parametrize(("n", "scatter_g"), [(4, 0.5), (5, 0.0)])
def test_from_five_readings_on_one_side_the_scatter_is_their_own(n, scatter_g):
    assert check(np.full(n, 1000.0), np.zeros(n, dtype=bool)).scatter_g == scatter_g


def test_two_equal_readings_do_not_prove_a_scale_without_scatter():
    assert check([1000.0, 1000.0]).scatter_g == 0.5  # a quarter of the limit of 2 g
    assert check([1000.0, 1003.0], np.zeros(2, dtype=bool)).scatter_g == pytest.approx(3 / 2**0.5)


def test_a_worn_mass_counts():
    plain = check([1000.0, 1000.0])
    worn = scale_check(
        [1000.0, 1000.0],
        [1000.0, 1000.0],
        BEFORE_AND_AFTER,
        step_g=1.0,
        limit_of_error_g=2.0,
        reference_limit_share=0.01,
    )
    assert worn.u_g**2 - plain.u_g**2 == pytest.approx((10**2 - 0.5**2) / 3)


def test_a_scale_caught_outside_its_limit_is_held_to_it_nowhere():
    found = check([1008.0, 1008.0])
    assert found.beyond_limit
    assert u_mass_g(1.0, 2.0, found, 220.0) == u_weighing_g(8.0, 1.0)
    assert u_mass_g(1.0, 2.0, found, 1300.0) > u_mass_g(1.0, 2.0, CHECK, 1300.0)
    assert not check([1002.0, 1003.0]).beyond_limit  # 2.5 g is not surely more than 2 g
    assert check([992.0, 992.0]).beyond_limit


def test_correction_and_uncertainty_speak_for_the_same_masses():
    for mass in (400.0, 499.9, 500.0, 1000.0, 1500.0, 1500.1, 3000.0):
        corrected = corrected_g(CHECK, mass) != mass
        assert corrected == speaks_for(CHECK, mass)
        assert corrected == (u_mass_g(1.0, 2.0, CHECK, mass) != u_weighing_g(2.0, 1.0))
    assert corrected_g(None, 1000.0) == 1000.0


def test_each_known_mass_makes_its_own_check():
    checks = scale_checks(
        [1000.0, 200.0, 1000.0, 200.0],
        [1002.0, 200.0, 1003.0, 201.0],
        np.array([False, False, True, True]),
        step_g=1.0,
        limit_of_error_g=2.0,
    )
    assert [(c.reference_g, c.offset_g, c.shift_g) for c in checks] == [
        (200.0, 0.5, 1.0),
        (1000.0, 2.5, 1.0),
    ]
    assert nearest_check(checks, 260.0).reference_g == 200.0
    assert nearest_check(checks, 1220.0).reference_g == 1000.0
    assert nearest_check((), 1220.0) is None


def column(table, name):
    return table.expanded_g[:, table.reels.index(name)]


@pytest.mark.parametrize(("sd_g", "expanded_g"), [(3, 6), (5, 10), (8, 16), (10, 20)])
def test_known_scatter_of_reels_is_what_the_trade_says(sd_g, expanded_g):
    """Common practice, no source: 6, 10, 16 and 20 g (k = 2) for reels that scatter so much.

    The trade leaves the scale out; 1 g of limit adds less than a tenth to the smallest.
    """
    many = net_mass_table(**DEFAULTS, known_sd_g=(float(sd_g),), n_reels=10_000)
    got = column(many, f"10000 like reels, s {sd_g} g")[0]
    assert expanded_g < got < 1.1 * expanded_g


def test_with_reels_that_scatter_by_more_than_7_g_nobody_proves_15_g():
    """Common practice, no source."""
    table = net_mass_table(**DEFAULTS, known_sd_g=(7.0, 7.6), n_reels=10_000)
    assert column(table, "10000 like reels, s 7 g")[0] < 15.0
    assert np.all(column(table, "10000 like reels, s 7.6 g") > 15.0)


def test_table_by_draws_of_scale_and_reel():
    """Scale errors and default reels are rectangles; of one like reel both reels are normal."""
    rng = np.random.default_rng(15)
    table = net_mass_table(**DEFAULTS)
    n = 50_000
    reels = {
        "this reel weighed empty": (np.zeros(n), True),
        "1 like reel": (8.0 * (rng.standard_normal(n) - rng.standard_normal(n)), True),
        "cardboard reel, supposed": (rng.uniform(120.0, 180.0, n), False),
        "plastic reel, supposed": (rng.uniform(180.0, 260.0, n), False),
        "reel unknown": (rng.uniform(120.0, 260.0, n), False),
    }
    for row, (step, limit) in enumerate([(1.0, 1.0), (1.0, 2.0), (5.0, 5.0)]):
        for name, (reel_g, weighed) in reels.items():
            weighings = 2 if weighed else 1
            scale_g = sum(
                within(rng, 0.0, limit, n) + within(rng, 0.0, step / 2, n) for _ in range(weighings)
            )
            got = column(table, name)[row]
            assert got == pytest.approx(2 * np.std(reel_g + scale_g), rel=4 / np.sqrt(2 * n)), name


def test_ten_like_reels_predict_the_next_with_student_s_factor():
    """Prediction interval of one more of a normal kind, as in Hahn and Meeker; scale aside."""
    got = column(net_mass_table(**DEFAULTS, known_sd_g=(50.0,)), "10 like reels, s 50 g")[0]
    half = stats.t.ppf(0.975, 9) * 50.0 * np.sqrt(1 + 1 / 10)
    assert got == pytest.approx(half * 2 / stats.norm.ppf(0.975), rel=1e-3)


def test_table_has_its_shape_and_gets_better_to_the_left():
    table = net_mass_table(**DEFAULTS)
    assert table.expanded_g.shape == (len(table.scales), len(table.reels)) == (4, 8)
    assert len(set(table.scales)) == 4
    assert len(set(table.reels)) == 8
    assert np.all(table.expanded_g[:, :1] < table.expanded_g[:, 1:])
    assert np.all(table.expanded_g[:, -1:] > table.expanded_g[:, :-1])
    # Row by row: the coarse scale is worst, and the checked one beats its unchecked like.
    assert np.all(table.expanded_g[2] > table.expanded_g[1])
    assert np.all(table.expanded_g[3] < table.expanded_g[1])
