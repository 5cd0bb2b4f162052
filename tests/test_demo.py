"""The demo tells the known truth of its scenario: three suppliers, told apart by date and size."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from lotqa.samples import sample_lots

ROOT = Path(__file__).resolve().parents[1]
TRUTH = json.loads((ROOT / "sample_measurements" / "truth.json").read_text(encoding="utf-8"))


def lotqa(*arguments: str, cwd: Path) -> dict:
    """Run a command in an empty folder and return its JSON document."""
    code = "import sys; from lotqa.cli import main; sys.argv[0] = 'lotqa'; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments, "--json"],
        cwd=cwd,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "HOME": str(cwd)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    return folder, lotqa("demo", cwd=folder)


def test_a_page_for_every_lot_and_every_supplier(bench):
    folder, document = bench
    assert [row["folder"] for row in document["lots"]] == [p.name for p in sample_lots()]
    pages = [row["page"] for row in document["lots"]] + list(document["supplier_pages"].values())
    assert len(set(pages)) == len(sample_lots()) + 3
    for page in pages:
        assert (folder / page).read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert (folder / "lotqa-demo.sqlite").exists()


def test_verdicts_follow_the_truth(bench):
    verdict = {row["folder"]: row["verdict"] for row in bench[1]["lots"]}
    assert {f for f, v in verdict.items() if v == "reject"} == {
        "2025-08_tallow_pla_red",  # short by weight
        "2025-10_kranich_pla_green",  # a lump
        "2026-01_kranich_petg_orange",  # a wave
        "2026-03_tallow_pla_grey",  # a splice
        "2026-06_tallow_pla_grey",  # the new line, three times
        "2026-08_tallow_pla_red",
        "2026-09_tallow_pla_grey",
    }
    assert {f for f, v in verdict.items() if v == "tune"} == {
        "2025-11_brightwater_pa_natural",  # wet
        "2026-05_kranich_pla_black",  # thin
        "2026-09_kranich_pla_green",
    }


def test_no_firm_accept_where_the_truth_is_outside(bench):
    """The label's mean and the limit of spread, as the true parameters have them."""
    for row in bench[1]["lots"]:
        truth = TRUTH["lots"][row["folder"]]
        sheet = (ROOT / "sample_measurements" / row["folder"] / "lot.toml").read_text("utf-8")
        tolerance_mm = tomllib.loads(sheet)["label"]["tolerance_mm"]
        bad = any(
            s["sd_mm"] > tolerance_mm / (3 * 1.33) or abs(s["mean_mm"] - 1.75) > tolerance_mm
            for s in truth["spools"].values()
        )
        if bad:
            assert (row["verdict"], row["standing"]) != ("accept", "firm"), row["folder"]


def test_the_drifting_supplier_drifts_and_the_broken_one_breaks(bench):
    folder, _ = bench
    place = ("--ledger", "lotqa-demo.sqlite")
    thin = lotqa("drift", "Kranich Filament", "--material", "PLA", *place, cwd=folder)
    lo, hi = thin["trend"]["ci95"]
    # 0.021 mm thinner in seventeen months is the truth of the scenario.
    assert lo <= -0.021 / 17 * 12 <= hi < 0
    broken = lotqa("drift", "Tallow & Reed", "--material", "PLA", *place, cwd=folder)
    spread = {
        row["lot"]
        for row in broken["lots"]
        for signal in row["signals"] or ()
        if "spread" in json.dumps(signal)
    }
    assert "TR 2026-06" in spread
    assert not spread & {"TR 2025-05", "TR 2025-08", "TR 2026-03"}
    steady = lotqa("drift", "Brightwater Polymers", "--material", "PLA", *place, cwd=folder)
    assert not any(row["signals"] for row in steady["lots"])


def test_suppliers_ranks_the_spreads(bench):
    folder, _ = bench
    rows = lotqa("suppliers", "--material", "PLA", "--ledger", "lotqa-demo.sqlite", cwd=folder)
    within = {r["supplier"]: r["within_spool_sd_mm"] for r in rows["suppliers"]}
    assert within["Brightwater Polymers"] < 0.005 < within["Tallow & Reed"]
