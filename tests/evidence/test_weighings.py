"""Weigh-ins put together: which tare counts, what is uncertain by how much, what stays unknown.

Sources: simulation of scale and reels (tests/simulator.py); Monte Carlo of a length as a second
road to its uncertainty.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.evidence.moisture import loss_on_drying
from lotqa.evidence.weighings import Filament, Scale, Tare, lot_tare, spool_weight
from lotqa.evidence.weight import interval, u_weighing_g
from lotqa.model import WeighIn
from tests.simulator import Scale as TrueScale
from tests.simulator import dry, weigh_spools

SCALE = Scale(step_g=1.0, limit_of_error_g=2.0)
SUPPOSED = Tare(190.0, 40.0, "supposed", "supposed")
PLA = Filament(1.24, 0.03, 1.75, 0.004)
NOTHING_KNOWN = Filament(None, 0.0, None, 0.0)


def put(*weigh_ins, tare=SUPPOSED, label=1000.0, filament=PLA, scale=SCALE):
    return spool_weight(
        [WeighIn("a", k, g, **more) for k, g, more in weigh_ins], scale, tare, label, filament
    )


def w(kind, mass_g, **more):
    return (kind, mass_g, more)


def test_this_reel_weighed_empty_goes_before_its_like():
    like = Tare(215.0, 5.0, "alike", "2 other reels of this lot weighed empty")
    got = put(w("gross", 1219.0), w("tare", 222.0), tare=like)
    assert (got.net_g, got.tare.known) == (997.0, "itself")
    assert put(w("gross", 1219.0), tare=like).net_g == 1004.0
    assert put(w("gross", 1219.0)).tare.known == "supposed"


def test_a_net_weighing_needs_no_reel():
    got = put(w("net", 985.0))
    assert (got.net_g, got.shortfall_g, got.tare, got.gross_g) == (985.0, 15.0, None, None)
    assert got.u_net_g == pytest.approx(u_weighing_g(2.0, 1.0))


def test_repeated_weighings_are_averaged_but_the_scale_stays_as_wrong_as_it_is():
    once, often = put(w("net", 990.0)), put(*(w("net", g) for g in (988.0, 990.0, 992.0)))
    assert often.net_g == 990.0
    assert often.u_net_g == once.u_net_g


def test_net_is_covered_when_reel_and_spool_are_weighed():
    """A scale that is off by up to its limit of error, the same at both weighings."""
    rng = np.random.default_rng(1)
    k = 2000
    made = weigh_spools(
        rng.uniform(940, 1010, k), rng, scale=TrueScale(offset_g=1.9, scatter_sd_g=0.0)
    )
    found = [
        put(w("gross", g), w("tare", t))
        for g, t in zip(made.gross_read_g, made.tare_read_g, strict=True)
    ]
    inside = [
        lo <= true <= hi
        for true, (lo, hi) in zip(
            made.net_g, (interval(f.net_g, f.u_net_g) for f in found), strict=True
        )
    ]
    # The common offset cancels, which the uncertainty does not claim: cautious.
    assert np.mean(inside) >= 0.95


def test_reels_of_one_kind_differ_and_the_tare_of_another_says_so():
    """Simulated: u of an 'alike' tare holds the next reel's mass in 95 of 100 lots or more."""
    rng = np.random.default_rng(2)
    for n_reels in (1, 3, 6):
        inside = []
        for _ in range(1500):
            reels = np.round(220 + 5 * rng.standard_normal(n_reels + 1))
            ins = [WeighIn(str(i), "tare", g) for i, g in enumerate(reels[1:])]
            t = lot_tare(ins, SCALE, SUPPOSED, 8.0)
            lo, hi = interval(t.mass_g, t.u_g)
            inside.append(lo <= reels[0] <= hi)
        slack = 4 * np.sqrt(0.95 * 0.05 / 1500)
        assert np.mean(inside) >= 0.95 - slack


def test_tare_of_a_lot_names_its_source():
    ins = [WeighIn("1", "tare", 220.0), WeighIn("1", "tare", 222.0), WeighIn("2", "tare", 225.0)]
    got = lot_tare(ins, SCALE, SUPPOSED, 8.0)
    assert got.mass_g == pytest.approx(223.0)  # a reel weighed twice counts once
    assert got.source == "2 other reels of this lot weighed empty"
    one = lot_tare(ins[:1], SCALE, SUPPOSED, 8.0)
    assert one.source == "1 other reel of this lot weighed empty"
    assert lot_tare([], SCALE, SUPPOSED, 8.0) is SUPPOSED


def test_length_and_its_uncertainty_by_monte_carlo():
    got = put(w("net", 1000.0))
    rng = np.random.default_rng(3)
    k = 400_000
    mass = 1000 + got.u_net_g * rng.standard_normal(k)
    density, d = 1.24 + 0.03 * rng.standard_normal(k), 1.75 + 0.004 * rng.standard_normal(k)
    metres = mass / density / (np.pi * d**2 / 4)
    assert got.length_m == pytest.approx(np.median(metres), rel=1e-3)
    # Linear propagation: the second order is (u/x)**2 of the density, six in ten thousand.
    assert got.u_length_m == pytest.approx(metres.std(), rel=0.005)
    assert got.volume_ml == pytest.approx(1000 / 1.24)


@given(st.floats(0.5, 20.0), st.floats(0.8, 2.0), st.floats(1.6, 1.9))
def test_a_cut_gives_back_the_density_it_was_made_of(length, density, diameter):
    mass = density * np.pi * diameter**2 / 4 * length
    got = put(
        w("cut", mass, length_m=length, scale_step_g=0.01),
        filament=Filament(None, 0.0, diameter, 0.002),
        label=None,
    )
    assert got.apparent_density_g_cm3 == pytest.approx(density, rel=1e-9)
    assert got.linear_density_g_per_m == pytest.approx(mass / length, rel=1e-12)
    # The diameter counts twice.
    assert got.u_apparent_density_g_cm3 >= density * 2 * 0.002 / diameter


def test_two_cuts_weigh_by_their_length():
    got = put(w("cut", 3.0, length_m=1.0), w("cut", 12.0, length_m=3.0), label=None)
    assert got.linear_density_g_per_m == pytest.approx(15.0 / 4.0)


def test_a_cut_without_length_says_nothing():
    assert put(w("cut", 3.0)).linear_density_g_per_m is None


def test_unknown_parts_stay_unknown():
    got = put(w("gross", 1200.0), label=None, filament=NOTHING_KNOWN)
    assert got.net_g == 1010.0
    assert (got.shortfall_g, got.length_m, got.volume_ml, got.moisture) == (None,) * 4
    empty = put(w("coupon", 5.0))
    assert (empty.net_g, empty.gross_g, empty.tare) == (None, None, None)


def test_a_reel_heavier_than_the_whole_leaves_no_net_mass():
    got = put(w("gross", 150.0))
    assert (got.gross_g, got.tare.mass_g) == (150.0, 190.0)
    assert (got.net_g, got.u_net_g, got.shortfall_g, got.length_m) == (None,) * 4


def test_loss_on_drying_is_covered():
    rng = np.random.default_rng(4)
    k = 4000
    gross, water = rng.uniform(1200, 1240, k), rng.uniform(0, 12, k)
    dried = dry(gross, water, [0.0, 60.0], rng, scale=TrueScale(scatter_sd_g=0.0))
    u = u_weighing_g(0.0, 1.0)
    found = [loss_on_drying(b, a, 1000.0, u) for b, a in dried.read_g]
    true_pct = 100 * (dried.true_g[:, 0] - dried.true_g[:, 1]) / 1000.0
    inside = [f.lo_pct <= t <= f.hi_pct for f, t in zip(found, true_pct, strict=True)]
    # Two roundings: the difference of their errors is a triangle, narrower in its tails.
    assert np.mean(inside) >= 0.95


def test_drying_takes_the_first_before_and_the_last_after():
    got = put(
        w("net", 1000.0),
        w("before_drying", 1230.0),
        w("after_drying", 1224.0, hours=2.0),
        w("after_drying", 1221.0, hours=6.0, temperature_c=70.0),
    )
    assert (got.moisture.loss_g, got.drying_hours, got.drying_temperature_c) == (9.0, 6.0, 70.0)
    assert got.moisture.loss_pct == pytest.approx(0.9)


def test_a_spool_that_gained_has_a_negative_loss():
    got = put(w("before_drying", 1220.0), w("after_drying", 1221.0))
    assert got.moisture.loss_pct == pytest.approx(-0.1)  # of the label's net mass
    assert got.moisture.lo_pct < got.moisture.loss_pct < got.moisture.hi_pct


def test_drying_needs_both_weighings():
    assert put(w("net", 1000.0), w("before_drying", 1220.0)).moisture is None
    assert put(w("net", 1000.0), w("after_drying", 1220.0)).moisture is None
