"""What to do about a wet spool: the home practice, never the industrial one, and what can hurt."""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.criteria import read_criteria
from lotqa.evidence.moisture import DryingSeries, drying_loss
from lotqa.materials import read_materials
from lotqa.model import Reel
from lotqa.verdict import drying
from lotqa.verdict.spool import action, judge_spools
from tests.verdict.cases import UNWEIGHED, case, goods, plain

CRITERIA = read_criteria()
SHIPPED = read_materials()


def beside(material, reel=None, weight=None):
    known = SHIPPED.get(material) if isinstance(material, str) else material
    made = goods(weights=[weight], material=known)
    return replace(made, reel=Reel(material=reel))


def text(material, reel=None):
    return drying.home_text(beside(material, reel), CRITERIA)


@pytest.mark.parametrize(("material", "reel", "said"), [
    ("PLA", None, "4 to 6 h at 40 to 45 C in a home dryer, no hotter than the reel stands"),
    ("PLA", "plastic", "4 to 6 h at 40 to 45 C in a home dryer"),
    ("PLA", "none", "4 to 6 h at 40 to 45 C in a home dryer"),
    ("PA", "cardboard", "4 to 12 h at 65 to 70 C in a home dryer, no hotter: a cardboard reel "
     "stands 70 C"),
    ("PVB", None, "4 to 8 h at 40 C in a home dryer, no hotter: it begins to soften above that"),
    ("PA", "plastic", "practice for PA begins at 65 C and a plastic reel stands 60 C unless its "
     "maker states more: no temperature is safe on this reel; wind the filament onto one that "
     "stands it"),
    ("POM", None, "no temperature is known for POM on its reel: ask its maker"),
    (None, None, "no material is known, so no temperature can be given"),
])  # fmt: skip
def test_home_drying_in_words(material, reel, said):
    assert text(material, reel) == said


def test_a_plastic_that_softens_below_its_practice_gets_no_temperature():
    low = replace(SHIPPED["PLA"], glass_transition_lo_c=40.0)
    assert text(low) == (
        "practice for PLA begins at 40 C and it goes soft above 35 C: no temperature is safe; keep "
        "it in a closed box with fresh desiccant"
    )


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("reel", [None, "plastic", "cardboard", "metal", "none"])
def test_what_is_given_is_safe_for_plastic_and_reel(name, reel):
    found, m = drying.home(beside(name, reel), CRITERIA), SHIPPED[name]
    if found.refused is not None:
        assert found.hi_c is None
        return
    if m.structure == "amorphous":
        assert found.hi_c <= m.glass_transition_lo_c - CRITERIA["drying.margin_k"]
    stands = None if reel is None else CRITERIA.reel_for(reel).stands_c
    assert stands is None or found.hi_c <= stands
    assert found.hi_c <= m.home_drying.hi_c


def test_pla_and_petg_are_what_practice_says():
    """Common practice, no source: PLA 40 to 45 C, PETG 50 to 60 C with the reel."""
    for name, want in (("PLA", (40, 45)), ("PETG", (50, 60))):
        found = drying.home(beside(name, "plastic"), CRITERIA)
        assert (found.lo_c, found.hi_c) == want


@pytest.mark.parametrize("name", SHIPPED)
def test_the_industrial_figures_are_a_note_and_nothing_to_act_on(name):
    made = beside(name, "plastic", wet(1230.0, 1200.0))
    given, industrial = drying.document(made, CRITERIA), SHIPPED[name].industrial_drying
    if industrial is None:
        assert given["industrial"] is None
    else:
        assert given["industrial"]["text"].endswith("dew point below -40 C. Not with its reel.")
        assert given["industrial"]["hi_c"] == industrial.hi_c
    for told in (given["home"]["text"], drying.action(made, CRITERIA, 0)):
        assert "dew point" not in told
        assert "industry" not in told


def wet(*masses_g, hours=None):
    first, *after = masses_g
    hours = hours or (None,) * len(after)
    series = DryingSeries(first, tuple(after), hours, 1000.0, 1 / np.sqrt(12), 1.0)
    return replace(UNWEIGHED, moisture=drying_loss(series))


@pytest.mark.parametrize(("material", "reel", "masses_g", "said"), [
    ("PLA", None, (1230.0, 1220.0), "Dry it before printing: 4 to 6 h at 40 to 45 C in a home "
     "dryer, no hotter than the reel stands, never in an oven used for food."),
    ("PLA", "plastic", (1230.0, 1224.0, 1220.0), "Dry it on before printing: 4 to 6 h at 40 to "
     "45 C in a home dryer, never in an oven used for food."),
    ("PLA", "plastic", (1230.0, 1220.0, 1220.0), "Dried until it stopped losing: keep it sealed "
     "with desiccant, print and tune it from there. Others of this lot want the same drying."),
    ("PA", "plastic", (1230.0, 1215.0), "Dry it before printing, but practice for PA begins at "
     "65 C and a plastic reel stands 60 C unless its maker states more: no temperature is safe on "
     "this reel; wind the filament onto one that stands it."),
])  # fmt: skip
def test_what_to_do_with_a_wet_spool(material, reel, masses_g, said):
    made = case(plain(), beside(material, reel, wet(*masses_g)))
    assert action(made, judge_spools(made), 0, None) == said


def test_cautions_name_what_can_hurt_and_promise_nothing_about_food():
    said = " ".join(drying.CAUTIONS)
    for word in ("oven used for food", "fumes", "sag", "stay near", "microwave"):
        assert word in said
    assert "food safe" not in said.casefold()
    assert "contact with food" not in said.casefold()
