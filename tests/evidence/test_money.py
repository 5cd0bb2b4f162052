"""Money by litre, metre, kilogram and litre that can be used.

Roads: figures that buyers of filament work with (common practice, no source: densities 1.04 for
ABS, 1.24 for PLA, about 3 for metal-filled); seeded simulation for the interval of a ratio; bills
added up by hand.
"""

import math

import numpy as np
import pytest

from lotqa.evidence.money import (
    PRICE_ALONE,
    Handling,
    UnitPrice,
    handling_of,
    holds,
    spent,
    u_volume_l,
    unit_price,
)


@pytest.mark.parametrize(("density", "litre"), [(1.04, 20.8), (1.24, 24.8)])
def test_a_kilogram_at_twenty_by_the_litre(density, litre):
    volume_l = holds(1000.0, density, 1.75)[0] / 1000
    assert unit_price(20.0, volume_l, 0.0).value == pytest.approx(litre, abs=1e-9)


def test_800_g_of_a_light_plastic_are_nearly_a_kilogram_of_a_heavy_one():
    light, heavy = holds(800.0, 1.04, 1.75), holds(1000.0, 1.24, 1.75)
    assert (round(light[0]), round(heavy[0])) == (769, 806)


@pytest.mark.parametrize(("mass", "density", "nominal", "ml", "metres"), [
    (50.0, 3.0, 1.75, 17, 7),  # a sample pack of a metal-filled grade
    (1000.0, 1.24, 1.75, 806, 335),
    (1000.0, 1.24, 2.85, 806, 126),
    (1000.0, 1.04, 1.75, 962, 400),
    (1000.0, 1.27, 1.75, 787, 327),
])  # fmt: skip
def test_what_a_pack_holds(mass, density, nominal, ml, metres):
    assert tuple(round(v) for v in holds(mass, density, nominal)) == (ml, metres)


def test_a_metre_costs_what_a_kilogram_does_over_its_metres():
    assert unit_price(20.0, 400.0, 0.0).value == pytest.approx(0.05)


@pytest.mark.parametrize(("u_mass", "u_density"), [(0.0, 0.02), (4.0, 0.015), (11.0, 0.0)])
def test_the_interval_of_a_ratio_by_simulation(u_mass, u_density):
    """Price over m / rho with m and rho normal: 2.5 % and 97.5 % of a million draws."""
    rng, n, price = np.random.default_rng(7), 1_000_000, 20.0
    mass, density = rng.normal(1000.0, u_mass, n), rng.normal(1.24, u_density, n)
    want = np.quantile(price * density / mass * 1000, [0.025, 0.975])
    volume_l = 1000.0 / 1.24 / 1000
    found = unit_price(price, volume_l, u_volume_l(1000.0, u_mass, 1.24, u_density))
    half = (want[1] - want[0]) / 2
    # A volume is normal in m, not in rho: 1 + x against 1 / (1 - x) differ by x**2 in relative
    # terms, x = 1.96 times the relative u of rho; 1 % of the half width for the drawing.
    x = 1.96 * u_density / 1.24
    slack = price / volume_l * x**2 + 0.01 * half
    assert (found.lo, found.hi) == pytest.approx(tuple(want), abs=slack)
    assert slack < 0.06 * half


def test_an_amount_that_may_be_nothing_has_no_upper_price():
    found = unit_price(20.0, 10.0, 8.0)
    assert found.hi == math.inf
    assert 0 < found.lo < found.value == 2.0


@pytest.mark.parametrize("amount", [0.0, -1.0, math.nan])
def test_an_amount_of_nothing_has_no_price(amount):
    with pytest.raises(ValueError) as caught:
        unit_price(20.0, amount, 0.0)
    assert str(caught.value) == f"an amount of {amount}: give one above 0"


def test_something_for_nothing_costs_nothing():
    assert unit_price(0.0, 2.0, 0.1) == UnitPrice(0.0, 0.0, 0.0)


def test_the_bill_of_a_lot():
    """By hand: 6 spools at 20 = 120; 2 rejected, half of 40 back = 20; 24 an hour is 0.40 a
    minute: 6 times 10 minutes = 24; 3 times 30 minutes = 36."""
    bill = spent(20.0, 1, 3, 2, Handling(0.5, 10.0, 30.0, 24.0))
    got = (bill.spools, bill.returned, bill.inspecting, bill.tuning, bill.total)
    assert got == pytest.approx((120.0, 20.0, 24.0, 36.0, 160.0))


def test_the_price_alone_is_what_was_paid():
    assert spent(20.0, 2, 1, 1, PRICE_ALONE).total == 80.0


def test_tuning_and_rejected_spools_make_a_litre_dearer():
    time = Handling(0.0, 0.0, 30.0, 20.0)
    plain, tuned, short = (spent(20.0, *c, time).total for c in ((4, 0, 0), (3, 1, 0), (3, 0, 1)))
    assert tuned / 4 > plain / 4
    assert short / 3 > plain / 4
    # refunded in full and without time, the rejected one costs nothing
    refunded = spent(20.0, 3, 0, 1, Handling(1.0, 0.0, 0.0, 0.0)).total
    assert refunded / 3 == plain / 4


def test_handling_from_limits():
    limits = {
        "money.returned_share": 0.5,
        "money.inspection_minutes": 10.0,
        "money.tuning_minutes": 30.0,
        "money.rate_per_hour": 24.0,
        "spread.cp_min": 1.33,
    }
    assert handling_of(limits) == Handling(0.5, 10.0, 30.0, 24.0)
    del limits["money.rate_per_hour"]  # judged before such a limit was known
    assert handling_of(limits) is None
