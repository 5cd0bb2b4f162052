"""Weighing in water: a piece of known volume and mass is found again, as well as draws allow.

Sources: Archimedes on a piece whose volume is known; Monte Carlo propagation (JCGM 101:2008);
the expansion of water at 20 C, 0.000207 per kelvin (handbook value, from memory).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.errors import UnusableInput
from lotqa.evidence.immersion import (
    TAP_WATER_SHARE,
    density_from_immersion_g_cm3,
    immersion_density,
    u_water_density_g_cm3,
    water_density_g_cm3,
)
from tests.evidence.monte_carlo import four_errors, normal, problems

AIR = 0.0012


def readings_g(volume_cm3, density, water, air=0.0):
    """What a balance shows in air and in water: the piece less what it displaces."""
    return volume_cm3 * (density - air), volume_cm3 * (density - water)


@given(st.floats(0.5, 50.0), st.floats(0.8, 4.0), st.floats(1.0, 39.0))
def test_a_piece_of_known_volume_is_found_again(volume, density, temperature):
    water = float(water_density_g_cm3(temperature))
    air_g, water_g = readings_g(volume, density, water, AIR)
    found, _ = immersion_density(air_g, water_g, temperature, 0.001, 0.001, air_g_cm3=AIR)
    assert found == pytest.approx(density, rel=1e-9)


def test_leaving_out_the_air_costs_what_is_said():
    water = float(water_density_g_cm3(23.0))
    air_g, water_g = readings_g(4.81, 1.24, water, AIR)
    without = float(density_from_immersion_g_cm3(air_g, water_g, water))
    assert 1.24 - without == pytest.approx(-0.0003, abs=0.00005)


def test_a_floating_piece_is_held_down_by_a_sinker():
    water = float(water_density_g_cm3(20.0))
    air_g, water_g = readings_g(3.0, 0.905, water)
    assert water_g < 0
    found, u = immersion_density(air_g, water_g, 20.0, 0.005, 0.01)
    assert found == pytest.approx(0.905)
    assert u > 0


@pytest.mark.parametrize(
    ("density", "volume_cm3", "temperature", "u_g"),
    [
        (1.24, 4.81, 23.0, 0.006),
        (0.905, 4.0, 20.0, 0.006),
        (1.04, 1.0, 18.0, 0.003),
        (3.0, 2.0, 25.0, 0.01),
    ],
)
def test_uncertainty_by_draws(density, volume_cm3, temperature, u_g):
    rng = np.random.default_rng(50)
    water = float(water_density_g_cm3(temperature))
    air_g, water_g = readings_g(volume_cm3, density, water)
    found, u = immersion_density(air_g, water_g, temperature, u_g, 1.5 * u_g, 1.5)
    in_air, in_water = normal(rng, air_g, u_g), normal(rng, water_g, 1.5 * u_g)
    tap = normal(rng, 1.0, TAP_WATER_SHARE)
    liquid = water_density_g_cm3(normal(rng, temperature, 1.5)) * tap
    assert not problems(in_air / ((in_air - in_water) / liquid), found, u)


def test_rounding_of_a_centigram_scale_is_covered():
    rng = np.random.default_rng(51)
    k = 4000
    density, volume = rng.uniform(0.9, 1.5, k), rng.uniform(3.0, 6.0, k)
    temperature = rng.uniform(16.0, 26.0, k)
    water = water_density_g_cm3(temperature)
    shown = [np.round(g, 2) for g in readings_g(volume, density, water)]
    read_c = temperature + rng.standard_normal(k)
    u_g = 0.01 / np.sqrt(12)
    inside = []
    for air_g, water_g, t, true in zip(*shown, read_c, density, strict=True):
        found, u = immersion_density(air_g, water_g, t, u_g, u_g)
        inside.append(abs(found - true) <= 1.96 * u)
    assert np.mean(inside) >= 0.95 - four_errors(k)


def test_a_drop_of_air_reads_light():
    """A bubble of 2 mm on 2 m of 1.75 mm: a tenth of a percent, as the module says."""
    volume, bubble = 200 * np.pi * 0.175**2 / 4, np.pi * 0.2**3 / 6
    water = float(water_density_g_cm3(20.0))
    air_g, water_g = readings_g(volume, 1.24, water)
    with_bubble = float(density_from_immersion_g_cm3(air_g, water_g - bubble * water, water))
    assert 100 * (with_bubble / 1.24 - 1) == pytest.approx(-0.1, abs=0.02)


def test_a_thermometer_counts_by_the_expansion_of_water():
    only_thermometer = float(u_water_density_g_cm3(20.0, 1.0, share=0.0))
    assert only_thermometer / 0.9982 == pytest.approx(0.000207, abs=0.000001)
    assert float(u_water_density_g_cm3(20.0, 0.0)) == pytest.approx(0.9982 * 3e-4, rel=1e-3)
    # At 4 C water does not expand; at the ends of the formula the slope is taken inwards.
    assert float(u_water_density_g_cm3(3.98, 1.0, share=0.0)) < 1e-6
    assert np.all(u_water_density_g_cm3(np.array([0.0, 40.0])) > 2e-4)


def test_water_is_unknown_outside_its_formula():
    got = water_density_g_cm3(np.array([-0.1, 0.0, 40.0, 40.1, np.nan]))
    assert np.isnan(got).tolist() == [True, False, False, True, True]


@pytest.mark.parametrize(
    ("in_air", "in_water"), [(6.0, 6.0), (6.0, 7.0), (0.0, -1.0), (-1.0, -2.0)]
)
def test_a_piece_that_weighs_more_in_water_is_told(in_air, in_water):
    with pytest.raises(UnusableInput) as caught:
        immersion_density(in_air, in_water, 20.0, 0.01, 0.01)
    assert str(caught.value) == (
        f"a piece of {in_air:g} g in air reads {in_water:g} g in water: "
        "it must read less in water, weigh it again"
    )


@pytest.mark.parametrize("temperature", [-1.0, 68.0, float("nan")])
def test_water_of_another_scale_of_temperature_is_told(temperature):
    with pytest.raises(UnusableInput) as caught:
        immersion_density(6.0, 1.2, temperature, 0.01, 0.01)
    assert str(caught.value) == (
        f"water of {temperature:g} C: its density is known from 0 to 40 C, "
        "write the temperature of the water in degrees Celsius"
    )


def test_many_pieces_at_once():
    got = density_from_immersion_g_cm3(np.array([6.0, 3.0]), np.array([1.0, 0.5]), 1.0)
    assert got.tolist() == [1.2, 1.2]
