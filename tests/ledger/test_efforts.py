"""Changes of effort: entered with their inspection or not at all, a chain, never rewritten."""

import shutil
import sqlite3
from dataclasses import asdict, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from lotqa.errors import LedgerError
from lotqa.ledger import EffortChange, Ledger, upgrade
from lotqa.ledger.migrations import REVISIONS
from tests.ledger.conftest import NOW, Delivery, no_readings, spool_block

KRANICH = "Kranich Filament"
TIGHTENED = EffortChange("normal", "tightened", "the last two lots were rejected: tightened")
BACK = EffortChange("tightened", "normal", "five lots in a row were taken: back to normal")


def lot(code, received="2026-02-20", *, spools=None, remark="", now=NOW, **fields):
    found = Delivery().varied(remark or code, now=now, lot=code, received=received, **fields)
    if spools is not None:
        found.document["spools"] = spools
    return found


def enter(ledger, delivery, effort=None):
    return ledger.record(
        delivery.lot,
        delivery.document,
        now=delivery.now,
        criteria_text=delivery.criteria,
        effort=effort,
    )


def count(location, table):
    with sqlite3.connect(location) as connection:
        (found,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
    connection.close()
    return found


# Changes.


def test_a_change_is_kept_with_its_inspection(ledger):
    entry = enter(ledger, lot("K-8", "2026-02-21"), TIGHTENED)
    (row,) = ledger.efforts(KRANICH, "PLA")
    assert asdict(row) == {
        "number": 1,
        "inspection": entry.inspection,
        "supplier": KRANICH,
        "material": "PLA",
        "lot": "K-8",
        "day": date(2026, 2, 21),
        "before": "normal",
        "after": "tightened",
        "why": "the last two lots were rejected: tightened",
        "is_correction": False,
        "entered_at": NOW,
    }
    assert ledger.check() == []


def test_without_a_change_nothing_is_kept(ledger):
    enter(ledger, lot("K-8"))
    assert ledger.efforts() == []


def test_changes_are_read_by_supplier_and_material_whatever_case_and_blanks(ledger):
    enter(ledger, lot("K-1"), TIGHTENED)
    enter(ledger, lot("K-2", material="PETG"), TIGHTENED)
    enter(ledger, lot("T-1", supplier="Tallow & Reed"), TIGHTENED)
    enter(ledger, lot("K-3"), BACK)

    def told(*names):
        return [row.lot for row in ledger.efforts(*names)]

    assert told() == ["K-1", "K-2", "T-1", "K-3"]
    assert told(" kranich  FILAMENT", "pla") == ["K-1", "K-3"]
    assert told(KRANICH) == ["K-1", "K-2", "K-3"]
    assert told(None, "petg") == ["K-2"]
    assert told("Brightwater Polymers", "PLA") == []
    assert ledger.check() == []


def test_a_change_to_the_same_is_none():
    with pytest.raises(ValueError, match="the effort stays normal: record no change"):
        EffortChange("normal", "normal", "no lot so far asks for a change: normal")


def test_the_same_content_again_brings_no_change(ledger):
    assert enter(ledger, lot("K-8")).new
    assert not enter(ledger, lot("K-8"), TIGHTENED).new
    assert ledger.efforts() == []


def test_a_change_that_does_not_follow_the_last_one_is_refused_with_its_inspection(ledger):
    enter(ledger, lot("K-8"), TIGHTENED)
    with pytest.raises(LedgerError) as caught:
        enter(ledger, lot("K-9"), TIGHTENED)
    assert str(caught.value) == (
        f"ledger {ledger.location}: the effort for Kranich Filament, PLA is tightened by now, "
        "not normal: nothing was entered, inspect the lot again"
    )
    assert [row.lot for row in ledger.lots()] == ["K-8"]
    assert count(ledger.location, "source_file") == 3
    assert len(ledger.efforts()) == 1


@pytest.mark.parametrize("missing", [{"supplier": None}, {"material": " "}])
def test_a_lot_of_nobody_changes_nothing(ledger, missing):
    with pytest.raises(LedgerError) as caught:
        enter(ledger, lot("K-8", **missing), TIGHTENED)
    assert str(caught.value) == (
        "lot K-8 cannot change the effort: name its supplier and its material"
    )
    assert ledger.lots() == []


def test_when_the_change_cannot_be_written_the_inspection_is_not_there_either(ledger, plant):
    plant("DROP TABLE effort_change")
    plant("CREATE TABLE effort_change (id INTEGER PRIMARY KEY)")
    with pytest.raises(LedgerError, match="nothing was changed"):
        enter(ledger, lot("K-8"), TIGHTENED)
    assert [count(ledger.location, t) for t in ("lot", "inspection", "spool_result")] == [0, 0, 0]


# Outcomes.


def test_an_outcome_holds_what_the_newest_inspection_says(ledger):
    spools = [
        spool_block("1", findings={"critical": 2, "major": 0, "minor": 1, "items": []}),
        spool_block("2", findings={"critical": 1, "major": 0, "minor": 0, "items": []}),
        spool_block("3", findings=None, diameter={"places": 0}),
    ]
    entry = enter(ledger, lot("K-8", "2026-02-21", spools=spools, verdict="reject"))
    (found,) = ledger.outcomes(KRANICH, "PLA")
    assert asdict(found) == {
        "lot_id": entry.lot_id,
        "product": "Basic",
        "colour": "slate",
        "day": date(2026, 2, 21),
        "first_inspected": NOW.date(),
        "outcome": {
            "lot": "K-8",
            "day": "2026-02-21",
            "verdict": "reject",
            "standing": "provisional",
            "critical": 3,
            "measured": True,
        },
    }


@pytest.mark.parametrize("spools", [
    [],
    [spool_block("1", findings=None, diameter={"places": 0})],
    [spool_block("1", findings=None, diameter=None), spool_block("2", diameter={"places": None})],
])  # fmt: skip
def test_a_lot_without_a_place_is_not_measured(ledger, spools):
    enter(ledger, lot("K-8", spools=spools))
    (found,) = ledger.outcomes(KRANICH, "PLA")
    assert (found.outcome.measured, found.outcome.critical) == (False, 0)


def test_a_lot_without_any_spool_is_still_a_lot(ledger):
    given = lot("K-8", spools=[])
    enter(ledger, replace(given, lot=replace(given.lot, readings=no_readings())))
    assert [k.outcome.measured for k in ledger.outcomes(KRANICH, "PLA")] == [False]


def test_lots_come_in_the_order_of_their_days_then_of_their_entry(ledger):
    for code, received in [
        ("C", "2026-02-03"),
        ("B", "2026-02-02"),
        ("E", "2026-02-03"),
        ("A", "2026-02-01"),
        ("D", "2026-02-03"),
    ]:
        enter(ledger, lot(code, received))
    assert [k.outcome.lot for k in ledger.outcomes(KRANICH, "PLA")] == ["A", "B", "C", "E", "D"]


def test_a_lot_inspected_again_counts_once_by_the_newest_on_its_own_day(ledger):
    later = NOW + timedelta(days=9)
    enter(ledger, lot("A", None, verdict="reject"))
    enter(ledger, lot("B", None, now=NOW + timedelta(days=1)))
    enter(ledger, lot("A", None, remark="more places", now=later, verdict="accept"))
    found = ledger.outcomes(KRANICH, "PLA")
    assert [(k.outcome.lot, k.outcome.verdict) for k in found] == [("A", "accept"), ("B", "tune")]
    assert found[0].day == found[0].first_inspected == NOW.date()


def test_findings_of_an_inspection_that_was_replaced_do_not_count(ledger):
    bad = [spool_block("1", findings={"critical": 1, "major": 0, "minor": 0, "items": []})]
    enter(ledger, lot("A", spools=bad))
    enter(ledger, lot("A", remark="looked at again", spools=[spool_block("1")]))
    assert [k.outcome.critical for k in ledger.outcomes(KRANICH, "PLA")] == [0]


def test_other_suppliers_and_materials_have_outcomes_of_their_own(ledger):
    enter(ledger, lot("A"))
    enter(ledger, lot("B", material="PETG"))
    enter(ledger, lot("C", supplier="Tallow & Reed"))
    enter(ledger, lot("D", supplier="KRANICH filament", material="pla"))

    def told(*names):
        return [k.outcome.lot for k in ledger.outcomes(*names)]

    assert told("kranich  filament ", " Pla") == ["A", "D"]
    assert told(KRANICH, "PETG") == ["B"]
    assert told("Brightwater Polymers", "PLA") == []


def test_lots_of_one_code_and_another_colour_are_two(ledger):
    enter(ledger, lot("2026-02", colour="slate"))
    enter(ledger, lot("2026-02", colour="chalk"))
    assert [k.colour for k in ledger.outcomes(KRANICH, "PLA")] == ["slate", "chalk"]


# Keeping.

RESTORE = "keep this file and restore a backup"


@pytest.mark.parametrize(("sql", "told"), [
    ("UPDATE effort_change SET why = 'so'", ["1: the row differs from its hash"]),
    ("UPDATE effort_change SET is_correction = 1", ["1: the row differs from its hash"]),
    ("UPDATE effort_change SET entered_at = '2020-01-01'", ["1: the row differs from its hash"]),
    ("UPDATE effort_change SET lot = 'K-9', day = '2026-02-22'",
     ["1: the row differs from its hash", "1: lot, day differs from the inspection's"]),
    ("UPDATE effort_change SET state_before = 'reduced'",
     ["1: the row differs from its hash",
      "1: it begins at reduced, the change before it ended at normal"]),
])  # fmt: skip
def test_the_check_finds_a_planted_change(ledger, plant, sql, told):
    enter(ledger, lot("K-8", "2026-02-21"), TIGHTENED)
    assert ledger.check() == []
    plant(sql)
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found == [f"effort_change {text}: {RESTORE}" for text in told]


def test_the_check_finds_a_link_taken_out(ledger, plant):
    for code, change in (("A", TIGHTENED), ("B", BACK), ("C", TIGHTENED)):
        enter(ledger, lot(code), change)
    assert ledger.check() == []
    plant("DELETE FROM effort_change WHERE id = 2")
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found == [
        "effort_change 3: it begins at normal, the change before it ended at tightened: " + RESTORE
    ]


def test_the_check_tells_a_day_that_is_none(ledger, plant):
    enter(ledger, lot("K-8"), TIGHTENED)
    plant("UPDATE effort_change SET day = 'yesterday'")
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found[0].startswith("effort_change: a row cannot be read (ValueError")


def test_export_and_backup_hold_the_changes(ledger, tmp_path):
    enter(ledger, lot("=K-8"), TIGHTENED)
    ledger.export(tmp_path / "out")
    text = (tmp_path / "out" / "effort_change.csv").read_text(encoding="utf-8-sig")
    assert "'=K-8" in text
    assert "normal,tightened,the last two lots were rejected: tightened,false" in text
    columns = (tmp_path / "out" / "columns.csv").read_text(encoding="utf-8-sig")
    assert "effort_change,state_after," in columns
    ledger.backup(tmp_path / "copy.sqlite")
    with Ledger.open(str(tmp_path / "copy.sqlite"), create=False) as kept:
        assert kept.efforts() == ledger.efforts()
        assert kept.check() == []


@pytest.mark.parametrize("action", [
    "UPDATE effort_change SET why = why",
    "DELETE FROM effort_change",
    "INSERT OR REPLACE INTO effort_change SELECT * FROM effort_change",
    # A new number with the same inspection would push the old row out.
    "INSERT OR REPLACE INTO effort_change SELECT 99, inspection_id, supplier, supplier_key, "
    "material, material_key, lot, day, state_before, state_after, why, is_correction, entered_at, "
    "program_version, row_sha256 FROM effort_change",
])  # fmt: skip
def test_what_was_recorded_cannot_be_changed(ledger, plant, action):
    enter(ledger, lot("K-8"), TIGHTENED)
    before = ledger.efforts()
    with pytest.raises(sqlite3.IntegrityError, match="the ledger is append-only"):
        plant(action, guarded=True)
    assert ledger.efforts() == before


@pytest.mark.parametrize("known", [1, 2, 3])
def test_an_older_ledger_gets_the_table_and_its_lots_count(location, tmp_path, monkeypatch, known):
    """A ledger built by the first migrations alone, as an older program left it."""
    folder = tmp_path / "older"
    newer = [f"{name}*" for name in REVISIONS[known:]]
    shutil.copytree(
        Path(upgrade.__file__).parent / "migrations",
        folder,
        ignore=shutil.ignore_patterns("__pycache__", *newer),
    )
    bad = [spool_block("1", findings={"critical": 1, "major": 0, "minor": 0, "items": []})]
    with monkeypatch.context() as older:
        older.setattr(upgrade, "migration_folder", lambda: folder)
        older.setattr(upgrade, "REVISIONS", REVISIONS[:known])
        older.setattr(upgrade, "HEAD", REVISIONS[known - 1])
        with Ledger.open(location) as ledger:
            enter(ledger, lot("A", "2026-01-05", verdict="reject"))
            enter(ledger, lot("B", "2026-01-12", spools=bad))
    with sqlite3.connect(location) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    connection.close()
    assert "effort_change" not in names
    with Ledger.open(location) as ledger:
        found = [k.outcome for k in ledger.outcomes(KRANICH, "PLA")]
        assert [(x.lot, x.bad, x.critical) for x in found] == [("A", True, 0), ("B", True, 1)]
        assert ledger.efforts() == []
        enter(ledger, lot("C"), TIGHTENED)
        assert [row.lot for row in ledger.efforts()] == ["C"]
        assert ledger.check() == []
