"""Ovality from directions, against plane geometry.

1. Width of an ellipse with axes D, d between parallel jaws: sqrt((D cos t)**2 + (d sin t)**2), its
   support function (any text on convex curves); perimeter 2 D E(1 - d**2/D**2) by Legendre.
2. Cauchy: the mean width of a convex curve over all directions is perimeter / pi.
3. Reuleaux: a curve of constant width shows no ovality to two-point readings (ISO 4292:1985).
"""

import numpy as np
import pytest
from scipy import special

from lotqa.evidence.ovality import from_directions
from tests.published.source import one

THREE = np.array([0.0, 60.0, 120.0])
SIX = np.arange(0.0, 180.0, 30.0)
UNEVEN = np.array([0.0, 25.0, 70.0, 140.0])


def ellipse_width_mm(major_mm, minor_mm, theta_deg):
    theta = np.radians(theta_deg)
    return np.hypot(major_mm * np.cos(theta), minor_mm * np.sin(theta))


def reuleaux_width_mm(theta_deg, side_mm=1.75):
    """Widths of a Reuleaux triangle, from points along its three arcs."""
    corners = side_mm / np.sqrt(3) * np.exp(1j * np.radians([90.0, 210.0, 330.0]))
    arcs = [
        corner + side_mm * np.exp(1j * np.radians(np.linspace(start, start + 60, 20_001)))
        for corner, start in zip(corners, [240.0, 0.0, 120.0], strict=True)
    ]
    outline = np.concatenate(arcs)
    towards = np.exp(1j * np.radians(np.asarray(theta_deg, dtype=float)))
    return np.array([np.ptp((outline * np.conj(t)).real) for t in towards])


@pytest.mark.parametrize("directions", [THREE, SIX, UNEVEN], ids=["three", "six", "uneven"])
@pytest.mark.parametrize("turn_deg", [0.0, 13.0, 45.0, 77.7])
def test_the_ovality_of_a_pure_second_harmonic_is_recovered(directions, turn_deg):
    d = 1.75 + 0.02 * np.cos(2 * np.radians(directions - turn_deg))
    _, amplitude2_mm = from_directions(directions, d[None, :])
    assert one(amplitude2_mm) == pytest.approx(0.04, rel=1e-11)


@pytest.mark.parametrize("directions", [THREE, SIX, UNEVEN], ids=["three", "six", "uneven"])
@pytest.mark.parametrize("turn_deg", [0.0, 13.0, 45.0, 77.7])
def test_the_mean_of_a_pure_second_harmonic_is_free_of_its_ovality(directions, turn_deg):
    """At uneven directions a plain average would be off by 5 um here; the fit is not."""
    d = 1.75 + 0.02 * np.cos(2 * np.radians(directions - turn_deg))
    mean_mm, _ = from_directions(directions, d[None, :])
    assert one(mean_mm) == pytest.approx(1.75, rel=1e-13)


def harmonic_gain(directions):
    """Row sums of the pseudo-inverse: how much a remainder can move each fitted unknown."""
    two = 2 * np.radians(directions)
    design = np.column_stack([np.ones_like(two), np.cos(two), np.sin(two)])
    return np.abs(np.linalg.pinv(design)).sum(axis=1)


# An ellipse is a second harmonic up to (D - d)**2 / (16 d), a fourth harmonic.  The width itself
# and the mean width are each off by that much, hence the factor 2 below.
REMAINDER_MM = 0.10**2 / (16 * 1.70)


@pytest.mark.parametrize("directions", [THREE, SIX, UNEVEN], ids=["three", "six", "uneven"])
@pytest.mark.parametrize("turn_deg", [0.0, 10.0, 30.0, 45.0])
def test_ovality_of_an_exact_ellipse_at_any_turn(directions, turn_deg):
    d = ellipse_width_mm(1.80, 1.70, directions - turn_deg)
    _, amplitude2_mm = from_directions(directions, d[None, :])
    _, gain_cos, gain_sin = harmonic_gain(directions)
    slack_mm = 2 * 2 * np.hypot(gain_cos, gain_sin) * REMAINDER_MM
    assert one(amplitude2_mm) == pytest.approx(0.10, abs=slack_mm)
    assert slack_mm < 0.01  # the test can tell the difference


@pytest.mark.parametrize("directions", [THREE, SIX, UNEVEN], ids=["three", "six", "uneven"])
@pytest.mark.parametrize("turn_deg", [0.0, 10.0, 30.0, 45.0])
def test_mean_of_an_exact_ellipse_at_any_turn(directions, turn_deg):
    d = ellipse_width_mm(1.80, 1.70, directions - turn_deg)
    mean_mm, _ = from_directions(directions, d[None, :])
    mean_width_mm = 2 * 1.80 * special.ellipe(1 - (1.70 / 1.80) ** 2) / np.pi  # Cauchy
    slack_mm = 2 * harmonic_gain(directions)[0] * REMAINDER_MM
    assert one(mean_mm) == pytest.approx(mean_width_mm, abs=slack_mm)
    assert slack_mm < 0.002


def test_mean_over_many_directions_is_the_perimeter_over_pi():
    directions = np.arange(0.0, 180.0, 1.0)
    mean_mm, _ = from_directions(directions, ellipse_width_mm(1.80, 1.70, directions)[None, :])
    perimeter_mm = 2 * 1.80 * special.ellipe(1 - (1.70 / 1.80) ** 2)
    assert perimeter_mm == pytest.approx(5.4989091984, abs=1e-9)
    assert one(mean_mm) == pytest.approx(perimeter_mm / np.pi, rel=1e-12)


@pytest.mark.parametrize(
    ("turn_deg", "seen_mm"),
    [(0.0, 0.1), (15.0, 0.086594), (22.5, 0.070696), (30.0, 0.049985), (45.0, 0.0)],
)
def test_two_perpendicular_readings_see_what_the_turn_lets_them(turn_deg, seen_mm):
    """1.80 x 1.70 mm, differences worked out from the support function by another hand."""
    pair = np.array([0.0, 90.0])
    d = ellipse_width_mm(1.80, 1.70, pair - turn_deg)
    mean_mm, amplitude2_mm = from_directions(pair, d[None, :])
    assert one(mean_mm) == pytest.approx(d.mean(), rel=1e-14)
    assert one(amplitude2_mm) == pytest.approx(seen_mm, abs=0.6e-6)


def test_two_readings_see_two_thirds_on_average_and_half_or_less_in_one_place_of_three():
    """The factor is |cos 2t|: mean 2/pi = 64 %, below one half for a third of all turns."""
    turns = (np.arange(3600) + 0.5) * 180 / 3600
    pair = np.array([0.0, 90.0])
    d = ellipse_width_mm(1.7501, 1.7499, pair[None, :] - turns[:, None])
    _, amplitude2_mm = from_directions(pair, d)
    seen = np.asarray(amplitude2_mm) / 0.0002
    assert seen.mean() == pytest.approx(2 / np.pi, abs=1e-4)
    assert np.mean(seen < 0.5) == pytest.approx(1 / 3, abs=1e-3)


@pytest.mark.parametrize("directions", [THREE, SIX], ids=["three", "six"])
def test_constant_width_reads_as_round(directions):
    d = reuleaux_width_mm(directions + 7.0)
    # 20000 chords an arc: the polygon is thinner than the arc by 1.75 * (60 deg / 40000)**2 / 2.
    slack_mm = 1.75 * (np.pi / 3 / 20_000) ** 2
    assert d == pytest.approx(np.full(len(directions), 1.75), abs=slack_mm)
    mean_mm, amplitude2_mm = from_directions(directions, d[None, :])
    assert one(mean_mm) == pytest.approx(1.75, abs=slack_mm)
    assert one(amplitude2_mm) == pytest.approx(0.0, abs=4 * slack_mm)


def test_places_are_worked_one_by_one():
    d = np.array([[1.75, 1.75, 1.75], [1.77, 1.74, 1.74]])
    mean_mm, amplitude2_mm = from_directions(THREE, d)
    assert np.shape(mean_mm) == np.shape(amplitude2_mm) == (2,)
    # Three at 60 degrees: m = 1.75, half amplitude (2/3) |sum d exp(2it)| = 0.02 (Fourier).
    assert np.asarray(mean_mm) == pytest.approx([1.75, 1.75], rel=1e-13)
    assert np.asarray(amplitude2_mm) == pytest.approx([0.0, 0.04], abs=1e-13)
