"""``lotqa inspect`` with its options: what is printed, what is written, and the exit status."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.lots import SPOOLS, put_lot, readings, sheet_with
from tests.cli.terminal import command

# More than twice the spread that +/- 0.05 mm allows at Cp 1.33 (0.0125 mm).
SPREAD_OUT = readings(sd_mm=0.03, seed=4)
# A calliper without a pin check leaves +/- 0.02 mm open, a micrometer with one does not.
PINNED = {
    "sheet": sheet_with()
    + '[[instrument]]\nkind = "micrometer"\nname = "M"\nresolution_mm = 0.001\n'
    "limit_of_error_mm = 0.002\n",
    "pin_checks": "instrument,when,reference_mm,reading_mm\n"
    + "M,before,1.750,1.750\nM,after,1.750,1.750\n" * 3,
    "readings": readings(places=40, sd_mm=0.002, decimals=3, uneven=True),
    "findings": "spool,finding,class\n",
}


def document(*arguments: object) -> dict[str, Any]:
    """The document of ``inspect ARGUMENTS --json``, which must have succeeded."""
    answer = command("inspect", *arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found: dict[str, Any] = json.loads(answer.out)
    return found


def files_in(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_a_lot_gets_a_verdict_a_page_and_an_entry(bench: Path, ledger: Path) -> None:
    put_lot(bench / "lot")
    answer = command("inspect", "lot")
    assert (answer.code, answer.err) == (0, "")
    assert "ACCEPT" in answer.out
    pages = list((bench / "reports").iterdir())
    assert [p.suffix for p in pages] == [".html"]
    assert f"Page: reports/{pages[0].name}" in answer.out.splitlines()
    assert f"Ledger {ledger}: entered as inspection 1." in answer.out.splitlines()


def test_no_ledger_and_no_report_leave_nothing_behind(bench: Path) -> None:
    put_lot(bench / "lot")
    before = files_in(bench)
    assert document("lot", "--no-ledger", "--no-report")["ledger"] is None
    assert files_in(bench) == before


def test_report_names_the_folder_of_the_page(bench: Path) -> None:
    put_lot(bench / "lot")
    made = document("lot", "--no-ledger", "--report", "deep/er")
    assert Path(made["page"]).parent == Path("deep/er")
    assert (bench / made["page"]).is_file()
    assert not (bench / "reports").exists()


def test_the_ledger_option_goes_before_the_environment(bench: Path, ledger: Path) -> None:
    put_lot(bench / "lot")
    assert document("lot", "--no-report", "--ledger", "other.sqlite")["ledger"]["new"]
    assert (bench / "other.sqlite").is_file()
    assert not ledger.exists()


def test_the_same_content_is_recognised(bench: Path, ledger: Path) -> None:
    put_lot(bench / "lot")
    first, second = (document("lot", "--no-report")["ledger"] for _ in range(2))
    assert (first["new"], second["new"]) == (True, False)
    assert first["inspection"] == second["inspection"]
    said = command("inspect", "lot", "--no-report").out.splitlines()
    assert f"Ledger {ledger}: the same content is there already as inspection 1." in said


def test_a_lot_measured_again_is_a_second_inspection_of_it(bench: Path, ledger: Path) -> None:
    put_lot(bench / "lot")
    first = document("lot", "--no-report")["ledger"]
    put_lot(bench / "lot", readings=readings(seed=2))
    said = command("inspect", "lot", "--no-report").out.splitlines()
    expected = f"Ledger {ledger}: entered as inspection 2, after 1 earlier one of this lot."
    assert expected in said
    shown = json.loads(command("ledger", "show", "K1", "--json").out)
    assert [row["inspection"] for row in shown["inspections"]] == [1, 2]
    assert {row["lot_id"] for row in shown["inspections"]} == {first["lot_id"]}


def test_options_go_over_the_lot_sheet(bench: Path) -> None:
    put_lot(bench / "lot")
    made = document(
        "lot", "--no-ledger", "--no-report", "--supplier", "Brightwater Polymers", "--product", "P",
        "--material", "PETG", "--colour", "clear", "--lot", "B9", "--received", "2026-02-03",
        "--spools-received", "7", "--claim-days", "10", "--price", "21,50", "--currency", "GBP",
        "--tolerance", "0.04", "--net", "750",
    )  # fmt: skip
    lot, label = made["lot"], made["label"]
    expected = {
        "supplier": "Brightwater Polymers",
        "product": "P",
        "material": "PETG",
        "colour": "clear",
        "lot": "B9",
        "received": "2026-02-03",
        "spools_received": 7,
        "claim_until": "2026-02-13",
        "price": 21.5,
        "currency": "GBP",
    }
    assert {key: lot[key] for key in expected} == expected
    assert (label["nominal_mm"], label["tolerance_mm"], label["net_g"]) == (1.75, 0.04, 750)


def test_a_single_readings_file_is_enough_and_says_what_it_costs(bench: Path) -> None:
    (bench / "roll7.csv").write_text(readings(), encoding="utf-8")
    made = document("roll7.csv", "--no-ledger", "--no-report")
    assert [s["spool"] for s in made["spools"]] == list(SPOOLS)
    assert made["lot"]["lot_self_assigned"]
    assert made["lot"]["supplier"] is None
    assert made["label"]["sources"]["nominal_mm"] == "inferred from the readings"
    assert any("No supplier is named" in text for text in made["missing"])


def test_inches_by_option_read_as_the_same_millimetres(bench: Path) -> None:
    rows = readings().splitlines()
    inches = [rows[0]] + [
        ",".join([*row.split(",")[:3], f"{float(row.split(',')[3]) / 25.4:.6f}"])
        for row in rows[1:]
    ]  # 1 in = 25.4 mm exactly, international yard and pound agreement of 1959
    put_lot(bench / "mm")
    put_lot(bench / "inch", readings="\n".join(inches) + "\n")
    in_mm = document("mm", "--no-ledger", "--no-report")
    in_inches = document("inch", "--unit", "in", "--no-ledger", "--no-report")
    for a, b in zip(in_mm["spools"], in_inches["spools"], strict=True):
        # Six digits of an inch are 25 nm; each reading is off by half of that at most.
        assert a["diameter"]["mean_mm"] == pytest.approx(b["diameter"]["mean_mm"], abs=1.3e-5)


def test_criteria_of_the_buyer_decide(bench: Path) -> None:
    put_lot(bench / "lot", readings=SPREAD_OUT)
    (bench / "loose.toml").write_text("[spread]\ncp_min = 0.1\n", encoding="utf-8")

    def outcome(*options: str) -> str:
        made = document("lot", "--no-ledger", "--no-report", *options)
        reasons = {r["check"]: r["outcome"] for r in made["spools"][0]["reasons"]}
        return str(reasons["diameter.spread"])

    assert outcome() == "reject"
    assert outcome("--criteria", "loose.toml") == "pass"


def test_criteria_for_one_use_count_for_that_use_only(bench: Path) -> None:
    put_lot(bench / "lot")
    text = '[[for]]\nuse = "gears"\nspread.cp_min = 10\n'
    (bench / "c.toml").write_text(text, encoding="utf-8")

    def verdict(*options: str) -> str:
        options = ("--no-ledger", "--no-report", "--criteria", "c.toml", *options)
        return str(document("lot", *options)["lot"]["verdict"])

    assert (verdict(), verdict("--use", "vases")) == ("accept", "accept")
    assert verdict("--use", "Gears") == "reject"


def test_materials_of_the_buyer_decide(bench: Path) -> None:
    put_lot(bench / "lot", weighings="spool,kind,mass_g\n1,net,1000\n2,net,1000\n")
    text = "[PLA]\ndensity_g_cm3 = 2.50\ndensity_range_g_cm3 = [2.4, 2.6]\n"
    (bench / "m.toml").write_text(text, encoding="utf-8")

    def volume_ml(*options: str) -> float:
        made = document("lot", "--no-ledger", "--no-report", *options)
        return float(made["spools"][0]["weight"]["volume_ml"])

    assert volume_ml("--materials", "m.toml") == pytest.approx(1000 / 2.50)
    assert volume_ml() == pytest.approx(1000 / 1.24, rel=0.02)  # PLA: common practice, no source


@pytest.mark.parametrize(
    ("files", "code"),
    [
        (PINNED, 0),
        ({"readings": SPREAD_OUT}, 3),
        ({"readings": readings(mean_mm=1.715, sd_mm=0.002)}, 3),
        ({}, 4),
    ],
    ids=["accepted", "rejected", "to be tuned", "provisional"],
)
def test_the_gate_turns_the_verdict_into_the_exit_status(
    bench: Path, files: dict[str, Any], code: int
) -> None:
    put_lot(bench / "lot", **files)
    assert command("inspect", "lot", "--no-ledger", "--no-report", "--gate").code == code
    assert command("inspect", "lot", "--no-ledger", "--no-report").code == 0


def test_with_a_gate_the_document_is_still_whole(bench: Path) -> None:
    put_lot(bench / "lot", readings=SPREAD_OUT)
    answer = command("inspect", "lot", "--no-ledger", "--no-report", "--gate", "--json")
    assert answer.code == 3
    assert json.loads(answer.out)["lot"]["verdict"] == "reject"


def test_of_a_large_archive_the_worst_spools_are_shown(bench: Path) -> None:
    good = readings(spools=tuple(f"g{i}" for i in range(40)), places=3, sd_mm=0.002)
    bad = readings(spools=("bad",), places=3, mean_mm=1.93, sd_mm=0).split("\n", 1)[1]
    put_lot(bench / "lot", readings=good + bad)
    out = command("inspect", "lot", "--no-ledger", "--no-report").out
    rows = [line.split() for line in out.splitlines() if line.startswith(("g", "bad"))]
    assert rows[0][:3] == ["bad", "⊠", "reject"]
    assert len(rows) == 20
    assert "The worst 20 of 41 spools; --json tells of all." in out


def test_what_is_on_a_reel_is_one_line(bench: Path) -> None:
    weighings = "spool,kind,mass_g\n1,gross,1170\n1,tare,170\n2,gross,1175\n2,tare,173\n"
    put_lot(bench / "lot", weighings=weighings)
    lines = command("inspect", "lot", "--no-ledger", "--no-report").out.splitlines()
    (line,) = [x for x in lines if x.startswith("On a reel: ")]
    # 1000 and 1002 g; at 1.24 g/cm3 the mean holds 807 ml, and 20 EUR are 24.78 a litre.
    assert line.startswith("On a reel: net 1001 g (")
    assert "; 807 ml, " in line
    assert line.endswith(" m; 24.78 EUR a litre.")
    assert len(line) <= 80
    put_lot(bench / "bare")
    out = command("inspect", "bare", "--no-ledger", "--no-report").out
    assert "On a reel: 1000 g by label; 806 ml, " in out


def test_a_wet_spool_is_named_with_how_to_dry_it(bench: Path) -> None:
    weighings = (
        "spool,kind,mass_g,hours,temperature_c\n1,gross,1170,,\n1,tare,170,,\n"
        "1,before_drying,1170,,\n1,after_drying,1161,6,45\n"
    )
    put_lot(bench / "lot", weighings=weighings)
    out = " ".join(command("inspect", "lot", "--no-ledger", "--no-report").out.split())
    assert "Moisture: spool 1 wet." in out
    assert out.count("in a home dryer") == 1  # its action says how already
