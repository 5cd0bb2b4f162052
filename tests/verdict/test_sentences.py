"""Each check with its outcome, its standing and its sentence, compared whole.

Figures are put into evidence of a good spool one at a time, so that each line shows one cause.
"""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.evidence.gauge import Offset, unchecked_offset
from lotqa.evidence.weighings import Tare
from lotqa.model import Finding
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import evidence, exact, readings
from tests.verdict.cases import UNWEIGHED, case, goods, plain, told

GOOD = plain()
ITSELF = Tare(222.0, 1.2, "itself", "this reel weighed empty")
SUPPOSED = Tare(190.0, 40.0, "supposed", "supposed, none like it was weighed empty")
ALIKE = Tare(222.0, 8.0, "alike", "2 other reels of this lot weighed empty")
RECORD = Tare(222.0, 3.0, "record", "tare record, 20 empty reels of this supplier")
LUMPS = "Lumps between the places are not found by spot readings."
LOBES = "A section with three lobes reads round on this tool."


def line(made, key, i=0):
    reasons = {r.check: r for r in judge_spools(made).reasons(i)}
    r = reasons[key]
    return r.outcome, r.standing, r.text


def test_a_good_spool_passes_everything_that_was_measured():
    reasons = judge_spools(case(GOOD)).reasons(0)
    assert {r.outcome for r in reasons} == {"pass", "not_checked"}
    assert {r.standing for r in reasons} == {"firm"}
    assert len({r.check for r in reasons}) == len(reasons)


@pytest.mark.parametrize(("key", "room", "figures", "want"), [
    ("diameter.spread", "diameter", {"sd_mm": 0.013, "sd_lo_mm": 0.0126, "sd_hi_mm": 0.02},
     ("reject", "firm",
      "The diameter varies along the filament by 0.0130 mm (standard deviation; 95 % 0.0126 to "
      "0.0200); at +/- 0.05 mm up to 0.0125 mm is accepted (Cp 4.36, at least 1.33 asked).")),
    ("diameter.spread", "diameter", {"sd_mm": 0.01252, "sd_lo_mm": 0.01, "sd_hi_mm": 0.02},
     ("pass", "provisional",
      "The diameter varies along the filament by 0.01252 mm (standard deviation; 95 % 0.0100 to "
      "0.0200); at +/- 0.05 mm up to 0.01253 mm is accepted (Cp 4.36, at least 1.33 asked).")),
    ("diameter.spread", "diameter", {"n_places": 1},
     ("not_checked", "firm",
      "The spread along the filament needs two places at least: not checked.")),
    ("diameter.mean", "diameter", {"mean_mm": 1.76, "mean_lo_mm": 1.75, "mean_hi_mm": 1.77},
     ("pass", "firm",
      "The mean diameter is 1.760 mm (95 % 1.750 to 1.770), inside the label's 1.700 to "
      "1.800 mm.")),
    ("diameter.mean", "diameter", {"mean_mm": 1.8001, "mean_lo_mm": 1.79, "mean_hi_mm": 1.81},
     ("reject", "provisional",
      "The mean diameter is 1.8001 mm (95 % 1.790 to 1.810), outside the limit 1.800 mm of the "
      "label's 1.700 to 1.800 mm.")),
    ("diameter.mean", "diameter", {"mean_mm": 1.68, "mean_lo_mm": 1.67, "mean_hi_mm": 1.69},
     ("reject", "firm",
      "The mean diameter is 1.680 mm (95 % 1.670 to 1.690), outside the limit 1.700 mm of the "
      "label's 1.700 to 1.800 mm.")),
    ("diameter.flow", "flow", {"error_pct": -2.01, "error_lo_pct": -3.0, "error_hi_pct": -1.5},
     ("tune", "provisional",
      "Set to 1.75 mm, the machine lays 2.01 % less plastic than asked (95 % -3.0 to -1.5 %); up "
      "to 2.0 % either way needs no new setting.")),
    ("diameter.flow", "flow", {"error_pct": 4.5, "error_lo_pct": 4.0, "error_hi_pct": 5.0},
     ("tune", "firm",
      "Set to 1.75 mm, the machine lays 4.5 % more plastic than asked (95 % 4.0 to 5.0 %); up to "
      "2.0 % either way needs no new setting.")),
    ("diameter.centring", "capability", {"cpk": 1.3299, "cpk_lo": 1.1, "cpk_hi": np.inf},
     ("tune", "provisional",
      "Cpk is 1.3299 (95 % from 1.10 up), at least 1.33 asked; the mean sits 0.002 mm above "
      "nominal.")),
    ("diameter.centring", "capability", {"cpk": 1.33, "cpk_lo": 1.33, "cpk_hi": 2.0},
     ("pass", "firm",
      "Cpk is 1.33 (95 % 1.33 to 2.00), at least 1.33 asked; the mean sits 0.002 mm above "
      "nominal.")),
    ("diameter.centring", "capability", {"cpk": np.inf, "cpk_lo": 1.6, "cpk_hi": np.inf},
     ("pass", "firm",
      "Cpk is not resolved by this tool (95 % from 1.60 up), at least 1.33 asked; the mean sits "
      "0.002 mm above nominal.")),
    ("feed.thick", "diameter", {"high_mm": 1.87},
     ("undecided", "provisional",
      "The thickest reading is 1.870 mm: it passes 1.900 mm, but pull the filament through a ring "
      f"of 1.900 mm to be sure. {LUMPS}")),
    ("feed.thick", "diameter", {"high_mm": 1.95},
     ("reject", "firm",
      "The thickest reading is 1.950 mm; from 1.900 mm on filament sticks.")),
    ("feed.thick", "diameter", {"high_mm": 1.90},
     ("reject", "provisional",
      "The thickest reading is 1.900 mm; from 1.900 mm on filament sticks.")),
    ("feed.thick", "diameter", {"high_mm": 1.78},
     ("pass", "firm", f"The thickest reading is 1.780 mm, below 1.900 mm. {LUMPS}")),
    ("feed.thin", "diameter", {"low_mm": 1.60},
     ("reject", "provisional",
      "The thinnest reading is 1.600 mm; from 1.600 mm down the drive slips.")),
    ("feed.thin", "diameter", {"low_mm": 1.61},
     ("pass", "provisional",
      "The thinnest reading is 1.610 mm, above 1.600 mm where the drive slips.")),
    ("ovality.mean", "ovality", {"mean_mm": 0.0501, "lo_mm": 0.03, "hi_mm": 0.07},
     ("reject", "provisional",
      f"Ovality is 0.0501 mm (95 % 0.030 to 0.070), up to 0.050 mm is accepted. {LOBES}")),
    ("ovality.mean", "ovality", {"mean_mm": 0.02, "lo_mm": 0.0, "hi_mm": 0.03},
     ("pass", "firm",
      f"Ovality is 0.020 mm (95 % 0.000 to 0.030), up to 0.050 mm is accepted. {LOBES}")),
    ("ovality.mean", "ovality", {"mean_mm": np.nan},
     ("not_checked", "firm",
      "Ovality needs two directions at a place, 90 degrees apart or three 60 degrees apart: not "
      "checked.")),
    ("diameter.shape", "order", {"normal_p": 0.001, "shape_resolved": True},
     ("pass", "firm",
      "The places do not look normal (Anderson-Darling, p 0.001). From quantiles the index is "
      "2.19 (at least 1.33 asked), which agrees with Cp.")),
    ("diameter.shape", "order", {"normal_p": 0.3, "shape_resolved": True},
     ("pass", "firm",
      "The places look normal (Anderson-Darling, p 0.300); the intervals suppose it.")),
    ("diameter.shape", "order", {"shape_resolved": False},
     ("not_checked", "firm",
      "Too few places, or too coarse a step, to judge the shape: not checked.")),
])  # fmt: skip
def test_one_figure_changed(key, room, figures, want):
    assert line(case(told(GOOD, room, **figures)), key) == want


def test_shape_that_does_not_agree_with_cp_leaves_the_verdict_open():
    found = told(
        told(GOOD, "order", normal_p=0.001, shape_resolved=True), "capability", quantile_index=1.0
    )
    assert line(case(found), "diameter.shape") == (
        "undecided", "provisional",
        "The places do not look normal (Anderson-Darling, p 0.001). From quantiles the index is "
        "1.00 (at least 1.33 asked), which does not agree with Cp: read more places.",
    )  # fmt: skip


def test_limits_that_nobody_knows_are_not_checked():
    assert line(case(GOOD, ovality_limit_mm=None), "ovality.mean") == (
        "not_checked", "firm", "Ovality is 0.000 mm; no limit is known: not checked.",
    )  # fmt: skip
    for key in ("feed.thick", "feed.thin"):
        assert line(replace(case(GOOD), stock=None), key) == (
            "not_checked", "firm",
            "No feed limit is known for this diameter, or no reading: not checked.",
        )  # fmt: skip


@pytest.mark.parametrize(("net", "u", "tare", "want"), [
    (990.0, 1.5, ITSELF, ("pass", "firm",
     "Net mass 990 g is 10 g short of the label's 1000 g (shortfall 95 % 7 to 13 g); up to 15 g "
     "short is accepted. Reel: this reel weighed empty.")),
    (1010.0, 1.5, ITSELF, ("pass", "firm",
     "Net mass 1010 g is 10 g over the label's 1000 g (shortfall 95 % -13 to -7 g); up to 15 g "
     "short is accepted. Reel: this reel weighed empty.")),
    (980.0, 1.5, ITSELF, ("reject", "firm",
     "Net mass 980 g is 20 g short of the label's 1000 g (shortfall 95 % 17 to 23 g); up to 15 g "
     "short is accepted. Reel: this reel weighed empty.")),
    (984.6, 1.5, ITSELF, ("reject", "provisional",
     "Net mass 985 g is 15.4 g short of the label's 1000 g (shortfall 95 % 12 to 18 g); up to "
     "15 g short is accepted. Reel: this reel weighed empty.")),
    (970.0, 40.0, SUPPOSED, ("undecided", "provisional",
     "Net mass 970 g is 30 g short of the label's 1000 g (shortfall 95 % -48 to 108 g): the reel "
     "is known to 40 g only (standard uncertainty), and with more than 7 g a shortage of 15 g can "
     "be neither shown nor excluded. Reel: supposed, none like it was weighed empty. Weigh the "
     "reel when it is empty (`lotqa ledger tare`): that settles it.")),
    (990.0, 8.0, ALIKE, ("undecided", "provisional",
     "Net mass 990 g is 10 g short of the label's 1000 g (shortfall 95 % -6 to 26 g): the reel is "
     "known to 8 g only (standard uncertainty), and with more than 7 g a shortage of 15 g can be "
     "neither shown nor excluded. Reel: 2 other reels of this lot weighed empty. Weigh the reel "
     "when it is empty (`lotqa ledger tare`): that settles it.")),
    (988.0, 3.2, RECORD, ("undecided", "provisional",
     "Net mass 988 g is 12 g short of the label's 1000 g (shortfall 95 % 6 to 18 g): that is too "
     "near 15 g to tell, with a reel known to 3.0 g (standard uncertainty). Reel: tare record, 20 "
     "empty reels of this supplier. Weigh the reel when it is empty (`lotqa ledger tare`): that "
     "settles it.")),
    (970.0, 3.2, RECORD, ("reject", "firm",
     "Net mass 970 g is 30 g short of the label's 1000 g (shortfall 95 % 24 to 36 g); up to 15 g "
     "short is accepted. Reel: tare record, 20 empty reels of this supplier.")),
    (1000.0, 3.2, RECORD, ("pass", "firm",
     "Net mass 1000 g is just the label's 1000 g (shortfall 95 % -6 to 6 g); up to 15 g short is "
     "accepted. Reel: tare record, 20 empty reels of this supplier.")),
    (940.0, 8.0, ALIKE, ("reject", "firm",
     "Net mass 940 g is 60 g short of the label's 1000 g (shortfall 95 % 44 to 76 g); up to 15 g "
     "short is accepted. Reel: 2 other reels of this lot weighed empty.")),
])  # fmt: skip
def test_net_mass(net, u, tare, want):
    weight = replace(UNWEIGHED, net_g=net, u_net_g=u, shortfall_g=1000.0 - net, tare=tare)
    assert line(case(GOOD, goods(weights=[weight])), "weight.net") == want


def test_a_weighing_that_cannot_tell_does_not_enter_the_verdict():
    vague = replace(UNWEIGHED, net_g=970.0, u_net_g=40.0, shortfall_g=30.0, tare=SUPPOSED)
    got = judge_spools(case(GOOD, goods(weights=[vague])))
    assert (got.verdict(0), got.standing(0)) == ("accept", "firm")


@pytest.mark.parametrize(("scatter_g", "outcome"), [
    (3.0, "pass"), (5.0, "pass"), (8.0, "undecided"), (10.0, "undecided"),
])  # fmt: skip
def test_a_reel_scatter_over_about_seven_grams_hides_a_shortage_of_fifteen(scatter_g, outcome):
    """Net known to twice the scatter: 6, 10, 16, 20 g (common practice, no source)."""
    u = float(np.hypot(scatter_g, 1.2))
    tare = Tare(220.0, scatter_g, "record", "record")
    weight = replace(UNWEIGHED, net_g=1000.0, u_net_g=u, shortfall_g=0.0, tare=tare)
    assert line(case(GOOD, goods(weights=[weight])), "weight.net")[0] == outcome


def test_a_reel_as_heavy_as_the_whole_is_not_judged():
    weight = replace(UNWEIGHED, gross_g=150.0, tare=SUPPOSED)
    assert line(case(GOOD, goods(weights=[weight])), "weight.net") == (
        "not_checked", "firm",
        "Gross 150 g is no more than the reel's 190 g: one of the two is another spool's, weigh "
        "again; not checked.",
    )  # fmt: skip


@pytest.mark.parametrize(("net", "pct", "outcome", "limit"), [
    (986.0, 0.0, "pass", 15.0),  # by the table
    (984.0, 0.0, "reject", 15.0),
    (984.0, 2.0, "pass", 20.0),  # by the buyer's own share of the label
    (986.0, 1.0, "reject", 10.0),
])  # fmt: skip
def test_a_shortfall_by_the_table_or_by_a_share_of_the_label(net, pct, outcome, limit):
    weight = replace(
        UNWEIGHED,
        net_g=net,
        u_net_g=0.3,
        shortfall_g=1000.0 - net,
        tare=Tare(220.0, 0.2, "itself", ""),
    )
    made = case(GOOD, goods(weights=[weight]), limits={"weight.shortfall_max_pct": pct})
    check = next(c for c in judge_spools(made).checks if c.key == "weight.net")
    assert (check.outcome(0), check.limit[0]) == (outcome, limit)


def test_net_mass_without_label_or_weighing():
    weight = replace(UNWEIGHED, net_g=990.0, u_net_g=1.0)
    assert line(case(GOOD, goods(weights=[weight], label_net_g=None)), "weight.net") == (
        "not_checked", "firm", "Net mass 990 g; the label's is not known: not checked.",
    )  # fmt: skip
    assert line(case(GOOD), "weight.net") == (
        "not_checked", "firm", "The net mass was not weighed: not checked.",
    )  # fmt: skip


def test_findings_by_their_class():
    seen = [
        Finding("roll 1", "metal chip", "critical"),
        Finding("roll 1", "crossed winding", "major", 2),
        Finding("roll 1", "dust", "minor"),
    ]
    made = case(GOOD, goods(findings=[seen]))
    assert line(made, "findings.critical") == (
        "reject", "firm", "Findings classed critical: metal chip; up to 0 on a spool are accepted.",
    )  # fmt: skip
    assert line(made, "findings.major") == (
        "reject", "firm",
        "Findings classed major: crossed winding (2 times); up to 0 on a spool are accepted.",
    )  # fmt: skip
    assert line(made, "findings.minor") == (
        "pass", "firm", "Findings classed minor, noted only: dust.",
    )  # fmt: skip


@pytest.mark.parametrize(("count", "most", "outcome"), [(2, 2, "pass"), (3, 2, "reject")])
def test_majors_by_the_acceptance_number(count, most, outcome):
    seen = [Finding("roll 1", "crossed winding", "major", count)]
    made = case(GOOD, goods(findings=[seen]), limits={"findings.major_max": most})
    assert line(made, "findings.major")[0] == outcome


def test_no_finding_is_not_the_same_as_no_findings_file():
    assert line(case(GOOD, goods(findings=[[]])), "findings.major") == (
        "pass", "firm", "No major finding.",
    )  # fmt: skip
    assert line(case(GOOD), "findings.major") == (
        "not_checked", "firm", "No findings file was given: not checked.",
    )  # fmt: skip


@pytest.mark.parametrize(("n", "want"), [
    (1, ("undecided", "provisional", "1 place was read, at least 10 asked: read 9 more.")),
    (8, ("undecided", "provisional", "8 places were read, at least 10 asked: read 2 more.")),
    (10, ("pass", "firm", "10 places were read, at least 10 asked.")),
])  # fmt: skip
def test_number_of_places(n, want):
    d = exact(n, 1.752, 0.007) if n > 1 else np.array([[1.75, 1.75]])
    assert line(case(evidence(readings({"roll 1": d}))), "readings.places") == want


def test_a_place_out_of_line_is_to_be_read_again():
    d = exact(20, 1.752, 0.004)
    d[4] += 0.05
    at = np.cumsum(np.linspace(0.5, 1.5, 20)).round(2)
    found = evidence(readings({"roll 1": d}, position_m={"roll 1": at}))
    assert line(case(found), "diameter.outliers") == (
        "undecided", "provisional",
        f"Out of line with the rest of the spool: {at[4]:g} m ({d[4].mean():.3f} mm). Read again "
        "there; the first reading stays in every number. A lump or a neck is a fact, not an error.",
    )  # fmt: skip


@pytest.mark.parametrize(("offset", "key", "want"), [
    (Offset(-0.0042, 0.0035, 6, 0.0051, 0.007), "gauge.pin", ("pass", "firm",
     "The tool read 0.0042 mm too little on the pin (6 readings, standard uncertainty 0.0035 mm); "
     "every reading is corrected by that.")),
    (Offset(-0.0042, 0.0035, 6, 0.0051, 0.007), "gauge.shift", ("pass", "firm",
     "From before to after the session the pin reading moved 0.0051 mm; up to 0.020 mm is "
     "accepted.")),
    (Offset(0.0, 0.0035, 6, -0.0251, 0.007), "gauge.shift", ("undecided", "provisional",
     "From before to after the session the pin reading moved -0.0251 mm, more than 0.020 mm: "
     "clean the jaws and measure again.")),
    (unchecked_offset(0.02), "gauge.shift", ("not_checked", "firm",
     "The pin was not read both before and after the session: not checked.")),
])  # fmt: skip
def test_the_pin(offset, key, want):
    assert line(case(replace(GOOD, offset=offset)), key) == want


@pytest.mark.parametrize(("offset", "tolerance_mm", "want"), [
    (unchecked_offset(0.02), 0.05, ("pass", "firm",
     "The tool's own uncertainty of +/- 0.023 mm leaves room within +/- 0.050 mm.")),
    (unchecked_offset(0.02), 0.02, ("undecided", "provisional",
     "This tool cannot judge +/- 0.020 mm: its own uncertainty is +/- 0.023 mm however many places "
     "are read; 6 readings of a pin would bring +/- 0.007 mm.")),
    (Offset(0.0, 0.0035, 6, None, None), 0.005, ("undecided", "provisional",
     "This tool cannot judge +/- 0.005 mm: its own uncertainty is +/- 0.007 mm however many places "
     "are read; a micrometer, or many more pin readings, would bring less.")),
])  # fmt: skip
def test_a_tool_that_cannot_judge_the_tolerance_is_said_so(offset, tolerance_mm, want):
    section = replace(GOOD.section, tolerance_mm=tolerance_mm)
    assert line(case(replace(GOOD, offset=offset, section=section)), "gauge.fit") == want


def test_what_a_pin_would_buy_is_what_it_buys():
    """The promise is checked by reading one: the same spool with the pin's uncertainty."""
    d = exact(20, 1.752, 0.007)
    without = evidence(readings({"roll 1": d}), offset=unchecked_offset(0.02))
    u_pin = np.sqrt(0.008**2 + 0.01**2 / 12) / np.sqrt(6)
    with_pin = evidence(readings({"roll 1": d}), offset=Offset(0.0, u_pin, 6, None, None))
    now, then = (2 * e.diameter.u_mean_mm[0] for e in (without, with_pin))
    assert line(case(without), "gauge.pin") == (
        "not_checked", "firm",
        "No pin of known size was read, so the limit of error of the tool stays in full: a pin "
        f"check of 6 readings would shrink the uncertainty of the mean from +/- {now:.3f} mm to "
        f"+/- {then:.3f} mm.",
    )  # fmt: skip


def test_every_sentence_is_one_and_ends():
    """Nothing typed by a programmer stands in a line that goes into a mail."""
    for made in (case(GOOD), case(evidence(readings({"roll 1": np.array([[1.75, 1.76]])})))):
        for r in judge_spools(made).reasons(0):
            assert r.text[0].isupper() or r.text[0].isdigit(), r.text
            assert r.text.endswith("."), r.text
            for word in ("nan", "inf ", "None", "array", "Error", "  "):
                assert word not in r.text, r.text
