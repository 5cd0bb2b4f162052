"""Facts of the trade about weighing a cut length: common practice, no source.

A reading of a scale is taken as off by up to one step, a cut as long to a millimetre.
"""

import pytest

from lotqa.evidence.cut_length import agreement, cut_length, mass_flow_change_pct
from lotqa.evidence.remaining import linear_density, remaining
from lotqa.evidence.weight import u_weighing_g
from tests.published.source import agrees

MILLIMETRE = 0.001
G_PER_M = 2.9825  # PLA of 1.75 mm


def cut(length_m, step_g, relative_u_density=0.0, g_per_m=G_PER_M):
    return cut_length(
        g_per_m * length_m,
        u_weighing_g(step_g, 0.0),
        length_m,
        MILLIMETRE,
        1.24,
        1.24 * relative_u_density,
    )


@pytest.mark.parametrize(
    ("length_m", "step_g", "printed_mm"),
    [(2.0, 0.01, "0.001"), (10.0, 0.1, "0.002"), (1.0, 0.1, "0.017"), (5.0, 1.0, "0.034")],
)
def test_what_a_cut_on_a_scale_tells_of_the_diameter(length_m, step_g, printed_mm):
    assert agrees(cut(length_m, step_g).u_diameter_mm, printed_mm)


def test_one_percent_of_density_outweighs_the_scale():
    assert agrees(cut(2.0, 0.01, relative_u_density=0.01).u_diameter_mm, "0.0088")
    light = cut_length(2 * G_PER_M, 0.006, 2.0, MILLIMETRE, 0.99 * 1.24, 0.0)
    assert agrees(light.diameter_mm - cut(2.0, 0.01).diameter_mm, "0.0088")


def test_between_lots_of_one_material_a_cut_shows_a_thousandth_of_mass_flow():
    """2 m on 0.01 g; three times that is sure to be told, and a calliper would not see it."""
    found = mass_flow_change_pct(cut(2.0, 0.01), cut(2.0, 0.01, g_per_m=1.005 * G_PER_M))
    assert 0.05 < found.u_pct < 0.2
    assert found.changed
    calliper_pct = 100 * 2 * 0.006 / 1.75  # one that is good to 0.006 mm, in percent of section
    assert 2 * found.u_pct < calliper_pct


def test_bubbles_in_the_raw_filament_show_as_lower_apparent_density():
    """Five percent of voids against a checked calliper and a density known to 1 %."""
    found = agreement(1.75, 0.0035, cut(2.0, 0.01, g_per_m=0.95 * G_PER_M), 1.24, 0.0124)
    assert found.meaning == "lighter"
    assert found.density_lo < 0.95 * 1.24 < found.density_hi < 1.24


def test_a_guessed_reel_makes_the_last_hundred_metres_a_guess():
    """Reels of 120 to 260 g, 190 supposed: 40 g are 13 m, to either side, and 26 m at k = 2."""
    lam = linear_density(1.24, 0.0124, 1.75, 0.006)
    found = remaining(490.0, 1.0, 190.0, 70 / 3**0.5, *lam)
    assert agrees(found.length_m, "101")
    assert agrees(found.u_length_m, "14")
