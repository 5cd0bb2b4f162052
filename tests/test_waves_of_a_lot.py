"""Waves of a spool from its places: from the files of a lot to document, page and terminal.

Waves, drifts and scatter are simulated with fixed seeds; the rates are held by the binomial.
"""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from lotqa.cli import lot_screen
from lotqa.evidence.waves.along_spool import spool_wave
from lotqa.inspection import inspect_lot, strips
from lotqa.intake import read_lot, read_sources
from lotqa.report import document as made_of
from lotqa.report import lot_page
from lotqa.report.document import inspection_document, plain
from tests.printing import PINS, SHEET

NOW = datetime(2026, 3, 2, tzinfo=UTC)
SAMPLES = Path(__file__).resolve().parent.parent / "sample_measurements"
TRUTH = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))["lots"]
PRINT = "[print]\nline_width_mm = 0.45\nlayer_height_mm = 0.2\n"


def uneven(n=24, stretch_m=20.0, seed=1):
    return np.sort(np.random.default_rng(seed).uniform(0, stretch_m, n)).round(2)


def inspected(position, mm, settings=PRINT, shuffle=False, spools=("A",)):
    rows = [
        f"{spool},{'' if np.isnan(x) else f'{x:.2f}'},{angle},{d:.3f}"
        for spool in spools
        for x, d in zip(position, mm, strict=True)
        for angle in (0, 90)
    ]
    if shuffle:
        rows = [rows[j] for j in np.random.default_rng(3).permutation(len(rows))]
    text = "\n".join(["spool,position_m,direction_deg,diameter_mm", *rows]) + "\n"
    texts = {"lot.toml": SHEET + settings, "readings.csv": text, "pin_checks.csv": PINS}
    return inspect_lot(read_sources([(k, v.encode()) for k, v in texts.items()]))


def waves(*args, **kwargs):
    document = inspection_document(inspected(*args, **kwargs), NOW)
    assert plain(document)  # no NaN anywhere
    return document["spools"][0]["waves"]


def wavy(position, period_m=0.18, amplitude_mm=0.02, scatter_mm=0.003, seed=2):
    noise = np.random.default_rng(seed).normal(0, scatter_mm, len(position))
    return 1.75 + amplitude_mm * np.sin(2 * np.pi * position / period_m + 1) + noise


def test_a_wave_is_told_with_the_band_it_lays():
    told = waves(uneven(), wavy(uneven()))
    assert (told["found"], told["cannot"], told["drift"]) == (True, None, False)
    assert told["period_m"] == pytest.approx(0.18, rel=0.002)
    assert told["amplitude_mm"] == pytest.approx(0.02, abs=4 * 0.003 * np.sqrt(2 / 24))
    assert told["significance"] <= 0.01
    # Flow follows the square of the diameter: peak to peak (1.77**2 - 1.73**2) / 1.75**2.
    whole = 100 * ((1.75 + 1e-3 * 20) ** 2 - (1.75 - 1e-3 * 20) ** 2) / 1.75**2
    assert told["swing_pct"] == pytest.approx(whole * told["amplitude_mm"] / 0.02, rel=0.01)
    (band,) = [b for b in told["bands"] if b["part"] == "square 80 mm, 3 walls"]
    # By hand: 960 mm of a stadium of 0.45 x 0.2 from a round of 1.75 mm; period over that x 0.2 mm.
    used = 960 * (0.25 * 0.2 + np.pi * 0.01) / (np.pi * 1.75**2 / 4)
    assert band["pitch_mm"] == pytest.approx(0.2 * 180 / used, rel=0.01)
    assert "A wave of 18.0 cm, 0.02" in told["text"]
    assert "Square 80 mm, 3 walls: the wave of 18 cm" in told["text"]
    assert "supposed" not in told["text"]
    assert "The line is supposed" in waves(uneven(), wavy(uneven()), settings="")["text"]


def test_bands_have_the_keys_of_an_in_line_log():
    band = waves(uneven(), wavy(uneven()))["bands"][0]
    assert set(band) == {
        "part", "period_m", "filament_mm_per_layer", "pitch_mm", "seen_pitch_mm", "swing_pct",
        "seen_as", "visibility", "near_drive_lead_mm", "text",
    }  # fmt: skip


def test_the_same_readings_give_the_same_answer_in_whatever_order_they_stand():
    once, again, mixed = (
        waves(uneven(), wavy(uneven()), shuffle=shuffle) for shuffle in (False, False, True)
    )
    assert once == again == mixed


def test_no_wave_says_what_the_places_could_have_shown():
    told = waves(uneven(), wavy(uneven(), amplitude_mm=0))
    assert (told["found"], told["period_m"], told["bands"]) == (False, None, [])
    assert f"one of {told['detectable_mm']:.3f} mm to either side" in told["text"]
    few = waves(uneven(15), wavy(uneven(15), amplitude_mm=0))
    assert (few["found"], few["detectable_mm"]) == (False, None)
    assert "so few places show only large ones" in few["text"]


@pytest.mark.parametrize(("share", "least", "most"), [(1.0, 0.65, 1.0), (0.4, 0.0, 0.35)])
def test_what_is_said_to_be_seen_is_mostly_seen(share, least, most):
    """Waves of just that size in 40 new spools of the same scatter, and of two fifths of it."""
    rng = np.random.default_rng(4)
    t = uneven(25, 4.0)
    told = np.median([
        spool_wave(t, rng.normal(0, 0.005, 25), drifts=False).detectable_mm for _ in range(20)
    ])  # fmt: skip
    found = 0
    for _ in range(40):
        t = np.sort(rng.uniform(0, 4, 25))
        phase, period = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 1.0)
        x = rng.normal(0, 0.005, 25) + share * told * np.sin(2 * np.pi * t / period + phase)
        found += spool_wave(t, x, drifts=False).found
    assert least <= found / 40 <= most


@pytest.mark.parametrize(
    ("position", "said"),
    [
        (uneven(11), "11 places were read, 12 are needed: read 1 more"),
        (np.array([1.2]), "1 place was read, 12 are needed: read 11 more"),
        (np.full(20, np.nan), "note them in metres"),
        (0.5 * np.arange(24), "the places repeat every 0.5 m"),
    ],
)
def test_places_that_carry_no_answer_say_why(position, said):
    x = np.nan_to_num(position, nan=1.0)
    told = waves(position, wavy(x + 0.01 * np.arange(len(x)), 0.36))
    assert told["found"] is False
    assert said in told["cannot"]
    assert told["cannot"] in told["text"]
    assert told["significance"] is None


def test_a_drift_is_no_wave():
    t = uneven()
    told = waves(t, 1.74 + 0.001 * t + wavy(t, amplitude_mm=0) - 1.75)
    assert told["found"] is False
    assert told["text"].startswith("Beside the drift of the places, no wave")
    bent = waves(t, 1.74 + 0.0015 * t + wavy(t, period_m=9.0) - 1.75)
    assert (bent["found"], bent["drift"], bent["bands"]) == (False, True, [])
    assert bent["text"].startswith("The places drift along the filament: a wave of")
    assert "longer than a third" in bent["text"]
    # A short wave is seen although the places drift.
    both = waves(t, 1.74 + 0.001 * t + wavy(t) - 1.75)
    assert both["found"]
    assert both["period_m"] == pytest.approx(0.18, rel=0.002)


def test_false_alarms_stay_at_one_percent_also_where_neighbours_are_alike():
    """Of 200 spools of scatter, and 100 that wander, one study of a thousand finds more."""
    rng = np.random.default_rng(6)
    steady = sum(
        spool_wave(np.sort(rng.uniform(0, 5, 20)), rng.normal(size=20), drifts=False).found
        for _ in range(200)
    )
    assert steady <= binom.ppf(0.999, 200, 0.01)
    walks = sum(
        spool_wave(
            np.sort(rng.uniform(0, 5, 20)), np.cumsum(rng.normal(size=20)), drifts=True
        ).found
        for _ in range(100)
    )
    assert walks <= binom.ppf(0.999, 100, 0.01)


def test_the_samples_with_a_wave_show_it_and_no_other_does():
    found, looked = {}, 0
    for folder, lot in TRUTH.items():
        document = inspection_document(inspect_lot(read_lot(SAMPLES / folder)), NOW)
        for spool in document["spools"]:
            assert spool["spool"] in lot["spools"]
            looked += spool["waves"] is not None and spool["waves"]["cannot"] is None
            if spool["waves"] is not None and spool["waves"]["found"]:
                found[folder, spool["spool"]] = spool["waves"]["period_m"]
    planted = {
        (folder, name): spool["wave_period_m"]
        for folder, lot in TRUTH.items()
        for name, spool in lot["spools"].items()
        if spool["wave_period_m"]
    }
    assert looked > 40
    assert found == pytest.approx(planted, rel=0.005)


def test_an_archive_of_many_spools_is_not_looked_at(monkeypatch):
    monkeypatch.setattr(made_of, "MORE_PLACES_SPOOLS", 1)
    t = uneven()
    for spools, is_looked_at in ((("A",), True), (("A", "B"), False)):
        document = inspection_document(inspected(t, wavy(t), spools=spools), NOW)
        assert (document["spools"][0]["waves"] is not None) is is_looked_at


def test_page_and_terminal_tell_a_wave(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "400")
    t = uneven()
    for amplitude, is_there in ((0.02, True), (0.0, False)):
        inspection = inspected(t, wavy(t, amplitude_mm=amplitude))
        document = inspection_document(inspection, NOW)
        html = lot_page(document, strips(inspection))
        assert ("18.0 cm, ± 0.02" in html) is is_there
        assert ("Wave:</span> A wave of 18.0 cm" in html) is is_there
        assert ("none seen" in html) is not is_there
        lot_screen._waves(lot_screen.console(), document["spools"])
        assert ("Spool A: A wave of 18.0 cm" in capsys.readouterr().out) is is_there
    # Documents from before waves were looked for are shown as they are.
    del document["spools"][0]["waves"]
    assert "Wave along the filament" not in lot_page(document, strips(inspection))
    lot_screen._waves(lot_screen.console(), document["spools"])
    assert capsys.readouterr().out == ""
