"""Pieces of a spool: weighed lengths and pieces in water, and what follows for the spool.

Sources: Archimedes' principle and the geometry of a cylinder as closed forms; density of water at
23 C: 0.99754 g/cm3, CRC Handbook of Chemistry and Physics (from memory); Monte Carlo.
"""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.evidence.bench_scale import Scale
from lotqa.evidence.pieces import Filament, cut_of, density_of_lot, immersion
from lotqa.evidence.weighings import Tare, spool_weight
from lotqa.model import WeighIn

WATER_23C = 0.99754
SCALE = Scale(1.0, 2.0, (), (Scale(0.01, 0.02),))
TARE = Tare(220.0, 1.0, "itself", "this reel weighed empty")
PLA = Filament(1.24, 0.012, 1.75, 0.004, 0.007, 1.75)


def piece(density: float, volume_ml: float = 5.0, step: float = 0.001) -> list[WeighIn]:
    """A piece in air and in water as Archimedes has it; the buoyancy of air is left out."""
    air, water = density * volume_ml, (density - WATER_23C) * volume_ml
    more = {"scale_step_g": step, "temperature_c": 23.0}
    return [WeighIn("1", "in_air", air, **more), WeighIn("1", "in_water", water, **more)]


@pytest.mark.parametrize("density", [0.92, 1.04, 1.24, 3.1])
def test_water_gives_back_the_density_of_the_piece(density):
    found = immersion(piece(density), SCALE)
    # Five digits of the table and the buoyancy of air (0.0003 at 1.24).
    assert found.density_g_cm3 == pytest.approx(density, abs=3e-4)
    assert found.n_pieces == 1


def test_two_pieces_are_averaged_and_their_difference_counts():
    one, two = immersion(piece(1.20), SCALE), immersion(piece(1.20) + piece(1.26), SCALE)
    assert two.density_g_cm3 == pytest.approx(1.23, abs=3e-4)
    assert two.n_pieces == 2
    # Standard error of the mean of two that differ by 0.06: 0.03.
    assert two.u_density_g_cm3 == pytest.approx(np.hypot(0.03, one.u_density_g_cm3), rel=0.05)


def test_a_piece_without_water_or_without_its_temperature_says_nothing():
    air, water = piece(1.24)
    assert immersion([air], SCALE) is None
    assert immersion([air, replace(water, temperature_c=None)], SCALE) is None


def test_other_spools_of_the_lot_scatter():
    found = [immersion(piece(d), SCALE) for d in (1.20, 1.24, 1.28)]
    density, u = density_of_lot(found)
    assert density == pytest.approx(1.24, abs=3e-4)
    # The next of a kind: s (1 + 1/3)**0.5 with s = 0.04.
    assert u == pytest.approx(0.04 * np.sqrt(4 / 3), rel=0.01)
    assert density_of_lot(found[:1])[1] == found[0].u_density_g_cm3


def test_a_density_weighed_in_water_goes_before_that_of_the_material():
    rows = [WeighIn("1", "net", 1000.0), *piece(1.30)]
    found = spool_weight(rows, SCALE, TARE, 1000.0, PLA)
    assert found.volume_ml == pytest.approx(1000 / 1.30, rel=1e-3)
    assert found.filament.measured
    without = spool_weight(rows[:1], SCALE, TARE, 1000.0, PLA)
    assert without.volume_ml == pytest.approx(1000 / 1.24)
    assert found.u_volume_ml < without.u_volume_ml


def test_a_thin_spool_is_longer():
    """A kilogram of PLA: 355 m at 1.70 mm and 335 m at 1.75 mm (geometry of the cylinder)."""
    thin = spool_weight(
        [WeighIn("1", "net", 1000.0)], SCALE, TARE, 1000.0, replace(PLA, diameter_mm=1.70)
    )
    assert thin.length_m == pytest.approx(355.3, abs=0.1)
    assert thin.thin_gain_m == pytest.approx(355.3 - 335.3, abs=0.1)
    assert thin.g_per_m == pytest.approx(1000 / thin.length_m)


def test_volume_grams_per_metre_and_gain_by_monte_carlo():
    got = spool_weight([WeighIn("1", "net", 1000.0)], SCALE, TARE, 1000.0, PLA)
    rng = np.random.default_rng(21)
    k = 300_000
    mass = 1000 + got.u_net_g * rng.standard_normal(k)
    density, d = 1.24 + 0.012 * rng.standard_normal(k), 1.75 + 0.004 * rng.standard_normal(k)
    section = np.pi * d**2 / 4
    # Linear propagation; the second order is (u/x)**2, one in ten thousand; sampling 0.13 %.
    assert got.u_volume_ml == pytest.approx((mass / density).std(), rel=0.006)
    assert got.u_g_per_m == pytest.approx((density * section).std(), rel=0.006)
    gain = mass / density / section - mass / density / (np.pi * 1.75**2 / 4)
    assert got.u_thin_gain_m == pytest.approx(gain.std(), rel=0.006)


def cut(mass_g: float, **more: float) -> WeighIn:
    return WeighIn("1", "cut", mass_g, length_m=2.0, scale_step_g=0.01, **more)


def test_a_cut_is_compared_with_the_calliper():
    # 2 m of 1.75 mm at 1.24: 5.9651 g by the geometry of the cylinder.
    found = cut_of([cut(5.97)], SCALE, PLA, 0.0006)
    assert found.agreement.agrees
    assert found.found.diameter_mm == pytest.approx(1.75, abs=0.002)
    light = cut_of([cut(5.40)], SCALE, PLA, 0.0006)
    assert (light.agreement.agrees, light.agreement.meaning) == (False, "lighter")
    heavy = cut_of([cut(6.60)], SCALE, PLA, 0.0006)
    assert (heavy.agreement.agrees, heavy.agreement.meaning) == (False, "heavier")


def test_a_cut_speaks_for_the_spool_only_within_the_spread_along_it():
    steady = cut_of([cut(5.97)], SCALE, replace(PLA, spread_mm=0.0), 0.0006)
    uneven = cut_of([cut(5.97)], SCALE, replace(PLA, spread_mm=0.02), 0.0006)
    assert uneven.found == steady.found
    assert uneven.u_spool_g_per_m > steady.u_spool_g_per_m
    assert uneven.agreement.weight_of_cut < steady.agreement.weight_of_cut


def test_spools_alike_agree_nineteen_times_of_twenty():
    """Simulated: a piece whose mean section differs from the spool's by its spread."""
    rng = np.random.default_rng(22)
    k, agrees = 2000, 0
    for _ in range(k):
        density = 1.24 + 0.012 * rng.standard_normal()
        there = 1.75 + 0.007 * rng.standard_normal()
        mass = density * np.pi * there**2 / 4 * (2.0 + 0.0006 * rng.standard_normal())
        calliper = 1.75 + 0.004 * rng.standard_normal()
        here = replace(PLA, diameter_mm=calliper)
        agrees += cut_of([cut(round(mass, 2))], SCALE, here, 0.0006).agreement.agrees
    assert abs(agrees / k - 0.95) <= 4 * np.sqrt(0.95 * 0.05 / k)


@pytest.mark.parametrize("filament", [
    replace(PLA, density_g_cm3=None),
    replace(PLA, diameter_mm=None),
])  # fmt: skip
def test_without_density_or_calliper_nothing_is_compared(filament):
    found = cut_of([cut(5.97)], SCALE, filament, 0.0006)
    assert found.agreement is None
    assert found.found.linear_density_g_per_m == pytest.approx(2.985)
