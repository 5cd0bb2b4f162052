"""From what was given about a lot to its case: what fills the gaps, and who is told."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from lotqa.case import prepare
from lotqa.criteria import read_criteria
from lotqa.errors import UnusableInput
from lotqa.inspection import Sources, completed, inspect_lot
from lotqa.materials import read_materials
from lotqa.model import (
    Finding,
    Instrument,
    Label,
    LotInput,
    LotSheet,
    PinCheck,
    PrintSettings,
    WeighIn,
)
from tests.evidence.lots import exact, readings

CRITERIA, MATERIALS = read_criteria(), read_materials()
LABEL = Label(nominal_mm=1.75, tolerance_mm=0.03, net_g=1000.0, ovality_mm=0.04)
CALLIPER = Instrument("calliper", "Bench calliper", resolution_mm=0.01, limit_of_error_mm=0.03)


def given_lot(sheet=LotSheet(), *, spools=None, **more):
    d = {"007": exact(20, 1.752, 0.006).round(2)} if spools is None else spools
    return LotInput(sheet, readings(d), **{
        "weigh_ins": (), "findings": (), "pin_checks": (), "problems": (), "files": (), **more,
    })  # fmt: skip


def prepared(*args, **kwargs):
    return prepare(given_lot(*args, **kwargs), CRITERIA, MATERIALS)


def pins(*names, reading=1.76):
    return tuple(
        PinCheck(n, when, 1.75, reading, "pin_checks.csv", i + 2)
        for i, n in enumerate(names)
        for when in ("before", "after")
    )


def test_what_the_label_says_is_used_and_named_as_its_own():
    got = prepared(LotSheet(label=LABEL, print_settings=PrintSettings(set_diameter_mm=1.76)))
    section = got.case.evidence.section
    assert (section.nominal_mm, section.tolerance_mm, section.set_diameter_mm) == (1.75, 0.03, 1.76)
    assert got.case.ovality_limit_mm == 0.04
    assert got.sources == {
        "nominal_mm": "lot sheet", "tolerance_mm": "lot sheet", "ovality_mm": "lot sheet",
    }  # fmt: skip


def test_what_the_label_leaves_out_comes_from_the_criteria_and_says_so():
    got = prepared()
    section = got.case.evidence.section
    assert (section.nominal_mm, section.tolerance_mm, section.set_diameter_mm) == (1.75, 0.05, 1.75)
    assert got.case.ovality_limit_mm == 0.05
    assert got.sources == {
        "nominal_mm": "inferred from the readings", "tolerance_mm": "criteria",
        "ovality_mm": "criteria",
    }  # fmt: skip


def test_thick_stock_is_told_by_its_readings():
    got = prepared(spools={"a": exact(12, 2.86, 0.01)})
    assert got.case.evidence.section.nominal_mm == 2.85
    assert got.case.stock.thick_reject_mm == 3.00


def test_a_diameter_without_stock_needs_a_tolerance():
    with pytest.raises(UnusableInput) as caught:
        prepared(LotSheet(label=Label(nominal_mm=2.3)))
    assert str(caught.value) == (
        "no tolerance is known for 2.3 mm: write label.tolerance_mm in lot.toml"
    )
    assert prepared(LotSheet(label=Label(nominal_mm=2.3, tolerance_mm=0.1))).case.stock is None


def test_nothing_given_is_refused():
    with pytest.raises(UnusableInput) as caught:
        prepare(given_lot(spools={}), CRITERIA, MATERIALS)
    assert str(caught.value) == (
        "no reading, weigh-in or finding was used: see the problems listed"
    )


def test_spools_only_weighed_or_looked_at_stand_behind_those_read():
    got = prepared(
        weigh_ins=(WeighIn("NA", "gross", 1200.0), WeighIn("007", "gross", 1210.0)),
        findings=(Finding("1E5", "dust", "minor"), Finding("NA", "dust", "minor")),
    )
    assert got.case.evidence.spools == ("007", "NA", "1E5")
    assert got.lot.readings.spools == ("007", "NA", "1E5")
    assert got.case.goods.weights[1].gross_g == 1200.0
    assert got.case.goods.weights[2] is None
    assert [len(f) for f in got.case.goods.findings] == [0, 1, 1]
    assert got.case.goods.findings_given


def test_a_lot_only_weighed_is_a_case_too():
    got = prepared(spools={}, weigh_ins=(WeighIn("a", "net", 990.0),))
    assert got.case.evidence.spools == ("a",)
    assert got.sources["nominal_mm"] == "criteria"
    assert got.case.goods.weights[0].net_g == 990.0


@pytest.mark.parametrize(("instruments", "step", "limit", "stated"), [
    ((), 0.01, 0.02, False),
    ((CALLIPER,), 0.01, 0.03, True),
    ((Instrument("micrometer", "Mike"),), 0.001, 0.004, True),
    ((Instrument("calliper", "Old", resolution_mm=0.05),), 0.05, 0.02, True),
    ((Instrument("scale", "Kitchen", resolution_g=1.0),), 0.01, 0.02, False),
])  # fmt: skip
def test_the_tool_as_stated_or_as_usual(instruments, step, limit, stated):
    tool = prepared(LotSheet(instruments=instruments)).tool
    assert (tool.step_mm, tool.limit_of_error_mm, tool.stated) == (step, limit, stated)


def test_pin_checks_correct_every_reading():
    got = prepared(
        LotSheet(instruments=(CALLIPER,)), pin_checks=pins("bench  CALLIPER", "Bench calliper")
    )
    evidence = got.case.evidence
    assert evidence.offset.offset_mm == pytest.approx(0.01)
    assert evidence.offset.n_pin_readings == 4
    assert got.problems == ()
    plain = prepared(LotSheet(instruments=(CALLIPER,))).case.evidence
    assert evidence.diameter.mean_mm == pytest.approx(plain.diameter.mean_mm - 0.01)


def test_a_pin_read_with_another_tool_is_reported_and_not_used():
    other = Instrument("micrometer", "Mike")
    got = prepared(
        LotSheet(instruments=(CALLIPER, other)),
        pin_checks=(*pins("Bench calliper"), *pins("Stray gauge")),
    )
    assert got.case.evidence.offset.n_pin_readings == 2
    assert {p.message for p in got.problems} == {
        'instrument is "Stray gauge", but the diameters were read with "Bench calliper": this pin '
        "check is not used; name the tool as in lot.toml"
    }
    first = got.problems[0]
    assert (first.file, first.line, first.value) == (
        "pin_checks.csv", 2, "Stray gauge",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("pinned", "chosen"),
    [
        (("Mike",), "Mike"),  # the tool whose pin was read is the one that was used
        (("Mike", "Bench calliper"), "Bench calliper"),  # of two, the one named first
        ((), "Bench calliper"),
    ],
)
def test_the_tool_of_several(pinned, chosen):
    other = Instrument("micrometer", "Mike")
    got = prepared(LotSheet(instruments=(CALLIPER, other)), pin_checks=pins(*pinned))
    assert got.tool.name == chosen


def test_one_tool_and_one_set_of_pins_belong_together_however_they_are_named():
    got = prepared(LotSheet(instruments=(CALLIPER,)), pin_checks=pins("calliper"))
    assert got.case.evidence.offset.n_pin_readings == 2


def test_without_a_pin_the_limit_of_error_of_the_tool_enters():
    got = prepared(LotSheet(instruments=(CALLIPER,)))
    assert got.case.evidence.offset.u_mm == pytest.approx(0.03 / np.sqrt(3))


def test_scatter_stated_in_the_sheet_is_believed():
    tool = replace(CALLIPER, repeatability_sd_mm=0.006)
    got = prepared(LotSheet(instruments=(tool,))).case.evidence.scatter
    assert (got.sd_mm, got.source) == (0.006, "stated in the lot sheet")


def test_repeated_readings_of_a_direction_tell_the_scatter():
    d = 1.75 + 0.02 * np.random.default_rng(1).standard_normal((40, 2))
    lot = given_lot(spools={"a": d})
    again = replace(
        lot.readings,
        direction_deg=np.zeros(80),
        trial=np.tile([1, 2], 40).astype(np.int64),
    )
    got = prepare(replace(lot, readings=again), CRITERIA, MATERIALS).case.evidence.scatter
    assert got.source == "from 40 repeated readings"
    assert got.sd_mm == pytest.approx(0.02, rel=4 / np.sqrt(2 * 40))


def test_two_readings_of_unknown_direction_are_no_repeats():
    d = 1.75 + 0.03 * np.random.default_rng(1).choice([-1, 1], (20, 1)) * np.array([[1, -1]])
    lot = given_lot(spools={"a": d})
    unknown = replace(lot.readings, direction_deg=np.full(40, np.nan), trial=np.tile([1, 2], 20))
    got = prepare(replace(lot, readings=unknown), CRITERIA, MATERIALS).case.evidence.scatter
    assert got.sd_mm == 0.008  # ovality of 0.06 mm is not taken for a shaky hand


@pytest.mark.parametrize(("sheet", "code", "own"), [
    (LotSheet(lot="K 12"), "K 12", False),
    (LotSheet(received=date(2026, 5, 4), colour="jet black"), "self-2026-05-04-jet_black", True),
    (LotSheet(), "self-readings", True),
])  # fmt: skip
def test_a_lot_without_a_code_gets_one_of_our_own(sheet, code, own):
    got = prepared(sheet)
    assert (got.lot_code, got.lot_self_assigned) == (code, own)


def test_the_claim_window_ends_on_a_day():
    sheet = LotSheet(received=date(2026, 1, 30), claim_days=30)
    assert prepared(sheet).claim_until == date(2026, 3, 1)
    assert prepared(LotSheet(received=date(2026, 1, 30))).claim_until is None


def test_the_scale_of_the_sheet_goes_before_the_usual_one():
    scale = Instrument("scale", "Kitchen", resolution_g=0.1, limit_of_error_g=0.5)
    assert prepared(LotSheet(instruments=(scale,))).scale.step_g == 0.1
    assert prepared().scale.limit_of_error_g == 2.0


def test_material_brings_density_and_length():
    weighed = (WeighIn("007", "net", 1000.0),)
    got = prepared(
        LotSheet(material="PLA basic", label=LABEL), weigh_ins=weighed
    ).case.goods.weights[0]
    d = prepared().case.evidence.diameter.mean_mm[0]
    assert got.length_m == pytest.approx(1000 / 1.24 / (np.pi * d**2 / 4), rel=1e-9)
    filled = prepared(LotSheet(material="HIPS-CF"), weigh_ins=weighed).case.goods.weights[0]
    assert filled.length_m is None


def test_what_was_said_on_the_command_line_lies_over_the_sheet():
    sheet = LotSheet(supplier="Kranich Filament", lot="A", label=LABEL)
    got = completed(sheet, LotSheet(lot="B", label=Label(net_g=750.0)))
    assert (got.supplier, got.lot) == ("Kranich Filament", "B")
    assert got.label == replace(LABEL, net_g=750.0)


def test_an_inspection_uses_the_buyers_criteria_for_the_supplier():
    sheet = LotSheet(supplier="Tallow & Reed", label=Label(1.75, 0.05), instruments=(CALLIPER,))
    lot = given_lot(sheet, pin_checks=pins("Bench calliper", reading=1.75))
    strict = '[[for]]\nsupplier = "Tallow & Reed"\nspread.cp_min = 9.9\n'
    usual, other = inspect_lot(lot), inspect_lot(lot, Sources(criteria_text=strict))
    assert usual.lot.verdict == "accept"
    assert other.lot.verdict != "accept" or other.lot.standing == "provisional"
    assert other.spools == ("007",)


def test_the_same_lot_gives_the_same_inspection():
    lot = given_lot(LotSheet(label=LABEL))
    a, b = inspect_lot(lot), inspect_lot(lot)
    assert a.lot == b.lot
    assert a.judgement.reasons(0) == b.judgement.reasons(0)
