"""A weighed length: what its parts do to the diameter, and what it says beside a calliper.

Sources: Monte Carlo propagation (JCGM 101:2008); mass of simulated filament summed slice by slice;
seeded simulation of buyers who have both a scale and a calliper.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.evidence.cut_length import (
    agreement,
    cut_length,
    diameter_mm,
    mass_flow_change_pct,
    u_diameter_relative,
    weighted_mean,
    zeta_score,
)
from lotqa.evidence.weight import (
    apparent_density_g_cm3,
    interval,
    length_m,
    linear_density_g_per_m,
    u_length_relative,
    volume_ml,
)
from tests.evidence.monte_carlo import four_errors, normal, problems
from tests.simulator import Scale, cut_mass_g

# mass g, u; length m, u; density g/cm3, u
PLA_2_M = (5.965, 0.006, 2.0, 0.0005, 1.24, 0.0124)
ABS_10_M = (25.0, 0.06, 10.0, 0.003, 1.04, 0.02)
SHORT = (1.5, 0.006, 0.5, 0.001, 1.24, 0.005)
CUTS = [PLA_2_M, ABS_10_M, SHORT]


def drawn(rng, made):
    """Mass, length and density of one cut, drawn."""
    m, u_m, length, u_length, rho, u_rho = made
    return normal(rng, m, u_m), normal(rng, length, u_length), normal(rng, rho, u_rho)


def slice_by_slice_g(d_mm, length_m, density_g_cm3, ovality_mm=0.0):
    """Mass of filament cut into equal slices of an ellipse each, in cm and cm3."""
    volume_cm3 = np.pi / 4 * (d_mm + ovality_mm / 2) * (d_mm - ovality_mm / 2) / 100
    return float(np.sum(volume_cm3 * length_m * 100 / len(d_mm)) * density_g_cm3)


def test_the_draws_would_notice_a_wrong_uncertainty():
    rng = np.random.default_rng(20)
    draws = normal(rng, 100.0, 1.0)
    assert problems(draws, 100.0, 1.0) == []
    assert len(problems(draws, 100.0, 1.03)) >= 2
    assert len(problems(draws, 100.2, 1.0)) >= 2


@pytest.mark.parametrize("made", CUTS)
def test_linear_density_by_draws(made):
    rng = np.random.default_rng(21)
    mass, length, _ = drawn(rng, made)
    found = cut_length(*made)
    assert not problems(mass / length, found.linear_density_g_per_m, found.u_linear_density_g_per_m)


@pytest.mark.parametrize("made", CUTS)
def test_diameter_by_draws(made):
    """The draws go the other way: how thick is a cylinder of this volume and length."""
    rng = np.random.default_rng(22)
    mass, length, density = drawn(rng, made)
    volume_mm3 = 1000 * mass / density
    d = 2 * np.sqrt(volume_mm3 / (1000 * length) / np.pi)
    found = cut_length(*made)
    assert not problems(d, found.diameter_mm, found.u_diameter_mm)


@pytest.mark.parametrize("made", CUTS)
@pytest.mark.parametrize("u_calliper_mm", [0.002, 0.006])
def test_apparent_density_and_its_interval_by_draws(made, u_calliper_mm):
    rng = np.random.default_rng(23)
    mass, length, _ = drawn(rng, made)
    cut = cut_length(*made)
    d_mm = cut.diameter_mm
    found = agreement(d_mm, u_calliper_mm, cut, *made[4:])
    volume_cm3 = np.pi / 4 * (normal(rng, d_mm, u_calliper_mm) / 10) ** 2 * 100 * length
    u = (found.density_hi - found.density_lo) / 2 / 1.959964
    assert not problems(mass / volume_cm3, found.apparent_density_g_cm3, u)


@pytest.mark.parametrize(
    ("net", "density", "d"),
    [
        ((1000.0, 2.0), (1.24, 0.0124), (1.75, 0.004)),
        ((750.0, 8.0), (1.04, 0.02), (2.85, 0.01)),
        ((985.0, 1.0), (1.27, 0.005), (1.72, 0.006)),
    ],
)
def test_length_and_volume_of_a_net_mass_by_draws(net, density, d):
    rng = np.random.default_rng(24)
    mass, rho, thick = (normal(rng, *x) for x in (net, density, d))
    volume = float(volume_ml(net[0], density[0]))
    relative = [u / x for x, u in (net, density, d)]
    assert not problems(
        mass / rho, volume, volume * float(u_length_relative(relative[0], relative[1], 0.0))
    )
    metres = float(length_m(net[0], density[0], d[0]))
    cylinder_m = mass / rho * 1000 / (np.pi * (thick / 2) ** 2) / 1000
    assert not problems(cylinder_m, metres, metres * float(u_length_relative(*relative)))


def test_the_diameter_of_a_cut_is_that_of_its_mean_section():
    """Root of the mean square; s**2 / (2 d) above the mean, and an oval section counts as round."""
    s_mm = 0.02
    d = 1.75 + s_mm * np.sqrt(2) * np.sin(2 * np.pi * (np.arange(2000) + 0.5) / 2000)
    found = cut_length(slice_by_slice_g(d, 2.0, 1.24), 0.006, 2.0, 0.0005, 1.24, 0.0124)
    assert found.diameter_mm == pytest.approx(np.sqrt(np.mean(d**2)), rel=1e-12)
    assert found.diameter_mm - 1.75 == pytest.approx(s_mm**2 / (2 * 1.75), rel=0.01)
    oval = cut_length(slice_by_slice_g(d, 2.0, 1.24, 0.05), 0.006, 2.0, 0.0005, 1.24, 0.0124)
    assert abs(oval.diameter_mm - found.diameter_mm) < 2e-4


@given(st.floats(0.2, 20.0), st.floats(0.8, 3.5), st.floats(1.5, 3.0))
def test_a_cut_gives_back_the_diameter_it_was_made_of(length, density, d):
    mass = slice_by_slice_g(np.full(10, d), length, density)
    found = cut_length(mass, 0.001 * mass, length, 0.0, density, 0.0)
    assert found.diameter_mm == pytest.approx(d, rel=1e-9)
    assert found.u_diameter_mm == pytest.approx(d * 0.0005, rel=1e-9)  # the root halves it


def test_without_density_there_is_no_diameter():
    found = cut_length(5.965, 0.006, 2.0, 0.0005, None, 0.0)
    assert (found.diameter_mm, found.u_diameter_mm) == (None, None)
    assert found.linear_density_g_per_m == pytest.approx(2.9825)


def test_many_cuts_at_once():
    linear = np.array([2.5, 2.9825, 3.1])
    d = diameter_mm(linear, 1.24)
    assert d.shape == (3,)
    assert linear_density_g_per_m(1.24, d) == pytest.approx(linear)
    assert u_diameter_relative(np.array([0.02, 0.0]), np.array([0.0, 0.01])).tolist() == [
        0.01,
        0.005,
    ]


class Buyers:
    """k buyers with a scale, a rule, a data sheet and a calliper, each honestly uncertain."""

    def __init__(
        self,
        seed,
        k,
        *,
        u_calliper_mm=0.006,
        u_density=0.0124,
        true_density_by=1.0,
        calliper_offset_mm=0.0,
    ):
        rng = np.random.default_rng(seed)
        self.true_mm = rng.uniform(1.70, 1.80, k)
        sheet = 1.24
        density = true_density_by * normal(rng, sheet, u_density, k)
        length = normal(rng, 2.0, 0.0005, k)  # asked for 2 m
        scale = Scale(step_g=0.0, scatter_sd_g=0.006)
        mass = cut_mass_g(self.true_mm**2 * length / 2.0 * density, 2.0, 1.0, scale, rng)
        calliper = self.true_mm + calliper_offset_mm + u_calliper_mm * rng.standard_normal(k)
        self.by_mass_mm = diameter_mm(mass / 2.0, sheet)
        self.found = [
            agreement(
                c,
                u_calliper_mm,
                cut_length(m, 0.006, 2.0, 0.0005, sheet, u_density),
                sheet,
                u_density,
            )
            for c, m in zip(calliper, mass, strict=True)
        ]

    def column(self, name):
        return np.array([getattr(f, name) for f in self.found])

    def covered(self, which=slice(None)):
        lo, hi = interval(self.column("combined_mm"), self.column("u_combined_mm"))
        return np.mean(((lo <= self.true_mm) & (self.true_mm <= hi))[which])


K = 4000


@pytest.mark.parametrize("u_calliper_mm", [0.002, 0.006, 0.02])
@pytest.mark.parametrize("u_density", [0.0025, 0.0124, 0.04])
def test_the_combined_diameter_is_covered(u_calliper_mm, u_density):
    buyers = Buyers(30, K, u_calliper_mm=u_calliper_mm, u_density=u_density)
    # Where both disagree by chance the interval is wide: a little more than 95 % in all.
    assert 0.95 - four_errors(K) <= buyers.covered() <= 0.975 + four_errors(K)


def test_the_combination_is_as_sharp_as_it_says_and_sharper_than_either():
    buyers = Buyers(31, K)
    agrees = buyers.column("agrees")
    error = (buyers.column("combined_mm") - buyers.true_mm)[agrees]
    # u of the sheet's density depends a little on the diameter: a hair over the sampling slack.
    said = float(np.mean(buyers.column("u_combined_mm")[agrees]))
    assert np.std(error) == pytest.approx(said, rel=4 / np.sqrt(2 * K) + 0.01)
    assert said < min(0.006, 1.75 * 0.005)


def test_one_in_twenty_honest_pairs_disagrees():
    buyers = Buyers(32, K)
    assert np.mean(buyers.column("agrees")) == pytest.approx(0.95, abs=four_errors(K))
    meanings = buyers.column("meaning")
    assert set(meanings) == {"agree", "lighter", "heavier"}
    assert np.all((meanings == "agree") == buyers.column("agrees"))


@pytest.mark.parametrize(
    ("wrong", "meaning"),
    [
        ({"true_density_by": 0.94}, "lighter"),  # voids
        ({"calliper_offset_mm": 0.05}, "lighter"),  # a calliper that reads thick
        ({"true_density_by": 1.06}, "heavier"),  # a filler
        ({"calliper_offset_mm": -0.05}, "heavier"),
    ],
)
def test_when_one_of_both_is_wrong_the_combined_interval_still_holds_the_truth(wrong, meaning):
    """Nobody can tell from the two values which of them is wrong; plain weights miss the truth."""
    k = K // 2
    buyers = Buyers(33, k, u_density=0.0062, **wrong)
    off = ~buyers.column("agrees")
    assert np.mean(off) > 0.9
    assert set(buyers.column("meaning")[off]) == {meaning}
    assert buyers.covered(off) >= 0.95 - four_errors(k)
    calliper = buyers.column("difference_mm") + buyers.by_mass_mm
    mean, u, _ = weighted_mean(buyers.by_mass_mm, 0.0045, calliper, 0.006)
    assert np.mean(np.abs(mean - buyers.true_mm) <= 1.96 * u) < 0.5


def test_a_calliper_that_reads_thick_looks_like_voids_and_one_that_reads_thin_like_a_filler():
    cut = cut_length(*PLA_2_M)
    thick, thin = (agreement(cut.diameter_mm + e, 0.004, cut, 1.24, 0.0124) for e in (0.04, -0.04))
    assert (thick.meaning, thin.meaning) == ("lighter", "heavier")
    assert thick.density_hi < 1.24 < thin.density_lo
    same = agreement(cut.diameter_mm, 0.004, cut, 1.24, 0.0124)
    assert same.meaning == "agree"
    assert same.apparent_density_g_cm3 == pytest.approx(1.24)


@given(
    st.floats(0.001, 0.015),
    st.floats(0.9, 1.5),
    st.floats(0.002, 0.03),
    st.one_of(st.floats(0.0, 1.5), st.floats(2.5, 4.0)),
    st.sampled_from((-1, 1)),
)
def test_difference_of_diameters_and_of_densities_are_one_test(u_d, density, u_density, z, sign):
    """Apparent against stated density, judged by its own difference, gives the same answer.

    To first order: at four standard uncertainties of 3 % the second order is a tenth.
    """
    cut = cut_length(5.965, 0.006, 2.0, 0.0005, density, u_density)
    d = cut.diameter_mm + sign * z * float(np.hypot(u_d, cut.u_diameter_mm))
    found = agreement(d, u_d, cut, density, u_density)
    u_apparent = (found.density_hi - found.density_lo) / 2 / 1.959964
    zeta = float(zeta_score(found.apparent_density_g_cm3, u_apparent, density, u_density))
    assert found.agrees == (abs(zeta) < 1.959964)
    assert found.agrees == (z < 1.96)
    lighter = found.apparent_density_g_cm3 < density
    assert found.meaning == ("agree" if found.agrees else "lighter" if lighter else "heavier")


@given(st.floats(1.6, 1.9), st.floats(0.0005, 0.05), st.floats(0.0005, 0.1))
def test_the_combined_diameter_lies_between_both(calliper, u_calliper, u_density):
    cut = cut_length(5.965, 0.006, 2.0, 0.0005, 1.24, u_density)
    found = agreement(calliper, u_calliper, cut, 1.24, u_density)
    lo, hi = sorted((calliper, cut.diameter_mm))
    assert lo - 1e-12 <= found.combined_mm <= hi + 1e-12
    assert found.difference_mm == pytest.approx(calliper - cut.diameter_mm)
    assert 0 < found.weight_of_cut < 1
    if found.agrees:
        assert found.u_combined_mm <= min(u_calliper, cut.u_diameter_mm) * (1 + 1e-12)
    else:
        # Both ends of the doubt are inside: half the difference, or nearly.
        reach = 1.96 * found.u_combined_mm
        assert found.combined_mm - reach < lo
        assert found.combined_mm + reach > hi


def test_far_apart_the_middle_with_half_the_difference():
    cut = cut_length(*PLA_2_M)
    found = agreement(cut.diameter_mm + 0.5, 0.004, cut, 1.24, 0.0124)
    assert found.weight_of_cut == pytest.approx(0.5, abs=0.001)
    assert found.u_combined_mm == pytest.approx(0.25, rel=0.001)


def test_a_calliper_that_knows_nothing_leaves_the_cut_alone():
    cut = cut_length(*PLA_2_M)
    found = agreement(1.80, np.inf, cut, 1.24, 0.0124)
    assert (found.weight_of_cut, found.agrees) == (1.0, True)
    assert found.combined_mm == pytest.approx(cut.diameter_mm)
    assert found.u_combined_mm == pytest.approx(cut.u_diameter_mm)
    assert (found.density_lo, found.density_hi) == (0.0, np.inf)


def test_the_density_given_counts_whatever_the_cut_was_built_with():
    built = cut_length(*PLA_2_M)
    bare = replace(built, diameter_mm=None, u_diameter_mm=None)
    other = cut_length(*PLA_2_M[:4], 1.04, 0.01)
    assert (
        agreement(1.75, 0.004, bare, 1.24, 0.0124)
        == agreement(1.75, 0.004, other, 1.24, 0.0124)
        == agreement(1.75, 0.004, built, 1.24, 0.0124)
    )


def test_the_apparent_density_is_that_of_the_weight_module():
    cut = cut_length(*PLA_2_M)
    found = agreement(1.77, 0.004, cut, 1.24, 0.0124)
    assert found.apparent_density_g_cm3 == float(apparent_density_g_cm3(5.965, 2.0, 1.77))


@pytest.mark.parametrize("more", [0.99, 1.0, 1.002, 1.05])
def test_change_of_mass_flow_by_draws(more):
    rng = np.random.default_rng(40)
    a = cut_length(5.965, 0.006, 2.0, 0.0005, None, 0.0)
    b = cut_length(5.965 * more, 0.006, 2.0, 0.0005, None, 0.0)
    found = mass_flow_change_pct(a, b)
    flow = [normal(rng, m, 0.006) / normal(rng, 2.0, 0.0005) for m in (5.965, 5.965 * more)]
    # Taken about 100 %, as a change of 0 has no relative uncertainty.
    ratio_pct = 100 * flow[1] / flow[0]
    assert not problems(ratio_pct, 100 + found.change_pct, found.u_pct)
    assert found.lo_pct == pytest.approx(
        np.quantile(ratio_pct, 0.025) - 100, abs=0.03 * found.u_pct
    )
    assert found.hi_pct == pytest.approx(
        np.quantile(ratio_pct, 0.975) - 100, abs=0.03 * found.u_pct
    )
    assert found.changed == (more != 1.0 and abs(more - 1) > 0.0026)


def test_density_cancels_in_the_change_of_mass_flow():
    """Two lots of one material, 2 % lighter than the sheet says: the sheet is not asked."""
    a, b = (
        cut_length(slice_by_slice_g(np.full(10, d), 10.0, 1.215), 0.06, 10.0, 0.003, rho, 0.05)
        for d, rho in ((1.75, 1.24), (1.73, None))
    )
    assert mass_flow_change_pct(a, b).change_pct == pytest.approx(100 * ((1.73 / 1.75) ** 2 - 1))


def test_change_there_and_back():
    a, b = (cut_length(m, 0.006, 2.0, 0.0005, None, 0.0) for m in (5.9, 6.0))
    there, back = mass_flow_change_pct(a, b), mass_flow_change_pct(b, a)
    assert (1 + there.change_pct / 100) * (1 + back.change_pct / 100) == pytest.approx(1.0)
    assert there.changed
    assert back.changed
    assert not mass_flow_change_pct(a, a).changed
