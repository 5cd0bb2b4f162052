"""Nothing that was entered can be changed: planted attempts on every table."""

import sqlite3

import pytest
import sqlalchemy as sa

from lotqa.ledger import EffortChange, schema
from tests.ledger.conftest import NOW, small_study, study_file

TABLES = [table.name for table in schema.metadata.sorted_tables]


@pytest.fixture
def outside(ledger, delivery, location):
    """A connection that sets no pragma, as another program would open the file."""
    delivery.entered_in(ledger, EffortChange("normal", "tightened", "two of five were rejected"))
    ledger.record_study(small_study(), study_file(), now=NOW)
    ledger.record_tare(214.0, supplier="Kranich Filament", weighed_at=NOW.date(), now=NOW)
    connection = sqlite3.connect(location)
    yield connection
    connection.close()


def test_all_tables_hold_a_row_to_attack(outside):
    for table in TABLES:
        assert outside.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0


@pytest.mark.parametrize("table", TABLES)
def test_update_is_refused(outside, table):
    column = outside.execute(f"SELECT * FROM {table}").description[-1][0]
    with pytest.raises(sqlite3.IntegrityError) as caught:
        outside.execute(f"UPDATE {table} SET {column} = {column}")
    assert str(caught.value) == f"the ledger is append-only: no UPDATE on {table}"


@pytest.mark.parametrize("table", TABLES)
def test_delete_is_refused(outside, table):
    with pytest.raises(sqlite3.IntegrityError) as caught:
        outside.execute(f"DELETE FROM {table}")
    assert str(caught.value) == f"the ledger is append-only: no DELETE on {table}"


@pytest.mark.parametrize("recursive_triggers", ["OFF", "ON"])
@pytest.mark.parametrize("table", TABLES)
def test_replace_is_refused(outside, table, recursive_triggers):
    outside.execute(f"PRAGMA recursive_triggers = {recursive_triggers}")
    with pytest.raises(sqlite3.IntegrityError) as caught:
        outside.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1")
    assert "the ledger is append-only" in str(caught.value)


@pytest.mark.parametrize(
    ("table", "columns"),
    [
        ("lot", "supplier, product, material, colour, lot"),
        ("inspection", "content_hash"),
        ("gauge_study", "content_hash"),
        ("tare", "content_hash"),
    ],
)
def test_replace_by_another_unique_key_is_refused(outside, table, columns):
    """A new id with an old lot or content would push the old row out."""
    names = [row[1] for row in outside.execute(f"PRAGMA table_info({table})")]
    values = ", ".join("99" if name == "id" else name for name in names)
    before = outside.execute(f"SELECT {columns} FROM {table}").fetchall()
    with pytest.raises(sqlite3.IntegrityError):
        outside.execute(f"INSERT OR REPLACE INTO {table} SELECT {values} FROM {table} LIMIT 1")
    assert outside.execute(f"SELECT {columns} FROM {table}").fetchall() == before


def test_without_the_guard_replace_would_slip_past_the_delete_trigger(outside):
    """Why there is a guard of its own: SQLite fires no DELETE trigger here by default."""
    outside.execute("DROP TRIGGER reading_no_replace")
    outside.execute(
        "INSERT OR REPLACE INTO reading SELECT inspection_id, n, spool_id, place, position_m, "
        "direction_deg, 9.99, trial, operator, line FROM reading LIMIT 1"
    )
    assert outside.execute("SELECT max(diameter_mm) FROM reading").fetchone()[0] == 9.99


def test_the_ledgers_own_connections_are_set_up_to_be_safe(ledger):
    with ledger._reading() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "foreign_keys", "recursive_triggers", "busy_timeout")
        }
    assert found == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "busy_timeout": 5000,
    }


def test_a_row_that_points_nowhere_is_refused(ledger):
    row = {"inspection_id": 77, "n": 1, "instrument": "x", "when_read": "before"}
    row |= {"reference_mm": 1.0, "reading_mm": 1.0, "file": "", "line": 1}
    with pytest.raises(Exception, match="FOREIGN KEY constraint failed"), ledger._writing() as c:
        c.execute(sa.insert(schema.pin_check), row)
