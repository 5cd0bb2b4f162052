"""Density of water, weighing in water, and two results put together, against published values.

1. M. Tanaka et al., Metrologia 38 (2001) 301, and the IAPWS table of ITTC 7.5-02-01-03.
2. ISO 1183-1, method A: a constructed case, and two records of practicals.
3. J. R. Taylor, An Introduction to Error Analysis, chapter 7: weighted averages.
4. ISO 13528 scores as worked by NIST Dataplot; random effects of two results by statsmodels.
"""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from lotqa.evidence.cut_length import agreement, cut_length, weighted_mean, zeta_score
from lotqa.evidence.immersion import (
    density_from_immersion_g_cm3,
    immersion_density,
    water_density_g_cm3,
)
from tests.published.source import agrees, load, one

DATA = load("water_and_weighings.json")


@pytest.mark.parametrize(("celsius", "printed"), list(enumerate(DATA["tanaka"]["kg_m3"])))
def test_the_recommended_table_of_water(celsius, printed):
    assert agrees(1000 * water_density_g_cm3(celsius), printed)


def test_another_formulation_of_water():
    """IAPWS differs from the recommended table by 1.2e-6 at 40 C, less below."""
    table = np.array([float(v) for v in DATA["ittc"]["kg_m3"]])
    celsius = DATA["ittc"]["first_c"] + np.arange(len(table))
    assert celsius[-1] == 40
    assert np.abs(1000 * water_density_g_cm3(celsius) / table - 1).max() < 1.3e-6


@pytest.mark.parametrize(("celsius", "printed"), DATA["handbook"]["g_ml"].items())
def test_an_older_handbook_table_of_water(celsius, printed):
    """Tables before 2001 rest on measurements of about 1900, and differ by up to 4e-6."""
    assert one(water_density_g_cm3(float(celsius))) == pytest.approx(float(printed), abs=4e-6)


def test_water_is_densest_near_4_c():
    celsius = np.linspace(0.0, 40.0, 400_001)
    density = water_density_g_cm3(celsius)
    assert celsius[int(np.argmax(density))] == pytest.approx(3.983, abs=0.001)  # paper, abstract
    assert one(1000 * density.max()) == pytest.approx(999.975, abs=0.001)


@pytest.mark.parametrize("name", ["iso1183", "steel"])
def test_a_piece_weighed_in_water(name):
    case = DATA[name]
    air, water = float(np.mean(case["in_air_g"])), float(np.mean(case["in_water_g"]))
    got = density_from_immersion_g_cm3(air, water, case["water_g_cm3"])
    assert agrees(got, case["density_g_cm3"])


def test_the_water_of_the_practicals_is_that_of_their_temperature():
    case = DATA["steel"]
    air, water = float(np.mean(case["in_air_g"])), float(np.mean(case["in_water_g"]))
    found, u = immersion_density(air, water, case["temperature_c"], 0.006, 0.006)
    # 0.99779 was read for 22 C; the water of 21.8 C is denser by 0.00003.
    assert found == pytest.approx(float(case["density_g_cm3"]), abs=0.0005)
    assert 0.0005 < u < 0.02


def test_a_floating_piece_with_a_sinker():
    case = DATA["floating"]
    in_water = case["both_in_water_g"] - case["sinker_in_water_g"]
    got = density_from_immersion_g_cm3(case["in_air_g"], in_water, case["water_g_cm3"])
    assert agrees(got, case["density_g_cm3"])


@pytest.mark.parametrize("name", DATA["weighted_mean"])
def test_weighted_averages_of_a_textbook(name):
    """One result after the other: the mean of the first two is the first of the next pair."""
    case = DATA["weighted_mean"][name]
    mean, u = case["x"][0], case["u"][0]
    for x, u_x in zip(case["x"][1:], case["u"][1:], strict=True):
        mean, u, _ = weighted_mean(mean, u, x, u_x)
    assert agrees(mean, case["mean"])
    assert agrees(u, case["u_mean"])


@pytest.mark.parametrize(("i", "printed"), list(enumerate(DATA["gear_scores"]["scores"])))
def test_scores_of_nist_dataplot(i, printed):
    """The En score has expanded uncertainties where zeta has standard ones; one formula."""
    case = DATA["gear_scores"]
    u = 2 * float(np.std(case["batch_1"], ddof=1))
    got = zeta_score(case["batch_1"][i], u, case["reference"], 2 * float(case["sd_of_all"]))
    assert agrees(got, printed)


PAIRS = [(1.760, 0.004, 1.752, 0.006), (1.75, 0.006, 1.78, 0.006), (1.74, 0.002, 1.80, 0.01)]


@pytest.mark.parametrize(("x", "u_x", "y", "u_y"), PAIRS)
def test_weighted_mean_by_statsmodels(x, u_x, y, u_y):
    other = combine_effects(np.array([x, y]), np.array([u_x**2, u_y**2]))
    mean, u, weight = weighted_mean(x, u_x, y, u_y)
    assert one(mean) == pytest.approx(other.mean_effect_fe, rel=1e-12)
    assert one(u) == pytest.approx(other.sd_eff_w_fe, rel=1e-12)
    assert one(weight) == pytest.approx(other.weights_rel_fe[0], rel=1e-12)


@pytest.mark.parametrize("calliper_mm", [1.70, 1.73, 1.78, 1.80, 1.95])
def test_two_that_disagree_by_the_random_effect_of_statsmodels(calliper_mm):
    """The iteration of Paule and Mandel for any number of results; here there are two."""
    cut = cut_length(5.965, 0.006, 2.0, 0.0005, 1.24, 0.0062)
    found = agreement(calliper_mm, 0.006, cut, 1.24, 0.0062)
    assert not found.agrees
    other = combine_effects(
        np.array([cut.diameter_mm, calliper_mm]),
        np.array([cut.u_diameter_mm**2, 0.006**2]),
        method_re="iterated",
        atol=1e-7,
        maxiter=10_000,  # it is slow where the difference is many uncertainties
    )
    assert found.combined_mm == pytest.approx(other.mean_effect_re, rel=1e-6)
    assert found.u_combined_mm == pytest.approx(other.sd_eff_w_re, rel=1e-4)
    assert found.weight_of_cut == pytest.approx(other.weights_rel_re[0], rel=1e-4)


def test_two_that_agree_by_statsmodels():
    cut = cut_length(5.965, 0.006, 2.0, 0.0005, 1.24, 0.0062)
    found = agreement(1.758, 0.006, cut, 1.24, 0.0062)
    assert found.agrees
    other = combine_effects(
        np.array([cut.diameter_mm, 1.758]), np.array([cut.u_diameter_mm**2, 0.006**2])
    )
    assert found.combined_mm == pytest.approx(other.mean_effect_fe, rel=1e-12)
    assert found.u_combined_mm == pytest.approx(other.sd_eff_w_fe, rel=1e-12)
