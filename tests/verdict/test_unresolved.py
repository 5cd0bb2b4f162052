"""A spool whose readings all fall into one step or two: no zero, a bound, and honest advice."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.spool import Section
from lotqa.inspection import run
from lotqa.verdict.more import more_places
from lotqa.verdict.spool import judge_spools
from tests.cli.lots import put_lot, sheet_with
from tests.evidence.lots import evidence, readings, uneven_m
from tests.verdict.cases import case

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
FINE_SCATTER = Scatter(0.001, float("inf"), "stated")
GOOD_PIN = Offset(0.0, 0.001, 10, 0.0, 0.001)


def chance_alike(n: int, sd_mm: float, n_steps: int = 1) -> float:
    """P that n readings fall into ``n_steps`` steps of 0.01 mm at the kindest mean."""
    return float((2 * stats.norm.cdf(n_steps * 0.01 / 2 / sd_mm) - 1) ** n)


def document(folder: Path, n: int, tolerance: str) -> dict[str, Any]:
    rows = "".join(f"1,{x:.2f},{d},1.75\n" for x in uneven_m(n) for d in (0, 90))
    sheet = sheet_with(tolerance_mm=tolerance, spools_received="1")
    put_lot(folder, sheet, readings="spool,position_m,direction_deg,diameter_mm\n" + rows)
    spool: dict[str, Any] = run(folder, now=NOW).document["spools"][0]
    return spool


def reason(spool: dict[str, Any], check: str) -> dict[str, Any]:
    found: dict[str, Any] = next(r for r in spool["reasons"] if r["check"] == check)
    return found


def test_twenty_places_alike_pass_firmly_by_their_bound(tmp_path: Path) -> None:
    spool = document(tmp_path / "lot", 20, "0.05")
    diameter = spool["diameter"]
    assert diameter["sd_mm"] is None
    assert diameter["sd_resolved"] is False
    low, bound = diameter["sd_ci95_mm"]
    assert low == 0
    assert chance_alike(20, bound) == pytest.approx(0.025, rel=1e-9)
    spread = reason(spool, "diameter.spread")
    assert (spread["outcome"], spread["standing"], spread["value"]) == ("pass", "firm", None)
    assert spread["text"] == (
        "The spread along the filament is not resolvable with a step of 0.01 mm: it is at most "
        "0.0036 mm (95 %); at +/- 0.05 mm up to 0.0125 mm is accepted."
    )


def test_few_places_alike_are_provisional_at_a_narrow_tolerance(tmp_path: Path) -> None:
    spool = document(tmp_path / "lot", 5, "0.02")
    spread = reason(spool, "diameter.spread")
    assert (spread["outcome"], spread["standing"]) == ("pass", "provisional")
    assert "not resolvable with a step of 0.01 mm" in spread["text"]
    assert spool["standing"] == "provisional"


def alike(n: int, tolerance_mm: float, second: float = 1.75) -> Any:
    d = np.full((n, 2), 1.75)
    d[::2] = second
    found = evidence(
        readings({"x": d}), section=Section(1.75, tolerance_mm, 1.75), scatter=FINE_SCATTER,
        offset=GOOD_PIN,
    )  # fmt: skip
    # A firm verdict by the printed 95 % interval itself, so that its bound can be counted back.
    limits = {
        "spread.cp_min": 1.33,
        "centring.cpk_min": 0.0,
        "flow.error_max_pct": 5.0,
        "verdict.firm_confidence": 0.95,
    }
    the_case = case(found, limits=limits)
    return the_case, judge_spools(the_case)


def spread_of(judgement: Any) -> Any:
    return next(c for c in judgement.checks if c.key == "diameter.spread")


@pytest.mark.parametrize(("n_steps", "second"), [(1, 1.75), (2, 1.76)])
@pytest.mark.parametrize("tolerance", [0.02, 0.03, 0.05])
def test_the_number_of_places_that_makes_it_firm(
    n_steps: int, second: float, tolerance: float
) -> None:
    """The first n at which so few steps at the limit of spread come in less than 1 of 40 lots."""
    limit = tolerance / (3 * 1.33)
    n = 2
    while chance_alike(n, limit, n_steps) > 0.025:
        n += 1
    for have, firm in ((n, True), (n - 1, False)):
        if have >= 4:
            _, judgement = alike(have, tolerance, second)
            check = spread_of(judgement)
            assert bool(check.best[0] == check.worst[0]) is firm


def test_more_places_counts_readings_in_the_same_steps() -> None:
    """At +/- 0.02 mm and 8 places, 2 more all alike bring the bound below 0.005 mm."""
    the_case, judgement = alike(8, 0.02)
    limit = 0.02 / (3 * 1.33)
    wanted = next(n for n in range(9, 400) if chance_alike(n, limit) <= 0.025)
    assert more_places(the_case, judgement, 0) == wanted - 8
    _, after = alike(wanted, 0.02)
    assert after.firm[0]


def test_more_places_do_not_move_a_mean_that_the_step_hides() -> None:
    """Readings of 1.79 under a limit of 1.794 mm: a hundred more show no better where in the step.

    If the 0.0058 mm of doubt fell with the root of their number, 20 more would settle it.
    """
    section = Section(1.75, 0.044, 1.75)
    d = np.full((20, 2), 1.79)
    found = evidence(readings({"x": d}), section=section, scatter=FINE_SCATTER, offset=GOOD_PIN)
    the_case = case(found, limits={"centring.cpk_min": 0.0, "flow.error_max_pct": 9.0})
    judgement = judge_spools(the_case)
    assert not judgement.firm[0]
    assert more_places(the_case, judgement, 0) is None


@pytest.mark.parametrize("n", [20, 200])
def test_the_mean_of_readings_all_alike_stays_as_wide_as_the_step(n: int) -> None:
    d = evidence(readings({"x": np.full((n, 2), 1.75)}), offset=GOOD_PIN).diameter
    assert d.mean_hi_mm[0] - d.mean_lo_mm[0] >= 0.01
    assert d.u_mean_mm[0] == pytest.approx(np.hypot(0.01 / np.sqrt(12), 0.001), rel=1e-9)


@pytest.mark.parametrize(("diameter_mm", "word"), [(1.75, "accept"), (1.78, "tune")])
def test_three_places_alike_ask_for_a_number_only_where_the_flow_does(
    diameter_mm: float, word: str
) -> None:
    """The bound of Cpk leaves doubt where no spread was seen; a multiplier of 1.000 cures none."""
    d = np.full((3, 2), diameter_mm)
    found = evidence(readings({"x": d}), scatter=FINE_SCATTER, offset=GOOD_PIN)
    judgement = judge_spools(case(found))
    assert (judgement.verdict(0), judgement.standing(0)) == (word, "provisional")
