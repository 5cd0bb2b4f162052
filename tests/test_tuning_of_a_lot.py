"""Tuning of a lot, from its files to document, pages and terminal."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from lotqa.cli import app
from lotqa.inspection import inspect_lot, run
from lotqa.intake import read_sources
from lotqa.report.tuning_document import cards_of
from tests.printing import ASKED, NOW, document, files, laid_over_asked, printed, spool, walls

# ------------------------------------------------------------------------ what is set now


@pytest.mark.parametrize(
    ("set_mm", "multiplier"), [(1.75, 1.0), (1.75, 0.95), (1.70, 1.04), (1.78, 1.0), (1.75, 0.967)]
)
def test_flow_is_that_of_the_machine_as_it_is_set_now(set_mm, multiplier):
    found = spool(f"set_diameter_mm = {set_mm}\nmultiplier = {multiplier}")
    want = 100 * (laid_over_asked(1.78, set_mm, multiplier) - 1)
    # The mean of 40 readings, each with a scatter of 0.002 mm, and three pin readings a session:
    # 0.001 mm is three standard deviations, and 0.115 % of flow.
    assert found["flow"]["error_pct"] == pytest.approx(want, abs=0.12)
    assert found["tuning"]["flow_error_pct"] == pytest.approx(found["flow"]["error_pct"], abs=1e-9)
    assert found["tuning"]["multiplier"] == pytest.approx(found["flow"]["multiplier"], rel=1e-12)
    assert found["tuning"]["diameter_mm"] == pytest.approx(found["flow"]["set_diameter_mm"])
    outcome = next(r["outcome"] for r in found["reasons"] if r["check"] == "diameter.flow")
    assert outcome == ("pass" if abs(want) <= 2 else "tune")


def test_either_number_entered_puts_it_right_and_both_do_not():
    before = spool("set_diameter_mm = 1.76\nmultiplier = 1.02")
    k, d = before["tuning"]["multiplier"], before["tuning"]["diameter_mm"]
    assert before["verdict"] == "tune"
    for settings in (
        f"set_diameter_mm = 1.76\nmultiplier = {k}",
        f"set_diameter_mm = {d}\nmultiplier = 1.02",
    ):
        after = spool(settings)
        assert after["flow"]["error_pct"] == pytest.approx(0, abs=1e-9)
        assert after["verdict"] == "accept"
    both = spool(f"set_diameter_mm = {d}\nmultiplier = {k}")["flow"]["error_pct"]
    error = before["flow"]["error_pct"]
    assert (1 + both / 100) * (1 + error / 100) == pytest.approx(1, rel=1e-9)
    assert "never both" in before["action"]
    assert before["tuning"]["either_or"] in before["tuning"]["text"]


def test_a_machine_that_is_set_to_its_filament_is_not_to_be_tuned_for_its_centring():
    """0.03 mm off nominal at a spread of 0.004 mm passes Cpk only just; 0.04 mm does not."""
    off, tuned = {"A": 1.79}, f"multiplier = {(1.75 / 1.79) ** 2}"
    assert spool(spools=off)["verdict"] == "tune"
    made = spool(tuned, spools=off)
    assert made["verdict"] == "accept"
    centring = next(r for r in made["reasons"] if r["check"] == "diameter.centring")
    assert centring["text"].endswith("The machine is set to this filament already.")


def test_no_multiplier_is_a_multiplier_of_one():
    without, with_one = document(), document("multiplier = 1.0")
    assert without["spools"][0]["tuning"].pop("set_now")["stated"] is False
    assert with_one["spools"][0]["tuning"].pop("set_now")["stated"] is True
    assert without["spools"] == with_one["spools"]
    assert without["missing"] == with_one["missing"]


def test_the_lot_gets_one_multiplier_for_what_is_set_now():
    spools = {"A": 1.78, "B": 1.781, "C": 1.779}
    plain_lot = document(spools=spools)["lot"]["multiplier"]
    assert document("multiplier = 1.1", spools=spools)["lot"]["multiplier"] == pytest.approx(
        plain_lot, rel=1e-9
    )


def test_the_multiplier_is_told_in_the_reason_and_what_it_may_hide():
    made = document("set_diameter_mm = 1.75\nmultiplier = 0.95")
    flow = next(r for r in made["spools"][0]["reasons"] if r["check"] == "diameter.flow")
    said = "Set to 1.75 mm and multiplier 0.95, the machine lays 1.7 % less"
    assert flow["text"].startswith(said)
    assert (
        "How much of the multiplier 0.95 the machine itself needs is not known: all of it is "
        "counted as set for the filament. Print a coupon from a spool that is known to be good and "
        "write its residual under [coupon] as reference_residual."
    ) in made["missing"]
    stated = document("multiplier = 0.95", "reference_residual = 0.95")
    assert not any("multiplier" in m for m in stated["missing"])


# ------------------------------------------------------------------ what the machine itself needs


def test_what_the_machine_needs_is_no_error_of_the_filament():
    """A drive that bites deep needs 0.96 whatever it is fed; the filament is what it is."""
    made = spool("multiplier = 0.96", "reference_residual = 0.96\nreference_u = 0.0")
    want = 100 * (laid_over_asked(1.78, 1.75, 0.96, 0.96) - 1)
    assert made["flow"]["error_pct"] == pytest.approx(want, abs=0.12)
    assert laid_over_asked(1.78, 1.75, made["tuning"]["multiplier"], 0.96) == pytest.approx(
        1, abs=0.0012
    )
    text = next(r["text"] for r in made["reasons"] if r["check"] == "diameter.flow")
    assert "and multiplier 0.96, and needing 0.96 of what a diameter says, the machine" in text
    assert "Counted in: the machine itself needs 0.96" in made["tuning"]["text"]


def test_doubt_of_the_machine_widens_what_is_said():
    """Monte Carlo: the error's spread is that of mean and residual together."""
    sure = spool("", "reference_residual = 1.0\nreference_u = 0.0")
    doubt = spool("", "reference_residual = 1.0\nreference_u = 0.01")
    ends = np.array([s["flow"]["error_ci95_pct"] for s in (sure, doubt)])
    half = np.diff(ends, axis=1)[:, 0] / 2
    rng = np.random.default_rng(3)
    mean = rng.normal(1.78, half[0] / 100 / 1.96 * 1.75**2 / (2 * 1.78), 400_000)
    flow = 100 * (mean**2 / 1.75**2 / rng.normal(1.0, 0.01, 400_000) - 1)
    # A standard deviation from 400,000 draws: 0.11 %; the ratio is not quite normal: 1 %.
    assert half[1] == pytest.approx(1.96 * flow.std(), rel=0.015)
    tuning = doubt["tuning"]
    lo, hi = tuning["multiplier_ci95"]
    assert (1 / lo - 1) * 100 == pytest.approx(doubt["flow"]["error_ci95_pct"][1], abs=1e-9)
    assert (1 / hi - 1) * 100 == pytest.approx(doubt["flow"]["error_ci95_pct"][0], abs=1e-9)
    # Without a stated uncertainty the criteria's 1 % stands in.
    supposed = spool("", "reference_residual = 1.0")
    assert supposed["flow"]["error_ci95_pct"] == doubt["flow"]["error_ci95_pct"]


# --------------------------------------------------------------------------------- the tuning


def test_the_tuning_of_a_spool():
    made = spool("line_width_mm = 0.6\nlayer_height_mm = 0.3")
    tuning = made["tuning"]
    lo, hi = tuning["multiplier_ci95"]
    assert lo < (1.75 / 1.78) ** 2 < hi
    d_lo, d_hi = tuning["diameter_ci95_mm"]
    assert d_lo < 1.78 < d_hi
    # 95 % of a normal spread of sd lie within +/- 1.96 sd; flow goes with the square.
    sd = made["diameter"]["sd_mm"]
    thin, thick = ((1.78 + z * sd) ** 2 / 1.78**2 for z in (-1.96, 1.96))
    assert tuning["after"]["swing_pct"] == pytest.approx(100 * (thick - thin), rel=0.002)
    ends = zip(tuning["after"]["swing_ci95_pct"], made["diameter"]["sd_ci95_mm"], strict=True)
    for swing, end in ends:
        assert swing == pytest.approx(tuning["after"]["swing_pct"] * end / sd, rel=1e-4)
    # Common practice, no source: 0.60 x 0.30 mm widens by 0.0054 mm for 1 % of flow.
    widths = tuning["after"]["line_width_change_mm"]
    assert widths[1] == pytest.approx(0.0054 * tuning["after"]["swing_pct"] / 2, rel=0.01)
    # Common practice, no source: 1.70 and 1.80 mm are -5.6 and +5.8 % of flow, 0.031 mm of a line.
    assert tuning["label_allows"]["flow_pct"] == pytest.approx([-5.6, 5.8], abs=0.05)
    assert tuning["label_allows"]["line_width_change_mm"][1] == pytest.approx(0.031, abs=5e-4)
    assert tuning["line"] == {"width_mm": 0.6, "height_mm": 0.3, "supposed": False}
    assert tuning["warning"] is None


def test_a_line_that_nobody_stated_is_said_to_be_supposed():
    tuning = spool()["tuning"]
    assert tuning["line"] == {"width_mm": 0.45, "height_mm": 0.2, "supposed": True}
    assert "A line of 0.45 x 0.2 mm is supposed" in tuning["text"]


def test_a_correction_beyond_what_is_usual_warns():
    tuning = spool("set_diameter_mm = 1.90")["tuning"]
    assert tuning["multiplier"] > 1.1
    assert tuning["warning"].startswith("A multiplier outside 0.90 to 1.10 means that something")
    assert tuning["warning"] in tuning["text"]


def test_one_place_gives_a_number_without_an_interval():
    tuning = spool(n_places=1)["tuning"]
    assert tuning["multiplier"] is not None
    assert (tuning["multiplier_ci95"], tuning["diameter_ci95_mm"]) == ([None, None], [None, None])
    assert tuning["after"]["swing_pct"] is None
    assert "; one place gives no interval. Either" in tuning["text"]
    assert "How much the flow swings along the spool is not known." in tuning["text"]


def test_a_spool_that_was_only_weighed_has_neither():
    made = document(weighings="spool,kind,mass_g\nB,gross,1200\n")["spools"][1]
    assert (made["spool"], made["tuning"], made["coupon"]) == ("B", None, None)


def test_every_spool_gets_the_card_of_its_own_diameter():
    inspection = inspect_lot(read_sources(files(spools={"A": 1.72, "B": 1.75, "C": 1.79})))
    got = cards_of(inspection).card.new_multiplier
    assert got == pytest.approx([(1.75 / d) ** 2 for d in (1.72, 1.75, 1.79)], abs=0.0012)


# -------------------------------------------------------------------------- pages and terminal


def folder(path: Path, *args: Any, **kwargs: Any) -> Path:
    path.mkdir(exist_ok=True)
    for name, content in files(*args, **kwargs):
        (path / name).write_bytes(content)
    return path


def test_cards_lie_beside_the_page_and_no_old_number_stays(tmp_path):
    reports = tmp_path / "reports"
    lot = folder(tmp_path / "lot")
    done = run(lot, now=NOW, report_folder=reports)
    assert done.page is not None
    assert done.cards == reports / f"{done.page.stem}_cards.html"
    k = f"{done.document['spools'][0]['tuning']['multiplier']:.3f}"
    assert k in done.cards.read_text("utf-8")
    assert f'href="{done.cards.name}"' in done.page.read_text("utf-8")
    folder(lot, f"multiplier = {k}")
    again = run(lot, now=NOW, report_folder=reports)
    assert (again.page, again.cards) == (done.page, None)
    assert "_cards.html" not in again.page.read_text("utf-8")
    left = done.cards.read_text("utf-8")
    assert "No spool of this lot is to be tuned." in left
    assert k not in left


def test_a_lot_without_a_spool_to_tune_has_no_cards(tmp_path):
    lot = folder(tmp_path / "lot", spools={"A": 1.75})
    done = run(lot, now=NOW, report_folder=tmp_path / "reports")
    assert done.cards is None
    assert [p.name for p in (tmp_path / "reports").iterdir()] == [done.page.name]


def test_the_terminal_says_what_to_enter_and_where_the_cards_are(tmp_path):
    lot = folder(
        tmp_path / "lot", "set_diameter_mm = 1.90", ASKED, coupon_walls=walls(printed(1.78)[1])
    )
    said = CliRunner().invoke(
        app, ["inspect", str(lot), "--no-ledger", "--report", str(tmp_path / "reports")]
    )
    assert said.exit_code == 0, said.output
    text = " ".join(said.output.split())
    assert "Spool A: Enter the multiplier 1.139 or the diameter 1.780 mm, never both." in text
    assert "A multiplier outside 0.90 to 1.10 means that something else is wrong" in text
    assert "coupon: By the wall the print needs" in text
    assert "Tuning cards: " in text
