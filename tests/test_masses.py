"""Masses from the files to the document: the scale, the reel, metres, cut and piece in water.

Expected figures: sums and differences of what was typed, geometry of the cylinder, Archimedes;
the density of water at 23 C, 0.99754 g/cm3, is that of the CRC Handbook (from memory).
"""

from datetime import date

import pytest

from lotqa.evidence.tares import TareRecord
from lotqa.inspection import Memory, completed, inspect_lot
from lotqa.intake import read_sources
from lotqa.model import Label, LotSheet, Reel
from lotqa.report.document import inspection_document
from tests.test_lots_half_known import NOW, SHEET, judged, readings

REEL = SHEET + '[reel]\nkind = "grey ring"\nmaterial = "plastic"\n'
HEAD = "spool,kind,mass_g,length_m,temperature_c,scale_step_g\n"
CHECK = "instrument,when,reference_g,reading_g\nparcel,before,1000,1002\nparcel,after,1000,1002\n"
RECORD = TareRecord(221.0, 4.0, 9, "2025-03-01", "2026-01-05", "grey ring")


def weight(rows: str, sheet: str = SHEET, **files: str) -> dict:
    document = judged(
        lot__toml=sheet, readings__csv=readings(), weighings__csv=HEAD + rows, **files
    )
    return document["spools"][0]["weight"]


def test_what_was_there_before_is_still_there():
    w = weight("1,gross,1220\n1,tare,220\n")
    assert (w["gross_g"], w["tare_g"], w["net_g"], w["shortfall_g"]) == (1220, 220, 1000, 0)
    assert (w["tare_known"], w["tare_source"]) == ("itself", "this reel weighed empty")
    assert w["cut"] is None
    assert w["immersion"] is None
    assert w["scale"] | {"u_g": 0} == {
        "step_g": 1.0, "limit_of_error_g": 2.0, "u_g": 0, "offset_removed_g": 0.0, "check": None,
        "text": "No known mass near it was weighed: the limit of error of 2 g stays in.",
    }  # fmt: skip


def test_the_offset_of_the_scale_is_taken_off_for_all_to_see():
    w = weight("1,gross,1220\n1,tare,220\n", mass_checks__csv=CHECK)
    assert (w["gross_g"], w["gross_corrected_g"], w["net_g"]) == (1220, 1218, 998)
    assert w["scale"]["offset_removed_g"] == 2.0
    assert w["scale"]["check"]["readings"] == 2
    assert w["scale"]["text"].startswith("2 readings of 1000 g were +2.0 g off")


@pytest.mark.parametrize(("sheet", "mass_g", "source"), [
    (SHEET, 190, "supposed, none like it was weighed empty"),
    (REEL, 220, "supposed, an empty plastic reel for 1 kg weighs 180 to 260 g"),
    (REEL.replace("plastic", "cardboard"), 150,
     "supposed, an empty cardboard reel for 1 kg weighs 120 to 180 g"),
    (REEL.replace("plastic", "none"), 20,
     "supposed, what is left of a coil without a reel weighs 0 to 40 g"),
])  # fmt: skip
def test_the_reel_of_which_nothing_was_weighed(sheet, mass_g, source):
    w = weight("1,gross,1220\n", sheet)
    assert (w["tare"]["mass_g"], w["tare"]["known"], w["tare"]["source"]) == (
        mass_g, "supposed", source,
    )  # fmt: skip


def test_the_record_of_the_ledger_goes_before_a_range():
    sources = {
        "lot.toml": REEL,
        "readings.csv": readings(),
        "weighings.csv": HEAD + "1,gross,1211\n",
    }
    lot = read_sources([(name, text.encode()) for name, text in sources.items()])
    document = inspection_document(inspect_lot(lot, memory=Memory(tare=RECORD)), NOW)
    tare = document["spools"][0]["weight"]["tare"]
    assert (tare["mass_g"], tare["known"], tare["reels"]) == (221.0, "record", 9)
    assert tare["source"] == (
        'tare record, 9 empty reels "grey ring" of this supplier, 2025-03-01 to 2026-01-05'
    )
    assert document["spools"][0]["weight"]["net_g"] == 990.0


def test_cut_and_piece_in_water_are_told_with_intervals():
    rows = "1,cut,5.96,2,,0.01\n1,in_air,6.20,,,0.01\n1,in_water,1.2123,,23,0.01\n"
    w = weight(rows)
    # 6.20 g of 1.24 g/cm3 are 5 ml, which water of 23 C carries with 4.9877 g.
    assert w["immersion"]["density_g_cm3"] == pytest.approx(1.24, abs=3e-4)
    assert w["immersion"]["text"].startswith("1 piece weighed in water: 1.240 g/cm3")
    assert w["density_source"] == "weighed in water"
    cut = w["cut"]
    assert cut["linear_density_g_per_m"] == pytest.approx(2.98)
    assert cut["diameter_mm"] == pytest.approx(1.7493, abs=2e-4)  # (4 * 2.98 / 1.24 / pi)**0.5
    for key in (
        "linear_density_ci95",
        "diameter_ci95_mm",
        "combined_ci95_mm",
        "apparent_density_ci95",
    ):
        lo, hi = cut[key]
        assert lo < hi, key
    assert cut["agrees"] is True
    assert (w["grams_per_m"], w["grams_per_m_by"]) == (
        cut["linear_density_g_per_m"],
        "weighed length",
    )
    assert "A piece that was under water is wet: do not print it." in w["cautions"]


def test_length_and_volume_have_intervals_and_a_sentence():
    w = weight("1,net,1000\n", SHEET.replace("1.75\n", "1.75\n", 1))
    for key in ("volume_ci95_ml", "length_ci95_m", "grams_per_m_ci95", "thin_gain_ci95_m"):
        assert None not in w[key], key
    assert w["content_text"].startswith("806 ml (95 % ")
    assert w["grams_per_m_by"] == "density and diameter"
    thin = judged(
        lot__toml=SHEET,
        readings__csv=readings(mean_mm=1.70),
        weighings__csv=HEAD + "1,net,1000\n",
    )["spools"][0]["weight"]
    assert thin["thin_gain_m"] == pytest.approx(20.0, abs=1.5)  # 355 m for 335 m
    assert thin["content_text"].endswith("because it is thinner.")


def test_what_is_stated_beside_the_sheet_leaves_its_reel_alone():
    sheet = LotSheet(received=date(2026, 1, 1), reel=Reel("grey ring", "plastic"))
    assert completed(sheet, LotSheet(label=Label(net_g=750.0))).reel == sheet.reel
    assert completed(sheet, LotSheet(reel=Reel(material="metal"))).reel == Reel(
        "grey ring", "metal"
    )
