"""Materials: the shipped table makes sense, a user's file is laid over it, names are matched.

What tables and papers say of the materials is checked in tests/published/test_materials.py.
"""

import numpy as np
import pytest

from lotqa.errors import UnusableCriteria
from lotqa.materials import NO_SERVICE_TEMPERATURE, material_for, read_materials, unknown_material

SHIPPED = read_materials()


@pytest.mark.parametrize("name", SHIPPED)
def test_each_material_is_whole_and_in_order(name):
    m = SHIPPED[name]
    assert 0.8 < m.density_lo_g_cm3 <= m.density_g_cm3 <= m.density_hi_g_cm3 <= 4.0
    assert m.density_source != "not stated"
    assert m.structure is not None
    assert m.glass_transition_lo_c <= m.glass_transition_hi_c
    assert m.glass_transition_source
    if m.moisture_limit_pct is not None:
        assert 0.05 <= m.moisture_limit_pct <= 2
        assert m.moisture_source
    if m.industrial_limit_ppm is not None:
        assert 100 <= m.industrial_limit_ppm <= 2000
        assert m.industrial_limit_source
    for practice in (m.home_drying, m.industrial_drying):
        if practice is not None:
            assert practice.lo_c <= practice.hi_c
            assert practice.lo_h <= practice.hi_h
            assert practice.source != "not stated"


@pytest.mark.parametrize("name", [k for k, m in SHIPPED.items() if m.structure == "amorphous"])
def test_home_drying_of_what_goes_soft_stays_below_the_glass_transition(name):
    """Above it the wraps of a spool weld together."""
    m = SHIPPED[name]
    assert m.home_drying is not None
    assert m.home_drying.lo_c < m.glass_transition_lo_c


@pytest.mark.parametrize("name", SHIPPED)
def test_industrial_drying_is_no_cooler_and_is_kept_apart(name):
    """Common practice, no source: without a reel nothing sags, so industry dries hotter."""
    home, industrial = SHIPPED[name].home_drying, SHIPPED[name].industrial_drying
    if home is not None and industrial is not None:
        assert industrial is not home
        assert industrial.lo_c + industrial.hi_c > home.lo_c + home.hi_c


@pytest.mark.parametrize(("name", "said_c"), [("PLA", 50), ("ABS", 105), ("PC", 145)])
def test_glass_transitions_of_practice_are_within_the_range(name, said_c):
    """Common practice, no source; other sources say more or less, so each is a range."""
    assert SHIPPED[name].glass_transition_lo_c <= said_c <= SHIPPED[name].glass_transition_hi_c


def test_a_glass_transition_is_said_to_be_no_service_temperature_unless_it_is_one():
    told = {k: m.glass_transition_text for k, m in SHIPPED.items()}
    assert told["PP"] == (
        "Glass transition of PP: -20 to 0 C (-10: Callister; -20 to 0: tables of polymers). "
        + NO_SERVICE_TEMPERATURE
    )
    for key, m in SHIPPED.items():
        assert (NO_SERVICE_TEMPERATURE in told[key]) == (m.structure != "amorphous")
    assert "115 C work up to 250 C" in NO_SERVICE_TEMPERATURE
    assert read_materials("[X]\ndensity_g_cm3 = 1.0\n")["X"].glass_transition_text is None


def test_pla_is_a_fifth_denser_than_abs():
    """Common practice, no source: PLA 1.25, ABS 1.04 g/cm3."""
    ratio = SHIPPED["PLA"].density_g_cm3 / SHIPPED["ABS"].density_g_cm3
    assert ratio == pytest.approx(1.25 / 1.04, abs=0.02)
    assert ratio == pytest.approx(1.20, abs=0.01)


def test_uncertainty_of_a_range_is_that_of_a_uniform_draw():
    m = SHIPPED["PLA"]
    x = np.random.default_rng(1).uniform(m.density_lo_g_cm3, m.density_hi_g_cm3, 100_000)
    assert m.u_density_g_cm3 == pytest.approx(x.std(), rel=4 * np.sqrt(0.8 / 4 / 100_000))


def test_harder_tpu_is_denser():
    """Resin makers' data sheets: more of the hard segment, denser."""
    rows = [SHIPPED[f"TPU {h}"].density_g_cm3 for h in ("85A", "90A", "95A", "64D")]
    assert rows == sorted(rows)
    generic = SHIPPED["TPU"]
    assert generic.density_lo_g_cm3 <= min(rows) <= max(rows) <= generic.density_hi_g_cm3


# ---- names ----


@pytest.mark.parametrize(("typed", "found"), [
    ("PLA", "PLA"), ("pla", "PLA"), (" Pla ", "PLA"), ("PLA basic black", "PLA"),
    ("PLA+", "PLA blend"), ("PLA plus", "PLA blend"), ("Tough PLA", "PLA blend"),
    ("PLA matt", "PLA matt"), ("matte PLA", "PLA matt"),
    ("PLA Silk", "PLA silk"), ("silk pla gold", "PLA silk"),
    ("petg basic", "PETG"), ("petg_black", "PETG"), ("rPETG", "PETG"), ("PLA4043D", "PLA"),
    ("PA", "PA"), ("nylon", "PA"), ("PA6", "PA6"), ("PA 6", "PA6"), ("Nylon 6", "PA6"),
    ("nylon 6/6", "PA66"), ("PA 6.6", "PA66"), ("PA12", "PA12"), ("PA12 black", "PA12"),
    ("PA612", "PA"), ("PA612-CF", "PA-CF"),
    ("TPU", "TPU"), ("TPU 95A", "TPU 95A"), ("TPU95A", "TPU 95A"), ("95A TPU", "TPU 95A"),
    ("TPU Shore A 95", "TPU 95A"), ("TPU 64 D", "TPU 64D"), ("TPU 88A", "TPU"),
    ("PC", "PC"), ("PC-ABS", "PC-ABS"), ("ABS/PC", "PC-ABS"), ("PC+ABS", "PC-ABS"),
    ("ABS+", "ABS"), ("PE", "HDPE"), ("acetal", "POM"), ("PP-random", "PP"), ("PCTG", "PCTG"),
    # filled grades are their own
    ("PETG-CF", "PETG-CF"), ("PETG CF15", "PETG-CF"), ("PA6-CF", "PA6-CF"), ("PA-GF", "PA-GF"),
    ("nylon 6 GF30", "PA6-GF"), ("carbon fibre PLA", "PLA-CF"), ("PLA wood", "PLA-wood"),
    ("woodfill PLA", "PLA-wood"), ("PLA metal", "PLA-metal"), ("PLA copper filled", "PLA-metal"),
    ("PLA glow in the dark", "PLA-glow"), ("stone PLA", "PLA-stone"),
    # and not taken for the plain plastic
    ("HIPS-CF", None), ("TPU-GF", None), ("PLA copper", None), ("PLA metallic silver", None),
    ("ABS FR", None), ("LW-PLA", None), ("PETG ESD", None),
    # two at once, or another plastic
    ("PLA silk matt", None), ("PLA ABS", None), ("PC-PBT", None), ("PPS", None), ("PCL", None),
    ("LDPE", None), ("unobtainium", None), ("+", None), ("", None), ("  ", None), (None, None),
])  # fmt: skip
def test_names_as_people_write_them(typed, found):
    m = material_for(typed, SHIPPED)
    assert (m and m.name) == found


@pytest.mark.parametrize("name", [n for m in SHIPPED.values() for n in (m.name, *m.also)])
def test_every_name_of_the_table_finds_its_own_row(name):
    found = material_for(name, SHIPPED)
    assert name in (found.name, *found.also)
    assert material_for(name.replace("-", " ").lower(), SHIPPED) == found


@pytest.mark.parametrize(("typed", "said"), [
    ("PLA", None), (None, None), ("", None),
    ("PLA copper", 'material is "PLA copper", which may be PLA-metal or PLA: write one of them, '
     "or give your own with --materials"),
    ("LW-PLA", 'material is "LW-PLA", which is not known: did you mean PLA? Else give your own '
     "with --materials"),
    ("PPS", 'material is "PPS", which is not known: give your own with --materials'),
    ("unobtainium", 'material is "unobtainium", which is not known: give your own with '
     "--materials"),
])  # fmt: skip
def test_an_unknown_material_comes_with_advice(typed, said):
    assert unknown_material(typed, SHIPPED) == said


# ---- a file of one's own ----


def test_a_filled_grade_of_the_users_own_file_is_found():
    own = read_materials("[HIPS-CF]\ndensity_g_cm3 = 1.12\n")
    assert material_for("hips-cf", own).density_g_cm3 == 1.12
    assert material_for("hips-cf", own).u_density_g_cm3 == 0.0
    assert material_for("PLA", own) == SHIPPED["PLA"]


def test_a_users_figure_goes_before_the_shipped_one():
    own = read_materials("[pla]\ndensity_g_cm3 = 1.27\ndensity_range_g_cm3 = [1.26, 1.28]\n")
    assert own["PLA"].density_g_cm3 == 1.27
    assert own["PLA"].home_drying is None  # a material is replaced whole, nothing is mixed
    assert own["PLA"].moisture_limit_pct is None


def test_like_takes_over_what_is_not_written():
    own = read_materials('["My PLA"]\nlike = "pla"\ndensity_g_cm3 = 1.27\nmoisture_limit_pct = 1\n')
    mine = material_for("my pla", own)
    assert (mine.density_lo_g_cm3, mine.density_hi_g_cm3) == (1.27, 1.27)
    assert mine.moisture_limit_pct == 1.0
    assert mine.home_drying == SHIPPED["PLA"].home_drying
    assert read_materials('[X]\nlike = "PLA blend"\n')["X"].also == ()


def test_files_written_for_one_practice_still_say_how_to_dry_at_home():
    own = read_materials("[X]\ndensity_g_cm3 = 1.1\ndrying_c = [40, 45]\ndrying_h = [4, 6]\n")["X"]
    assert (own.drying_lo_c, own.drying_hi_c, own.drying_lo_h, own.drying_hi_h) == (40, 45, 4, 6)
    assert own.industrial_drying is None
    assert own.home_drying.source == "not stated"


PRACTICE = '{ c = [40, 45], h = [4, 6], source = "common practice" }'


@pytest.mark.parametrize(("text", "said"), [
    ("[PLA]", "[PLA] has no density_g_cm3: write it in g/cm3, such as 1.24"),
    ('PLA = "1.24"', 'PLA is "1.24": write [PLA] and its keys below it'),
    ('[PLA]\ndensity_g_cm3 = "heavy"',
     '[PLA] density_g_cm3 is "heavy": write a number from 0.3 to 10'),
    ("[PLA]\ndensity_g_cm3 = nan", "[PLA] density_g_cm3 is nan: write a number from 0.3 to 10"),
    ("[PLA]\ndensity_g_cm3 = true", "[PLA] density_g_cm3 is True: write a number from 0.3 to 10"),
    ("[PLA]\ndensity_g_cm3 = 1240", "[PLA] density_g_cm3 is 1240: write a number from 0.3 to 10"),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndensity_range_g_cm3 = [1.31, 1.4]",
     "[PLA] density_range_g_cm3 is [1.31, 1.4]: write two numbers around density_g_cm3 = 1.3"),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndensity_range_g_cm3 = [1.2]",
     "[PLA] density_range_g_cm3 is [1.2]: write [lowest, highest], both from 0.3 to 10"),
    ('["My PLA"]\nlike = "PLA"\ndensity_range_g_cm3 = [1.2, 1.3]',
     "[My PLA] density_range_g_cm3 stands alone: write density_g_cm3, too"),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndrying_c = [45, 40]",
     "[PLA] drying_c is [45, 40]: write [lowest, highest], both from 0 to 300"),
    ('[PLA]\ndensity_g_cm3 = 1.3\nmoisture_limit_pct = "a"',
     '[PLA] moisture_limit_pct is "a": write a number from 0 to 100'),
    ("[PLA]\ndensity_g_cm3 = 1.3\nmoisture_limt_pct = 1",
     "[PLA] moisture_limt_pct is not known: did you mean moisture_limit_pct?"),
    ("[PLA]\ndensity_g_cm3 = 1.3\nzzz = 1", "[PLA] zzz is not known: take it out"),
    ('[PLA]\ndensity_g_cm3 = 1.3\nclass = "soft"',
     '[PLA] class is "soft": write "amorphous" or "semicrystalline" or "rubbery"'),
    ('[PLA]\ndensity_g_cm3 = 1.3\nglass_transition_c = "60"',
     '[PLA] glass_transition_c is "60": write a number or [lowest, highest], both from -200 to '
     "400"),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndensity_source = 3",
     "[PLA] density_source is 3: write text in double quotes"),
    ('[PLA]\ndensity_g_cm3 = 1.3\nalso = "PLA+"',
     '[PLA] also is "PLA+": write a list of names, such as ["PE", "PE-HD"]'),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndrying_home = [40, 45]",
     f"[PLA] drying_home is [40, 45]: write {PRACTICE}"),
    ("[PLA]\ndensity_g_cm3 = 1.3\ndrying_home = { c = [40], h = [4, 6] }",
     f"[PLA] drying_home is {{'c': [40], 'h': [4, 6]}}: write {PRACTICE}; c and h are [lowest, "
     "highest], both from 0 to 300"),
    ('[X]\nlike = "PLAA"', '[X] like is "PLAA": write the name of a material that ships or stands '
     "above, such as PLA"),
    ("[X]\nlike = 3", "[X] like is 3: write the name of a material that ships or stands above"),
])  # fmt: skip
def test_a_material_that_cannot_be_read_is_named(text, said):
    with pytest.raises(UnusableCriteria) as caught:
        read_materials(text, name="mine.toml")
    assert str(caught.value) == f"mine.toml: {said}"


def test_broken_toml_is_located():
    with pytest.raises(UnusableCriteria) as caught:
        read_materials("[PLA]\ndensity_g_cm3 = 1,24\n", name="mine.toml")
    assert str(caught.value) == (
        "mine.toml:2: this line is not TOML: write key = value, text in double quotes"
    )
