"""The main job as one function: what it lays over what, what it touches, what it hands back."""

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from lotqa.errors import LedgerError, UnusableCriteria, UnusableInput
from lotqa.inspection import (
    Sources,
    completed,
    inspect_lot,
    page_name,
    run,
    strips,
    text_of,
)
from lotqa.intake import read_lot
from lotqa.ledger import Ledger
from lotqa.model import Label, LotSheet, PrintSettings
from tests.cli.lots import PLACES, SPOOLS, put_lot, readings, sheet_with

NOW = datetime(2026, 3, 1, 10, 22, tzinfo=UTC)


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    return put_lot(tmp_path / "lot")


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_pure_job_touches_nothing(
    lot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = read_lot(lot)
    before = everything_in(tmp_path)
    monkeypatch.chdir(tmp_path)

    shutil.rmtree(lot)  # nor does it look at the folder again
    inspect_lot(given)
    assert everything_in(tmp_path) == {}
    assert before


def test_the_same_lot_gets_the_same_document(lot: Path) -> None:
    first, second = (run(lot, now=NOW).document for _ in range(2))
    assert first == second
    assert first["inspected_at"] == "2026-03-01T10:22:00+00:00"


def test_without_a_ledger_and_a_folder_nothing_is_written(lot: Path, tmp_path: Path) -> None:
    before = everything_in(tmp_path)
    done = run(lot, now=NOW)
    assert everything_in(tmp_path) == before
    assert done.page is None
    assert done.document["ledger"] is None


def test_the_entry_is_what_the_document_says(lot: Path, tmp_path: Path) -> None:
    place = str(tmp_path / "l.sqlite")
    done = run(lot, now=NOW, ledger=place)
    entry = done.document["ledger"]
    assert (entry["ledger"], entry["new"], entry["earlier_inspections"]) == (place, True, 0)
    with Ledger.open(place, create=False) as book:
        assert book.check() == []
        kept = book.document(entry["inspection"])
    unlike = {key for key in done.document if kept[key] != done.document[key]}
    assert unlike <= {"ledger"}  # looked up later, it is no longer new


def test_a_ledger_that_cannot_be_used_leaves_no_page(lot: Path, tmp_path: Path) -> None:
    pages = tmp_path / "pages"
    with pytest.raises(LedgerError):
        run(lot, now=NOW, ledger=str(lot), report_folder=pages)
    assert not pages.exists()


def test_the_steps_are_told_in_order(lot: Path, tmp_path: Path) -> None:
    told: list[str] = []
    run(lot, now=NOW, step=told.append)
    assert told == ["reading", "judging"]
    told.clear()
    run(lot, now=NOW, ledger=str(tmp_path / "l.sqlite"), report_folder=tmp_path, step=told.append)
    assert told == ["reading", "judging", "entering into the ledger", "drawing the page"]


def test_what_is_stated_goes_over_the_sheet_and_the_rest_stays() -> None:
    sheet = LotSheet(
        supplier="Kranich Filament",
        lot="K1",
        price=20.0,
        label=Label(nominal_mm=1.75, net_g=1000.0),
        print_settings=PrintSettings(set_diameter_mm=1.74),
    )
    stated = LotSheet(lot="K2", received=date(2026, 1, 5), label=Label(net_g=750.0))
    assert completed(sheet, stated) == LotSheet(
        supplier="Kranich Filament",
        lot="K2",
        received=date(2026, 1, 5),
        price=20.0,
        label=Label(nominal_mm=1.75, net_g=750.0),
        print_settings=PrintSettings(set_diameter_mm=1.74),
    )
    assert completed(sheet, LotSheet()) == sheet


def test_zero_is_a_statement() -> None:
    sheet = LotSheet(claim_days=14, price=20.0)
    assert completed(sheet, LotSheet(claim_days=0, price=0.0)) == LotSheet(claim_days=0, price=0.0)


def test_criteria_are_chosen_by_what_was_stated(lot: Path) -> None:
    strict = '[[for]]\nsupplier = "Brightwater Polymers"\nspread.cp_min = 10\n'
    sources = Sources(criteria_text=strict, criteria_name="c.toml")
    assert run(lot, now=NOW, sources=sources).document["lot"]["verdict"] == "accept"
    stated = LotSheet(supplier="Brightwater Polymers")
    judged = run(lot, now=NOW, sources=sources, stated=stated).document
    assert judged["lot"]["verdict"] == "reject"


def test_a_lot_without_a_tolerance_for_its_diameter_says_what_to_write(tmp_path: Path) -> None:
    rows = readings(mean_mm=2.2)
    sheet = sheet_with(nominal_mm="2.2").replace("tolerance_mm = 0.05\n", "")
    lot = put_lot(tmp_path / "lot", sheet, readings=rows)
    with pytest.raises(UnusableInput) as caught:
        run(lot, now=NOW)
    assert str(caught.value) == (
        "no tolerance is known for 2.2 mm: write label.tolerance_mm in lot.toml"
    )


def test_strips_show_every_place_of_every_spool(lot: Path) -> None:
    inspection = run(lot, now=NOW).inspection
    assert inspection is not None
    drawn = strips(inspection)
    assert [s.spool for s in drawn] == list(SPOOLS)
    for strip in drawn:
        assert strip.position_known
        assert strip.position_m.tolist() == list(range(1, PLACES + 1))
        assert np.all(strip.low_mm <= strip.mean_mm)
        assert np.all(strip.mean_mm <= strip.high_mm)


def test_places_without_positions_are_numbered(tmp_path: Path) -> None:
    lot = put_lot(tmp_path / "lot", readings="spool,diameter_mm\n" + "A,1.75\nA,1.76\n" * 3)
    inspection = run(lot, now=NOW).inspection
    assert inspection is not None
    [strip] = strips(inspection)
    assert not strip.position_known
    assert strip.position_m.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]


def test_the_page_is_named_after_what_is_known() -> None:
    lot = {"supplier": "Kranich Filament", "material": "PLA", "colour": None, "lot": "K1"}
    assert page_name({"lot": lot}) == "Kranich Filament_PLA_K1"


def test_text_of_a_file_and_of_none(tmp_path: Path) -> None:
    assert text_of(None) == (None, "")
    file = tmp_path / "c.toml"
    file.write_bytes(b"\xef\xbb\xbfname = 'x'\n")  # a byte order mark, as some editors write
    assert text_of(file) == ("name = 'x'\n", "c.toml")
    file.write_bytes(b"name = '\xff'\n")
    with pytest.raises(UnusableCriteria) as caught:
        text_of(file)
    assert str(caught.value) == f"{file}: cannot be read (not UTF-8 text): give a TOML file"
