"""Loss on drying: what two or more weighings on one scale can say.

Second opinion: drying curves and scales simulated reading by reading, and published factors.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.moisture import (
    DryingSeries,
    ReelWater,
    can_show,
    detectable_g,
    drying_loss,
    filament_loss_pct,
    loss_on_drying,
    plateau,
    reel_water,
)

KITCHEN_U_G = 1 / np.sqrt(12)  # a step of 1 g


def series(*masses_g, hours=None, net_g=1000.0, step_g=1.0):
    first, *after = masses_g
    return DryingSeries(
        before_g=first,
        after_g=tuple(after),
        hours=(None,) * len(after) if hours is None else tuple(hours),
        net_g=net_g,
        u_weighing_g=step_g / np.sqrt(12),
        step_g=step_g,
    )


def word(*masses_g, hours=None, limit_pct=0.3, **more):
    found = plateau(
        series(*masses_g, hours=hours, **more),
        tolerance_pct=0.02,
        hours_min=1.0,
        limit_pct=limit_pct,
    )
    return found and (found.word, found.why)


# ---- what the scale can show ----


def test_smallest_loss_is_the_published_factor_for_a_pair_of_readings():
    """Currie, Anal. Chem. 40 (1968) 586, table of working expressions: 4.65 sigma of a blank in
    paired observations, alpha = beta = 0.05 (from memory; the critical level 2.33 sigma was seen).
    """
    assert detectable_g(1.0) == pytest.approx(4.65, abs=0.005)
    assert detectable_g(0.25) == pytest.approx(0.25 * 4.65, abs=0.005)


def test_a_loss_of_that_size_shows_on_a_rounding_scale():
    """Rounded readings differ by a triangular error, not a normal one: simulated.

    Of two roundings that have nothing to do with each other one in eight shows a loss of one step
    where there is none: a single step is no proof, two are.
    """
    rng = np.random.default_rng(311)
    n, true_g = 200_000, detectable_g(KITCHEN_U_G)
    start = 1200 + rng.uniform(0, 1, n)
    nothing, something = (
        np.round(start) - np.round(start - loss + rng.uniform(-0.5, 0.5, n))
        for loss in (0.0, true_g)
    )
    assert np.mean(something >= 1) > 0.95
    assert np.mean(nothing >= 1) == pytest.approx(1 / 8, abs=4 * np.sqrt(7 / 64 / n))
    assert np.mean(nothing > true_g) == 0.0


@pytest.mark.parametrize(("step_g", "net_g", "limit_pct", "shows"), [
    # Common practice, no source: 250 ppm of a kilogram is 0.25 g, which a 1 g scale cannot show;
    # 0.5 % of nylon is 5 g, which it can.
    (1.0, 1000.0, 0.025, False),
    (1.0, 1000.0, 0.5, True),
    (0.1, 1000.0, 0.025, True),
    (5.0, 1000.0, 0.5, False),
    (5.0, 1000.0, 0.7, True),
    (1.0, 250.0, 0.3, False),  # a sample coil
])  # fmt: skip
def test_what_a_scale_can_show(step_g, net_g, limit_pct, shows):
    assert can_show(series(1200.0, 1200.0, net_g=net_g, step_g=step_g), limit_pct) is shows


def test_the_interval_covers_the_true_loss():
    rng = np.random.default_rng(77)
    n, true_g = 20_000, 9.4
    start = 1230 + rng.uniform(0, 1, n)
    before, after = np.round(start), np.round(start - true_g + rng.normal(0, 0.05, n))
    u = np.hypot(KITCHEN_U_G, 0.05)
    lo, hi = zip(
        *((m.lo_pct, m.hi_pct) for m in map(loss_on_drying, before, after, [1000.0] * n, [u] * n)),
        strict=True,
    )
    covered = np.mean((np.array(lo) <= true_g / 10) & (true_g / 10 <= np.array(hi)))
    assert covered > 0.95 - 4 * np.sqrt(0.95 * 0.05 / n)


def test_a_series_counts_from_the_first_weighing_to_the_last():
    found = drying_loss(series(1230.0, 1224.0, 1221.0))
    assert (found.loss_g, found.loss_pct) == (9.0, pytest.approx(0.9))
    assert found.series.after_g == (1224.0, 1221.0)
    assert drying_loss(series(1220.0, 1221.0)).loss_g == -1.0


# ---- has it stopped? ----


@pytest.mark.parametrize(("masses_g", "hours", "want"), [
    ((1230.0, 1221.0), (12,), None),  # nobody looked
    ((1230.0, 1224.0, 1221.0), (2, 4), ("still losing", "difference")),
    ((1230.0, 1222.0, 1220.0), (2, 4), ("still losing", "difference")),
    ((1230.0, 1222.0, 1221.0), (2, 4), ("cannot tell", "scale")),  # one step may be rounding
    ((1230.0, 1221.0, 1221.0), (2, 4), ("plateau", "difference")),
    ((1230.0, 1221.0, 1221.0), (4, 4.5), ("cannot tell", "too soon")),
    ((1230.0, 1224.0, 1221.0), (4, 4.5), ("still losing", "difference")),  # so fast is no rounding
    ((1230.0, 1221.0, 1221.0), (4, 0.5), ("cannot tell", "too soon")),  # hours since the last
    ((1230.0, 1221.0, 1221.0), (2, 2), ("plateau", "difference")),
    ((1230.0, 1221.0, 1221.0), (None, 2), ("plateau", "difference")),
    ((1230.0, 1221.0, 1221.0), (2, None), ("plateau", "difference")),
    ((1230.0, 1221.0, 1223.0), (2, 4), ("cannot tell", "gain")),
    ((1230.0, 1221.0, 1222.0), (2, 4), ("plateau", "difference")),
    ((1230.0, 1210.0, 1221.0, 1221.0), (2, 4, 6), ("plateau", "difference")),  # the last two
])  # fmt: skip
def test_plateau_of_a_kilogram_on_a_1_g_scale(masses_g, hours, want):
    assert word(*masses_g, hours=hours) == want


@pytest.mark.parametrize(("last_g", "want"), [
    (1221.0, "plateau"), (1220.9, "plateau"), (1220.8, "cannot tell"), (1220.7, "still losing"),
])  # fmt: skip
def test_a_finer_scale_answers_at_the_share_of_the_net_mass(last_g, want):
    """0.02 % of a kilogram is 0.2 g; two steps of 0.1 g lie on that limit."""
    assert word(1230.0, 1221.0, last_g, step_g=0.1)[0] == want


def test_a_scale_too_coarse_for_the_limit_shows_no_plateau():
    assert word(1230.0, 1220.0, 1220.0, step_g=5.0, limit_pct=0.3) == ("cannot tell", "scale")
    assert word(1230.0, 1220.0, 1220.0, step_g=5.0, limit_pct=1.0) == ("plateau", "difference")
    assert word(1230.0, 1220.0, 1220.0, step_g=5.0, limit_pct=None) == ("plateau", "difference")


def words_of(true_loss_g, n=4000, seed=5):
    """Plateau words for n pairs of weighings on a 1 g scale with a scatter of 0.1 g."""
    rng = np.random.default_rng(seed)
    start = 1220 + rng.uniform(0, 1, n)
    first, last = (np.round(m + rng.normal(0, 0.1, n)) for m in (start, start - true_loss_g))
    return [word(1230.0, a, b) for a, b in zip(first, last, strict=True)]


def test_what_has_stopped_is_hardly_ever_told_to_lose():
    found = [w for w, _ in words_of(0.0)]
    assert found.count("still losing") / len(found) <= 0.025
    assert found.count("plateau") / len(found) > 0.9


def test_what_still_loses_two_grams_is_hardly_ever_told_to_have_stopped():
    found = [w for w, _ in words_of(2.0)]
    assert found.count("plateau") / len(found) <= 0.025
    assert found.count("still losing") / len(found) > 0.5


def test_an_exponential_drying_curve_is_losing_first_and_stopped_at_the_end():
    """Diffusion out of a thin body ends in one exponential (Crank, The Mathematics of Diffusion,
    2nd ed., 4.3); 9 g of water, a time constant of 3 h, weighed every two hours.
    """
    hours = np.arange(2.0, 25.0, 2.0)
    mass = np.round(1221 + 9 * np.exp(-hours / 3))
    found = [word(1230.0, *mass[: k + 1], hours=hours[: k + 1]) for k in range(1, len(hours))]
    assert found[0] == ("still losing", "difference")
    assert found[-1] == ("plateau", "difference")
    # Whole grams fall by 0, 1, 0 while 0.6 g is to go; what stopped is never told to lose again.
    words = [w for w, _ in found]
    assert "still losing" not in words[words.index("plateau") :]


def test_the_interval_of_the_last_stretch_is_that_of_a_difference():
    found = plateau(series(1230.0, 1224.0, 1221.0, hours=(2, 6)), tolerance_pct=0.02, hours_min=1)
    half = stats.norm.ppf(0.975) * np.sqrt(2 / 12)
    assert (found.difference_g, found.hours) == (3.0, 4.0)
    assert (found.lo_g, found.hi_g) == pytest.approx((3 - half, 3 + half))


# ---- what the reel may have lost ----


def test_a_cardboard_reel_can_lose_several_grams():
    """Common practice, no source: a reel of 150 g with several percent of water."""
    reel = reel_water(150.0, 150.0, 3.0, 8.0)
    assert (reel.lo_g, reel.hi_g) == (pytest.approx(4.5), pytest.approx(12.0))


def test_the_share_of_the_reel_widens_and_shifts_the_interval():
    rng = np.random.default_rng(9)
    n, filament_g = 50_000, 4.0
    reel_g = rng.uniform(2.0, 12.0, n)
    total = filament_g + reel_g
    lo, hi = filament_loss_pct(total / 10, total / 10, ReelWater(2.0, 12.0), 1000.0)
    assert np.all((lo <= filament_g / 10 + 1e-9) & (filament_g / 10 <= hi + 1e-9))
    assert np.allclose(hi - lo, 1.0)  # ten grams of not knowing stay
