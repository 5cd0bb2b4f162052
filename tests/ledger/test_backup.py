"""A backup is whole and verified, or absent; it never overwrites."""

import sqlite3
from pathlib import Path

import pytest

from lotqa.errors import LedgerError
from lotqa.ledger import Ledger, backup


def message(ledger: Ledger, target: Path) -> str:
    with pytest.raises(LedgerError) as caught:
        ledger.backup(target)
    return str(caught.value)


def test_a_backup_is_a_ledger_with_everything_in_one_file(ledger, delivery, tmp_path):
    delivery.entered_in(ledger)
    folder = tmp_path / "safe"
    folder.mkdir()
    ledger.backup(folder / "march.sqlite")
    assert [path.name for path in folder.iterdir()] == ["march.sqlite"]
    with Ledger.open(str(folder / "march.sqlite"), create=False) as copy:
        assert copy.check() == []
        assert copy.lots() == ledger.lots()
        assert copy.document(1)["spools"] == ledger.document(1)["spools"]
        assert copy.raw_rows(1) == ledger.raw_rows(1)


def test_a_backup_can_be_made_while_another_process_writes(ledger, delivery, location, tmp_path):
    delivery.entered_in(ledger)
    other = sqlite3.connect(location)
    other.execute("BEGIN IMMEDIATE")
    other.execute("INSERT INTO lot VALUES (9, 's', 'p', 'm', 'c', 'half done', 'now')")
    ledger.backup(tmp_path / "copy.sqlite")
    other.commit()
    other.close()
    with Ledger.open(str(tmp_path / "copy.sqlite")) as copy:
        assert copy.check() == []
        assert copy.find("half done") == []
        assert len(copy.lots()) == 1


def test_an_existing_file_is_not_overwritten(ledger, tmp_path):
    target = tmp_path / "copy.sqlite"
    target.write_text("dear to me")
    told = f"backup {target} exists already and is not overwritten: choose another name"
    assert message(ledger, target) == told
    assert target.read_text() == "dear to me"
    target.unlink()
    target.symlink_to(tmp_path / "nowhere")  # a dangling link is something, too
    assert message(ledger, target) == told


def test_a_file_that_appears_meanwhile_is_not_overwritten(ledger, tmp_path, monkeypatch):
    target = tmp_path / "copy.sqlite"
    copy = backup._copy

    def copy_slowly(*args: object) -> None:
        copy(*args)
        target.write_text("dear to me")

    monkeypatch.setattr(backup, "_copy", copy_slowly)
    assert "is not overwritten" in message(ledger, target)
    assert target.read_text() == "dear to me"
    assert not list(tmp_path.glob(".*part"))


def test_a_folder_that_is_not_there(ledger, tmp_path):
    target = tmp_path / "nowhere" / "copy.sqlite"
    assert message(ledger, target) == (
        f"backup {target} cannot be written (no such file or directory): "
        "name a place that can be written"
    )


def test_a_copy_that_lost_a_row_is_not_kept(ledger, delivery, tmp_path, monkeypatch):
    delivery.entered_in(ledger)
    count = backup._row_counts
    monkeypatch.setattr(backup, "_row_counts", lambda c: count(c) | {"reading": 9})
    target = tmp_path / "copy.sqlite"
    assert message(ledger, target) == (
        f"backup {target} does not agree with the ledger (reading): no backup was made, "
        "run `lotqa ledger check`"
    )
    assert not target.exists()
    assert not list(tmp_path.glob(".*part"))


def test_a_file_system_without_hard_links(ledger, delivery, tmp_path, monkeypatch):
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", no_links)
    delivery.entered_in(ledger)
    ledger.backup(tmp_path / "copy.sqlite")
    with Ledger.open(str(tmp_path / "copy.sqlite"), create=False) as copy:
        assert copy.check() == []
