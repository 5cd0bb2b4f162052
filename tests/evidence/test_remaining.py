"""What is left on the reel: draws of scale, reel and filament, and the end of a spool.

Source: Monte Carlo propagation (JCGM 101:2008); simulated prints that run out or do not.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.cut_length import cut_length
from lotqa.evidence.remaining import Remaining, linear_density, remaining, surely_left
from lotqa.evidence.weight import interval
from tests.evidence.monte_carlo import four_errors, normal, problems


def cylinder_g_per_m(d_mm, density_g_cm3):
    """Mass of a metre: 100 cm of a circle, in cm."""
    return density_g_cm3 * np.pi * (d_mm / 20) ** 2 * 100


def test_linear_density_by_draws():
    rng = np.random.default_rng(60)
    lam, u = linear_density(1.24, 0.0124, 1.75, 0.006)
    draws = cylinder_g_per_m(normal(rng, 1.75, 0.006), normal(rng, 1.24, 0.0124))
    assert not problems(draws, lam, u)


@pytest.mark.parametrize(
    ("gross", "tare", "lam"),
    [
        ((720.0, 0.7), (220.0, 0.8), (2.98, 0.03)),
        ((520.0, 1.2), (220.0, 4.0), (2.98, 0.003)),
        ((1150.0, 3.0), (150.0, 8.0), (2.50, 0.05)),
    ],
)
def test_remaining_by_draws(gross, tare, lam):
    rng = np.random.default_rng(61)
    found = remaining(*gross, *tare, *lam)
    net = normal(rng, *gross) - normal(rng, *tare)
    assert not problems(net, found.net_g, found.u_net_g)
    assert not problems(net / normal(rng, *lam), found.length_m, found.u_length_m)


def test_near_the_end_the_reel_is_all_of_the_doubt():
    """The absolute form holds where nothing is left, and the interval still covers."""
    rng = np.random.default_rng(62)
    k = 4000
    left_g = rng.uniform(0.0, 20.0, k)
    reel = 220.0 + 8.0 * rng.standard_normal(k)
    lam = 2.98 + 0.03 * rng.standard_normal(k)
    inside = []
    for g, r, per_m in zip(left_g, reel, lam, strict=True):
        found = remaining(g + r, 0.3, 220.0, 8.0, 2.98, 0.03)
        lo, hi = interval(found.length_m, found.u_length_m)
        inside.append(lo <= g / per_m <= hi)
    assert abs(np.mean(inside) - 0.95) <= four_errors(k)
    empty = remaining(220.0, 0.3, 220.0, 8.0, 2.98, 0.03)
    assert (empty.net_g, empty.length_m) == (0.0, 0.0)
    assert empty.u_length_m == pytest.approx(8.0 / 2.98, rel=1e-3)


def test_a_job_of_what_is_surely_left_runs_out_once_in_twenty():
    rng = np.random.default_rng(63)
    k = 4000
    left_g = rng.uniform(100.0, 900.0, k)
    lam = 2.98 + 0.03 * rng.standard_normal(k)
    read = left_g + 220.0 + 4.0 * rng.standard_normal(k)
    sure = [surely_left(remaining(g, 1.0, 220.0, np.sqrt(15.0), 2.98, 0.03)) for g in read]
    ran_out_g = np.mean([left < g for left, (g, _) in zip(left_g, sure, strict=True)])
    ran_out_m = np.mean([left < m for left, (_, m) in zip(left_g / lam, sure, strict=True)])
    slack = four_errors(k, 0.05)
    assert ran_out_g == pytest.approx(0.05, abs=slack)
    assert ran_out_m == pytest.approx(0.05, abs=slack)


def test_surely_left_is_never_below_nothing():
    found = remaining(225.0, 1.0, 220.0, 8.0, 2.98, 0.03)
    assert surely_left(found) == (0.0, 0.0)
    grams, metres = surely_left(Remaining(300.0, 10.0, 100.0, 4.0), confidence=0.99)
    assert grams == pytest.approx(stats.norm.isf(0.99, 300.0, 10.0))
    assert metres == pytest.approx(stats.norm.isf(0.99, 100.0, 4.0))


def test_without_grams_per_metre_there_is_no_length():
    found = remaining(520.0, 0.6, 220.0, 0.8, None)
    assert (found.net_g, found.length_m, found.u_length_m) == (300.0, None, None)
    assert surely_left(found)[1] is None


def test_a_reel_heavier_than_the_whole_is_below_nothing_and_says_so():
    found = remaining(210.0, 0.6, 220.0, 0.8, 3.0, 0.03)
    assert (found.net_g, found.length_m) == (-10.0, pytest.approx(-10 / 3))


def test_a_weighed_length_knows_more_than_density_and_diameter():
    """The same spool: 2 m on a centigram scale against a data sheet and a calliper."""
    cut = cut_length(5.965, 0.006, 2.0, 0.0005, None, 0.0)
    by_cut = remaining(
        720.0, 0.7, 220.0, 0.8, cut.linear_density_g_per_m, cut.u_linear_density_g_per_m
    )
    by_sheet = remaining(720.0, 0.7, 220.0, 0.8, *linear_density(1.24, 0.0124, 1.75, 0.006))
    assert by_cut.length_m == pytest.approx(by_sheet.length_m, rel=1e-3)
    assert by_cut.u_length_m < by_sheet.u_length_m / 4
