"""A lot and its sample: more spools than received, a lot of one, not the spools that were drawn,
nothing measured at all."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from lotqa.inspection import Done, Memory, inspect_lot, run
from lotqa.intake import read_lot
from lotqa.ledger import Ledger
from lotqa.model import LotSheet
from tests.logged_lots import read_by_hand

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
SHEET = """
[lot]
supplier = "Kranich Filament"
material = "PLA"
lot = "K1"
received = 2026-05-30
"""


def lot_folder(folder: Path, more: str = "", spools: str = "ABC", **files: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "lot.toml").write_text(SHEET + more)
    if spools:
        (folder / "readings.csv").write_text(read_by_hand(1.752, spools))
    for name, content in files.items():
        (folder / name.replace("__", ".")).write_text(content)
    return folder


def judged(folder: Path):
    return inspect_lot(read_lot(folder))


def told(inspection, column: str) -> list[str]:
    return [p.message for p in inspection.prepared.problems if p.column == column]


def unopened_text(inspection) -> str:
    return next(r.text for r in inspection.lot.reasons if r.check == "lot.unopened")


def test_more_spools_measured_than_received(tmp_path):
    found = judged(lot_folder(tmp_path, "spools_received = 2\n"))
    assert told(found, "spools_received") == [
        "spools_received is 2, but 3 spools were measured, weighed or looked at: 3 are taken as "
        "received; correct the number, or a spool's name typed two ways"
    ]
    assert found.lot.unopened is None
    assert found.lot.inspected == 3


def test_as_many_as_received_is_no_problem(tmp_path):
    assert told(judged(lot_folder(tmp_path, "spools_received = 3\n")), "spools_received") == []


def test_a_lot_of_one(tmp_path):
    found = judged(lot_folder(tmp_path, "spools_received = 1\n", "A"))
    assert (found.lot.verdict, found.lot.inspected, found.lot.needed) == ("accept", 1, 1)
    assert found.lot.unopened is None
    assert found.lot.numbers.components is None


@pytest.mark.parametrize(
    ("drawn", "message", "text"),
    [
        ('["A", "B", "C"]', None, "drawn at random; of the 7"),
        ('["c", "B", " a"]', None, "drawn at random; of the 7"),
        (
            '["A", "B", "7"]',
            "spool C was measured and not drawn; spool 7 was drawn and not measured: all are "
            "judged, but what is said of the spools not opened supposes a random draw; measure "
            "those that were drawn, or draw anew (lotqa plan)",
            "not those that were drawn, yet taken for a random draw; of the 7",
        ),
        (
            '["A"]',
            "spools B, C were measured and not drawn: all are judged, but what is said of the "
            "spools not opened supposes a random draw; measure those that were drawn, or draw anew "
            "(lotqa plan)",
            "not those that were drawn, yet taken for a random draw; of the 7",
        ),
    ],
)
def test_a_sample_that_is_not_the_draw_is_noted_and_judged(tmp_path, drawn, message, text):
    found = judged(lot_folder(tmp_path, f"spools_received = 10\ndrawn = {drawn}\n"))
    assert told(found, "drawn") == ([] if message is None else [message])
    assert text in unopened_text(found)
    assert found.lot.inspected == 3


def test_where_nobody_says_what_was_drawn_it_is_supposed(tmp_path):
    found = judged(lot_folder(tmp_path, "spools_received = 10\n"))
    assert "drawn at random as is supposed" in unopened_text(found)


def test_drawn_numbers_stay_text(tmp_path):
    lot = read_lot(lot_folder(tmp_path, "spools_received = 10\ndrawn = [7, 8]\n"))
    assert lot.sheet.drawn == ("7", "8")
    assert all('put it in quotes, "' in p.message for p in lot.problems if p.column == "drawn")


# A calliper of known scatter, and a pin read with it: what makes the verdicts firm.
CALLIPER = """
[[instrument]]
kind = "calliper"
name = "bench"
resolution_mm = 0.01
limit_of_error_mm = 0.02
repeatability_sd_mm = 0.008
"""
PINS = "instrument,when,reference_mm,reading_mm\n" + "".join(
    f"bench,{when},1.750,{reading}\n"
    for when in ("before", "after")
    for reading in ("1.75", "1.76", "1.75", "1.74", "1.75", "1.75", "1.75")
)
WEIGHED = {"weighings__csv": "spool,kind,mass_g\nA,gross,1220\nB,gross,1222\nC,gross,1221\n"}


def test_a_lot_that_is_weighed_only_is_not_taken_for_measured(tmp_path):
    found = judged(lot_folder(tmp_path, "spools_received = 3\n", "", **WEIGHED))
    assert (found.lot.verdict, found.lot.standing) == ("accept", "provisional")
    sample = next(r for r in found.lot.reasons if r.check == "lot.sample")
    assert sample.text == (
        "0 of 3 spools inspected; ISO 2859-1 level II asks for 2: inspect 2 more."
    )
    assert not [p for p in found.prepared.lot.problems if "no readings for spool" in p.message]


@pytest.mark.parametrize("other", ["measured.csv", "diameters.xlsx"])
def test_a_table_that_nobody_reads_is_not_passed_over(tmp_path, other):
    from lotqa.errors import UnusableInput

    folder = lot_folder(tmp_path, "", "", **WEIGHED)
    (folder / other).write_text("spool,diameter_mm\nA,1.75\n")
    with pytest.raises(UnusableInput, match=f"there is no readings.csv, but {other}"):
        read_lot(folder)


def row_of_lots(tmp_path: Path, n: int, criteria: str) -> tuple[str, list[Done]]:
    """``n`` good lots of a day each in one ledger, under criteria that skip early."""
    from lotqa.inspection import Sources

    location = str(tmp_path / "book.sqlite")
    done = []
    for day in range(1, n + 1):
        folder = lot_folder(
            tmp_path / str(day), "spools_received = 3\n" + CALLIPER, pin_checks__csv=PINS
        )
        done.append(
            run(
                folder,
                now=datetime(2026, 5, day, 9, tzinfo=UTC),
                stated=LotSheet(lot=f"K{day}", received=date(2026, 5, day)),
                sources=Sources(criteria_text=criteria),
                ledger=location,
            )
        )
    return location, done


EARLY = "[effort]\nreduce_accepted = 2\nskip_accepted = 1\nskip_interval = 2\nfirm_share = 0.0\n"


def test_a_lot_not_due_on_skip_lot_is_weighed_only_and_firm(tmp_path):
    from lotqa.inspection import Sources

    location, done = row_of_lots(tmp_path, 3, EARLY)
    assert [d.document["lot"]["standing"] for d in done] == ["firm"] * 3
    efforts = [d.document["lot"]["effort"] for d in done]
    assert [e["state"] for e in efforts] == ["normal", "normal", "reduced"]
    assert [e["next_state"] for e in efforts] == ["normal", "reduced", "skip"]
    assert [e["changed"] for e in efforts] == [False, True, True]
    assert "weighed and looked at only" in efforts[2]["text"]
    folder = lot_folder(tmp_path / "next", "spools_received = 3\n", "", **WEIGHED)
    met = run(
        folder,
        now=datetime(2026, 5, 9, 9, tzinfo=UTC),
        stated=LotSheet(lot="K9", received=date(2026, 5, 9)),
        sources=Sources(criteria_text=EARLY),
        ledger=location,
    ).document["lot"]
    assert met["effort"]["state"] == "skip"
    assert (met["effort"]["is_due"], met["effort"]["spools_asked"]) == (False, 0)
    assert (met["verdict"], met["standing"]) == ("accept", "firm")
    with Ledger.open(location, create=False) as book:
        assert [(c.before, c.after) for c in book.efforts("Kranich Filament", "PLA")] == [
            ("normal", "reduced"), ("reduced", "skip"),
        ]  # fmt: skip
        assert book.check() == []


def test_without_a_ledger_the_lot_is_inspected_as_normal(tmp_path):
    found = inspect_lot(read_lot(lot_folder(tmp_path)), memory=Memory())
    assert found.lot.asked.state == "normal"
