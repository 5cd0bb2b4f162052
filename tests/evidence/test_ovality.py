"""Ovality from directions: exact geometry, unbiased mean square, coverage, what cannot be seen.

Sources: the width of an ellipse between two jaws (tests/simulator.py, checked there against the
convex hull); numpy's least squares as another road; seeded simulation, tolerance four standard
errors of the simulated figure.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.errors import TooFewReadings
from lotqa.evidence.ovality import (
    from_directions,
    ovality_evidence,
    place_ovality,
    spool_ovality,
)
from tests.simulator import Filament, Tool, ellipse_width_mm, measure

U = 0.008
RULES = {
    "two at 90": (0.0, 90.0),
    "two at 70": (10.0, 80.0),
    "three at 60": (0.0, 60.0, 120.0),
    "two at 90, one read twice": (0.0, 90.0, 90.0),
    "uneven three": (0.0, 60.0, 90.0),
    "four": (0.0, 45.0, 90.0, 135.0),
}


def simulated(directions, oval_mm, k, n, seed, u=U):
    made = measure(
        Filament(sd_mm=0.0, ovality_mm=oval_mm),
        np.random.default_rng(seed),
        n_spools=k,
        n_places=n,
        directions_deg=directions,
        tool=Tool(scatter_sd_mm=u, step_mm=0.0),
    )
    m = len(directions)
    place = np.repeat(np.arange(k * n), m)
    shown = place_ovality(place, np.tile(directions, k * n), made.diameter_mm.ravel())
    return ovality_evidence(np.repeat(np.arange(k), n), k, shown, u), shown, made


@pytest.mark.parametrize("directions", RULES.values(), ids=RULES)
@pytest.mark.parametrize("oval_mm", [0.0, 0.02, 0.05])
def test_mean_square_is_unbiased_for_any_set_of_directions(directions, oval_mm):
    k, n = 400, 50
    _, shown, _ = simulated(directions, oval_mm, k, n, seed=len(directions))
    squares = (shown.shown_mm**2 - shown.noise * U**2) / shown.gain
    slack = 4 * squares.std() / np.sqrt(k * n)
    # First order in the ovality: the ellipse adds o**4 / d**2, far below the slack.
    assert abs(squares.mean() - oval_mm**2) < slack
    assert slack < 0.1 * max(oval_mm, U) ** 2 * 4  # the check could tell


@given(
    st.lists(st.floats(0, 179.9), min_size=3, max_size=7, unique_by=lambda t: round(t / 8)),
    st.floats(0, 180),
    st.floats(1.5, 3.2),
    st.floats(0.0, 0.1),
)
def test_three_directions_or_more_find_any_sinusoid(directions, axis_deg, mean_mm, oval_mm):
    """Exact for the first-order section, whatever the gaps; numpy's least squares agrees."""
    t = np.deg2rad(2 * (np.array(directions) - axis_deg))
    width = mean_mm + oval_mm / 2 * np.cos(t)
    basis = np.stack([np.ones_like(t), np.cos(np.deg2rad(2 * np.array(directions))),
                      np.sin(np.deg2rad(2 * np.array(directions)))], axis=1)  # fmt: skip
    centre, a, b = np.linalg.lstsq(basis, width, rcond=None)[0]
    m, o = from_directions(directions, [width])
    # The condition of uneven sets costs digits, not more: gaps here are some degrees at least.
    assert float(o[0]) == pytest.approx(oval_mm, abs=1e-7)
    assert float(m[0]) == pytest.approx(centre, abs=1e-8)
    assert float(o[0]) == pytest.approx(2 * np.hypot(a, b), abs=1e-7)


@pytest.mark.parametrize("axis_deg", [0.0, 17.0, 45.0, 133.0])
def test_an_ellipse_is_seen_to_first_order(axis_deg):
    theta = np.array([0.0, 60.0, 120.0])
    width = ellipse_width_mm(np.float64(1.75), 0.06, np.deg2rad(theta - axis_deg))
    m, o = from_directions(theta, [width])
    # Remainder: the next harmonic of the width, about o**2 / (16 d) = 0.13 um.
    assert float(o[0]) == pytest.approx(0.06, abs=0.06**2 / 1.75 / 4)
    assert float(m[0]) == pytest.approx(1.75, abs=0.06**2 / 1.75 / 8)


def test_two_perpendicular_readings_show_two_over_pi_on_average():
    _, shown, _ = simulated((0.0, 90.0), 0.05, 200, 100, seed=5, u=0.0)
    mean = shown.shown_mm.mean() / 0.05
    assert mean == pytest.approx(2 / np.pi, abs=4 * shown.shown_mm.std() / 0.05 / np.sqrt(20_000))


@pytest.mark.parametrize("lobes", [3, 5])
def test_an_odd_number_of_lobes_reads_round(lobes):
    """A caution the report makes: the width of such a section is the same in every direction."""
    angle = np.deg2rad(np.arange(0, 180, 15.0))
    support = lambda t: 0.875 + 0.02 * np.cos(lobes * t)  # noqa: E731 - a formula
    width = support(angle) + support(angle + np.pi)
    _, o = from_directions(np.rad2deg(angle), [width])
    assert float(o[0]) < 1e-9


@pytest.mark.parametrize(
    ("a", "b"), [((0, 90), (90, 0)), ((0, 90), (180, 270)), ((0, 60, 120), (300, 180, 60))]
)
def test_a_half_turn_and_the_order_change_nothing(a, b):
    rng = np.random.default_rng(2)
    d = 1.75 + 0.01 * rng.standard_normal((5, len(a)))
    same = {(t % 180): i for i, t in enumerate(a)}
    reordered = d[:, [same[t % 180] for t in b]]
    for got, want in zip(from_directions(b, reordered), from_directions(a, d), strict=True):
        assert got == pytest.approx(want, abs=1e-12)


def test_a_direction_just_below_180_is_0():
    with pytest.raises(TooFewReadings) as caught:
        from_directions([0, 179.9999999999], [[1.75, 1.76]])
    assert str(caught.value) == (
        "ovality needs 2 directions that differ, got 0, 180: read each place again at 90 degrees"
    )


def test_unknown_directions_show_nothing_and_hurt_nobody():
    place = np.array([0, 0, 1, 1, 1, 2])
    theta = np.array([0.0, 90.0, np.nan, 0.0, 90.0, np.nan])
    d = np.array([1.76, 1.74, 9.0, 1.77, 1.74, 1.75])
    got = place_ovality(place, theta, d)
    assert got.shown_mm[:2] == pytest.approx([0.02, 0.03])
    assert np.isnan(got.shown_mm[2])
    assert got.n_directions.tolist() == [2, 2, 0]
    spools = ovality_evidence(np.array([0, 0, 1]), 2, got, U)
    assert spools.n_places.tolist() == [2, 0]
    assert np.isnan(spools.mean_mm[1])


@pytest.mark.parametrize("directions", [(0.0, 90.0), (0.0, 60.0, 120.0)])
@pytest.mark.parametrize("n", [10, 20, 40])
def test_scatter_of_a_round_filament_is_not_called_ovality(directions, n):
    k = 4000
    got, _, _ = simulated(directions, 0.0, k, n, seed=n)
    assert np.mean(got.lo_mm > 0) <= 0.025 + 4 * np.sqrt(0.025 * 0.975 / k)


@pytest.mark.parametrize("directions", [(0.0, 90.0), (0.0, 60.0, 120.0)])
@pytest.mark.parametrize("n", [10, 20, 40])
@pytest.mark.parametrize("oval_mm", [0.02, 0.03, 0.06])
def test_interval_holds_the_truth(directions, n, oval_mm):
    k = 4000
    got, _, _ = simulated(directions, oval_mm, k, n, seed=n + 1)
    rate = np.mean((got.lo_mm <= oval_mm) & (oval_mm <= got.hi_mm))
    assert rate >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / k)


def test_interval_is_ordered_and_shrinks_with_places():
    halves = []
    for n in (5, 20, 80):
        got, _, _ = simulated((0.0, 90.0), 0.03, 300, n, seed=n)
        assert ((got.lo_mm <= got.mean_mm) & (got.mean_mm <= got.hi_mm)).all()
        halves.append(np.mean(got.hi_mm - got.lo_mm))
    assert halves[0] > halves[1] > halves[2]


def test_one_place_bounds_nothing_above():
    o, lo, hi = spool_ovality([[0.03]], [[0.5]], [[2.0]], U)
    assert (float(lo[0]), float(hi[0])) == (0.0, np.inf)
    assert float(o[0]) == pytest.approx(np.sqrt((0.03**2 - 2 * U**2) / 0.5))


@given(st.permutations(range(12)))
def test_order_of_places_changes_nothing(order):
    rng = np.random.default_rng(4)
    shown = np.abs(rng.normal(0, 0.02, (1, 12)))
    plain = spool_ovality(shown, np.full((1, 12), 0.5), np.full((1, 12), 2.0), U)
    mixed = spool_ovality(shown[:, order], np.full((1, 12), 0.5), np.full((1, 12), 2.0), U)
    for a, b in zip(plain, mixed, strict=True):
        assert float(a[0]) == pytest.approx(float(b[0]), rel=1e-12)


def test_a_micrometre_is_a_thousandth():
    rng = np.random.default_rng(6)
    shown = np.abs(rng.normal(0, 0.02, (3, 15)))
    gain, noise = np.full((3, 15), 0.5), np.full((3, 15), 2.0)
    mm, um = spool_ovality(shown, gain, noise, U), spool_ovality(1e3 * shown, gain, noise, 1e3 * U)
    for a, b in zip(mm, um, strict=True):
        assert 1e3 * np.asarray(a) == pytest.approx(np.asarray(b), rel=1e-12)
