"""Lots of which only a part is known: spools only weighed, no lot sheet, a machine already set."""

from datetime import UTC, datetime

import numpy as np

from lotqa.evidence.gauge import Scatter
from lotqa.inspection import Memory, Sources, inspect_lot, run
from lotqa.intake import read_sources
from lotqa.report import lot_page
from lotqa.report.document import inspection_document

NOW = datetime(2026, 3, 1, tzinfo=UTC)
PINS = "instrument,when,reference_mm,reading_mm\n" + "".join(
    f"bench,{when},1.75,{1.75 + d:.2f}\n" for when in ("before", "after") for d in (0, 0.01, 0)
)
SHEET = """
[lot]
supplier = "Kranich Filament"
material = "PLA"
lot = "K1"
spools_received = 10
[label]
nominal_mm = 1.75
tolerance_mm = 0.05
net_g = 1000
[[instrument]]
kind = "calliper"
name = "bench"
resolution_mm = 0.01
limit_of_error_mm = 0.02
repeatability_sd_mm = 0.008
"""


def readings(mean_mm: float = 1.75, spools: tuple[str, ...] = ("1", "2", "3")) -> str:
    rng = np.random.default_rng(5)
    rows = [
        f"{spool},{i * 1.17:.2f},{d},{mean_mm + rng.normal(0, 0.004) + rng.normal(0, 0.008):.2f}\n"
        for spool in spools
        for i in range(20)
        for d in (0, 90)
    ]
    return "spool,position_m,direction_deg,diameter_mm\n" + "".join(rows)


def judged(memory: Memory = Memory(), **files: str) -> dict:
    sources = [(name.replace("__", "."), text.encode()) for name, text in files.items()]
    return inspection_document(inspect_lot(read_sources(sources), Sources(), memory), NOW)


def test_weighing_every_spool_does_not_accept_the_unmeasured_ones():
    weighings = "spool,kind,mass_g\n" + "".join(f"{s},gross,1215\n" for s in range(1, 11))
    document = judged(
        lot__toml=SHEET, readings__csv=readings(), pin_checks__csv=PINS, weighings__csv=weighings
    )
    lot = document["lot"]
    assert (lot["spools_inspected"], lot["accepted"], lot["spools_received"]) == (3, 3, 10)
    assert lot["unopened"]["spools"] == 7
    said = {r["check"]: r["text"] for r in lot["reasons"]}
    assert said["lot.sample"] == "3 of 10 spools inspected; ISO 2859-1 level II asks for 3."
    page = lot_page(document, [])
    assert page.count("not measured") >= 7
    assert page.count("10 accept") == 0
    [weighed] = [s for s in document["spools"] if s["spool"] == "7"]
    assert weighed["standing"] == "provisional"
    assert weighed["action"] == (
        "Not measured; nothing against it so far. It counts among those not opened."
    )


def test_a_spool_proven_short_counts_although_it_was_not_measured():
    weighings = "spool,kind,mass_g\n9,gross,1050\n9,tare,210\n"
    lot = judged(
        lot__toml=SHEET, readings__csv=readings(), pin_checks__csv=PINS, weighings__csv=weighings
    )["lot"]
    assert (lot["spools_inspected"], lot["rejected"], lot["verdict"]) == (4, 1, "reject")


def test_an_empty_reel_is_no_spool():
    weighings = "spool,kind,mass_g\nempty,tare,210\n1,gross,1215\n"
    document = judged(lot__toml=SHEET, readings__csv=readings(), weighings__csv=weighings)
    assert [s["spool"] for s in document["spools"]] == ["1", "2", "3"]


def test_how_many_came_is_not_made_up():
    lot = judged(readings__csv=readings())["lot"]
    said = {r["check"]: (r["outcome"], r["text"]) for r in lot["reasons"]}
    assert said["lot.sample"] == (
        "not_checked",
        "3 spools inspected; how many came is not known: not checked.",
    )


def test_a_lot_that_nothing_names_is_called_by_its_folder(tmp_path):
    codes = []
    for name in ("blue box", "red box"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "readings.csv").write_text(readings(), encoding="utf-8")
        codes.append(run(tmp_path / name, now=NOW).document["lot"]["lot"])
        one_file = run(tmp_path / name / "readings.csv", now=NOW).document["lot"]["lot"]
        assert one_file == f"self-{name.replace(' ', '_')}-readings"
    assert codes == ["self-blue_box", "self-red_box"]


def test_a_machine_set_to_the_filament_needs_no_second_number():
    """Thin by 0.04 mm: to be tuned at 1.75, and nothing to do once the machine is set to it."""
    thin = {"readings__csv": readings(1.713), "pin_checks__csv": PINS}
    before = judged(lot__toml=SHEET, **thin)["spools"][0]
    at = before["flow"]["set_diameter_mm"]
    after = judged(lot__toml=SHEET + f"[print]\nset_diameter_mm = {at:.3f}\n", **thin)["spools"][0]
    assert (before["verdict"], after["verdict"]) == ("tune", "accept")
    [centring] = [r for r in after["reasons"] if r["check"] == "diameter.centring"]
    assert centring["text"].endswith("The machine is set to this filament already.")


def test_what_helps_against_doubt_is_said_first():
    lot = judged(lot__toml=SHEET, readings__csv=readings())["lot"]
    assert lot["standing"] == "provisional"
    assert lot["action"].endswith(
        "Not sure yet: read a pin of known size three times before and after measuring."
    )


def test_an_inch_display_has_the_step_of_an_inch_display():
    text = "spool,position_m,direction_deg,diameter_in\n" + "".join(
        f"1,{i},{d},{0.0690 + 0.0005 * (i % 2):.4f}\n" for i in range(12) for d in (0, 90)
    )
    document = judged(readings__csv=text)
    assert document["instruments"][0]["resolution_mm"] == 0.0127


def test_a_gauge_study_makes_another_inspection_of_the_same_files():
    from lotqa.ledger.content import content_hash

    study = Memory(study=Scatter(0.006, 40.0, "gauge study of 2026-02-01"))
    files = {"lot__toml": SHEET, "readings__csv": readings(), "pin_checks__csv": PINS}
    hashes = {content_hash(["a"], {}, judged(memory, **files), "") for memory in (Memory(), study)}
    assert len(hashes) == 2


def test_the_spread_of_a_lot_rests_on_the_spools_that_show_one():
    """Two spools vary, two read the same everywhere: the sentence counts the two it speaks of."""
    flat = "".join(f"{s},{i},{d},1.75\n" for s in ("8", "9") for i in range(20) for d in (0, 90))
    lot = judged(
        lot__toml=SHEET, readings__csv=readings(spools=("1", "2")) + flat, pin_checks__csv=PINS
    )["lot"]
    [spread] = [r["text"] for r in lot["reasons"] if r["check"] == "lot.spread"]
    assert "(standard deviation of 2 spools together;" in spread
