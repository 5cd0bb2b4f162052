"""``lotqa trace``: what a person sees, what a program reads, and what is refused."""

import re
from pathlib import Path

import pytest

from tests.cli.contract import PAIR, Optional, breaches, not_finite
from tests.cli.terminal import Answer, command
from tests.cli.test_contract import only_document
from tests.traces import Shape, firmware_log, simulated, table_bytes

WAVE_M, WAVE_MM = 0.18, 0.008
LUMP_M, NECK_M, SPLICE_M = 20.0, 33.0, 45.0
KNOWN = Shape(
    sd_mm=0.003,
    waves=((WAVE_M, WAVE_MM),),
    lumps=((LUMP_M, 10.0, 0.20), (NECK_M, 12.0, -0.18)),
    splices=((SPLICE_M, 0.05),),
    ovality_mm=0.02,
    axis_angles_deg=(0.0, 90.0),
    noise_sd_mm=0.001,
)

# The agreed keys, typed from the agreement and not taken from the program.
EVENT = dict.fromkeys(["kind", "position_m", "length_m", "peak_mm"])
WAVE = dict.fromkeys(["period_m", "amplitude_mm", "share_of_variance", "significance"])
BAND = dict.fromkeys(["part", "period_m", "pitch_mm", "swing_pct", "seen_as", "visibility", "text"])
STRETCH = Optional(dict.fromkeys(["position_m", "mean_mm", "sd_mm", "flow_error_pct"]))
TRACE = {
    "schema": ("lotqa.trace.v1",),
    **dict.fromkeys(
        ["rows", "rows_read", "rows_used", "rows_reported", "length_m", "effective_rows"]
    ),
    "diameter": {
        **dict.fromkeys(
            ["readings", "mean_mm", "sd_observed_mm", "sd_mm", "min_mm", "max_mm", "cp", "cpk"]
        ),
        **dict.fromkeys(["uncertainty_mean_mm", "median_mm"]),
        **dict.fromkeys(
            ["mean_ci95_mm", "sd_ci95_mm", "cp_ci95", "cpk_ci95", "tolerance_interval_mm"], PAIR
        ),
    },
    "ovality": Optional({"mean_mm": None, "mean_ci95_mm": PAIR, "max_mm": None, "method": None}),
    "flow": {
        **dict.fromkeys(["error_pct", "swing_pct", "multiplier", "set_diameter_mm"]),
        "error_ci95_pct": PAIR,
    },
    "drift": {"slope_mm_per_100m": None, "slope_ci95_mm_per_100m": PAIR},
    "outside": [dict.fromkeys(["tolerance_mm", "outside_pct"])],
    "windows": [{"length_m": None, "worst_flow": STRETCH, "worst_spread": STRETCH}],
    "events": [EVENT],
    "waves": [WAVE],
    "bands": [BAND],
    "swing": {**dict.fromkeys(["value_pct", "word", "fine_pct", "bands_pct", "evidence"])},
    "problems": [dict.fromkeys(["file", "line", "column", "value", "message"])],
}
NUMBERS = ("rows", "rows_read", "rows_used", "rows_reported", "length_m")


@pytest.fixture(scope="module")
def known_log() -> bytes:
    return table_bytes(simulated(60_000, KNOWN, seed=5))


@pytest.fixture
def log(bench: Path, known_log: bytes) -> Path:
    path = bench / "spool.csv"
    path.write_bytes(known_log)
    return path


def document(*arguments: object) -> dict:
    answer = command("trace", *arguments, "--json", "--no-report")
    assert (answer.code, answer.err) == (0, "")
    found = only_document(answer.out)
    assert list(not_finite(found)) == []
    assert list(breaches(found, TRACE)) == []
    return found


def prose(answer: Answer) -> str:
    return re.sub(r"\s+", " ", answer.out)


def test_the_document_keeps_the_contract(log: Path) -> None:
    found = document(log)
    assert all(isinstance(found[key], int | float) for key in NUMBERS)
    assert found["rows_read"] == found["rows_used"] == found["rows"] == 60_000
    assert found["length_m"] == pytest.approx(59.999)
    assert found["problems"] == []
    assert found["page"] is None
    assert {w["length_m"] for w in found["windows"]} == {1.0, 10.0}
    assert {o["tolerance_mm"] for o in found["outside"]} >= {0.02, 0.03, 0.05}


def test_a_missing_key_is_caught(log: Path) -> None:
    found = document(log)
    del found["events"][0]["peak_mm"]
    found["flow"]["error_ci95_pct"] = 1.0
    assert len(list(breaches(found, TRACE))) == 2


def test_what_is_in_the_log_is_found(log: Path) -> None:
    """The simulated truth; positions to a length of the event, heights to 10 %."""
    found = document(log)
    events = [e for e in found["events"] if e["kind"] != "spike"]
    assert [e["kind"] for e in events] == ["lump", "neck", "splice"]
    wanted = [(LUMP_M, 0.20), (NECK_M, -0.18), (SPLICE_M, 0.05)]
    for event, (at, height) in zip(events, wanted, strict=True):
        assert event["position_m"] == pytest.approx(at, abs=0.012)
        assert event["peak_mm"] == pytest.approx(height, abs=0.1 * abs(height) + 0.004)
    assert [e["stops"] for e in events] == [True, True, False]  # 1.95 and 1.57 mm; 1.90, 1.60
    wave = found["waves"][0]
    # The stretch of 60 m holds 333 waves: lengths are told apart to about 1/333.
    assert wave["period_m"] == pytest.approx(WAVE_M, rel=1 / 333)
    assert wave["amplitude_mm"] == pytest.approx(WAVE_MM, rel=0.1)
    assert wave["significance"] < 0.01
    assert found["ovality"]["mean_mm"] == pytest.approx(0.02, abs=0.004)
    # Three quarters of it before the splice of 0.05 mm.
    assert found["diameter"]["mean_mm"] == pytest.approx(1.75 + 0.05 / 4, abs=0.002)


def test_bands_follow_from_the_bead(log: Path) -> None:
    """Worked by hand: A = 0.25 x 0.20 + pi 0.01 = 0.08142 mm2; 240 mm of line are 19.54 mm3.

    Filament of 1.7625 mm has 2.4398 mm2, so a layer takes 8.009 mm of it, and a wave of 180 mm
    22.47 layers of 0.20 mm, 4.49 mm.
    """
    found = document(log, "--part", 60, "--line-width", 0.45, "--layer-height", 0.2)
    assert found["part"] == "square 60 mm, 1 wall"
    own = found["bands"][0]
    assert own["part"] == found["part"]
    assert own["filament_mm_per_layer"] == pytest.approx(8.009, rel=0.005)
    assert own["pitch_mm"] == pytest.approx(4.49, rel=0.01)
    sizes = {b["part"] for b in found["bands"]}
    assert sizes == {"square 60 mm, 1 wall"} | {
        f"square {s} mm, {w}" for s in (20, 80, 150) for w in ("1 wall", "3 walls")
    }


def test_the_swing_is_weighed_by_the_criteria(log: Path, bench: Path) -> None:
    usual = document(log)["swing"]
    assert (usual["fine_pct"], usual["bands_pct"]) == (3.5, 6.0)
    assert "five logs" in usual["evidence"]
    (bench / "own.toml").write_text("[swing]\nfine_pct = 40\nbands_pct = 50\n", encoding="utf-8")
    assert document(log, "--criteria", "own.toml")["swing"]["word"] == "fine"
    (bench / "own.toml").write_text("[swing]\nfine_pct = 0.1\nbands_pct = 0.2\n", encoding="utf-8")
    assert document(log, "--criteria", "own.toml")["swing"]["word"] == "bands expected"


def test_the_error_of_the_gauge_widens_the_mean(log: Path) -> None:
    """A limit of error of 0.1 mm is a standard uncertainty of 0.1 / sqrt(3) (GUM 4.3.7)."""
    bare, known = document(log), document(log, "--gauge-error", 0.1)
    lo, hi = known["diameter"]["mean_ci95_mm"]
    assert hi - lo > 2 * 1.96 * 0.1 / 3**0.5
    assert bare["gauge_error_stated"] is False
    assert any("--gauge-error" in text for text in bare["cautions"])
    assert not any("--gauge-error" in text for text in known["cautions"])


def test_a_wrong_length_column_is_rescaled(log: Path) -> None:
    found = document(log, "--length-scale", "2.53")
    assert found["length_m"] == pytest.approx(2.53 * 59.999)
    assert found["waves"][0]["period_m"] == pytest.approx(2.53 * WAVE_M, rel=1 / 333)


def test_a_person_reads_it_in_eighty_columns(log: Path, bench: Path) -> None:
    answer = command("trace", log, "--report", "pages")
    assert (answer.code, answer.err) == (0, "")
    assert max(len(line) for line in answer.out.splitlines() if "Page:" not in line) <= 80
    said = prose(answer)
    assert "spool.csv: 60,000 rows read, 60,000 used, 0 reported" in said
    assert "Found: 1 lump, 1 neck and 1 splice. 2 of them stop or slip in the feed path" in said
    assert "The strongest is 18.0 cm long" in said
    assert "the filament makes the bands; if it stays the same on both" in said
    page = Path(said.rpartition("Page: ")[2].strip())
    assert (bench / page).is_file()
    assert [p.name for p in (bench / "pages").iterdir()] == [page.name]


def test_what_a_log_does_wrong_is_told_with_its_line_and_the_rest_is_used(bench: Path) -> None:
    rows = table_bytes(simulated(3000)).decode().splitlines()
    rows[500] = "echo: busy"
    rows[900] = rows[900].replace(rows[900].split(",")[1], "17.5")
    (bench / "odd.csv").write_text("\n".join(rows)[:-3], encoding="utf-8")
    answer = command("trace", "odd.csv", "--json", "--no-report")
    assert answer.code == 0
    found = only_document(answer.out)
    assert list(breaches(found, TRACE)) == []
    assert [p["line"] for p in found["problems"]] == [501, 901, 3001]
    assert found["rows_read"] == found["rows_used"] + found["rows_reported"]
    shown = command("trace", "odd.csv", "--no-report")
    assert shown.err.splitlines() == [
        'odd.csv:501: a line of text, "echo: busy": it is passed over',
        "odd.csv:901: diameter_mm is 17.5, outside 0.5 to 5 mm: a slip for 1.75?",
        "odd.csv:3001: the log ends in the middle of this row: it is left out",
    ]


def test_a_firmware_log_is_read(bench: Path) -> None:
    (bench / "printer.log").write_bytes(firmware_log(simulated(500, step_mm=10.0)))
    answer = command("trace", "printer.log", "--json", "--no-report")
    found = only_document(answer.out)
    assert (answer.code, found["rows_used"]) == (0, 500)
    assert found["length_m"] == pytest.approx(4.99)
    assert found["ovality"] is None


@pytest.mark.parametrize("n", [1, 2, 5, 70])
def test_short_logs_are_told_and_what_is_not_known_is_null(bench: Path, n: int) -> None:
    (bench / "short.csv").write_bytes(table_bytes(simulated(n)))
    assert document("short.csv")["rows"] == n
    assert command("trace", "short.csv", "--report", "pages").code == 0


REFUSED = {
    ("none.csv",): "lotqa: none.csv: there is no such file: give a log\n",
    ("empty.csv",): "lotqa: empty.csv:1: a header and no rows: give a log with rows under it\n",
    ("colours.csv",): (
        "lotqa: colours.csv:1: no column is known as a diameter, the log has length_m, colour: "
        "name it by --diameter-column\n"
    ),
    ("odd.csv",): (
        "lotqa: odd.csv: 2.2 mm is no stock of the criteria (1.75 or 2.85 mm): give --nominal and "
        "--tolerance\n"
    ),
    ("odd.csv", "--nominal", "2.2"): (
        "lotqa: odd.csv: 2.2 mm is no stock of the criteria (1.75 or 2.85 mm): give --tolerance\n"
    ),
    ("odd.csv", "--walls", "3"): (
        "lotqa: --walls is given without --part: give the size of the part, too\n"
    ),
    ("odd.csv", "--line-width", "0.1", "--layer-height", "0.2"): (
        "lotqa: --line-width is 0.1 and --layer-height 0.2: a line is wider than high\n"
    ),
    ("odd.csv", "--length-column", "way"): (
        'lotqa: odd.csv:1: there is no column "way", the log has length_m, diameter_mm: name one '
        "by --length-column\n"
    ),
    ("odd.csv", "--axis-angle", "x"): (
        'lotqa: --axis-angle is "x": write a number from -360 to 360, such as 90\n'
    ),
    ("odd.csv", "--length-unit", "mile"): (
        'lotqa: --length-unit is "mile": write m or cm or mm or in or ft\n'
    ),
}


@pytest.mark.parametrize(("typed", "message"), REFUSED.items(), ids=map(" ".join, REFUSED))
def test_what_cannot_be_used_is_told_in_one_line_and_nothing_is_written(
    bench: Path, typed: tuple[str, ...], message: str
) -> None:
    (bench / "empty.csv").write_text("length_m,diameter_mm\n", encoding="utf-8")
    (bench / "colours.csv").write_text("length_m,colour\n0.1,red\n", encoding="utf-8")
    (bench / "odd.csv").write_bytes(table_bytes(simulated(300, Shape(mean_mm=2.2))))
    before = sorted(bench.iterdir())
    answer = command("trace", *typed)
    assert (answer.code, answer.out, answer.err) == (2, "", message)
    assert sorted(bench.iterdir()) == before


def test_stock_that_nobody_sells_is_read_when_it_is_described(bench: Path) -> None:
    (bench / "odd.csv").write_bytes(table_bytes(simulated(300, Shape(mean_mm=2.2))))
    found = document("odd.csv", "--nominal", "2.2", "--tolerance", "0.04")
    assert (found["nominal_mm"], found["tolerance_mm"]) == (2.2, 0.04)
    assert (found["feed"]["thick_mm"], found["feed"]["thin_mm"]) == (None, None)
