"""Facts of the trade as check values: common practice, no source, unless a line says otherwise.

Densities, lengths and flow errors that people with a shelf of filament carry in their heads.
Digits are compared to half a unit of the last one.  Lists in circulation carry two slips of the
last digit, corrected here: 0.977 for the multiplier at 1.77 mm, 3.06 g/m for PETG.
"""

import numpy as np
import pytest

from lotqa.evidence.flow import error_pct, line_mm_per_filament_mm, multiplier
from lotqa.evidence.weight import length_m, linear_density_g_per_m, volume_ml
from tests.published.source import agrees, one

FLOW = [  # common practice, no source: diameter, flow at a set diameter of 1.75, multiplier
    (1.65, "-11.1", "1.125"),
    (1.70, "-5.6", "1.060"),
    (1.71, "-4.5", "1.047"),
    (1.72, "-3.4", "1.035"),
    (1.73, "-2.3", "1.023"),
    (1.74, "-1.1", "1.012"),
    (1.76, "1.1", "0.989"),
    (1.77, "2.3", "0.978"),
    (1.78, "3.5", "0.967"),
    (1.80, "5.8", "0.945"),
    (1.85, "11.8", "0.895"),
]
LENGTHS = [  # common practice, no source: g/cm3, mL per kg, m per kg at 1.75 and 2.85, g per m
    ("PLA", 1.24, "806", "335", "126", "2.98"),
    ("PETG", 1.27, "787", "327", "123", "3.05"),
    ("ABS", 1.04, "962", "400", "151", "2.50"),
    ("ASA", 1.07, "935", "389", "146", "2.57"),
    ("PA", 1.13, "885", "368", "139", "2.72"),
    ("TPU", 1.21, "826", "344", "130", "2.91"),
    ("PC", 1.20, "833", "346", "131", "2.89"),
]


def test_a_cube_of_pla_is_20_percent_heavier_than_one_of_abs():
    """Common practice, no source: PLA 1.25 and ABS 1.04 g/cm3."""
    ratio = one(volume_ml(100.0, 1.04)) / one(volume_ml(100.0, 1.25))
    assert agrees(100 * (ratio - 1), "20")


def test_800_g_of_abs_give_almost_the_volume_of_1_kg_of_pla():
    """Common practice, no source: 769 against 800 mL, four per cent less."""
    abs_ml, pla_ml = one(volume_ml(800.0, 1.04)), one(volume_ml(1000.0, 1.25))
    assert 0.95 < abs_ml / pla_ml < 1.0
    assert agrees(abs_ml, "769")
    assert agrees(pla_ml, "800")


@pytest.mark.parametrize(("diameter_mm", "flow", "restoring"), FLOW)
def test_flow_and_multiplier(diameter_mm, flow, restoring):
    error = error_pct(diameter_mm, 0.0, 1.75)
    assert agrees(error, flow)
    assert agrees(multiplier(error), restoring)


@pytest.mark.parametrize(
    ("set_mm", "step_mm", "printed"),
    [(1.75, 0.01, "1.14"), (2.85, 0.01, "0.70"), (2.85, 0.05, "3.5")],
)
def test_flow_of_a_small_step(set_mm, step_mm, printed):
    """Common practice, no source: half the way between a step up and a step down."""
    up, down = (one(error_pct(set_mm + sign * step_mm, 0.0, set_mm)) for sign in (1, -1))
    assert agrees((up - down) / 2, printed)


def test_scatter_adds_its_square():
    """(s / d)**2 is 0.01 % at s 0.017 mm; area averages over d**2, not over d."""
    bias = one(error_pct(1.75, 0.017, 1.75))
    assert agrees(bias, "0.01")
    d = 1.75 + 0.017 * np.array([-1.0, 1.0])
    assert bias == pytest.approx(100 * (np.mean(d**2) / 1.75**2 - 1), rel=1e-9)


@pytest.mark.parametrize("error", [-11.0, -2.3, 0.0, 4.7])
def test_the_multiplier_restores_the_volume(error):
    assert (1 + error / 100) * one(multiplier(error)) == pytest.approx(1.0, rel=1e-14)


@pytest.mark.parametrize(("material", "density", "ml", "thin_m", "thick_m", "g_per_m"), LENGTHS)
def test_volume_length_and_linear_density(material, density, ml, thin_m, thick_m, g_per_m):
    assert agrees(volume_ml(1000.0, density), ml), material
    assert agrees(length_m(1000.0, density, 1.75), thin_m)
    assert agrees(length_m(1000.0, density, 2.85), thick_m)
    assert agrees(linear_density_g_per_m(density, 1.75), g_per_m)


@pytest.mark.parametrize(("diameter_mm", "printed"), [(1.70, "355"), (1.80, "317")])
def test_a_thin_spool_is_longer_not_short(diameter_mm, printed):
    """Common practice, no source: a kilogram of PLA at either end of the tolerance."""
    assert agrees(length_m(1000.0, 1.24, diameter_mm), printed)


def test_length_times_linear_density_is_the_mass():
    metres = one(length_m(750.0, 1.24, 1.75))
    assert metres == pytest.approx(251.4627, abs=0.5e-4)  # worked out by another hand
    assert metres * one(linear_density_g_per_m(1.24, 1.75)) == pytest.approx(750.0, rel=1e-13)


@pytest.mark.parametrize(("width_mm", "height_mm"), [(0.45, 0.20), (0.60, 0.30), (0.40, 0.40)])
def test_a_bead_takes_the_area_of_its_outline(width_mm, height_mm):
    """Area of a rectangle closed by two half circles, by the shoelace rule on its outline."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 20_001)
    half = (width_mm - height_mm) / 2 + height_mm / 2 * np.exp(1j * turn)
    outline = np.concatenate([half, -half])
    area_mm2 = 0.5 * np.sum((np.conj(outline) * np.roll(outline, -1)).imag)
    filament_mm2 = np.pi * 1.75**2 / 4
    got = one(line_mm_per_filament_mm(1.75, width_mm, height_mm))
    # A chord of pi / 20000 cuts off a relative (pi / 20000)**2 / 6 of a circle.
    assert got == pytest.approx(filament_mm2 / area_mm2, rel=1e-8)


def test_many_spools_at_once():
    got = error_pct(np.array([1.70, 1.75, 1.80]), np.zeros(3), 1.75)
    assert np.shape(got) == (3,)
    assert [agrees(g, p) for g, p in zip(np.asarray(got), ["-5.6", "0.0", "5.8"], strict=True)] == [
        True
    ] * 3
