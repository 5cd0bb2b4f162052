"""``lotqa gauge``: what a person sees, what a program reads, and what later inspections use."""

import json
import random
import re
from pathlib import Path

import pytest

from lotqa.ledger import Ledger
from tests.cli.contract import not_finite
from tests.cli.lots import SHEET, put_lot
from tests.cli.terminal import Answer, command
from tests.cli.test_contract import only_document

PINS = "instrument,when,reference_mm,reading_mm\n"
STEADY = PINS + "".join(
    f"Bench 1,{when},1.750,{mm}\n"
    for when, mm in [("before", 1.76), ("before", 1.76), ("before", 1.77),
                     ("after", 1.75), ("after", 1.76), ("after", 1.77)]
)  # fmt: skip
MOVED = STEADY.replace("after,1.750,1.7", "after,1.750,1.8")
SHEET_WITH_TOOL = SHEET + '\n[[instrument]]\nkind = "calliper"\nname = "bench 1"\n'


def study_text(hands: tuple[str, ...] = ("east", "west"), seed: int = 3) -> str:
    """Ten places read three times by each hand to 0.01 mm; scatter 0.008 mm, seeded."""
    chance = random.Random(seed)
    rows = ["place,operator,trial,diameter_mm"]
    for place in range(1, 11):
        middle_mm = chance.gauss(1.75, 0.012)
        for hand in hands:
            for trial in (1, 2, 3):
                rows.append(f"{place},{hand},{trial},{chance.gauss(middle_mm, 0.008):.2f}")
    return "\n".join(rows) + "\n"


@pytest.fixture
def study(bench: Path) -> Path:
    path = bench / "study.csv"
    path.write_text(study_text(), encoding="utf-8")
    return path


def document(*arguments: object) -> dict:
    answer = command(*arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found = only_document(answer.out)
    assert list(not_finite(found)) == []
    return found


def told(answer: Answer) -> str:
    assert (answer.code, answer.out) == (2, "")
    return answer.err


def prose(answer: Answer) -> str:
    """What was printed, lines joined again."""
    return re.sub(r"\s+", " ", answer.out)


# The study.


def test_a_study_is_told_drawn_and_kept(study: Path, ledger: Path) -> None:
    answer = command("gauge", "study", study, "--instrument", "Bench 1")
    assert (answer.code, answer.err) == (0, "")
    said = prose(answer)
    assert "study.csv: 10 places, 2 operators, 3 trials; 60 rows read, 60 used." in said
    assert "One hand and Bench 1 scatter by" in said
    assert "of a ± 0.05 mm band" in said
    assert f"Ledger {ledger}: gauge study 1." in said
    assert said.count("Analysis of variance with operator x place") == 1
    assert said.count("(the figures above are from this one)") == 1
    page = Path(said.rpartition("Page: ")[2].strip())
    html = page.read_text(encoding="utf-8")
    assert html.count('<svg xmlns="http://www.w3.org/2000/svg"') == 4  # two figures, two widths
    assert 'aria-label="Repeats of 10 places by 2 hands' in html
    assert "http-equiv" not in html
    assert "<script" not in html


def test_the_document_has_what_was_agreed(study: Path) -> None:
    found = document("gauge", "study", study, "--no-report", "--tolerance", "0.03",
                     "--instrument", "Bench 1")  # fmt: skip
    assert found["schema"] == "lotqa.gauge.v1"
    assert found["page"] is None
    assert (found["places"], found["operators"], found["trials"]) == (10, ["east", "west"], 3)
    assert found["tolerance_mm"] == 0.03
    assert [m["anova"][-1]["df"] for m in found["models"].values()] == [40, 49]
    parts = {c["name"]: c for c in found["components"]}
    assert {"repeatability", "reproducibility", "gauge", "place", "total"} <= set(parts)
    one = parts["repeatability"]
    assert one["sd_ci95_mm"][0] < one["sd_mm"] < one["sd_ci95_mm"][1]
    # 6 sd over the whole band, whatever the seed: 0.06 mm wide.
    assert one["share_of_tolerance_pct"] == pytest.approx(100 * 6 * one["sd_mm"] / 0.06)
    assert found["scatter"]["sd_mm"] ** 2 == pytest.approx(one["sd_mm"] ** 2 - 0.01**2 / 12)
    assert found["ledger"]["new"] is True
    assert found["file"]["rows_read"] == 60


def test_the_same_study_is_kept_once(study: Path, ledger: Path) -> None:
    for new in (True, False):
        found = document("gauge", "study", study, "--no-report", "--instrument", "Bench 1")
        assert found["ledger"] == {"ledger": str(ledger), "study": 1, "new": new}


def test_no_ledger_and_no_report_leave_nothing(study: Path, bench: Path) -> None:
    found = document("gauge", "study", study, "--no-ledger", "--no-report",
                     "--instrument", "x")  # fmt: skip
    assert found["ledger"] is None
    assert [p.name for p in bench.iterdir()] == ["study.csv"]


def test_a_tool_without_a_name_is_told_and_not_kept(study: Path, ledger: Path) -> None:
    found = document("gauge", "study", study, "--no-report")
    assert found["ledger"] is None
    assert not ledger.exists()
    assert found["texts"][-1] == (
        "The study is not kept: name the tool with --instrument, as in lot.toml, and later "
        "inspections use it."
    )


def test_one_hand_says_nothing_of_others(study: Path) -> None:
    study.write_text(study_text(("east",)), encoding="utf-8")
    found = document("gauge", "study", study, "--no-report", "--no-ledger")
    assert found["model"] == "one_operator"
    assert found["models"] == {"with_interaction": None, "without_interaction": None}
    texts = " ".join(found["texts"])
    assert "Your hand and this calliper scatter by" in texts
    assert "One hand read: nothing is said about how another hand would differ." in texts
    assert command("gauge", "study", study, "--no-ledger", "--report", "out").code == 0


def test_what_one_reading_cannot_judge_is_said(study: Path) -> None:
    """A scatter s fills 6 s of a band: 0.02 mm to each side is full at 0.0067 mm."""
    found = document("gauge", "study", study, "--no-report", "--no-ledger")
    gauge = next(c for c in found["components"] if c["name"] == "gauge")
    assert gauge["sd_mm"] > 0.04 / 6
    share = round(100 * 6 * gauge["sd_mm"] / 0.04)
    assert (
        f"One reading cannot judge ± 0.02 mm: hand and tool alone fill {share} % of it."
        in found["texts"]
    )


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda t: t.replace("\n7,west,2,", "\n7,west,2,x"),
            "study.csv: missing: trial 2 of place 7 by west: read it, or take the place out for "
            "everybody\n  study.csv:42: diameter_mm is",
        ),
        (
            lambda t: "".join(r for r in t.splitlines(True) if ",2," not in r and ",3," not in r),
            "study.csv: a gauge study needs 2 trials, got 1: one trial shows no repeatability, "
            "read every place at least once more",
        ),
        (
            lambda t: "\n".join(t.splitlines()[:7]),
            "study.csv: a gauge study needs 2 places, got 1: read at least one more place, best "
            "10 of different diameter",
        ),
        (
            lambda t: t.replace("place,", "", 1).replace("\n1,", "\n"),
            "study.csv: there is no column place or position_m",
        ),
        (lambda _: "", "study.csv: the file is empty: write a header line and the rows under it"),
    ],
    ids=["a hole", "one trial", "one place", "no place", "empty"],
)
def test_a_study_that_cannot_be_used_writes_nothing(study: Path, bench, change, message) -> None:
    study.write_text(change(study.read_text()), encoding="utf-8")
    answer = command("gauge", "study", study, "--instrument", "Bench 1")
    assert told(answer).startswith(f"lotqa: {message}")
    assert [p.name for p in bench.iterdir()] == ["study.csv"]


def test_criteria_of_ones_own_decide_on_pooling(study: Path, bench: Path) -> None:
    pooled = document("gauge", "study", study, "--no-report", "--no-ledger")
    (bench / "mine.toml").write_text("[gauge]\ninteraction_alpha = 1.0\nshare_max_pct = 80\n")
    kept = document("gauge", "study", study, "--no-report", "--no-ledger",
                    "--criteria", "mine.toml")  # fmt: skip
    assert kept["model"] == "with_interaction"
    assert kept["share_max_pct"] == 80
    assert pooled["interaction_alpha"] == 0.25


# What later inspections make of it.


def test_inspections_use_the_newest_study_of_their_tool(study: Path, bench: Path) -> None:
    lot = put_lot(bench / "lot", SHEET_WITH_TOOL, pin_checks=STEADY)
    before = document("inspect", lot, "--no-report", "--ledger", "first.sqlite")
    kept = document("gauge", "study", study, "--no-report", "--instrument", "BENCH 1")
    after = document("inspect", lot, "--no-report")
    tools = [found["instruments"][0] for found in (before, after)]
    assert "default" in tools[0]["repeatability_source"]
    assert "gauge study of" in tools[1]["repeatability_source"]
    assert tools[1]["repeatability_sd_mm"] == kept["scatter"]["sd_mm"]
    assert before["spools"][0]["diameter"]["sd_mm"] != after["spools"][0]["diameter"]["sd_mm"]


def test_a_study_of_another_tool_is_not_used(study: Path, bench: Path) -> None:
    lot = put_lot(bench / "lot", SHEET_WITH_TOOL, pin_checks=STEADY)
    document("gauge", "study", study, "--no-report", "--instrument", "Bench 2")
    found = document("inspect", lot, "--no-report")
    assert "study" not in found["instruments"][0]["repeatability_source"]


# The pin.


def test_a_pin_check_says_where_the_tool_stands_and_what_that_buys(bench: Path) -> None:
    (bench / "pin_checks.csv").write_text(STEADY)
    found = document("gauge", "check", "pin_checks.csv")
    assert found["schema"] == "lotqa.pin_check.v1"
    (tool,) = found["instruments"]
    assert tool["offset_mm"] == pytest.approx((0.04 / 3 + 0.01) / 2)
    assert tool["shift_mm"] == pytest.approx(0.01 - 0.04 / 3)
    assert tool["shift_ci95_mm"][0] < tool["shift_mm"] < tool["shift_ci95_mm"][1]
    assert tool["moved"] is False
    # The example of a pin check: from 0.023 mm (2 x 0.02 / sqrt 3) to 0.007 mm.
    assert round(tool["mean_of_places"]["without_pin_mm"], 3) == 0.023
    assert round(tool["mean_of_places"]["with_pin_mm"], 3) == 0.007
    said = prose(command("gauge", "check", "pin_checks.csv"))
    assert "Bench 1 reads 0.0117 mm too much on the pin (6 readings" in said
    assert "is known to ± 0.007 mm with it and to ± 0.023 mm without" in said


def test_a_folder_gives_the_tool_its_kind_and_the_label_its_band(bench: Path) -> None:
    sheet = SHEET_WITH_TOOL.replace('"calliper"', '"micrometer"').replace("0.05", "0.03")
    lot = put_lot(bench / "lot", sheet, pin_checks=STEADY)
    (tool,) = document("gauge", "check", lot)["instruments"]
    assert (tool["kind"], tool["step_mm"], tool["limit_of_error_mm"]) == (
        "micrometer", 0.001, 0.004,
    )  # fmt: skip
    assert tool["capability"]["tolerance_mm"] == 0.03
    assert document("gauge", "check", lot, "--tolerance", "0.05")["instruments"][0]["capability"][
        "cg"
    ] == pytest.approx(tool["capability"]["cg"] * 5 / 3)


def test_a_tool_that_moved_is_refused(bench: Path) -> None:
    (bench / "pin_checks.csv").write_text(MOVED)
    answer = command("gauge", "check", "pin_checks.csv")
    assert answer.code == 2
    assert answer.err == (
        "lotqa: pin_checks.csv: Bench 1 read the pin +0.0967 mm differently after the session, "
        "more than 0.02 mm: what was read in between cannot be corrected, clean the jaws, set "
        "zero, read the pin and the filament again\n"
    )
    assert "moved: what was read in between cannot be corrected" in prose(answer)
    assert "What the pin buys" not in answer.out
    as_json = command("gauge", "check", "pin_checks.csv", "--json")
    assert as_json.code == 2
    assert only_document(as_json.out)["instruments"][0]["moved"] is True
    (bench / "mine.toml").write_text("[gauge]\npin_shift_max_mm = 0.1\n")
    assert command("gauge", "check", "pin_checks.csv", "--criteria", "mine.toml").code == 0


def test_a_pin_read_once_only_asks_for_the_other_side(bench: Path) -> None:
    (bench / "pin_checks.csv").write_text(PINS + "Bench 1,before,1.75,1.74\n")
    said = prose(command("gauge", "check", "pin_checks.csv"))
    assert "Bench 1 reads 0.0100 mm too little on the pin (1 reading," in said
    assert "read before the session only: read it after as well" in said


def test_several_tools_are_told_apart_and_one_can_be_asked_for(bench: Path) -> None:
    text = STEADY + "Bench 2,before,1.75,1.75\nbench  1,before,1.75,1.76\n"
    (bench / "pin_checks.csv").write_text(text)
    found = document("gauge", "check", "pin_checks.csv")
    assert [(t["instrument"], t["pin_readings"]) for t in found["instruments"]] == [
        ("Bench 1", 7), ("Bench 2", 1),
    ]  # fmt: skip
    one = document("gauge", "check", "pin_checks.csv", "--instrument", "bench 2")
    assert [t["instrument"] for t in one["instruments"]] == ["Bench 2"]
    assert told(command("gauge", "check", "pin_checks.csv", "--instrument", "x")) == (
        'lotqa: pin_checks.csv: no pin reading is of "x": there are readings of Bench 1 and '
        "Bench 2\n"
    )


def test_another_pin_is_reported_and_left_out(bench: Path) -> None:
    (bench / "pin_checks.csv").write_text(STEADY + "Bench 1,after,1.75,3.00\n")
    answer = command("gauge", "check", "pin_checks.csv")
    assert answer.code == 0
    assert "pin_checks.csv:8: reading_mm is 3.00 on a pin of 1.75 mm" in answer.err
    found = only_document(command("gauge", "check", "pin_checks.csv", "--json").out)
    assert (found["rows_read"], found["rows_used"], len(found["problems"])) == (7, 6, 1)


def test_a_check_uses_the_study_of_the_tool_and_starts_no_ledger(
    study: Path, bench: Path, ledger: Path
) -> None:
    (bench / "pin_checks.csv").write_text(STEADY)
    first = document("gauge", "check", "pin_checks.csv")["instruments"][0]["scatter"]
    assert first["source"] == "default for this kind of tool"
    assert not ledger.exists()
    document("gauge", "study", study, "--no-report", "--instrument", "bench 1")
    second = document("gauge", "check", "pin_checks.csv")["instruments"][0]["scatter"]
    assert second["source"].startswith("gauge study of ")
    with Ledger.open(str(ledger)) as book:
        assert second["sd_mm"] == book.scatter_for("Bench 1").sd_mm


# The plan.


def test_the_plan_says_the_least_that_is_enough() -> None:
    found = document("gauge", "plan", "--scatter", "0.008", "--tolerance", "0,05")
    assert found["schema"] == "lotqa.gauge_plan.v1"
    (best,) = [d for d in found["designs"] if d["recommended"]]
    assert best["df_repeatability"] >= found["df_needed"]
    assert best["repeatability_ci95_mm"][1] <= 0.008 * 1.30
    fewer = [d for d in found["designs"] if d["readings"] < best["readings"]]
    assert all(d["repeatability_ci95_mm"][1] > 0.008 * 1.30 for d in fewer)
    lo, hi = best["repeatability_ci95_mm"]
    assert best["share_of_tolerance_ci95_pct"] == pytest.approx([6000 * lo, 6000 * hi])
    said = prose(command("gauge", "plan"))
    assert f"takes {found['df_needed']} degrees of freedom" in said


def test_a_plan_that_no_design_of_the_table_meets() -> None:
    found = document("gauge", "plan", "--within", "5")
    assert not any(d["recommended"] for d in found["designs"])
    assert "no design of this table has them" in found["texts"][0]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("gauge", "plan", "--scatter", "abc"),
            'lotqa: --scatter is "abc": write a number from 0.0001 to 0.5, such as 0.008\n',
        ),
        (
            ("gauge", "study", "none.csv"),
            "lotqa: none.csv: there is no such file: give a table of readings\n",
        ),
    ],
)
def test_slips_of_the_command_line(arguments, message) -> None:
    assert told(command(*arguments)) == message


def test_a_plain_terminal_gets_plain_signs(study: Path) -> None:
    answer = command("gauge", "study", study, "--no-ledger", "--no-report", encoding="ascii")
    assert answer.code == 0
    assert "+/- 0.05 mm" in answer.out
    assert json.loads(
        command("gauge", "study", study, "--no-ledger", "--no-report", "--json",
                encoding="ascii").out
    )  # fmt: skip
