"""Calliper against weighed length: each sentence whole, and what it does to the verdict.

Masses are those of a cylinder of the stated density, which stands for the filament.
"""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.evidence.bench_scale import Scale
from lotqa.evidence.pieces import Filament
from lotqa.evidence.weighings import Tare, spool_weight
from lotqa.model import WeighIn
from lotqa.verdict.spool import judge_spools
from tests.verdict.cases import UNWEIGHED, case, goods, plain

GOOD = plain()
SCALE = Scale(1.0, 2.0)
TARE = Tare(220.0, 1.0, "itself", "this reel weighed empty")
PLA = Filament(1.24, 0.012, 1.752, 0.004, 0.007, 1.75)


def weighed(density: float, filament: Filament = PLA):
    mass = round(density * np.pi * 1.752**2 / 4 * 2, 2)
    cut = WeighIn("1", "cut", mass, length_m=2.0, scale_step_g=0.01)
    return spool_weight([cut], SCALE, TARE, None, filament, 0.0006)


def line(weight):
    judged = judge_spools(case(GOOD, goods(weights=[weight])))
    reason = next(r for r in judged.reasons(0) if r.check == "weight.agreement")
    return (reason.outcome, reason.standing, reason.text), (judged.verdict(0), judged.standing(0))


@pytest.mark.parametrize(("density", "filament", "want"), [
    (1.24, PLA, ("pass", "firm",
     "2.00 m weigh 5.98 g, 2.990 g a metre: a mean diameter of 1.7522 mm by weight and 1.7520 mm "
     "by calliper, 0.0002 mm apart, within 0.0232 mm: they agree. Together 1.7520 mm (11 % by "
     "weight).")),
    (1.15, PLA, ("undecided", "provisional",
     "2.00 m weigh 5.54 g, 2.770 g a metre: a mean diameter of 1.6865 mm by weight and 1.7520 mm "
     "by calliper, 0.0655 mm apart, more than 0.0225 mm explain: by the calliper its density is "
     "1.149 g/cm3 (95 % 1.128 to 1.170), expected 1.240. Voids or bubbles, a lighter material, or "
     "a calliper that reads thick: read a pin of known size, look at a cut face, and weigh a piece "
     "in water.")),
    (1.34, PLA, ("undecided", "provisional",
     "2.00 m weigh 6.46 g, 3.230 g a metre: a mean diameter of 1.8211 mm by weight and 1.7520 mm "
     "by calliper, 0.0691 mm apart, more than 0.0240 mm explain: by the calliper its density is "
     "1.340 g/cm3 (95 % 1.315 to 1.364), expected 1.240. A filler, a heavier material, or a "
     "calliper that reads thin: read a pin of known size, look at a cut face, and weigh a piece in "
     "water.")),
    (1.15, replace(PLA, measured=True), ("undecided", "provisional",
     "2.00 m weigh 5.54 g, 2.770 g a metre: a mean diameter of 1.6865 mm by weight and 1.7520 mm "
     "by calliper, 0.0655 mm apart, more than 0.0225 mm explain: by the calliper its density is "
     "1.149 g/cm3 (95 % 1.128 to 1.170), expected 1.240. The density was weighed in water, voids "
     "included, so the calliper reads too thick or squeezes; read a pin of known size with it.")),
])  # fmt: skip
def test_a_weighed_length_beside_the_calliper(density, filament, want):
    assert line(weighed(density, filament))[0] == want


@pytest.mark.parametrize(("filament", "text"), [
    (replace(PLA, density_g_cm3=None),
     "2.00 m weigh 5.98 g, 2.990 g a metre; the density is not known: no comparison."),
    (replace(PLA, diameter_mm=None),
     "2.00 m weigh 5.98 g, 2.990 g a metre; a calliper mean is not known: no comparison."),
])  # fmt: skip
def test_without_density_or_calliper_it_is_not_checked(filament, text):
    assert line(weighed(1.24, filament))[0] == ("not_checked", "firm", text)


def test_without_a_cut_it_is_not_checked():
    assert line(UNWEIGHED)[0] == (
        "not_checked", "firm", "No length was cut and weighed: not checked.",
    )  # fmt: skip


def test_a_disagreement_never_rejects_but_leaves_the_verdict_open():
    assert line(weighed(1.24))[1] == ("accept", "firm")
    assert line(weighed(1.15))[1] == ("accept", "provisional")


def test_a_firm_reject_stays_firm():
    wide = plain(s_mm=0.04)
    judged = judge_spools(case(wide, goods(weights=[weighed(1.15)])))
    assert (judged.verdict(0), judged.standing(0)) == ("reject", "firm")
