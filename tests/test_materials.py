"""Materials: the shipped table makes sense, a user's file is laid over it, names are matched.

Densities: common practice, no source; here only that they are what physics allows.
"""

import pytest

from lotqa.errors import UnusableCriteria
from lotqa.materials import material_for, read_materials

SHIPPED = read_materials()


@pytest.mark.parametrize("name", SHIPPED)
def test_each_material_is_whole_and_in_order(name):
    m = SHIPPED[name]
    assert 0.8 < m.density_lo_g_cm3 <= m.density_g_cm3 <= m.density_hi_g_cm3 < 1.6
    assert m.density_source != "not stated"
    if m.moisture_limit_pct is not None:
        assert 0.05 <= m.moisture_limit_pct <= 2
        assert m.moisture_source
    assert m.drying_lo_c <= m.drying_hi_c
    assert m.drying_lo_h <= m.drying_hi_h


@pytest.mark.parametrize(
    ("name", "most_c"), [("PLA", 60), ("PETG", 80), ("ABS", 105), ("ASA", 100), ("PC", 145)]
)
def test_drying_stays_below_the_glass_transition(name, most_c):
    """Glass transitions of unfilled amorphous grades, from memory; above them a spool deforms."""
    assert SHIPPED[name].drying_hi_c < most_c


def test_pla_is_a_fifth_denser_than_abs():
    """Common practice, no source: PLA 1.25, ABS 1.04 g/cm3."""
    ratio = SHIPPED["PLA"].density_g_cm3 / SHIPPED["ABS"].density_g_cm3
    assert ratio == pytest.approx(1.25 / 1.04, abs=0.02)


def test_uncertainty_of_a_range_is_that_of_a_uniform_draw():
    import numpy as np

    m = SHIPPED["PLA"]
    x = np.random.default_rng(1).uniform(m.density_lo_g_cm3, m.density_hi_g_cm3, 100_000)
    assert m.u_density_g_cm3 == pytest.approx(x.std(), rel=4 * np.sqrt(0.8 / 4 / 100_000))


@pytest.mark.parametrize(("typed", "found"), [
    ("PLA", "PLA"), ("pla", "PLA"), (" Pla ", "PLA"), ("PLA+", "PLA"), ("PLA matt", "PLA"),
    ("petg basic", "PETG"), ("PA6", "PA"), ("PA12", "PA12"), ("PA12 black", "PA12"),
    ("TPU 95A", "TPU"),
    ("PETG-CF", None), ("PLA wood", None), ("PA-GF", None), ("PLA metal", None),
    ("PCTG", "PCTG"), ("PPS", None), ("PCL", None), ("PP-random", "PP"),
    ("unobtainium", None), ("", None), (None, None),
])  # fmt: skip
def test_names_as_people_write_them(typed, found):
    m = material_for(typed, SHIPPED)
    assert (m and m.name) == found


def test_a_filled_grade_of_the_users_own_file_is_found():
    own = read_materials("[PETG-CF]\ndensity_g_cm3 = 1.34\n")
    assert material_for("petg-cf", own).density_g_cm3 == 1.34
    assert material_for("petg-cf", own).u_density_g_cm3 == 0.0
    assert material_for("PLA", own) == SHIPPED["PLA"]


def test_a_users_figure_goes_before_the_shipped_one():
    own = read_materials("[pla]\ndensity_g_cm3 = 1.27\ndensity_range_g_cm3 = [1.26, 1.28]\n")
    assert own["PLA"].density_g_cm3 == 1.27
    assert own["PLA"].drying_lo_c is None  # a material is replaced whole, nothing is mixed


@pytest.mark.parametrize("text", [
    "[PLA]",
    'PLA = "1.24"',
    '[PLA]\ndensity_g_cm3 = "heavy"',
    "[PLA]\ndensity_g_cm3 = nan",
    "[PLA]\ndensity_g_cm3 = 1240",
    "[PLA]\ndensity_g_cm3 = 1.3\ndensity_range_g_cm3 = [1.31, 1.4]",
    "[PLA]\ndensity_g_cm3 = 1.3\ndensity_range_g_cm3 = [1.2]",
    "[PLA]\ndensity_g_cm3 = 1.3\ndrying_c = [40]",
    '[PLA]\ndensity_g_cm3 = 1.3\nmoisture_limit_pct = "a"',
])  # fmt: skip
def test_a_material_that_cannot_be_read_is_named(text):
    with pytest.raises(UnusableCriteria) as caught:
        read_materials(text, name="mine.toml")
    assert str(caught.value) == (
        "mine.toml: PLA cannot be read: write density_g_cm3 (0.3 to 10), "
        "density_range_g_cm3 = [low, high] around it, moisture_limit_pct (0 to 100)"
    )


def test_broken_toml_is_located():
    with pytest.raises(UnusableCriteria) as caught:
        read_materials("[PLA]\ndensity_g_cm3 = 1,24\n", name="mine.toml")
    assert str(caught.value) == (
        "mine.toml:2: this line is not TOML: write key = value, text in double quotes"
    )
