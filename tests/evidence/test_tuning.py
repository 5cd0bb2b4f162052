"""The tuning card: volume that a simulated machine puts down before and after."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.evidence.bead import bead_area_mm2, bead_width_mm
from lotqa.evidence.tuning import EITHER_OR, card_sentences, label_allows, tune

LIMITS = (0.90, 1.10)
LINE = {"line_width_mm": 0.45, "layer_height_mm": 0.20, "multiplier_limits": LIMITS}


def printed_share(mean, sd, set_mm, multiplier, residual=1.0):
    """Volume put down over volume asked for, summed along a simulated metre of filament.

    The machine feeds ``multiplier`` times the length that the set section needs; ``residual`` is
    what it needs to be told more, since its drive slips by that much.
    """
    d = mean + sd * np.sqrt(2) * np.sin(2 * np.pi * (np.arange(1000) + 0.5) / 1000)
    asked = 100.0
    fed_mm = multiplier * asked / (np.pi / 4 * set_mm**2) / residual
    return np.mean(np.pi / 4 * d**2) * fed_mm / asked


@given(
    st.floats(1.6, 1.9),
    st.floats(0, 0.03),
    st.floats(1.7, 1.8),
    st.floats(0.8, 1.2),
    st.floats(0.95, 1.05),
)
def test_either_setting_puts_the_volume_right_and_both_do_not(mean, sd, set_mm, k, r):
    card = tune(mean, mean, mean, sd, set_diameter_mm=set_mm, multiplier=k, machine_residual=r,
                **LINE)  # fmt: skip
    before = printed_share(mean, sd, set_mm, k, r)
    assert float(card.error_pct) == pytest.approx(100 * (before - 1), abs=1e-9)
    new_k, new_set = float(card.new_multiplier), float(card.new_diameter_mm)
    assert printed_share(mean, sd, set_mm, new_k, r) == pytest.approx(1, rel=1e-12)
    assert printed_share(mean, sd, new_set, k, r) == pytest.approx(1, rel=1e-12)
    both = printed_share(mean, sd, new_set, new_k, r)
    assert both == pytest.approx(1 / before, rel=1e-9)  # as far off, the other way


def test_a_multiplier_that_holds_the_machine_leaves_the_filaments_own_diameter():
    """The present 1.03 is all the machine's: the diameter to enter is the one that was measured."""
    card = tune(1.72, 1.71, 1.73, 0.0, set_diameter_mm=1.75, multiplier=1.03, machine_residual=1.03,
                **LINE)  # fmt: skip
    assert float(card.new_diameter_mm) == pytest.approx(1.72)
    assert float(card.error_pct) == pytest.approx(100 * (1.72**2 / 1.75**2 - 1))


def test_interval_follows_that_of_the_mean():
    """Monte Carlo: true means drawn about the reading cover as the interval of the mean does."""
    rng = np.random.default_rng(1)
    u, true = 0.006, 1.72
    read = rng.normal(true, u, 20_000)
    reach = 1.959964 * u
    card = tune(read, read - reach, read + reach, 0.01, set_diameter_mm=1.75, multiplier=0.98,
                **LINE)  # fmt: skip
    right = (1.75**2) / (true**2 + 0.01**2)
    inside = (card.new_multiplier_lo <= right) & (right <= card.new_multiplier_hi)
    # Binomial: sqrt(0.95 x 0.05 / 20000) = 0.0015.
    assert inside.mean() == pytest.approx(0.95, abs=4 * 0.0016)
    set_right = np.sqrt(0.98 * (true**2 + 0.01**2))
    inside = (card.new_diameter_lo_mm <= set_right) & (set_right <= card.new_diameter_hi_mm)
    assert inside.mean() == pytest.approx(0.95, abs=4 * 0.0016)


def test_what_is_left_is_the_swing_of_the_simulated_line():
    x = np.random.default_rng(2).normal(1.72, 0.0125, 400_000)
    card = tune(1.72, 1.72, 1.72, 0.0125, set_diameter_mm=1.75, **LINE)
    flow = float(card.new_multiplier) * x**2 / 1.75**2
    lo, hi = np.quantile(flow, [0.025, 0.975])
    assert float(card.swing_pct) == pytest.approx(100 * (hi - lo), abs=0.06)  # 4 se of quantiles
    area = float(bead_area_mm2(0.45, 0.20))
    width = (area * np.array([lo, hi]) - np.pi * 0.2**2 / 4) / 0.2 + 0.2
    got = [float(card.width_lo_mm), float(card.width_hi_mm)]
    assert got == pytest.approx((width - 0.45).tolist(), abs=3e-4)


def test_many_spools_at_once_and_one_of_unknown_spread():
    card = tune([1.71, 1.80], [1.70, 1.79], [1.72, 1.81], [0.01, np.nan], set_diameter_mm=1.75,
                **LINE)  # fmt: skip
    assert card.error_pct.shape == card.suspicious.shape == (2,)
    assert card.error_pct == pytest.approx([-4.52, 5.80], abs=0.01)
    assert np.isnan(card.swing_pct[1])


@pytest.mark.parametrize(("mean", "suspicious"), [(1.66, True), (1.67, False), (1.84, True),
                                                  (1.835, False), (np.nan, True)])  # fmt: skip
def test_a_correction_beyond_the_limits_is_marked(mean, suspicious):
    """By hand: (1.75/1.66)**2 = 1.111, /1.67: 1.098, /1.84: 0.9046, /1.835: 0.9095."""
    limits = {**LINE, "multiplier_limits": (0.907, 1.10)}
    assert (
        bool(tune(mean, mean, mean, 0.0, set_diameter_mm=1.75, **limits).suspicious) is suspicious
    )


def test_card_in_words():
    card = tune([1.71], [1.705], [1.715], [0.0125], set_diameter_mm=1.75, **LINE)
    said = card_sentences(card, 0, set_diameter_mm=1.75, multiplier=1.0, multiplier_limits=LIMITS)
    assert said == (
        "As set now (1.750 mm, multiplier 1.000) the flow is -4.5 % off (95 %: -5.1 to -4.0 %).",
        "Either set the multiplier to 1.047 and leave the diameter at 1.750 mm.",
        "Or set the diameter to 1.710 mm and leave the multiplier at 1.000.",
        EITHER_OR,
        "No setting cures the swing along the spool: 5.7 % of flow, -0.012 to +0.012 mm of line "
        "width.",
    )


def test_a_suspicious_card_says_so():
    card = tune([1.60], [1.59], [1.61], [0.0], set_diameter_mm=1.75, **LINE)
    said = card_sentences(card, 0, set_diameter_mm=1.75, multiplier=1.0, multiplier_limits=LIMITS)
    assert "something else is wrong" in said[-1]
    assert EITHER_OR in said


def test_label_alone():
    allowed = label_allows(1.75, 0.05, line_width_mm=0.45, layer_height_mm=0.20)
    assert float(allowed.flow_lo_pct) == pytest.approx(100 * (1.70**2 / 1.75**2 - 1))
    assert float(allowed.flow_hi_pct) == pytest.approx(100 * (1.80**2 / 1.75**2 - 1))


@given(st.floats(0.3, 1.0), st.floats(0.08, 0.29), st.floats(-30, 30))
def test_a_line_of_that_width_has_that_area(width, height, error):
    got = bead_area_mm2(bead_width_mm(width, height, error), height)
    assert float(got) == pytest.approx(float(bead_area_mm2(width, height)) * (1 + error / 100))
