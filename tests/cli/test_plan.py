"""``lotqa plan`` as a person and as another program meet it.

What a sample lets through: hypergeometric for the lot, and the table of the trade (accept on zero)
for a process, in whole percent.
"""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.stats import hypergeom

from lotqa.evidence.window import blind_wavelengths
from lotqa.inspection import run
from lotqa.model import LotSheet
from tests.cli.terminal import command
from tests.report.markup import Page

# What other programs read; more keys may stand beside them.
KEYS = [
    "schema",
    "spools_to_measure",
    "draw",
    "places",
    "directions_deg",
    "positions_m",
    "accept_probability",
    "seed",
]


def document(*arguments: object) -> dict[str, Any]:
    answer = command("plan", *arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found = json.loads(answer.out)
    assert isinstance(found, dict)
    return found


def test_the_place_part_alone() -> None:
    found = document("--seed", 4)
    assert set(KEYS) <= set(found)
    assert found["schema"] == "lotqa.plan.v1"
    assert (found["places"], len(found["positions_m"])) == (20, 20)
    assert found["directions_deg"] == [0, 90]
    assert found["spools_to_measure"] is found["draw"] is found["accept_probability"] is None
    assert found["positions_m"] == sorted(found["positions_m"])
    assert 0 <= found["positions_m"][0] < found["positions_m"][-1] < 25
    assert blind_wavelengths(found["positions_m"], 0.87) == []


def test_the_seed_is_told_and_repeats_the_plan() -> None:
    found = document("--spools-received", 30)
    assert document("--spools-received", 30, "--seed", found["seed"]) == found
    assert document("--seed", 1)["positions_m"] != document("--seed", 2)["positions_m"]


# General level II of ISO 2859-1; a process with 10, 30 and 50 % bad spools: (1 - p)**n.
@pytest.mark.parametrize(
    ("received", "n", "percent"),
    [(8, 2, (81, 49, 25)), (10, 3, (73, 34, 12)), (25, 5, (59, 17, 3)), (50, 8, (43, 6, 0.4))],
)
def test_the_spool_part(received: int, n: int, percent: tuple[float, ...]) -> None:
    found = document("--spools-received", received, "--seed", 7)
    assert found["spools_to_measure"] == len(found["draw"]) == n
    assert set(found["draw"]) <= set(range(1, received + 1))
    rows = found["accept_probability"]
    assert [row["bad_fraction"] for row in rows] == [0.05, 0.1, 0.3, 0.5]
    for row, expected in zip(rows[1:], percent, strict=True):
        digits = 0 if expected >= 1 else 1
        assert round(100 * row["p_process"], digits) == expected


@pytest.mark.parametrize(("received", "n"), [(10, 3), (20, 5), (50, 8)])
def test_what_the_lot_itself_lets_through_by_scipy(received: int, n: int) -> None:
    rows = document("--spools-received", received, "--seed", 7)["accept_probability"]
    for row in rows[1:]:
        bad = round(row["bad_fraction"] * received)
        assert row["bad_spools"] == pytest.approx(bad)
        assert row["p"] == pytest.approx(hypergeom.pmf(0, received, bad, n), rel=1e-12)


def test_the_plan_by_variables_and_its_largest_spread() -> None:
    """MIL-STD-414, as the limit of s for both limits: at that s the middle of the label just
    keeps M, and a hair more does not; k by scipy's noncentral t."""
    plan = document("--spools-received", 20, "--seed", 7)["by_variables"]
    n, good = 5, plan["good"]
    k = stats.nct.ppf(1 - plan["good_accept"], n - 1, np.sqrt(n) * stats.norm.ppf(1 - good))
    assert plan["k"] == pytest.approx(k / np.sqrt(n), rel=1e-6)
    beta = stats.beta(n / 2 - 1, n / 2 - 1)

    def outside(s_mm: float) -> float:
        return float(2 * beta.cdf(max(0.0, 0.5 - 0.5 * 0.05 / s_mm * np.sqrt(n) / (n - 1))))

    assert outside(plan["maximum_sd_mm"] * 0.999) < plan["most_outside"]
    assert outside(plan["maximum_sd_mm"] * 1.001) > plan["most_outside"]
    assert document("--spools-received", 5)["by_variables"] is None  # two spools have no such plan


def test_three_directions_and_a_short_stretch() -> None:
    found = document("--places", 10, "--directions", 3, "--stretch", "2,5")
    assert found["directions_deg"] == [0, 60, 120]
    assert found["positions_m"][-1] < 2.5


def test_what_a_person_reads() -> None:
    answer = command("plan", "--seed", 3, "--places", 3, "--directions", 3, "--stretch", 4)
    metres = document("--seed", 3, "--places", 3, "--stretch", 4)["positions_m"]
    further = [b - a for a, b in zip([0.0, *metres], metres, strict=False)]
    table = [line.split() for line in answer.out.splitlines() if line.strip()[:2] in "1 2 3 "]
    rows = [line for line in table if len(line) == 3 and line[0] in "123"]
    assert rows == [[str(i + 1), f"{metres[i]:.2f}", f"{further[i]:.2f}"] for i in range(3)]
    text = " ".join(answer.out.split())
    assert "On each spool read 3 places over 4 m from the free end" in text
    assert "each in the directions 0, 60 and 120 degrees:" in text
    assert "Fewer than 10 places see some wave badly wherever they lie." in text
    assert text.endswith("Drawn with seed 3; --seed 3 draws it again.")


def test_what_a_person_reads_of_the_spools() -> None:
    answer = command("plan", "--seed", 3, "--spools-received", 10)
    drawn = document("--seed", 3, "--spools-received", 10)["draw"]
    text = " ".join(answer.out.split())
    assert f"Measure 3 of 10 spools, counted as they lie in the box: {drawn[0]}, " in text
    assert "No supplier and material were named: planned as normal inspection." in text
    assert "10 % 70 % 73 %" in text
    assert "That takes about 22 min, 5 of them to weigh and look." in text
    assert max(len(line) for line in answer.out.splitlines()) <= 80
    every = command("plan", "--spools-received", 2).out
    assert "Measure every spool of the lot: 2." in every
    assert "Measure every spool of the lot: 1." in command("plan", "--spools-received", 1).out


@pytest.mark.parametrize(
    ("minutes", "spools", "places", "fits"),
    # 5 min to weigh and look at ten, 1 min and 7 s a reading for each measured one.
    [(22, 3, 20, True), (18, 3, 14, True), (12, 2, 10, True), (6, 1, 10, False)],
)
def test_the_plan_is_cut_to_the_time_at_the_bench(
    minutes: float, spools: int, places: int, fits: bool
) -> None:
    found = document("--spools-received", 10, "--minutes", minutes, "--seed", 1)
    assert (found["spools_to_measure"], found["places"]) == (spools, places)
    assert len(found["positions_m"]) == places
    needed = 10 * 0.5 + spools * (1 + places * 2 * 7 / 60)
    assert found["minutes"]["needed"] == pytest.approx(needed)
    assert found["minutes"]["fits"] is fits
    assert fits is (needed <= minutes)
    text = " ".join(command("plan", "--spools-received", 10, "--minutes", minutes).out.split())
    assert ("It does not fit into" in text) is not fits
    assert ("so an accepted lot stays provisional" in text) is (spools < 3)


def rejected_twice(location: str, tmp_path: Path) -> None:
    """Two lots of one supplier whose spools are far too thick."""
    for day in (1, 2):
        folder = tmp_path / f"lot {day}"
        folder.mkdir()
        rows = [f"{s},{1.9 + 0.01 * (i % 3):.2f}" for s in "AB" for i in range(12)]
        (folder / "readings.csv").write_text("spool,diameter_mm\n" + "\n".join(rows) + "\n")
        stated = LotSheet(
            supplier="Kranich Filament", material="PLA", lot=f"K{day}",
            received=datetime(2026, 5, day, tzinfo=UTC).date(), spools_received=2,
        )  # fmt: skip
        done = run(folder, now=datetime(2026, 5, day, 9, tzinfo=UTC), stated=stated,
                   ledger=location)  # fmt: skip
        assert done.document["lot"]["verdict"] == "reject"


def test_the_history_sets_the_effort(tmp_path: Path) -> None:
    location = str(tmp_path / "book.sqlite")
    rejected_twice(location, tmp_path)
    asked = ("--spools-received", 20, "--seed", 1, "--ledger", location)
    kranich = document(*asked, "--supplier", "kranich  filament", "--material", "PLA")
    assert kranich["state"]["state"] == "tightened"
    assert kranich["spools_to_measure"] == kranich["spools_asked"] == 8
    assert kranich["state"]["text"] == (
        "To be inspected as tightened since 2026-05-02 (the last two lots were rejected: "
        "tightened)."
    )
    other = document(*asked, "--supplier", "Brightwater Polymers", "--material", "PLA")
    assert (other["state"]["state"], other["spools_to_measure"]) == ("normal", 5)


def test_a_ledger_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    location = tmp_path / "none.sqlite"
    asked = ("--supplier", "Kranich Filament", "--material", "PLA", "--ledger", location)
    assert document("--spools-received", 9, *asked)["state"]["state"] == "normal"
    assert not location.exists()


def test_the_page_has_a_sheet_for_every_drawn_spool(tmp_path: Path) -> None:
    asked = ("--spools-received", 10, "--seed", 5, "--places", 12, "--directions", 3)
    found = document(*asked, "--report", tmp_path)
    html = Path(found["page"]).read_text(encoding="utf-8")
    assert Page(html).unbalanced == []
    for number in range(1, 11):
        assert html.count(f"<h3>Spool {number}</h3>") == (number in found["draw"])
    for metres in found["positions_m"]:
        assert html.count(f'<td class="at">{metres:.2f}</td>') == 3
    for heading in ("0\u00b0, mm", "60\u00b0, mm", "120\u00b0, mm", "Gross, g"):
        assert f"<th>{heading}</th>" in html
    assert "snap" in html  # from the catalogue of findings
    listed = ", ".join(f"&#34;{n}&#34;" for n in found["draw"])
    assert f"drawn = [{listed}]" in html


def test_the_page_of_places_alone(tmp_path: Path) -> None:
    alone = document("--places", 5, "--report", tmp_path)
    html = Path(alone["page"]).read_text(encoding="utf-8")
    assert Page(html).unbalanced == []
    assert "How many spools came was not given." in html
    assert html.count("<h3>Spool</h3>") == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--places", 40, "--stretch", 2),
            "lotqa: --places is 40, more than 2 m hold: write at most 8, or a longer --stretch\n",
        ),
        (("--places", "0"), 'lotqa: --places is "0": write a whole number from 1 to 1000\n'),
        (("--directions", "4"), 'lotqa: --directions is "4": write a whole number from 2 to 3\n'),
        (
            ("--stretch", "far"),
            'lotqa: --stretch is "far": write a number from 0.25 to 400, such as 25\n',
        ),
        (("--seed", "-1"), 'lotqa: --seed is "-1": write a whole number from 0 to 999999999\n'),
        (
            ("--spools-received", "0"),
            'lotqa: --spools-received is "0": write a whole number from 1 to 1000000\n',
        ),
        (
            ("--supplier", "Kranich Filament"),
            "lotqa: --supplier is given without --material: the history is kept by both, give "
            "both\n",
        ),
        (
            ("--material", "PLA"),
            "lotqa: --material is given without --supplier: the history is kept by both, give "
            "both\n",
        ),
        (
            ("--minutes", 20),
            "lotqa: --minutes is given without --spools-received: give both\n",
        ),
    ],
)
def test_options_that_cannot_be(arguments: tuple[object, ...], message: str) -> None:
    answer = command("plan", *arguments)
    assert (answer.code, answer.out, answer.err) == (2, "", message)
