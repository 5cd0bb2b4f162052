"""Gauge studies: the newest of an instrument speaks, and nothing of them is lost or changed."""

import shutil
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from lotqa.errors import LedgerError
from lotqa.ledger import Ledger, StudyEntry, schema, upgrade
from lotqa.ledger.migrations import HEAD, REVISIONS
from lotqa.ledger.studies import study_files
from tests.ledger.conftest import NOW, STUDY_CSV, small_study, study_file


def later(days: int, **changed: object) -> dict:
    return small_study(studied_at=(NOW + timedelta(days=days)).isoformat(), **changed)


def test_nothing_is_known_of_an_instrument_that_was_not_studied(ledger):
    ledger.record_study(small_study(), study_file(), now=NOW)
    assert ledger.scatter_for("bench 2") is None


@pytest.mark.parametrize("name", ["Bench 1", "bench 1", "  BENCH   1 "])
def test_an_instrument_is_found_whatever_case_and_blanks(ledger, name):
    ledger.record_study(small_study(), study_file(), now=NOW)
    assert ledger.scatter_for(name) == (0.0041, 2.0, NOW)


def test_the_newest_study_speaks_in_whatever_order_they_were_entered(ledger):
    newest = {"sd_mm": 0.006, "df": 40}
    ledger.record_study(later(30, scatter=newest), study_file("newest"), now=NOW)
    ledger.record_study(later(2, scatter={"sd_mm": 0.009, "df": 9}), study_file("old"), now=NOW)
    ledger.record_study(later(90, instrument="bench 2"), study_file("other"), now=NOW)
    assert ledger.scatter_for("Bench 1") == (0.006, 40.0, NOW + timedelta(days=30))


def test_the_same_study_is_entered_once_and_another_outcome_again(ledger):
    first = ledger.record_study(small_study(), study_file(), now=NOW)
    again = ledger.record_study(later(1, instrument="BENCH 1"), study_file(), now=NOW)
    other = ledger.record_study(later(1, scatter={"sd_mm": 0.005, "df": 2}), study_file(), now=NOW)
    assert first == StudyEntry(1, True, ledger.location)
    assert again == StudyEntry(1, False, ledger.location)
    assert (other.study, other.new) == (2, True)


def test_a_study_without_an_instrument_is_refused(ledger):
    with pytest.raises(LedgerError) as caught:
        ledger.record_study(small_study(instrument=" "), study_file(), now=NOW)
    assert str(caught.value) == ("the study names no instrument: give its name with --instrument")


def test_a_number_that_json_cannot_say_is_refused(ledger):
    with pytest.raises(LedgerError, match="unknown numbers must be null"):
        ledger.record_study(small_study(tolerance_mm=float("nan")), study_file(), now=NOW)


def test_the_file_is_kept_exactly_and_leaves_with_the_export(ledger, tmp_path):
    ledger.record_study(small_study(), study_file(), now=NOW)
    with ledger._reading() as connection:
        assert list(study_files(connection)) == [(1, "study.csv", STUDY_CSV.encode())]
    written = ledger.export(tmp_path / "out")
    kept = tmp_path / "out" / "files" / "studies" / "1-study.csv"
    assert kept in written
    assert kept.read_bytes() == STUDY_CSV.encode()


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        (
            "UPDATE gauge_study SET scatter_sd_mm = 0.001",
            "gauge study 1: column scatter_sd_mm is 0.001, the document says 0.0041",
        ),
        (
            "UPDATE gauge_study SET instrument_key = 'bench 2'",
            "gauge study 1: column instrument_key is bench 2, the document says bench 1",
        ),
        (
            "UPDATE gauge_study SET file_zlib = x'789c030000000001'",
            "gauge study 1: file study.csv differs from its hash",
        ),
        (
            "UPDATE gauge_study SET file_zlib = x'00'",
            "gauge study 1: file study.csv cannot be unpacked",
        ),
        (
            "UPDATE gauge_study SET study_document = '{}'",
            "gauge study 1: the document cannot be read (KeyError: 'components')",
        ),
    ],
)
def test_the_check_finds_a_planted_change(ledger, plant, sql, told):
    ledger.record_study(small_study(), study_file(), now=NOW)
    assert ledger.check() == []
    plant(sql)
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found[0].startswith(told)
    assert found[0].endswith("keep this file and restore a backup")


def test_a_ledger_from_before_studies_gets_the_table_and_keeps_its_rows(
    location, delivery, tmp_path, monkeypatch
):
    """A ledger built by the first migration alone, as an older program left it."""
    folder = tmp_path / "older"
    shutil.copytree(
        Path(upgrade.__file__).parent / "migrations",
        folder,
        ignore=shutil.ignore_patterns("__pycache__", *(f"{r}*" for r in REVISIONS[1:])),
    )
    with monkeypatch.context() as older:
        older.setattr(upgrade, "migration_folder", lambda: folder)
        older.setattr(upgrade, "REVISIONS", ("lotqa_0001",))
        older.setattr(upgrade, "HEAD", "lotqa_0001")
        with Ledger.open(location) as ledger:
            delivery.entered_in(ledger)
    with sqlite3.connect(location) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    connection.close()
    assert "gauge_study" not in names
    with Ledger.open(location) as ledger:
        assert ledger.record_study(small_study(), study_file(), now=NOW).new
        assert len(ledger.lots()) == 1
        assert ledger.check() == []
    assert HEAD != "lotqa_0001"
    assert "gauge_study" in schema.metadata.tables
