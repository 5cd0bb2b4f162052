"""The check finds each planted fault, and only that."""

from pathlib import Path

import pytest

from lotqa.ledger import Ledger, schema

RESTORE = "keep this file and restore a backup"
REMOVED = "the guards no_update, no_delete, no_replace were removed"


@pytest.fixture
def found(ledger, delivery, plant):
    """What the check says of a ledger into which a fault was planted, guards aside."""

    def run(sql: str) -> list[str]:
        delivery.entered_in(ledger)
        delivery.varied("again").entered_in(ledger)
        assert ledger.check() == []
        plant(sql)
        return [text for text in ledger.check() if REMOVED not in text]

    return run


def test_an_empty_ledger_is_sound(ledger):
    assert ledger.check() == []


def test_a_missing_guard_is_seen(ledger, plant):
    plant("DROP TRIGGER reading_no_delete", guarded=True)
    assert ledger.check() == [
        "reading: the guards no_delete were removed, so rows may have been changed: "
        "compare with a backup"
    ]


def test_planting_without_a_fault_finds_only_the_missing_guards(found, ledger):
    assert found("SELECT 1") == []
    assert len(ledger.check()) == len(schema.metadata.tables)


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        (
            "UPDATE source_file SET content_zlib = (SELECT content_zlib FROM source_file WHERE "
            "n = 2 LIMIT 1) WHERE inspection_id = 1 AND n = 1",
            "inspection 1: file readings.csv differs from its hash",
        ),
        (
            "UPDATE source_file SET content_zlib = x'00' WHERE inspection_id = 2 AND n = 3",
            "inspection 2: file remark.txt cannot be unpacked (Error -5 while decompressing data: "
            "incomplete or truncated stream)",
        ),
        (
            "UPDATE source_file SET n_bytes = 1 WHERE inspection_id = 1 AND n = 1",
            "inspection 1: file readings.csv differs from its hash",
        ),
        (
            "UPDATE inspection SET criteria_sha256 = 'x' WHERE id = 1",
            "inspection 1: the criteria differ from their hash",
        ),
        (
            "UPDATE inspection SET verdict = 'accept' WHERE id = 2",
            "inspection 2: column verdict is accept, the document says tune",
        ),
        (
            "UPDATE inspection SET mean_mm = 1.7500000001 WHERE id = 2",
            "inspection 2: column mean_mm is 1.7500000001, the document says 1.745",
        ),
        (
            "UPDATE inspection SET document = replace(document, '\"tune\"', '\"reject\"') "
            "WHERE id = 1",
            "inspection 1: column verdict is tune, the document says reject",
        ),
        (
            "UPDATE spool_result SET cpk = NULL WHERE id = 1",
            'inspection 1, spool "007": column cpk is None, the document says 1.2',
        ),
        (
            "UPDATE inspection SET lot_sheet = '{}' WHERE id = 1",
            "inspection 1: what was given differs from the content hash",
        ),
        (
            "UPDATE inspection SET document = '{' WHERE id = 1",
            "inspection 1: the document cannot be read (JSONDecodeError: Expecting property name "
            "enclosed in double quotes: line 1 column 2 (char 1))",
        ),
        (
            "DELETE FROM weigh_in WHERE inspection_id = 1 AND n = 1",
            "inspection 1: weigh_in has 1 rows up to number 2, entered were 2",
        ),
        (
            "DELETE FROM finding WHERE inspection_id = 2",
            "inspection 2: finding has 0 rows up to number 0, entered were 1",
        ),
        (
            "INSERT INTO problem VALUES (1, 2, 'f', 1, 'c', 'v', 'm', 1)",
            "inspection 1: problem has 2 rows up to number 2, entered were 1",
        ),
        (
            "UPDATE inspection SET lot_id = 5 WHERE id = 2",
            "inspection: 1 rows point to a lot that is not there",
        ),
        (
            "DELETE FROM spool_result WHERE id = 1",
            'inspection 1: spool "007" of the document has no row',
        ),
    ],
)
def test_a_planted_fault_is_found(found, sql, told):
    assert f"{told}: {RESTORE}" in found(sql)


def test_a_lost_reading_shows_in_the_inspection_and_in_its_spool(found):
    assert found("DELETE FROM reading WHERE inspection_id = 1 AND n = 6") == [
        f"inspection 1: reading has 7 rows up to number 8, entered were 8: {RESTORE}",
        f'inspection 1: spool "NA" has 3 readings, entered were 4: {RESTORE}',
    ]


def test_a_reading_moved_to_another_spool_shows(found):
    assert found("UPDATE reading SET spool_id = 2 WHERE inspection_id = 1 AND n = 1") == [
        f'inspection 1: spool "007" has 3 readings, entered were 4: {RESTORE}',
        f'inspection 1: spool "NA" has 5 readings, entered were 4: {RESTORE}',
    ]


def test_a_lot_renamed_shows(found):
    assert found("UPDATE lot SET supplier = 'Tallow & Reed'")[0] == (
        "inspection 1, lot 1: column supplier is Tallow & Reed, "
        f"the document says Kranich Filament: {RESTORE}"
    )


def page_of(ledger, name):
    """Where the root page of a table or index lies in the file: start and size in bytes."""
    with ledger._reading() as connection:
        root = connection.exec_driver_sql(
            "SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)
        ).scalar_one()
        size = connection.exec_driver_sql("PRAGMA page_size").scalar_one()
    return (root - 1) * size, size


def test_a_page_of_rubbish_is_told(location, delivery):
    with Ledger.open(location) as ledger:
        delivery.entered_in(ledger)
        start, size = page_of(ledger, "reading")
    with Path(location).open("r+b") as file:
        file.seek(start)
        file.write(b"\xee" * size)
    with Ledger.open(location) as ledger:
        assert ledger.check() == [
            f"the database cannot be read to its end (database disk image is malformed): {RESTORE}"
        ]


def test_a_flipped_byte_in_an_index_is_told(location, delivery):
    with Ledger.open(location) as ledger:
        delivery.entered_in(ledger)
        start, size = page_of(ledger, "ix_lot_lot")
    content = bytearray(Path(location).read_bytes())
    page = bytes(content[start : start + size])
    assert page.count(b"K-0412") == 1
    content[start : start + size] = page.replace(b"K-0412", b"K-0413")
    Path(location).write_bytes(content)
    with Ledger.open(location) as ledger:
        assert ledger.check() == [
            f"the database file is damaged (row 1 missing from index ix_lot_lot): {RESTORE}"
        ]
