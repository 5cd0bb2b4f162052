"""The check of the loss on drying: outcome, standing and sentence, compared whole."""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.criteria import read_criteria
from lotqa.evidence.moisture import DryingSeries, Moisture, drying_loss
from lotqa.evidence.weighings import Tare
from lotqa.materials import read_materials
from lotqa.model import Reel
from lotqa.verdict import moisture
from lotqa.verdict.spool import judge_spools
from lotqa.verdict.wetness import limits_of, wetness
from tests.verdict.cases import UNWEIGHED, case, goods, plain

GOOD = plain()
CRITERIA = read_criteria()
SHIPPED = read_materials()
CARDBOARD, PLASTIC = Reel(material="cardboard"), Reel(material="plastic")


def dried(*masses_g, hours=None, net_g=1000.0, step_g=1.0, tare_g=None):
    """A spool that was weighed before drying and once or more after it."""
    first, *after = masses_g
    series = DryingSeries(
        before_g=first,
        after_g=tuple(after),
        hours=hours or (None,) * len(after),
        net_g=net_g,
        u_weighing_g=step_g / np.sqrt(12),
        step_g=step_g,
    )
    tare = None if tare_g is None else Tare(tare_g, 0.0, "itself", "this reel weighed empty")
    return replace(UNWEIGHED, moisture=drying_loss(series), tare=tare)


def made(weight, material="PLA", reel=PLASTIC):
    known = None if material is None else SHIPPED[material]
    return replace(goods(weights=[weight], material=known), reel=reel)


def line(weight, material="PLA", reel=PLASTIC):
    found = judge_spools(case(GOOD, made(weight, material, reel)))
    r = {r.check: r for r in found.reasons(0)}["moisture.loss"]
    return r.outcome, r.standing, r.text


def state(weight, material="PLA", reel=PLASTIC):
    return wetness(made(weight, material, reel), CRITERIA, 0).state


@pytest.mark.parametrize(("pct", "lo", "hi", "want"), [
    (0.2, 0.1, 0.28, ("pass", "firm",
     "Drying took 0.20 % of the net mass (95 % 0.10 to 0.28 %); up to 0.30 % is accepted.")),
    (0.301, 0.2, 0.4, ("tune", "provisional",
     "Drying took 0.301 % of the net mass (95 % 0.20 to 0.40 %); above 0.30 % dry it before "
     "printing and before tuning.")),
    (0.5, 0.35, 0.65, ("tune", "firm",
     "Drying took 0.50 % of the net mass (95 % 0.35 to 0.65 %); above 0.30 % dry it before "
     "printing and before tuning.")),
    (2.0, 1.9, 2.1, ("reject", "firm",
     "Drying took 2.00 % of the net mass (95 % 1.90 to 2.10 %); above 1.80 % it was stored wet "
     "for long.")),
])  # fmt: skip
def test_loss_of_pla_against_its_limits(pct, lo, hi, want):
    assert line(replace(UNWEIGHED, moisture=Moisture(10 * pct, pct, lo, hi))) == want


def test_nothing_weighed():
    assert line(UNWEIGHED) == (
        "not_checked", "firm", "No weighing before and after drying: not checked.",
    )  # fmt: skip


@pytest.mark.parametrize("material", [None, "PP"])
def test_without_a_limit_nothing_is_checked(material):
    assert line(dried(1230.0, 1227.0), material) == (
        "not_checked", "firm", "Drying took 0.30 %; no limit is known: not checked.",
    )  # fmt: skip


def test_wet_nylon_is_dried_before_it_is_tuned():
    assert line(dried(966.0, 957.0, net_g=751.0), "PA") == (
        "tune", "firm",
        "Drying took 1.20 % of the net mass (95 % 1.09 to 1.30 %); above 0.50 % dry it before "
        "printing and before tuning.",
    )  # fmt: skip


# ---- the reel ----


def test_pla_on_cardboard_that_lost_four_grams_cannot_be_told():
    assert line(dried(1130.0, 1126.0, tare_g=150.0), reel=CARDBOARD) == (
        "undecided", "provisional",
        "Drying took 0.40 % of the net mass (95 % 0.32 to 0.48 %). The reel alone can lose up to "
        "12 g of water, so whether the filament lost more than 0.30 % cannot be told. Weigh an "
        "empty reel of this kind before and after drying, or dry the filament off its reel.",
    )  # fmt: skip


def test_the_same_loss_on_plastic_is_wet():
    assert line(dried(1230.0, 1226.0))[:2] == ("tune", "firm")


def test_what_no_reel_can_explain_counts_against_the_filament():
    outcome, standing, text = line(dried(1150.0, 1120.0, tare_g=150.0), reel=CARDBOARD)
    assert (outcome, standing) == ("tune", "provisional")  # 18 to 30 g: above 3 g, up to beyond 18
    assert text == (
        "Drying took 3.00 % of the net mass (95 % 2.92 to 3.08 %), of which up to 12 g (1.20 %) "
        "can be the reel's own water; above 0.30 % dry it before printing and before tuning."
    )


def test_a_loss_that_is_small_with_its_reel_is_dry_without_it():
    assert line(dried(1150.0, 1149.0, tare_g=150.0), reel=CARDBOARD)[:2] == ("pass", "firm")


def test_a_reel_that_was_not_weighed_has_the_range_of_its_material():
    found = wetness(made(dried(1150.0, 1146.0), reel=CARDBOARD), CRITERIA, 0)
    assert (found.reel.lo_g, found.reel.hi_g) == (0.0, pytest.approx(180 * 0.08))


def test_the_filaments_own_loss_is_an_interval_that_no_reel_makes_negative():
    found = wetness(made(dried(1150.0, 1146.0, tare_g=150.0), reel=CARDBOARD), CRITERIA, 0)
    assert found.lo_pct == 0.0
    assert found.hi_pct == pytest.approx(0.48, abs=0.005)
    assert moisture.reel_text(found) == (
        "The reel itself can lose 0 to 12 g of water: the filament's own loss is 0.00 to 0.48 %."
    )


def test_a_reel_that_is_sure_to_have_lost_water_clears_the_filament():
    beside = made(dried(1150.0, 1146.0, tare_g=150.0), reel=CARDBOARD)
    sure = case(GOOD, beside, limits={"moisture.reel_water_lo_pct": 2.0})  # 3 g of the 4 g
    check = {c.key: c for c in judge_spools(sure).checks}["moisture.loss"]
    assert (check.outcome(0), int(check.worst[0])) == ("pass", 0)


@pytest.mark.parametrize(("reel", "said"), [
    (PLASTIC, "The reel loses no water of its own."),
    (Reel(), "What the reel is made of is not stated; a cardboard one can lose up to 14 g (1.44 %) "
     "of its own. Write reel.material in lot.toml."),
])  # fmt: skip
def test_the_reel_in_words(reel, said):
    found = wetness(made(dried(1150.0, 1146.0), reel=reel), CRITERIA, 0)
    assert moisture.reel_text(found) == said


def test_a_reel_of_unknown_material_is_told_of_where_it_matters():
    assert line(dried(1150.0, 1144.0, tare_g=150.0), reel=Reel()) == (
        "tune", "firm",
        "Drying took 0.60 % of the net mass (95 % 0.52 to 0.68 %); above 0.30 % dry it before "
        "printing and before tuning. If its reel is cardboard, up to 12 g (1.20 %) of this can be "
        "the reel's own water: write reel.material in lot.toml.",
    )  # fmt: skip
    assert line(dried(1150.0, 1149.0, tare_g=150.0), reel=Reel()) == (
        "pass", "firm",
        "Drying took 0.10 % of the net mass (95 % 0.02 to 0.18 %); up to 0.30 % is accepted.",
    )  # fmt: skip


def test_no_spool_is_firmly_rejected_for_water_that_a_reel_may_have_held():
    wet = dried(1150.0, 1129.0, tare_g=150.0)  # 2.1 %; up to 1.2 % of it from cardboard
    assert line(wet, reel=Reel())[:2] == ("reject", "provisional")
    assert line(wet, reel=PLASTIC)[:2] == ("reject", "firm")


# ---- the scale ----


def test_a_scale_too_coarse_for_the_limit_decides_nothing():
    assert line(dried(480.0, 480.0, net_g=250.0, step_g=5.0)) == (
        "undecided", "provisional",
        "Drying took 0.00 % of the net mass (95 % -1.60 to 1.60 %). This scale cannot show a loss "
        "of 0.30 %: it shows 6.7 g or more. Weigh on one with a finer step.",
    )  # fmt: skip


def test_a_loss_beyond_the_coarse_scale_still_counts():
    assert line(dried(480.0, 475.0, net_g=250.0, step_g=5.0))[0] == "undecided"
    assert line(dried(480.0, 470.0, net_g=250.0, step_g=5.0))[:2] == ("reject", "firm")


def test_an_undecided_weighing_is_no_worse_than_none():
    undecided = judge_spools(case(GOOD, made(dried(480.0, 480.0, net_g=250.0, step_g=5.0))))
    without = judge_spools(case(GOOD, made(UNWEIGHED)))
    assert undecided.verdict(0) == without.verdict(0) == "accept"
    assert undecided.standing(0) == without.standing(0) == "firm"


def test_a_gain_is_impossible_and_said_so():
    assert line(dried(1220.0, 1223.0)) == (
        "undecided", "firm",
        "The spool gained 3.0 g in drying, which cannot be: not checked. Weigh again with the same "
        "things on the scale, the spool cool and dry.",
    )  # fmt: skip


def test_a_gain_of_one_step_is_rounding():
    assert line(dried(1220.0, 1221.0))[:2] == ("pass", "firm")
    assert state(dried(1220.0, 1221.0)) == "dry"


@pytest.mark.parametrize(("step_g", "said"), [
    (1.0, "This scale shows a loss of 1.34 g or more, 0.134 % of the net mass. The 0.30 % above "
     "which to dry PLA first (3.00 g) can be seen on it. The 250 ppm asked for as shipped "
     "(0.25 g) cannot."),
    (0.1, "This scale shows a loss of 0.13 g or more, 0.013 % of the net mass. The 0.30 % above "
     "which to dry PLA first (3.00 g) can be seen on it. The 250 ppm asked for as shipped "
     "(0.25 g) can."),
])  # fmt: skip
def test_what_the_scale_shows_in_words(step_g, said):
    beside = made(dried(1220.0, 1220.0, step_g=step_g))
    found = wetness(beside, CRITERIA, 0)
    assert moisture.scale_text(found, beside, limits_of(beside, CRITERIA)) == said


# ---- the plateau ----


@pytest.mark.parametrize(("masses_g", "hours", "said"), [
    ((1230.0, 1221.0), (12.0,), moisture.ONCE),
    ((1230.0, 1224.0, 1221.0), (4.0, 6.0), "It is still losing: the last stretch took 3.0 g in 2 h "
     "(95 % 2.2 to 3.8 g). Dry on until two weighings agree."),
    ((1230.0, 1221.0, 1221.0), (4.0, 6.0), "It has stopped losing: the last stretch took 0.0 g in "
     "2 h (95 % -0.8 to 0.8 g)."),
    ((1230.0, 1222.0, 1221.0), None, "Whether it has stopped cannot be told with this scale: the "
     "last stretch took 1.0 g (95 % 0.2 to 1.8 g)."),
    ((1230.0, 1221.0, 1221.0), (4.0, 4.5), "The last two weighings are too close in time to tell "
     "whether it has stopped."),
    ((1230.0, 1221.0, 1224.0), (4.0, 6.0), "It gained 3.0 g between the last two weighings: weigh "
     "again, cool and in a closed bag."),
])  # fmt: skip
def test_the_plateau_in_words(masses_g, hours, said):
    found = wetness(made(dried(*masses_g, hours=hours)), CRITERIA, 0)
    assert moisture.plateau_text(found.plateau) == said
    in_line = line(dried(*masses_g, hours=hours))[2]
    assert in_line.endswith(said) == (said != moisture.ONCE)


def test_what_is_still_losing_is_not_firmly_dry():
    assert line(dried(1230.0, 1230.0, 1228.0, hours=(2.0, 4.0)))[:2] == ("pass", "provisional")
    assert line(dried(1230.0, 1228.0, 1228.0, hours=(2.0, 4.0)))[:2] == ("pass", "firm")


@pytest.mark.parametrize(("masses_g", "reel", "want"), [
    ((1230.0, 1229.0), PLASTIC, "dry"), ((1230.0, 1225.0), PLASTIC, "wet"),
    ((1230.0, 1200.0), PLASTIC, "far too wet"), ((1230.0, 1225.0), CARDBOARD, "cannot tell"),
    ((1230.0, 1205.0), CARDBOARD, "wet"),  # 25 g, of which the reel can be 14 g
    ((1230.0, 1190.0), CARDBOARD, "far too wet"), ((1230.0, 1240.0), CARDBOARD, "gained"),
    ((1230.0, 1225.0), Reel(material="wicker"), "wet"),
    ((1230.0, 1225.0), Reel(material="none"), "wet"),
])  # fmt: skip
def test_states(masses_g, reel, want):
    assert state(dried(*masses_g), reel=reel) == want
