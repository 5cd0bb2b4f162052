"""Sentences and ends of the checks of spools with an in-line log."""

from pathlib import Path

import numpy as np
import pytest

from lotqa.verdict.logged import told_of_logs
from lotqa.verdict.outcome import Check, combine
from lotqa.verdict.spool import all_checks
from tests.logged_lots import CALLIPER, CROSSED, GAUGE, SHEET, judged, log, put, read_by_hand


def checks(folder: Path, **files: object) -> dict[str, Check]:
    case = judged(put(folder, **files)).prepared.case  # type: ignore[arg-type]
    told = told_of_logs(all_checks(case), case.evidence, case.criteria)
    return {c.key: c for c in told}


def test_every_sentence_of_a_log_speaks_of_the_log(tmp_path: Path) -> None:
    lumpy = log(60_000, axis_angles_deg=CROSSED, lumps=((25.0, 20.0, 0.25),))
    found = checks(tmp_path, trace_A__csv=lumpy)
    said = {key: check.sentence(0) for key, check in found.items()}
    high = lumpy.diameter_mm.max()
    assert said["feed.thick"] == (
        f"The thickest spot of the log is {high:.3f} mm, at 25.00 m; from 1.900 mm on filament "
        "sticks. The log shows 1 lump, 0 necks and 0 splices over 60 m; a lump shorter than 1.0 mm "
        "may lie between two rows."
    )
    assert said["feed.thin"].startswith("The thinnest spot of the log is 1.7")
    assert said["readings.positions"] == (
        "A log, with a row every 1.0 mm, meets waves at every phase; lotqa trace looks for them: "
        "not checked."
    )
    n = int(found["readings.places"].value[0])
    assert said["readings.places"] == (
        f"The log of 60.0 m has 60,000 rows that repeat each other and counts as {n} independent "
        "places, at least 10 asked."
    )
    assert "which agrees with Cp" in said["diameter.shape"]
    assert said["diameter.order"].startswith("That rows repeat each other is in every interval")
    assert said["gauge.fit"] == (
        "The gauge's own uncertainty of +/- 0.005 mm leaves room within +/- 0.050 mm."
    )
    for words in ("place mean", "were read,", "spot readings"):
        assert [k for k, text in said.items() if words in text] == []


@pytest.mark.parametrize(
    ("height_mm", "limit_mm", "firm"), [(0.10, 0.004, True), (0.16, 0.02, False)]
)
def test_a_thick_row_is_as_sure_as_the_gauge(
    tmp_path: Path, height_mm: float, limit_mm: float, firm: bool
) -> None:
    """1.90 mm sticks; a lump of 1.91 mm is astride it for a gauge that may be 0.02 mm off."""
    sheet = SHEET + GAUGE.replace("0.004", f"{limit_mm}")
    lumpy = log(30_000, lumps=((15.0, 20.0, height_mm),))
    found = checks(tmp_path, sheet=sheet, trace_A__csv=lumpy)["feed.thick"]
    assert bool(found.best[0] == found.worst[0]) == firm
    reach = 1.96 * np.sqrt(limit_mm**2 / 3 + 0.002**2 + 0.001**2 / 12)
    high = lumpy.diameter_mm.max()
    assert (high - reach < 1.90 <= high + reach) == (not firm)


def test_a_log_shorter_than_its_own_dependence_leaves_the_verdict_provisional(
    tmp_path: Path,
) -> None:
    short = log(3_000, neighbour_correlation=0.999)
    found = checks(tmp_path, trace_A__csv=short)
    assert found["diameter.order"].outcome(0) == "undecided"
    assert "Log more metres" in found["diameter.order"].sentence(0)
    assert not combine(tuple(found.values())).firm[0]
    long = checks(tmp_path / "long", trace_A__csv=log(60_000))
    assert long["diameter.order"].outcome(0) == "pass"
    assert combine(tuple(long.values())).firm[0]


def test_metres_that_are_not_normal_are_told_by_their_quantiles(tmp_path: Path) -> None:
    """Two levels 0.024 mm apart are far from normal: Cp and the index from quantiles part."""
    spliced = log(60_000, sd_mm=0.003, splices=((30.0, 0.024),))
    found = checks(tmp_path, trace_A__csv=spliced)
    c = judged(tmp_path).prepared.case.evidence.capability
    disagree = (c.cp[0] >= 1.33) != (c.quantile_index[0] >= 1.33)
    assert disagree
    assert found["diameter.shape"].outcome(0) == "undecided"
    assert (
        found["diameter.shape"]
        .sentence(0)
        .endswith("which does not agree with Cp: the metres are not normal.")
    )


def test_beside_readings_the_pin_and_its_tool_stay_those_of_the_hand(tmp_path: Path) -> None:
    found = checks(
        tmp_path,
        sheet=SHEET + CALLIPER + GAUGE,
        readings__csv=read_by_hand(spools="A"),
        trace_B__csv=log(30_000),
    )
    assert found["gauge.fit"].value == pytest.approx(
        [2 * 0.02 / np.sqrt(3) / 0.05, 2 * 0.004 / np.sqrt(3) / 0.05]
    )
    assert found["gauge.pin"].sentence(1) == (
        "The log was read by a gauge of its own; the standard uncertainty of its offset is "
        "0.0023 mm."
    )
    assert found["gauge.pin"].sentence(0).startswith("No pin of known size was read")
    assert found["readings.places"].sentence(0) == "20 places were read, at least 10 asked."


def test_a_lot_without_logs_is_left_as_it_is(tmp_path: Path) -> None:
    sheet = SHEET + CALLIPER
    case = judged(put(tmp_path, sheet=sheet, readings__csv=read_by_hand())).prepared.case
    given = all_checks(case)
    assert told_of_logs(given, case.evidence, case.criteria) == given
