"""A lot that was dried, from its files to the document: the readings of the samples' wet nylon.

Weighings of the same scenario (1.2 % of water, 12 h at a time constant of 3 h); the reel, which
nobody states at first, and the weighings are changed to see what the same loss means then.
"""

import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from lotqa.inspection import run

NYLON = Path(__file__).parent.parent / "sample_measurements" / "2025-11_brightwater_pa_natural"


WEIGHED = """spool,kind,mass_g,hours,temperature_c,scale_step_g,note
1,gross,966,,,1,
1,tare,214,,,1,empty reel
1,before_drying,966,,,1,
1,after_drying,957,12,70,1,
2,gross,967,,,1,
2,tare,215,,,1,empty reel
2,before_drying,967,,,1,
2,after_drying,958,12,70,1,
"""


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    folder = Path(shutil.copytree(NYLON, tmp_path / "lot"))
    sheet = (folder / "lot.toml").read_text(encoding="utf-8")
    before, _, after = sheet.partition("[reel]\n")
    rest = after.partition("[[instrument]]")
    (folder / "lot.toml").write_text(f"{before}{rest[1]}{rest[2]}", encoding="utf-8")
    (folder / "weighings.csv").write_text(WEIGHED, encoding="utf-8")
    return folder


def document(lot: Path) -> dict[str, Any]:
    return dict(run(lot, now=datetime(2026, 3, 1, tzinfo=UTC)).document)


def reel(lot: Path, material: str) -> None:
    with (lot / "lot.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[reel]\nmaterial = "{material}"\n')


def test_the_wet_nylon_is_to_be_dried_and_only_that(lot: Path) -> None:
    made = document(lot)
    assert made["lot"]["verdict"] == "tune"
    for spool in made["spools"]:
        tuned = [r["check"] for r in spool["reasons"] if r["outcome"] == "tune"]
        assert (spool["verdict"], tuned) == ("tune", ["moisture.loss"])
        assert spool["action"] == (
            "Dry it before printing: 4 to 12 h at 65 to 90 C in a home dryer, no hotter than the "
            "reel stands, never in an oven used for food."
        )
        found = spool["moisture"]
        assert found["state"] == "wet"
        assert found["loss_ci95_pct"][0] < 1.2 < found["loss_ci95_pct"][1]
        assert found["scale_can_show"]["limit"] is True  # 0.5 % of 750 g on a 1 g scale
        assert found["scale_can_show"]["as_shipped"] is False
        assert found["plateau"]["word"] is None
        assert "above 0.50 % dry it before printing and before tuning" in found["text"]


def test_on_cardboard_the_same_loss_tells_nothing(lot: Path) -> None:
    reel(lot, "cardboard")
    for spool in document(lot)["spools"]:
        assert spool["moisture"]["state"] == "cannot tell"
        assert spool["moisture"]["reel_share"]["hi_g"] > spool["moisture"]["loss_g"]
        outcomes = {r["check"]: r["outcome"] for r in spool["reasons"]}
        assert outcomes["moisture.loss"] == "undecided"
        assert spool["verdict"] == "accept"


def test_on_a_plastic_reel_it_is_told_what_the_reel_stands(lot: Path) -> None:
    reel(lot, "plastic")
    home = document(lot)["spools"][0]["moisture"]["drying"]["home"]
    assert (home["hi_c"], home["refused"], home["ceiling_c"]) == (None, "nothing is safe", 60.0)
    assert home["text"].startswith("Practice for PA begins at 65 C and a plastic reel stands 60 C")


def test_further_weighings_tell_whether_it_stopped(lot: Path) -> None:
    with (lot / "weighings.csv").open("a", encoding="utf-8") as file:
        file.write("1,after_drying,957,14,70,1,\n2,after_drying,954,14,70,1,\n")
    first, second = (s["moisture"]["plateau"] for s in document(lot)["spools"][:2])
    assert (first["word"], first["hours"]) == ("plateau", 2.0)
    assert (second["word"], second["difference_g"]) == ("still losing", 4.0)
    assert second["text"].startswith("It is still losing: the last stretch took 4.0 g in 2 h")


def test_a_gain_is_no_verdict(lot: Path) -> None:
    text = (lot / "weighings.csv").read_text(encoding="utf-8")
    (lot / "weighings.csv").write_text(
        text.replace("after_drying,957", "after_drying,971"), encoding="utf-8"
    )
    spool = document(lot)["spools"][0]
    assert spool["moisture"]["state"] == "gained"
    assert "which cannot be" in spool["moisture"]["text"]
    assert spool["verdict"] == "accept"


def test_every_sentence_of_the_document_is_there(lot: Path) -> None:
    found = document(lot)["spools"][0]["moisture"]
    for part in (
        found,
        found["plateau"],
        found["reel_share"],
        found["scale_can_show"],
        found["drying"]["home"],
        found["drying"]["industrial"],
    ):
        assert part["text"].endswith(".")
    assert len(found["cautions"]) >= 5
    assert "no service temperature" in found["drying"]["glass_transition"]
