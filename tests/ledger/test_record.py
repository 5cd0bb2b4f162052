"""Entering inspections: whole or absent, once for one content, both for a lot measured again."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import Entry, Ledger, record
from lotqa.ledger.record import CHUNK_ROWS
from lotqa.model import Label
from tests.ledger.conftest import NOW, no_readings, source, spool_block


def rows(ledger: Ledger, table: str) -> int:
    with ledger._reading() as connection:
        return connection.execute(
            sa.select(sa.func.count()).select_from(sa.table(table))
        ).scalar_one()


def test_the_same_content_is_entered_once(ledger, delivery, location):
    first = delivery.entered_in(ledger)
    later = replace(delivery, now=NOW + timedelta(days=30)).entered_in(ledger)
    assert first == Entry(1, 1, True, 0, location)
    assert later == Entry(1, 1, False, 0, location)
    assert rows(ledger, "inspection") == 1
    assert rows(ledger, "reading") == 8


def test_the_same_content_is_recognised_by_a_ledger_opened_again(location, delivery):
    with Ledger.open(location) as ledger:
        delivery.entered_in(ledger)
    with Ledger.open(location) as ledger:
        assert delivery.entered_in(ledger).new is False


def test_a_renamed_file_is_the_same_content(ledger, delivery):
    delivery.entered_in(ledger)
    files = tuple(replace(file, name=f"z-{file.name}") for file in delivery.lot.files)
    renamed = replace(delivery, lot=replace(delivery.lot, files=files[::-1]))
    assert renamed.entered_in(ledger).new is False


def test_a_lot_measured_again_is_a_new_inspection_of_the_same_lot(ledger, delivery):
    first = delivery.entered_in(ledger)
    second = delivery.varied("measured again").entered_in(ledger)
    assert (second.inspection, second.lot_id) == (2, first.lot_id)
    assert second.new
    assert second.earlier_inspections == 1
    assert [row.inspection for row in ledger.lot_history("K-0412")] == [1, 2]
    again = delivery.entered_in(ledger)
    assert (again.inspection, again.new, again.earlier_inspections) == (1, False, 0)


@pytest.mark.parametrize("part", ["supplier", "product", "material", "colour", "lot"])
def test_each_part_of_the_identity_makes_another_lot(ledger, delivery, part):
    first = delivery.entered_in(ledger)
    other = delivery.varied(**{part: "Tallow & Reed"}).entered_in(ledger)
    assert other.new
    assert other.lot_id != first.lot_id


def test_other_criteria_make_a_new_inspection(ledger, delivery):
    delivery.entered_in(ledger)
    assert replace(delivery, criteria="cp = 1.67").entered_in(ledger).earlier_inspections == 1


def test_an_option_that_overrides_the_label_makes_a_new_inspection(ledger, delivery):
    delivery.entered_in(ledger)
    sheet = replace(delivery.lot.sheet, label=Label(1.75, 0.03, 1000.0))
    by_sheet = replace(delivery, lot=replace(delivery.lot, sheet=sheet))
    assert by_sheet.entered_in(ledger).new
    document = {**delivery.document, "label": {**delivery.document["label"], "tolerance_mm": 0.02}}
    assert replace(delivery, document=document).entered_in(ledger).new


def test_a_self_assigned_code_is_no_part_of_the_content(ledger, delivery):
    """The code may hold a date; the same files next month are still the same."""
    nameless = replace(
        delivery, lot=replace(delivery.lot, sheet=replace(delivery.lot.sheet, lot=None))
    )
    march = {**nameless.document, "lot": {**nameless.document["lot"], "lot": "2026-03-a"}}
    april = {**nameless.document, "lot": {**nameless.document["lot"], "lot": "2026-04-a"}}
    assert replace(nameless, document=march).entered_in(ledger).new
    assert replace(nameless, document=april).entered_in(ledger).new is False


def test_missing_parts_of_the_identity_are_the_same_lot_again(ledger, delivery):
    """NULL would never equal NULL; two nameless suppliers would be two lots."""
    one = delivery.varied("one", supplier=None, product=None, colour=None).entered_in(ledger)
    two = delivery.varied("two", supplier=None, product="", colour=" ").entered_in(ledger)
    assert one.lot_id == two.lot_id
    assert ledger.lots()[0].supplier == ""


def test_a_lot_without_code_is_refused(ledger, delivery):
    with pytest.raises(LedgerError) as caught:
        delivery.varied(lot=None).entered_in(ledger)
    assert str(caught.value) == ("the lot has no lot code: give one as `lot` in the lot sheet")
    assert rows(ledger, "lot") == 0


def test_a_document_with_nan_is_refused(ledger, delivery):
    with pytest.raises(LedgerError) as caught:
        delivery.varied(price=math.nan).entered_in(ledger)
    assert str(caught.value).startswith("the inspection document cannot be kept (")
    assert str(caught.value).endswith("): leave out numbers that are not known")


def test_a_lot_sheet_with_infinity_is_refused(ledger, delivery):
    """TOML has a word for it: price = inf."""
    sheet = replace(delivery.lot.sheet, price=math.inf)
    with pytest.raises(LedgerError) as caught:
        replace(delivery, lot=replace(delivery.lot, sheet=sheet)).entered_in(ledger)
    assert str(caught.value).startswith("the lot sheet cannot be kept (")


def test_a_spool_named_twice_is_refused(ledger, delivery):
    document = {**delivery.document, "spools": [spool_block("007"), spool_block("007")]}
    with pytest.raises(LedgerError) as caught:
        replace(delivery, document=document).entered_in(ledger)
    assert str(caught.value) == 'the inspection document names spool "007" twice: name it once'


def test_numpy_numbers_in_a_document_come_back_as_plain_ones(ledger, delivery):
    document = {
        **delivery.document,
        "label": {"nominal_mm": np.float32(1.75), "tolerance_mm": np.float64(0.05)},
        "lot": {**delivery.document["lot"], "accepted": np.int64(1), "received": date(2026, 2, 20)},
    }
    entry = replace(delivery, document=document).entered_in(ledger)
    kept = ledger.document(entry.inspection)
    assert kept["label"] == {"nominal_mm": 1.75, "tolerance_mm": 0.05}
    assert kept["lot"]["accepted"] == 1
    assert kept["lot"]["received"] == "2026-02-20"
    assert ledger.check() == []


def test_readings_of_a_spool_that_the_document_forgot_are_kept(ledger, delivery):
    document = {**delivery.document, "spools": [spool_block("007")]}
    replace(delivery, document=document).entered_in(ledger)
    forgotten = ledger.spool_summaries()[1]
    assert (forgotten.spool, forgotten.verdict) == ("NA", None)
    assert len(ledger.raw_rows(1, spool="NA")) == 4
    assert ledger.check() == []


def test_a_lot_that_was_only_weighed_can_be_entered(ledger, delivery):
    lot = replace(delivery.lot, readings=no_readings())
    entry = replace(delivery, lot=lot).entered_in(ledger)
    assert ledger.raw_rows(entry.inspection) == []
    assert ledger.places(entry.inspection) == []
    assert ledger.check() == []


@pytest.mark.parametrize("chunk_rows", [1, 3, 8, 50])
def test_readings_come_back_unchanged_whatever_the_chunk(ledger, delivery, monkeypatch, chunk_rows):
    monkeypatch.setattr(record, "CHUNK_ROWS", chunk_rows)
    delivery.entered_in(ledger)
    got, given = ledger.raw_rows(1), delivery.lot.readings
    assert [row.n for row in got] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [row.diameter_mm for row in got] == given.diameter_mm.tolist()
    assert [row.spool for row in got] == ["007"] * 4 + ["NA"] * 4
    assert [row.operator for row in got] == ["east", "east", None, None, *["east"] * 4]


def test_memory_for_readings_is_bounded_by_the_chunk():
    """A reading is ten Python objects of at most 32 bytes and their slots: under 1 kB."""
    assert CHUNK_ROWS * 1024 < 64 * 2**20


def test_a_position_not_given_is_null_and_comes_back_as_not_known(ledger, delivery):
    unknown = replace(
        delivery.lot.readings, position_m=np.full(8, np.nan), direction_deg=np.full(8, np.nan)
    )
    replace(delivery, lot=replace(delivery.lot, readings=unknown)).entered_in(ledger)
    assert {(row.position_m, row.direction_deg) for row in ledger.raw_rows(1)} == {(None, None)}
    assert all(np.isnan(spool.position_m).all() for spool in ledger.places(1))


def test_an_inspection_that_fails_halfway_leaves_nothing(ledger, delivery):
    """The bad row is the last one written, so everything else was already inserted."""
    bad = replace(
        delivery.lot, files=(*delivery.lot.files, replace(source("x", b""), rows_read=None))
    )
    with pytest.raises(LedgerError) as caught:
        replace(delivery, lot=bad).entered_in(ledger)
    assert "NOT NULL constraint failed: source_file.rows_read" in str(caught.value)
    assert str(caught.value).endswith(": nothing was changed")
    for table in ("lot", "inspection", "spool_result", "reading", "weigh_in", "source_file"):
        assert rows(ledger, table) == 0
    assert delivery.entered_in(ledger).new


def test_content_that_another_bench_entered_at_the_same_moment_is_found(
    ledger, delivery, monkeypatch
):
    """On a server two benches can both find nothing and both insert: one is refused."""
    delivery.entered_in(ledger)
    look = record._same_content
    answers = iter([lambda *_: None, look])  # the first look is too early
    monkeypatch.setattr(record, "_same_content", lambda *args: next(answers)(*args))
    entry = delivery.entered_in(ledger)
    assert (entry.inspection, entry.new) == (1, False)
    assert rows(ledger, "inspection") == 1
    assert next(answers, None) is None  # both looks were taken


def test_a_number_beyond_what_a_database_keeps_is_told(ledger, delivery, location):
    finding = replace(delivery.lot.findings[0], count=10**30)
    with pytest.raises(LedgerError) as caught:
        replace(delivery, lot=replace(delivery.lot, findings=(finding,))).entered_in(ledger)
    assert str(caught.value) == (
        f"ledger {location}: a number is too large to keep "
        "(Python int too large to convert to SQLite INTEGER): nothing was changed"
    )
    assert rows(ledger, "inspection") == 0


def test_text_that_no_database_keeps_is_made_storable(ledger, delivery):
    """A lone surrogate comes from a file name that is not UTF-8; NUL is refused by some servers."""
    files = (*delivery.lot.files, source("caf\udce9.csv", b"1"))
    note = replace(delivery.lot.weigh_ins[0], note="a\x00b")
    lot = replace(delivery.lot, files=files, weigh_ins=(note,))
    replace(delivery, lot=lot).entered_in(ledger)
    assert ledger.sources(1)[-1] == ("caf?.csv", b"1")
    assert ledger.check() == []


def test_times_are_kept_in_utc(ledger, delivery):
    berlin = datetime(2026, 3, 2, 0, 30, tzinfo=timezone(timedelta(hours=1)))
    delivery.varied(received=None, now=berlin).entered_in(ledger)
    row = ledger.lots()[0]
    assert row.inspected_at == datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    assert row.entered_at == row.inspected_at
    assert row.lot_date == date(2026, 3, 1)
