"""Flow from diameter: the volume of a simulated metre, and the interval of the error.

Source: geometry of round filament by numerical summation along a simulated metre.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.evidence import flow
from tests.evidence.lots import evidence, exact, readings

diameters = st.floats(1.5, 3.1)


@given(diameters, st.floats(0, 0.03), st.floats(1.7, 3.0))
def test_error_is_that_of_the_volume_along_the_filament(mean, sd, set_mm):
    # A sine has this mean and sd exactly; the volume is summed piece by piece.
    x = mean + sd * np.sqrt(2) * np.sin(2 * np.pi * (np.arange(1000) + 0.5) / 1000)
    volume = np.mean(np.pi / 4 * x**2)
    asked = np.pi / 4 * set_mm**2
    got = float(flow.error_pct(mean, sd, set_mm))
    assert got == pytest.approx(100 * (volume - asked) / asked, rel=1e-9, abs=1e-9)


@given(diameters, st.floats(0, 0.03), st.floats(1.7, 3.0))
def test_multiplier_and_diameter_do_the_same(mean, sd, set_mm):
    """Entering the diameter, the machine asks for its own section: the error is gone."""
    k = float(flow.multiplier(flow.error_pct(mean, sd, set_mm)))
    enter = float(flow.diameter_to_enter_mm(mean, sd))
    assert k == pytest.approx((set_mm / enter) ** 2, rel=1e-12)
    assert float(flow.error_pct(mean, sd, enter)) == pytest.approx(0, abs=1e-9)


def test_swing_is_the_span_of_the_middle_95_percent():
    x = np.random.default_rng(1).normal(1.75, 0.0125, 400_000)
    lo, hi = np.quantile(x**2, [0.025, 0.975])
    # Standard error of a quantile: sqrt(p q / n) / density; four of them on either end.
    slack = 4 * 2 * np.sqrt(0.025 * 0.975 / 4e5) / 0.0584 * 2 * 1.75 * 0.0125 / 1.75**2 * 100
    got = float(flow.swing_pct(1.75, 0.0125, 1.75))
    assert got == pytest.approx(100 * (hi - lo) / 1.75**2, abs=slack)
    assert slack < 0.1


def test_error_grows_with_the_mean_and_its_interval_follows_that_of_the_mean():
    found = evidence(readings({"x": exact(20, 1.72, 0.01), "y": exact(20, 1.78, 0.01)}))
    f, d = found.flow, found.diameter
    assert f.error_pct[0] < 0 < f.error_pct[1]
    for end, mm in ((f.error_lo_pct, d.mean_lo_mm), (f.error_hi_pct, d.mean_hi_mm)):
        assert end == pytest.approx(100 * ((mm**2 + d.sd_mm**2) / 1.75**2 - 1))


def test_one_place_knows_its_flow_and_bounds_nothing():
    """A single place of 1.76 mm against 1.75 mm is a little thick, not unknown."""
    f = evidence(readings({"x": np.array([[1.76, 1.76]])})).flow
    assert f.error_pct[0] == pytest.approx(100 * (1.76**2 / 1.75**2 - 1))
    assert (f.error_lo_pct[0], f.error_hi_pct[0]) == (-np.inf, np.inf)
    assert f.set_diameter_mm[0] == pytest.approx(1.76)
    assert np.isnan(f.swing_pct[0])


def test_two_places_far_apart_do_not_turn_the_interval_round():
    """Student's interval of two places reaches below 0 mm; no flow is below nothing."""
    f = evidence(readings({"x": np.array([[1.5, 1.5], [2.0, 2.0]])})).flow
    assert f.error_lo_pct[0] < f.error_pct[0] < f.error_hi_pct[0]
    # Nothing at all flows at best, up to what the spread itself carries.
    assert f.error_lo_pct[0] < -90


@pytest.mark.parametrize(("width", "height"), [(0.45, 0.2), (0.6, 0.3), (0.42, 0.15)])
def test_a_bead_is_a_rectangle_between_two_half_circles(width, height):
    """Area of the stadium by counting points of a grid; the slack is its border cells."""
    n = 1500
    y, z = np.meshgrid((np.arange(n) + 0.5) / n * width, (np.arange(n) + 0.5) / n * height)
    r = height / 2
    nearest = np.clip(y, r, width - r)
    area = np.mean(np.hypot(y - nearest, z - r) <= r) * width * height
    got = float(flow.line_mm_per_filament_mm(1.75, width, height))
    assert got == pytest.approx(np.pi * 1.75**2 / 4 / area, rel=4 / n)
