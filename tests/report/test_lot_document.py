"""Net content and money in the inspection document: keys, ready sentences, what is missing.

Densities 1.04 and 1.24 g/cm3 for ABS and PLA, about 3 for metal-filled: common practice, no
source.  Prices by hand: 20 for a kilogram of PLA is 20 * 1.24 = 24.80 a litre.
"""

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from lotqa.inspection import Sources, inspect_lot
from lotqa.intake import read_sources
from lotqa.report.document import inspection_document, plain

NOW = datetime(2026, 3, 1, tzinfo=UTC)
PINS = "instrument,when,reference_mm,reading_mm\n" + "".join(
    f"bench,{when},1.75,{1.75 + d:.2f}\n" for when in ("before", "after") for d in (0, 0.01, -0.01)
)
METAL = """
[METALFILL]
density_g_cm3 = 3.0
density_range_g_cm3 = [2.8, 3.2]
"""


def sheet(price=20, currency="EUR", material="PLA", net_g=1000, received=3):
    lot = {"supplier": "Tallow & Reed", "lot": "T1", "material": material, "price": price,
           "currency": currency, "spools_received": received}  # fmt: skip
    label = {"nominal_mm": 1.75, "tolerance_mm": 0.05, "net_g": net_g}
    tables = {"lot": lot, "label": label}
    lines = [
        line
        for name, table in tables.items()
        for line in (f"[{name}]", *(f"{k} = {json.dumps(v)}" for k, v in table.items()
                                    if v is not None))
    ]  # fmt: skip
    tool = '[[instrument]]\nkind = "calliper"\nname = "bench"\nresolution_mm = 0.01\n'
    scale = (
        '[[instrument]]\nkind = "scale"\nname = "S"\nresolution_g = 0.1\nlimit_of_error_g = 0.3\n'
    )
    return "\n".join([*lines, tool, scale])


def readings(means=(1.75, 1.75, 1.75), sd=0.004):
    rng = np.random.default_rng(5)
    rows = [
        f"{spool},{i * 1.17:.2f},{d},{mean + rng.normal(0, sd) + rng.normal(0, 0.004):.2f}\n"
        for spool, mean in enumerate(means, 1)
        for i in range(20)
        for d in (0, 90)
    ]
    return "spool,position_m,direction_deg,diameter_mm\n" + "".join(rows)


def weighings(nets=(1001.0, 1002.0, 1001.5), tare=220.0):
    rows = [
        f"{spool},{kind},{mass}\n"
        for spool, net in enumerate(nets, 1)
        for kind, mass in (("gross", net + tare), ("tare", tare))
    ]
    return "spool,kind,mass_g\n" + "".join(rows)


def whole(sources=Sources(), **files):
    files = {"lot__toml": sheet(), "readings__csv": readings(), "pin_checks__csv": PINS} | files
    given = [(n.replace("__", "."), t.encode()) for n, t in files.items() if t is not None]
    document = inspection_document(inspect_lot(read_sources(given), sources), NOW)
    assert json.loads(plain(document))["lot"] == document["lot"]  # nothing JSON has no word for
    return document


def lot(sources=Sources(), **files):
    return whole(sources, **files)["lot"]


def test_net_content_of_a_weighed_lot():
    got = lot(weighings__csv=weighings())["net_content"]
    assert (got["outcome"], got["n_weighed"], got["spools"]) == ("pass", 3, 3)
    assert (got["label_net_g"], got["tolerable_negative_error_g"]) == (1000.0, 15.0)
    assert got["mean_net_g"] == pytest.approx(1001.5)
    assert got["below_t1"] == {"limit_g": 985.0, "firmly": 0, "estimated": 0, "possibly": 0}
    assert [r["rule"] for r in got["rules"]] == [1, 2, 3]
    assert got["reference_test"]["samples"] == [{"n": 3, "n_total": 3, "accept": 0, "reject": 1}]
    assert got["reference_test"]["text"].endswith("It is passed.")
    assert got["yardstick"] == "yardstick: the packer's duty"
    assert got["yardstick"] in got["text"]


def test_a_lot_that_was_not_weighed_still_tells_the_test_that_would_apply():
    got = lot(lot__toml=sheet(received=300))["net_content"]
    assert (got["outcome"], got["mean_net_g"], got["mean_net_ci95_g"]) == (
        "not_checked", None, [None, None]
    )  # fmt: skip
    test = got["reference_test"]
    assert (test["plan"], test["batch"], test["n_needed"]) == ("double", 300, 30)
    assert [s["n_total"] for s in test["samples"]] == [30, 60]
    assert [p["plan"] for p in test["other_plans"]] == ["single", "destructive"]
    assert test["text"].endswith(
        "It cannot be run yet: 0 weighed on a known reel, weigh 30 more spools."
    )


def test_a_short_lot_is_told_and_not_rejected_by_it():
    found = lot(weighings__csv=weighings((990.0, 991.0, 989.0)))
    reasons = {r["check"]: r for r in found["reasons"]}
    assert found["net_content"]["short"] is True
    assert (found["verdict"], found["net_content"]["enters_verdict"]) == ("accept", False)
    assert reasons["lot.net_content"]["outcome"] == "undecided"


def test_a_short_lot_is_rejected_where_the_buyer_says_so():
    sources = Sources(criteria_text="[weight]\n# Agreed with the supplier.\naverage_rule = 1\n")
    found = lot(sources, weighings__csv=weighings((990.0, 991.0, 989.0)))
    assert (found["verdict"], found["rejected"]) == ("reject", 0)


def test_prices_by_the_label():
    found = lot()
    got = found["money"]
    assert (got["mass_source"], got["per_kilogram"], got["per_kilogram_ci95"]) == (
        "label", 20.0, [None, None]
    )  # fmt: skip
    assert got["per_litre"] == found["price_per_litre"] == pytest.approx(24.8)
    assert got["per_litre_ci95"][0] < 24.8 < got["per_litre_ci95"][1]
    assert got["per_metre"] == pytest.approx(20 / 335, rel=0.01)
    assert got["usable"]["per_litre"] == pytest.approx(24.8)
    assert got["text"].startswith("20.00 EUR a spool is 20.00 EUR a kilogram, 24.80 EUR a litre (")
    assert got["text"].endswith(" EUR a metre (by the label, not weighed).")


def test_the_actual_net_mass_goes_before_the_label():
    got = lot(weighings__csv=weighings((800.0, 800.0, 800.0)))["money"]
    assert (got["mass_source"], got["mass_g"]) == ("weighed", 800.0)
    assert got["per_litre"] == pytest.approx(24.8 / 0.8)
    assert got["per_kilogram"] == pytest.approx(25.0)


def test_a_thin_filament_gives_cheaper_metres_and_the_same_litres():
    """A metre of 1.70 mm is (1.70 / 1.75)**2 of one of 1.75 mm."""
    usual, thin = (lot(readings__csv=readings((m,) * 3))["money"] for m in (1.75, 1.70))
    assert thin["per_litre"] == pytest.approx(usual["per_litre"])
    assert thin["per_metre"] / usual["per_metre"] == pytest.approx((1.70 / 1.75) ** 2, rel=0.005)


def test_a_density_weighed_in_water_goes_before_that_of_the_material():
    """Water of 23 degrees: 0.99754 g/cm3 (CIPM).  13 g of 1.30 g/cm3 lose 10 ml of it."""
    rows = f"1,in_air,13.000,,0.001\n1,in_water,{13.0 - 10 * 0.99754:.3f},23,0.001\n"
    text = "spool,kind,mass_g,temperature_c,scale_step_g\n" + rows
    found = lot(weighings__csv=text)
    assert found["money"]["density_g_cm3"] == pytest.approx(1.30, abs=0.002)
    assert found["price_per_litre"] == pytest.approx(26.0, abs=0.04)


def test_metres_are_those_that_the_spools_tell():
    """Thick and thin spools: the metres of the table of spools, not of their mean diameter."""
    document = whole(weighings__csv=weighings(), readings__csv=readings((1.73, 1.75, 1.77)))
    metres = [s["weight"]["length_m"] for s in document["spools"]]
    assert len(set(metres)) == 3
    got = document["lot"]["money"]
    assert got["length_m"] == pytest.approx(np.mean(metres), abs=1e-9)
    assert got["per_metre"] == pytest.approx(20.0 / np.mean(metres))
    lo, hi = got["length_ci95_m"]
    one = [s["weight"]["length_ci95_m"] for s in document["spools"]]
    assert hi - lo == pytest.approx(np.mean([b - a for a, b in one]))


def test_rejected_and_tuned_spools_and_the_time_they_take():
    """By hand: 60 for three spools, one rejected; 3 times 10 and 1 times 30 minutes at 0.20."""
    spools = readings((1.75, 1.78, 1.90))
    sources = Sources(criteria_text="[money]\n# Bench.\nrate_per_hour = 12.0\n")
    found = lot(sources, readings__csv=spools)
    assert (found["accepted"], found["tuned"], found["rejected"]) == (1, 1, 1)
    got = found["money"]["usable"]
    assert got["spent"] == pytest.approx(
        {"spools": 60.0, "returned": 0.0, "inspecting": 6.0, "tuning": 6.0, "total": 72.0}
    )
    assert got["per_litre"] == pytest.approx(72.0 / 2 * 1.24 / 1.0)
    assert got["per_litre_if_refunded"] == pytest.approx(52.0 / 2 * 1.24)
    assert got["text"].endswith(
        "2 of 3 inspected spools can be used, 1 of them after tuning in. In it, the price of 1 "
        "rejected spool counts as lost; if all of it comes back, a litre costs 32.24 EUR. Your "
        "time is in it: 6.00 EUR for inspecting, 6.00 EUR for tuning in."
    )


@pytest.mark.parametrize(("share", "total", "said"), [
    (0.5, 50.0, "50 % of the price of 1 rejected spool counts as come back; if all of it comes "),
    (1.0, 40.0, "In it, the price of 1 rejected spool counts as come back."),
])  # fmt: skip
def test_what_comes_back_for_a_rejected_spool(share, total, said):
    sources = Sources(criteria_text=f"[money]\n# Shop.\nreturned_share = {share}\n")
    got = lot(sources, readings__csv=readings((1.75, 1.75, 1.90)))["money"]["usable"]
    assert got["spent"]["total"] == total
    assert said in got["text"]


def test_a_lot_of_which_nothing_can_be_used():
    got = lot(readings__csv=readings((1.90, 1.90, 1.90)))["money"]["usable"]
    assert (got["per_litre"], got["spools"]) == (None, 0)
    assert got["text"] == (
        "None of 3 inspected spools can be used: 60.00 EUR is spent for nothing, unless a claim "
        "brings it back."
    )


def test_a_sample_pack_of_a_heavy_grade_holds_little():
    made = sheet(price=10, material="METALFILL", net_g=50)
    got = lot(Sources(materials_text=METAL), lot__toml=made)["money"]
    assert got["compared"]["text"] == (
        "50 g at 3.00 g/cm3 hold 17 ml, 7 m of 1.75 mm: 2.1 % of what 1000 g of an unfilled "
        "filament of 1.24 g/cm3 hold (806 ml, 335 m)."
    )
    assert got["per_litre"] == pytest.approx(600.0)


def test_800_g_of_abs_against_a_kilogram_of_pla():
    got = lot(lot__toml=sheet(material="ABS", net_g=800))["money"]["compared"]
    assert (round(got["volume_ml"]), round(got["reference_volume_ml"])) == (769, 806)
    assert got["share_pct"] == pytest.approx(95.4, abs=0.05)


def test_without_a_price_there_is_no_money_but_a_volume():
    found = lot(lot__toml=sheet(price=None))
    got = found["money"]
    keys = ("price", "per_litre", "per_metre", "per_kilogram")
    assert [got[k] for k in keys] == [None] * 4
    assert found["price_per_litre"] is None
    assert got["usable"]["per_litre"] is got["usable"]["spent"] is None
    assert got["volume_ml"] == pytest.approx(1000 / 1.24)
    assert got["text"] == (
        "The price of a spool is not known: no money. Write price under [lot] in lot.toml."
    )


def test_without_a_density_there_is_only_the_kilogram():
    got = lot(lot__toml=sheet(material=None))["money"]
    assert (got["per_litre"], got["compared"], got["per_kilogram"]) == (None, None, 20.0)
    assert got["text"] == (
        "20.00 EUR a spool is 20.00 EUR a kilogram (by the label, not weighed); the material's "
        "density is not known: no price per litre or metre."
    )


def test_without_a_mass_there_is_only_the_spool():
    got = lot(lot__toml=sheet(net_g=None))["money"]
    assert got["text"] == "20.00 EUR a spool; its mass is not known: no price per unit."
    assert got["usable"]["text"] == (
        "No price per usable litre: it needs the price of a spool, its mass and material."
    )


def test_a_sum_without_a_currency_names_none():
    got = lot(lot__toml=sheet(currency=None))["money"]
    assert got["currency"] is None
    assert got["text"].startswith("20.00 a spool is 20.00 a kilogram, 24.80 a litre (")


def test_a_claim_window_that_has_closed_is_told_in_every_action():
    short = weighings((900.0, 900.0, 900.0))

    def actions(claim_days):
        lines = f"[lot]\nreceived = 2026-02-01\nclaim_days = {claim_days}"
        made = whole(lot__toml=sheet().replace("[lot]", lines), weighings__csv=short)
        return made["lot"]["action"], made["spools"][0]["action"]

    # The documents are made on 1 March 2026, 28 days after receipt.
    lot_says, spool_says = actions(27)
    assert lot_says == "Do not print; claim (the window closed on 2026-02-28)."
    assert spool_says.startswith("Set it aside and claim (the window closed on 2026-02-28);")
    lot_says, spool_says = actions(28)
    assert lot_says == "Do not print; claim by 2026-03-01."
    assert spool_says.startswith("Set it aside and claim by 2026-03-01;")


def test_the_causes_of_a_disagreement_stand_by_themselves():
    cut = "spool,kind,mass_g,length_m\n1,cut,{},2\n"
    # pi/4 * 1.75^2 mm^2 * 1.24 g/cm3 are 2.983 g a metre; ten percent less is no calliper's doing.
    found = [
        whole(weighings__csv=cut.format(mass))["spools"][0]["weight"]["cut"]
        for mass in (5.97, 5.37)
    ]
    assert (found[0]["agrees"], found[0]["causes"]) == (True, None)
    assert found[1]["agrees"] is False
    assert found[1]["text"].endswith(found[1]["causes"])
