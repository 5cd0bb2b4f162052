"""The ledger from the command line: looked at, looked after, and when it cannot be used."""

import csv
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from lotqa.ledger import Ledger
from tests.cli.lots import put_lot, readings, sheet_with
from tests.cli.terminal import Answer, command


@pytest.fixture
def kept(bench: Path) -> Path:
    """A ledger with two lots of two suppliers."""
    put_lot(bench / "one")
    put_lot(
        bench / "two", sheet_with(supplier='"Tallow & Reed"', lot='"[red] 7"', material='"PETG"')
    )
    for lot in ("one", "two"):
        assert command("inspect", lot, "--no-report").code == 0
    return bench / "kept.sqlite"


def told(answer: Answer) -> str:
    """The message of a command that ended with 2 and printed nothing."""
    assert (answer.code, answer.out) == (2, "")
    return answer.err


@pytest.mark.usefixtures("kept")
def test_list_shows_every_lot_and_brackets_in_its_code() -> None:
    answer = command("ledger", "list")
    assert (answer.code, answer.err) == (0, "")
    assert "K1" in answer.out
    assert "[red] 7" in answer.out
    assert "2 lots." in answer.out
    chosen = json.loads(command("ledger", "list", "--json", "--supplier", "tallow & reed").out)
    assert [row["lot"] for row in chosen["lots"]] == ["[red] 7"]


def test_show_looks_a_lot_up_by_code_by_supplier_and_by_number(kept: Path) -> None:
    for key in ("K1", "Kranich Filament/K1", "1", "#1"):
        shown = json.loads(command("ledger", "show", key, "--json").out)
        assert shown["newest"]["lot"]["lot"] == "K1"
    out = command("ledger", "show", "K1").out
    assert f"Ledger {kept}: inspection 1." in out.splitlines()
    assert "same content" not in out  # it was looked up, nothing was handed in


def test_show_raw_puts_what_was_typed_beside_what_was_read(bench: Path) -> None:
    typed = readings().replace("1,1,0,", "1,1,0,+00", 1)
    put_lot(bench / "lot", readings=typed)
    command("inspect", "lot", "--no-report")
    row = json.loads(command("ledger", "show", "K1", "--json", "--raw").out)["rows"][0]
    assert row["text"] == typed.splitlines()[1]
    assert row["text"].startswith("1,1,0,+001.7")
    assert row["diameter_mm"] == float(row["text"].split(",")[3])
    said = command("ledger", "show", "K1", "--raw").out.splitlines()
    assert f"readings.csv:2: {row['text']}  ->  {row['diameter_mm']:g} mm" in said


@pytest.mark.usefixtures("kept")
def test_export_writes_every_lot_and_names_every_file(bench: Path) -> None:
    made = json.loads(command("ledger", "export", "out", "--json").out)
    assert {Path(f) for f in made["files"]} == {
        p.relative_to(bench) for p in (bench / "out").rglob("*") if p.is_file()
    }
    with (bench / "out" / "lot.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["lot"] for row in csv.DictReader(file)] == ["K1", "[red] 7"]
    assert told(command("ledger", "export", "out")) == (
        "lotqa: export out is not an empty folder: choose a new one\n"
    )


def test_backup_is_a_ledger_and_is_never_written_over(kept: Path) -> None:
    assert command("ledger", "backup", "b.sqlite").out == (
        f"b.sqlite: copied from {kept} and verified\n"
    )
    copied = json.loads(command("ledger", "list", "--json", "--ledger", "b.sqlite").out)
    assert copied == json.loads(command("ledger", "list", "--json").out)
    assert told(command("ledger", "backup", "b.sqlite")) == (
        "lotqa: backup b.sqlite exists already and is not overwritten: choose another name\n"
    )


def test_check_finds_a_ledger_sound_and_a_changed_one_damaged(kept: Path) -> None:
    assert command("ledger", "check").out == f"{kept}: sound\n"
    assert json.loads(command("ledger", "check", "--json").out)["sound"] is True
    with closing(sqlite3.connect(kept)) as base:  # what a meddler would do
        base.execute("DROP TRIGGER reading_no_update")
        base.execute("DROP TRIGGER inspection_no_update")
        base.execute("UPDATE inspection SET mean_mm = 1.70 WHERE id = 1")
        base.commit()
    answer = command("ledger", "check", "--json")
    found = json.loads(answer.out)
    assert answer.code == 2
    assert found["sound"] is False
    assert any("mean_mm" in text for text in found["found"])
    assert answer.err.startswith(f"lotqa: ledger {kept} is damaged:\n  ")
    assert command("ledger", "check").out == ""


@pytest.mark.parametrize(
    "arguments",
    [
        ("ledger", "list"),
        ("ledger", "show", "K1"),
        ("ledger", "export", "out"),
        ("ledger", "backup", "b.sqlite"),
        ("ledger", "check"),
        ("suppliers",),
        ("drift", "Kranich Filament"),
        ("report", "K1"),
    ],
    ids=" ".join,
)
def test_looking_into_a_ledger_that_is_not_there_makes_none(
    bench: Path, ledger: Path, arguments: tuple[str, ...]
) -> None:
    assert told(command(*arguments)) == (
        f"lotqa: ledger {ledger} does not exist yet: inspect a lot first or name another ledger\n"
    )
    assert list(bench.iterdir()) == []


@pytest.mark.usefixtures("kept")
def test_a_lot_that_the_ledger_does_not_hold() -> None:
    for arguments in (("ledger", "show", "K9"), ("report", "K9")):
        assert told(command(*arguments)) == (
            'lotqa: lot "K9" is not in the ledger: see lotqa ledger list\n'
        )


@pytest.mark.usefixtures("kept")
def test_a_lot_code_of_two_suppliers_asks_which(bench: Path) -> None:
    put_lot(bench / "three", sheet_with(supplier='"Brightwater Polymers"'))
    command("inspect", "three", "--no-report")
    assert told(command("ledger", "show", "K1")) == (
        'lotqa: lot "K1" fits several, 1 (Kranich Filament/K1), 3 (Brightwater Polymers/K1): '
        "give the number\n"
    )


def test_a_ledger_in_use_by_another_process(
    kept: Path, bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(Ledger.open.__func__.__kwdefaults__, "timeout_s", 0.1)  # type: ignore[attr-defined]  # a classmethod's function
    put_lot(bench / "three", sheet_with(lot='"K3"'))
    with closing(sqlite3.connect(kept, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert told(command("inspect", "three")) == (
            f"lotqa: ledger {kept} is in use by another process (waited 0.1 s): "
            "try again when that one is done\n"
        )
        assert not (bench / "reports").exists()
        other.execute("ROLLBACK")
    assert command("inspect", "three", "--no-report").code == 0


@pytest.mark.usefixtures("bench")
def test_a_ledger_of_a_newer_version_is_left_alone(kept: Path) -> None:
    with closing(sqlite3.connect(kept)) as base:
        [(known,)] = base.execute("SELECT version_num FROM alembic_version")
        base.execute("UPDATE alembic_version SET version_num = 'lotqa_9999'")
        base.commit()
        base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = kept.read_bytes()
    message = (
        f"lotqa: ledger {kept} was written by a newer lotqa (its shape is lotqa_9999, this lotqa "
        f"knows up to {known}): install the newer lotqa; nothing was changed\n"
    )
    assert told(command("inspect", "one", "--no-report")) == message
    assert told(command("ledger", "list")) == message
    assert kept.read_bytes() == before


def test_a_file_that_is_not_a_ledger_is_left_alone(bench: Path) -> None:
    put_lot(bench / "lot")
    (bench / "notes.txt").write_text("shopping list: filament, glue\n", encoding="utf-8")
    with closing(sqlite3.connect(bench / "music.sqlite")) as base:
        base.execute("CREATE TABLE album (title)")
    for name in ("notes.txt", "music.sqlite"):
        before = (bench / name).read_bytes()
        assert told(command("inspect", "lot", "--no-report", "--ledger", name)) == (
            f"lotqa: ledger {name} is not a ledger: name another file; nothing was changed\n"
        )
        assert (bench / name).read_bytes() == before


def test_a_ledger_where_no_folder_can_be(bench: Path) -> None:
    put_lot(bench / "lot")
    (bench / "taken").write_text("a file", encoding="utf-8")
    assert told(command("inspect", "lot", "--no-report", "--ledger", "taken/l.sqlite")) == (
        f"lotqa: ledger taken/l.sqlite cannot be made: its folder {bench / 'taken'} cannot be used "
        "(file exists): name another place\n"
    )


def test_a_url_that_cannot_be_read_is_not_repeated_since_it_may_hold_a_password(
    bench: Path,
) -> None:
    put_lot(bench / "lot")
    said = told(command("inspect", "lot", "--no-report", "--ledger", "postgresql://u:secret@h:x/d"))
    assert "secret" not in said
    assert said.count("\n") == 1
