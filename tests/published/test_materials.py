"""Materials against tables and papers: densities, glass transitions, drying, water in paper."""

import pytest

from lotqa.criteria import read_criteria
from lotqa.materials import read_materials

SHIPPED = read_materials()

# Callister & Rethwisch, Fundamentals of Materials Science and Engineering, 3rd ed., Appendix E,
# "Glass transition and melting temperatures": value in C; seen as a scanned page.
CALLISTER_C = {"PC": 150, "HIPS": 100, "PA66": 57, "PP": -10, "HDPE": -90, "PVDF": -35}

# Tables of glass transitions of polymers and of grades, published on the web: C.
TABLES_C = {
    "ABS": [90, 102, 105], "PA6": [55], "PA12": [35, 45], "PA66": [55], "PC": [145],
    "HDPE": [-120], "PLA": [60, 65], "POM": [-55], "PP": [0, -20], "HIPS": [95, 100],
    "PETG": [88],  # a moulders' guide of a university
    "PVB": [45, 63],  # Brady, Materials Handbook (1971), p. 848, as quoted by a museum's data base
    "TPU": [-45],  # resin maker's data sheet of an 87A polyether grade, DSC
}  # fmt: skip

# Published table of unfilled resins at 25 C, lowest and highest density in g/cm3.
RESINS_G_CM3 = {
    "PLA": (1.24, 1.25), "PETG": (1.26, 1.28), "ABS": (1.02, 1.08), "ASA": (1.05, 1.07),
    "HIPS": (1.03, 1.05), "PC": (1.20, 1.22), "PA6": (1.13, 1.15), "PA66": (1.14, 1.16),
    "PA12": (1.01, 1.03), "PP": (0.90, 0.915), "POM": (1.41, 1.43), "HDPE": (0.940, 0.965),
    "PC-ABS": (1.10, 1.15), "PVDF": (1.77, 1.77), "TPE": (0.875, 1.34),
}  # fmt: skip

# A resin maker's data sheet of one polyester series, density by ASTM D792 in g/cm3.
TPU_G_CM3 = {"TPU 85A": 1.18, "TPU 90A": 1.19, "TPU 95A": 1.20, "TPU 64D": 1.22}

# A moulders' table of drying, temperatures in F.
DRYING_F = {
    "ABS": (180, 200), "HIPS": (150, 170), "PA6": (180, 180), "PA66": (175, 175), "PC": (250, 250),
    "PP": (120, 150), "HDPE": (120, 150), "POM": (160, 185), "PC-ABS": (175, 230),
    "TPE": (170, 230),
}  # fmt: skip

CARBON, GLASS, ALUMINATE, STONE = 1.78, 2.55, 3.6, 2.5  # g/cm3, from memory
FILLED = [  # grade, base, filler, shares by mass: first and last of the range that is stated
    ("PLA-CF", "PLA", CARBON, (0.05, 0.25)), ("PETG-CF", "PETG", CARBON, (0.05, 0.25)),
    ("ABS-CF", "ABS", CARBON, (0.05, 0.20)), ("ASA-CF", "ASA", CARBON, (0.05, 0.20)),
    ("PC-CF", "PC", CARBON, (0.05, 0.20)), ("ABS-GF", "ABS", GLASS, (0.05, 0.30)),
    ("PA6-CF", "PA6", CARBON, (0.05, 0.25)), ("PA12-CF", "PA12", CARBON, (0.05, 0.25)),
    ("PA-CF", "PA12", CARBON, (0.05, 0.25)), ("PA-CF", "PA66", CARBON, (0.05, 0.25)),
    ("PA6-GF", "PA6", GLASS, (0.05, 0.35)), ("PA-GF", "PA12", GLASS, (0.05, 0.35)),
    ("PA-GF", "PA6", GLASS, (0.05, 0.35)), ("PLA-glow", "PLA", ALUMINATE, (0.05, 0.15)),
    ("PLA-stone", "PLA", STONE, (0.10, 0.40)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "said_c"),
    [*CALLISTER_C.items(), *((name, v) for name, values in TABLES_C.items() for v in values)],
)
def test_glass_transitions_hold_what_the_tables_say(name, said_c):
    m = SHIPPED[name.upper()]
    assert m.glass_transition_lo_c <= said_c <= m.glass_transition_hi_c


@pytest.mark.parametrize("name", RESINS_G_CM3)
def test_densities_hold_the_published_range(name):
    low, high = RESINS_G_CM3[name]
    m = SHIPPED[name]
    assert m.density_lo_g_cm3 <= low <= high <= m.density_hi_g_cm3
    assert low - 0.005 <= m.density_g_cm3 <= high + 0.005


@pytest.mark.parametrize("name", TPU_G_CM3)
def test_tpu_by_hardness(name):
    assert SHIPPED[name].density_g_cm3 == TPU_G_CM3[name]
    if name == "TPU 85A":  # an 87A polyether grade of another maker: 1.12
        assert SHIPPED[name].density_lo_g_cm3 <= 1.12


@pytest.mark.parametrize("name", DRYING_F)
def test_industrial_drying_overlaps_the_moulders_table(name):
    low_c, high_c = ((f - 32) / 1.8 for f in DRYING_F[name])
    practice = SHIPPED[name].industrial_drying
    assert practice.lo_c <= high_c + 1
    assert low_c - 1 <= practice.hi_c


@pytest.mark.parametrize(("grade", "base", "filler_g_cm3", "shares"), FILLED)
def test_filled_grades_hold_the_rule_of_mixtures(grade, base, filler_g_cm3, shares):
    """Volumes add: one gram of the blend fills share/filler + (1 - share)/base cm3."""
    m, plain = SHIPPED[grade.upper()], SHIPPED[base].density_g_cm3
    for share in shares:
        volume_cm3 = share / filler_g_cm3 + (1 - share) / plain
        assert m.density_lo_g_cm3 <= 1 / volume_cm3 <= m.density_hi_g_cm3 + 0.005


def test_thirty_percent_glass_in_pa6_as_a_handbook_table_has_it():
    """A table of engineering plastics: nylon 6 with 30 % glass, specific gravity 1.39."""
    assert SHIPPED["PA6-GF"].density_lo_g_cm3 <= 1.39 <= SHIPPED["PA6-GF"].density_hi_g_cm3


def test_wood_makes_the_filament_lighter_and_leaves_the_glass_transition():
    """Kariz et al., Materials Today Communications 14 (2018) 135, abstract."""
    wood, plain = SHIPPED["PLA-WOOD"], SHIPPED["PLA"]
    assert wood.density_g_cm3 < plain.density_g_cm3
    assert wood.glass_transition_lo_c == plain.glass_transition_lo_c
    assert wood.glass_transition_hi_c == plain.glass_transition_hi_c


def test_a_cardboard_reel_may_hold_what_paper_and_board_hold():
    """Kraft liner and test liner of nine mills: 6.0 to 7.5 % at 23 C and 50 % humidity.

    Paper in use: 2 to 10 % (abstract of "Paper moisture and relative humidity"); a dryer does not
    take the last of it.
    """
    criteria = read_criteria()
    least, most = (criteria[f"moisture.reel_water_{end}_pct"] for end in ("lo", "hi"))
    assert 7.5 <= most <= 10
    assert least <= 2
