"""``lotqa ledger remaining``: what is left on a spool in use."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.cli.contract import not_finite
from tests.cli.lots import SHEET, put_lot
from tests.cli.terminal import Answer, command
from tests.cli.test_contract import only_document

REEL = '\n[reel]\nkind = "grey ring"\nmaterial = "plastic"\n'
SCALE = """
[[instrument]]
kind = "scale"
name = "parcel scale"
resolution_g = 1
limit_of_error_g = 1
"""
# Spool 1: its reel weighed empty and 2 m cut; spool 2: its reel known by that of spool 1.
WEIGHED = (
    "spool,kind,mass_g,length_m,scale_step_g\n"
    "1,gross,1215,,1\n1,tare,215,,1\n1,cut,5.96,2,0.01\n2,gross,1217,,1\n"
)
Z = stats.norm.ppf(0.975)
U_SCALE_G = math.sqrt((1**2 + 0.5**2) / 3)  # rectangular: limit of error 1 g, half a step


def left(*arguments: object) -> Answer:
    return command("ledger", "remaining", *arguments)


def document(*arguments: object) -> dict:
    answer = left(*arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found = only_document(answer.out)
    assert list(not_finite(found)) == []
    assert found["schema"] == "lotqa.remaining.v1"
    return found


def told(*arguments: object) -> str:
    answer = left(*arguments)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    return answer.err.removeprefix("lotqa: ").rstrip()


def put(bench: Path, sheet: str, weighings: str | None, lot: str = "K1") -> None:
    files = {} if weighings is None else {"weighings": weighings}
    put_lot(bench / lot, sheet.replace('lot = "K1"', f'lot = "{lot}"'), **files)
    assert command("inspect", lot, "--no-report").code == 0


@pytest.fixture
def kept(bench: Path) -> Path:
    put(bench, SHEET + REEL + SCALE, WEIGHED)
    return bench / "kept.sqlite"


@pytest.mark.usefixtures("kept")
def test_a_spool_whose_reel_and_cut_were_weighed_is_known_best() -> None:
    """By hand: (620 - 215) / 2.98 m, both weighings within 1 g and half a step."""
    found = document("K1", "--spool", "1", "--gross", "620")
    assert (found["tare_known"], found["grams_per_m_by"]) == ("itself", "weighed length")
    assert (found["net_g"], found["used_g"]) == (405.0, 595.0)
    half_g = Z * math.hypot(U_SCALE_G, U_SCALE_G)
    assert found["net_ci95_g"] == pytest.approx([405 - half_g, 405 + half_g])
    assert found["length_m"] == pytest.approx(405 / 2.98)
    assert found["volume_ml"] == pytest.approx(405 / 1.24)
    lo, hi = found["length_ci95_m"]
    assert lo < found["surely_left"]["length_m"] < found["length_m"] < hi
    # One-sided 95 % is 1.645 of two-sided 1.960 standard uncertainties away.
    ratio = (found["length_m"] - found["surely_left"]["length_m"]) / (found["length_m"] - lo)
    assert ratio == pytest.approx(stats.norm.ppf(0.95) / Z)


@pytest.mark.usefixtures("kept")
def test_the_interval_of_the_metres_is_that_of_a_simulation() -> None:
    """Normal errors of the three inputs, drawn 400,000 times: the interval holds 95 % of them."""
    found = document("K1", "--spool", "2", "--gross", "620")
    chance = np.random.default_rng(3)
    n = 400_000
    gross = chance.normal(620, found["gross_uncertainty_g"] / 2, n)
    tare = chance.normal(found["tare_g"], found["tare_uncertainty_g"] / 2, n)
    lo, hi = found["grams_per_m_ci95"]
    metre = chance.normal(found["grams_per_m"], (hi - lo) / 2 / Z, n)
    lo, hi = found["length_ci95_m"]
    inside = np.mean((lo <= (gross - tare) / metre) & ((gross - tare) / metre <= hi))
    # Standard error of a share of 400,000 is 0.0003; the quotient is normal to first order only.
    assert inside == pytest.approx(0.95, abs=0.003)


@pytest.mark.usefixtures("kept")
def test_a_reel_of_the_lot_and_then_the_record_make_it_known_better() -> None:
    first = document("K1", "--spool", "2", "--gross", "620")
    assert (first["tare_known"], first["tare_g"]) == ("alike", 215.0)
    assert first["grams_per_m_by"] == "density and diameter"
    for i, mass_g in enumerate((214, 215, 216, 215, 214, 216)):
        entered = command("ledger", "tare", mass_g, "--lot", "K1", "--note", f"reel {i}")
        assert entered.code == 0
    many = document("K1", "--spool", "2", "--gross", "620")
    assert many["tare_uncertainty_g"] < first["tare_uncertainty_g"] / 3
    assert command("ledger", "tare", "217", "--lot", "K1", "--spool", "2").code == 0
    itself = document("K1", "--spool", "2", "--gross", "620")
    assert (itself["tare_known"], itself["net_g"]) == ("itself", 403.0)
    assert itself["tare_uncertainty_g"] < many["tare_uncertainty_g"]


@pytest.mark.usefixtures("kept")
def test_the_density_is_known_as_its_range_tells() -> None:
    """PLA, 1.20 to 1.30 in materials.toml: rectangular; GUM 5.1.2 for mass and density."""
    found = document("K1", "--spool", "1", "--gross", "620")
    u_density = 0.05 / math.sqrt(3)
    relative = math.hypot(math.sqrt(2) * U_SCALE_G / 405, u_density / 1.24)
    lo, hi = found["volume_ci95_ml"]
    assert (hi - lo) / 2 / found["volume_ml"] == pytest.approx(Z * relative)


@pytest.mark.parametrize(
    ("reel", "tare", "expected"),
    [
        ("", "supposed, a reel of which nothing is known weighs 120 to 260 g", 190.0),
        (REEL, "supposed, an empty plastic reel for 1 kg weighs 180 to 260 g", 220.0),
    ],
)
def test_a_spool_never_weighed_before_has_a_supposed_reel(
    bench: Path, reel: str, tare: str, expected: float
) -> None:
    put(bench, SHEET + reel, None)
    found = document("K1", "--spool", "1", "--gross", "620")
    assert (found["tare_source"], found["tare_g"]) == (tare, expected)
    assert found["used_g"] is None
    assert found["length_m"] > 0
    lo, hi = found["net_ci95_g"]
    half_g = float(tare.split()[-2]) - expected
    assert (hi - lo) / 2 == pytest.approx(
        Z * math.hypot(half_g / math.sqrt(3), math.sqrt((2**2 + 0.5**2) / 3))
    )


def test_without_a_material_there_are_grams_but_no_metres(bench: Path) -> None:
    put(bench, SHEET.replace('material = "PLA"\n', ""), "spool,kind,mass_g\n1,gross,1215\n")
    found = document("K1", "--spool", "1", "--gross", "620", "--needed", "10")
    assert (found["length_m"], found["volume_ml"], found["grams_per_m"]) == (None, None, None)
    assert found["needed"]["covered"] == "cannot be told"
    assert "Grams per metre are not known" in found["metre_text"]


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("needed", "covered"), [(120, "surely"), (135.9, "cannot be told"), (150, "surely not")]
)
def test_a_print_is_covered_surely_or_not_or_nobody_can_tell(needed: float, covered: str) -> None:
    found = document("K1", "--spool", "1", "--gross", "620", "--needed", str(needed))
    assert (found["needed"]["length_m"], found["needed"]["covered"]) == (needed, covered)
    surely = found["surely_left"]["length_m"]
    assert (needed <= surely) == (covered == "surely")
    for number in map(float, re.findall(r"([\d.]+) m are there", found["needed"]["text"])):
        assert number <= surely


@pytest.mark.usefixtures("kept")
def test_an_almost_empty_reel_has_no_negative_metres() -> None:
    found = document("K1", "--spool", "2", "--gross", "205", "--needed", "1")
    assert found["net_ci95_g"][0] == 0
    assert found["length_ci95_m"][0] == 0
    assert found["surely_left"] == {"confidence": 0.95, "net_g": 0, "length_m": 0}
    assert "0 g left (95 % 0 to" in left("K1", "--spool", "2", "--gross", "205").out


@pytest.mark.usefixtures("kept")
def test_a_person_reads_short_lines() -> None:
    answer = left("K1", "--spool", "1", "--gross", "620", "--needed", "100")
    assert (answer.code, answer.err) == (0, "")
    assert max(map(len, answer.out.splitlines())) <= 80
    said = re.sub(r"\s+", " ", answer.out)
    assert said.startswith("Spool 1 of lot K1 (Kranich Filament): 405 g left (95 % 403 to 407 g)")
    assert "100 m are surely covered:" in said
    assert "Reel 215 g, known to 1.3 g: this reel weighed empty." in said
    assert "2.980 g a metre" in said


@pytest.mark.usefixtures("kept")
def test_a_better_scale_says_so_itself() -> None:
    plain = document("K1", "--spool", "1", "--gross", "620")
    fine = document(
        "K1", "--spool", "1", "--gross", "620", "--scale-step", "0.1", "--limit-of-error", "0.1"
    )
    assert plain["gross_uncertainty_g"] == pytest.approx(2 * U_SCALE_G)
    # Rectangular: 0.1 g and half of 0.1 g.
    expected_g = 2 * math.sqrt((0.1**2 + 0.05**2) / 3)
    assert fine["gross_uncertainty_g"] == pytest.approx(expected_g)


def test_a_cardboard_reel_is_cautioned_about(bench: Path) -> None:
    board = REEL.replace("plastic", "cardboard")
    put(bench, SHEET + board, "spool,kind,mass_g\n1,gross,1155\n")
    assert "cardboard reel holds water" in left("K1", "--spool", "1", "--gross", "600").out


MISTAKES = {
    ("K1", "--spool", "1", "--gross", "190"): (
        '--gross is "190", but the empty reel of spool 1 of lot K1 weighs 215 g (this reel weighed '
        "empty), at least 213 g: is it another reel? Weigh reel and filament together"
    ),
    ("K1", "--spool", "1", "--gross", "1240"): (
        '--gross is "1240", but spool 1 of lot K1 weighed 1215 g when it came: is it another '
        "spool, or is something else on the scale?"
    ),
    ("K1", "--spool", "7", "--gross", "620"): (
        '--spool is "7", which is not among the spools inspected of lot K1: it has 1, 2'
    ),
    (
        "K7",
        "--spool",
        "1",
        "--gross",
        "620",
    ): 'lot "K7" is not in the ledger: see lotqa ledger list',
    ("K1", "--spool", "1", "--gross", "0.62"): (
        '--gross is "0.62", too little for grams, a slip for kilograms? Then write 620'
    ),
    ("K1", "--spool", "1", "--gross", "0,62 kg"): ('--gross is "0,62 kg", in kilograms: write 620'),
    ("K1", "--spool", "1", "--gross", "half"): (
        '--gross is "half": write the grams that the scale shows, reel and filament together, such '
        "as 620"
    ),
    ("K1", "--spool", "1", "--gross=-20"): (
        '--gross is "-20": write the grams that the scale shows, reel and filament together, such '
        "as 620"
    ),
    ("K1", "--gross", "620"): "--spool is missing: say which spool of the lot is on the scale",
    ("K1", "--spool", "1"): (
        "--gross is missing: write the grams that the scale shows, reel and filament together, "
        "such as 620"
    ),
    ("K1", "--spool", "1", "--gross", "620", "--needed", "0"): (
        '--needed is "0": write a number from 0.001 to 100000, such as 150'
    ),
}


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("typed", "message"), MISTAKES.items(), ids=[" ".join(m) for m in MISTAKES]
)
def test_what_cannot_be_is_told_in_one_line(typed: tuple[str, ...], message: str) -> None:
    assert told(*typed) == message


def test_a_ledger_that_is_not_there_is_not_made(ledger: Path) -> None:
    assert "kept.sqlite" in told("K1", "--spool", "1", "--gross", "620")
    assert not ledger.exists()


@pytest.mark.usefixtures("kept")
def test_nothing_is_written(kept: Path) -> None:
    before = kept.read_bytes()
    assert json.loads(left("K1", "--spool", "1", "--gross", "620", "--json").out)
    assert kept.read_bytes() == before
