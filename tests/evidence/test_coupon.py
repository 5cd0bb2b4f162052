"""Coupon check: exact beads, simulated coupons, and what each verdict rests on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.errors import TooFewReadings
from lotqa.evidence import coupon as c

SIDES = np.repeat([0, 1, 2, 3], 3)
LINE = {"line_width_mm": 0.45, "layer_height_mm": 0.20}


def stadium_width(area, h):
    """Width of a rectangle closed by two half circles of diameter h that has ``area``."""
    return (area - np.pi * (h / 2) ** 2) / h + h


def stadium_area(w, h):
    return (w - h) * h + np.pi * (h / 2) ** 2


@given(st.floats(0.85, 1.15), st.floats(0.9, 1.1))
def test_the_wall_gives_back_the_flow_that_was_short(flow, k_now):
    width = stadium_width(flow * stadium_area(0.45, 0.20), 0.20)
    wall = c.wall_thickness(np.full(12, width), SIDES)
    got = c.wall_factor(wall, multiplier=k_now, **LINE)
    assert got.value == pytest.approx(k_now / flow)


@given(st.floats(0.3, 1.2), st.floats(0.08, 0.28))
def test_width_gain_is_the_slope_of_the_bead(w, h):
    a = stadium_area(w, h)
    up, down = (stadium_width(a * (1 + s * 1e-4), h) for s in (1, -1))
    assert c.width_gain(w, h) == pytest.approx((up - down) / w / 2e-4, rel=1e-6)


def test_common_practice_takes_too_small_a_step():
    """A flow 5 % short: the ratio of widths sees nine tenths of it at 0.45 x 0.20."""
    width = stadium_width(0.95 * stadium_area(0.45, 0.20), 0.20)
    wall = c.wall_thickness(np.full(12, width), SIDES)
    exact = c.wall_factor(wall, **LINE).value
    plain = c.plain_wall_factor(wall, line_width_mm=0.45)
    assert exact == pytest.approx(1 / 0.95)
    assert (plain - 1) / (exact - 1) == pytest.approx(0.9, abs=0.01)


def test_two_spools_on_one_machine_have_walls_as_their_sections():
    """w_A / w_B follows (d_A / d_B)**2 through the bead, whatever the machine adds."""
    factors = []
    for d in (1.70, 1.78):
        width = stadium_width(1.03 * (d / 1.75) ** 2 * stadium_area(0.45, 0.20), 0.20)
        factors.append(c.wall_factor(c.wall_thickness(np.full(12, width), SIDES), **LINE))
    assert c.ratio(*factors).value == pytest.approx((1.78 / 1.70) ** 2)


def test_sides_count_alike_whatever_was_read_on_them():
    wall = c.wall_thickness([0.40, 0.40, 0.40, 0.50], [1, 1, 1, 2])
    assert wall.mean_mm == pytest.approx(0.45)
    assert wall.side_means_mm == pytest.approx((0.40, 0.50))


def test_interval_of_the_wall_covers_by_simulation():
    """4000 coupons: sides differ by 0.012 mm, the hand by 0.006 mm, a display of 0.01 mm and a
    tool that is off by up to 0.01 mm: at least 95 % of the intervals hold the true flow."""
    rng = np.random.default_rng(1)
    n, inside = 4000, 0
    for _ in range(n):
        offset = rng.uniform(-0.01, 0.01)
        read = 0.43 + np.repeat(rng.normal(0, 0.012, 4), 3) + rng.normal(0, 0.006, 12) + offset
        wall = c.wall_thickness(np.round(read, 2), SIDES, step_mm=0.01, limit_of_error_mm=0.01)
        lo, hi = c.wall_factor(wall, **LINE).interval()
        inside += lo <= stadium_area(0.45, 0.20) / stadium_area(0.43, 0.20) <= hi
    assert inside / n >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / n)
    assert inside / n < 0.995  # nor is it so wide that it says nothing


def test_without_a_tool_error_the_interval_is_students():
    """scipy's t interval of four side means."""
    from scipy import stats

    means = np.array([0.44, 0.46, 0.45, 0.47])
    wall = c.wall_thickness(np.repeat(means, 3), SIDES)
    lo, hi = stats.t.interval(0.95, 3, means.mean(), stats.sem(means))
    half = float(stats.t.ppf(0.975, wall.df)) * wall.u_mm
    assert (wall.mean_mm - half, wall.mean_mm + half) == pytest.approx((lo, hi))


def test_sides_alike_by_luck_do_not_make_a_steadier_hand():
    wall = c.wall_thickness(np.full(12, 0.45), SIDES, scatter_sd_mm=0.008)
    assert wall.u_mm == pytest.approx(0.008 / np.sqrt(12))


def test_one_side_is_too_few():
    with pytest.raises(TooFewReadings) as caught:
        c.wall_thickness([0.45, 0.46], [1, 1])
    assert str(caught.value) == (
        "a wall needs readings on 2 sides, got 1: read three on each of four"
    )


def test_mass_gives_back_the_flow_and_resolves_far_more_than_the_wall():
    """20 g on a scale of 0.01 g: by Monte Carlo of two roundings, 0.02 % standard, 0.04 % at 95."""
    k = c.mass_factor(19.0, volume_mm3=20_000 / 1.24, density_g_per_cm3=1.24, step_g=0.01)
    assert k.value == pytest.approx(20 / 19)
    rng = np.random.default_rng(2)
    true, tare = rng.uniform(18.9, 19.1, 200_000), rng.uniform(100, 101, 200_000)
    read = np.round(true + tare, 2) - np.round(tare, 2)
    assert k.u_rel == pytest.approx(np.std(read / true), rel=0.02)
    lo, hi = k.interval()
    assert 100 * (hi / lo - 1) / 2 < 0.05


def test_diameter_route_is_the_square():
    k = c.diameter_factor(1.71, 1.70, 1.72, 0.0, set_diameter_mm=1.75)
    assert k.value == pytest.approx(1.75**2 / 1.71**2)
    lo, hi = k.interval()
    assert (lo, hi) == pytest.approx((1.75**2 / 1.72**2, 1.75**2 / 1.70**2), rel=2e-4)


def test_ratio_by_monte_carlo():
    """Student-t factors with 3 and 8 degrees of freedom: the interval of the ratio covers."""
    rng = np.random.default_rng(3)
    n = 20_000
    sd, df = (0.010, 0.006), (3, 8)
    value = [np.exp(rng.normal(0, s, n)) for s in sd]
    u = [s * np.sqrt(rng.chisquare(f, n) / f) for s, f in zip(sd, df, strict=True)]
    inside = 0
    for i in range(0, n, 10):
        a, b = (c.Factor(v[i], w[i], f) for v, w, f in zip(value, u, df, strict=True))
        lo, hi = c.ratio(a, b).interval()
        inside += lo <= 1 <= hi
    # Welch-Satterthwaite is an approximation, good to about a percent here (GUM G.4.1).
    assert inside / (n // 10) == pytest.approx(0.95, abs=0.025)


def test_the_offset_of_one_tool_falls_out_against_the_reference():
    """A calliper 0.02 mm off reads both walls wide; only the ratio is free of it."""
    offset = 0.02
    walls = [
        c.wall_thickness(np.full(12, w + offset), SIDES, limit_of_error_mm=0.03)
        for w in (0.45, 0.44)
    ]
    a, b = (c.wall_factor(w, **LINE) for w in walls)
    free = c.ratio(a, b, same_tool=True)
    assert free.half_width() == 0
    true = stadium_area(0.44, 0.20) / stadium_area(0.45, 0.20)
    assert free.value == pytest.approx(true, rel=2e-3)
    assert c.ratio(a, b).half_width() > 0.05


EXACT = c.Factor(1.0, 0.0, np.inf)


@pytest.mark.parametrize(("value", "u", "word"), [
    (1.005, 0.002, c.EXPLAINED),
    (1.060, 0.010, c.NOT_DIAMETER),
    (0.940, 0.010, c.NOT_DIAMETER),
    (1.010, 0.015, c.CANNOT_TELL),
    (1.000, 0.015, c.CANNOT_TELL),
])  # fmt: skip
def test_verdict_words(value, u, word):
    told = c.judge("wall", c.Factor(value, u, np.inf), EXACT, gap_max_pct=2.0)
    assert told.word == word
    assert not told.has_reference


def test_a_wall_of_one_step_of_the_display_cannot_tell():
    """0.01 mm on 0.45 mm is 2.2 % of width, 2.5 % of flow: a calliper good to 0.02 mm cannot."""
    wall = c.wall_thickness(np.full(12, 0.44), SIDES, step_mm=0.01, limit_of_error_mm=0.02)
    told = c.judge("wall", c.wall_factor(wall, **LINE), EXACT, gap_max_pct=2.0)
    assert told.word == c.CANNOT_TELL
    assert told.sentence == (
        "By the wall the print needs 2.5 % more flow than the diameter says (-3.3 to +8.7 %): the "
        "wall cannot tell, its interval is wider than the gap; read more places with a micrometer, "
        "or weigh a coupon."
    )


def test_the_machine_is_taken_out_by_its_reference_spool():
    """Both spools need 3 % more than their diameters say: that is the machine, not the spool."""
    reference = c.ratio(c.Factor(1.03, 0.003, np.inf), EXACT)
    told = c.judge("mass", c.Factor(1.031, 0.003, np.inf), EXACT, gap_max_pct=2.0,
                   reference=reference)  # fmt: skip
    assert told.word == c.EXPLAINED
    assert told.gap.value == pytest.approx(1.031 / 1.03)
    alone = c.judge("mass", c.Factor(1.031, 0.003, np.inf), EXACT, gap_max_pct=2.0)
    assert alone.word == c.NOT_DIAMETER
    assert alone.sentence.endswith("print the coupon from a reference spool, too.")


def test_a_gap_names_its_usual_causes():
    told = c.judge("mass", c.Factor(1.06, 0.003, np.inf), EXACT, gap_max_pct=2.0, reference=EXACT)
    assert told.sentence == (
        "By the mass the print needs 6.0 % more flow than the reference spool did "
        "(+5.4 to +6.6 %): that is not the diameter. Look for moisture, slip at the drive, "
        "a wrong temperature, or an offset of the calliper."
    )
