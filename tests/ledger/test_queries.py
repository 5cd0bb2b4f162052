"""What the ledger gives back about lots and spools."""

from datetime import UTC, date, datetime, timedelta

import pytest

from lotqa.errors import LedgerError
from tests.ledger.conftest import NOW


@pytest.fixture
def shelf(ledger, delivery):
    """Three lots of two suppliers, the middle one by date entered last and measured twice."""
    for remark, lot, supplier, material, received in [
        ("a", "7", "Kranich Filament", "PLA", "2026-01-10"),
        ("b", "007", "Kranich Filament", "PETG", "2026-03-05"),
        ("c", "k-1", "Brightwater Polymers", "PLA", "2026-02-01"),
        ("d", "k-1", "Brightwater Polymers", "PLA", "2026-02-01"),
    ]:
        delivery.varied(
            remark, lot=lot, supplier=supplier, material=material, received=received
        ).entered_in(ledger)
    return ledger


def codes(rows):
    return [row.lot for row in rows]


def test_lots_come_in_the_order_of_their_dates(shelf):
    assert codes(shelf.lots()) == ["7", "k-1", "007"]


def test_a_lot_shows_its_newest_inspection(shelf):
    by_code = {row.lot: row for row in shelf.lots()}
    assert (by_code["k-1"].inspection, by_code["k-1"].n_inspections) == (4, 2)
    assert (by_code["7"].inspection, by_code["7"].n_inspections) == (1, 1)


def test_newest_means_entered_last_even_with_the_clock_set_back(ledger, delivery):
    delivery.entered_in(ledger)
    delivery.varied("again", now=NOW - timedelta(days=400)).entered_in(ledger)
    assert ledger.lots()[0].inspection == 2


def test_measuring_again_does_not_move_a_lot_without_date_of_receipt(ledger, delivery):
    delivery.varied("a", received=None, lot="first").entered_in(ledger)
    later = NOW + timedelta(days=10)
    delivery.varied("b", received=None, lot="second", now=later).entered_in(ledger)
    much_later = NOW + timedelta(days=90)
    delivery.varied("c", received=None, lot="first", now=much_later).entered_in(ledger)
    assert codes(ledger.lots()) == ["first", "second"]
    assert ledger.lots()[0].lot_date == date(2026, 3, 1)


@pytest.mark.parametrize("supplier", ["Kranich Filament", " kranich FILAMENT "])
def test_lots_of_a_supplier_whatever_the_case(shelf, supplier):
    assert codes(shelf.lots(supplier=supplier)) == ["7", "007"]
    assert codes(shelf.lots(supplier=supplier, material="petg")) == ["007"]
    assert {row.lot for row in shelf.spool_summaries(supplier=supplier)} == {"7", "007"}


def test_case_is_folded_beyond_ascii(ledger, delivery):
    """SQLite's own lower() would miss it."""
    delivery.varied(supplier="Österfaden").entered_in(ledger)
    assert len(ledger.lots(supplier="öSTERFADEN")) == 1


def test_an_unknown_supplier_has_no_lots(shelf):
    assert shelf.lots(supplier="Tallow & Reed") == []
    assert shelf.lots(supplier="%") == []
    assert shelf.spool_summaries(material="x' OR 1=1 --") == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("007", ["007"]),
        ("7", ["7"]),
        ("K-1", ["k-1"]),
        ("kranich filament/007", ["007"]),
        ("#2", ["007"]),
        ("2", ["007"]),
        (" k-1 ", ["k-1"]),
        ("99", []),
        ("", []),
        ("²", []),
        ("k_1", []),
        ("9" * 5000, []),
    ],
)
def test_find(shelf, text, found):
    assert codes(shelf.find(text)) == found


def test_a_lot_code_wins_over_a_number(ledger, delivery):
    delivery.varied("a", lot="2").entered_in(ledger)
    delivery.varied("b", lot="other").entered_in(ledger)
    assert codes(ledger.find("2")) == ["2"]
    assert codes(ledger.find("#2")) == ["other"]


def test_a_slash_in_a_lot_code_is_no_obstacle(ledger, delivery):
    delivery.varied(lot="12/26").entered_in(ledger)
    assert codes(ledger.find("12/26")) == ["12/26"]
    assert codes(ledger.find("Kranich Filament/12/26")) == ["12/26"]


def test_a_code_that_two_suppliers_use_must_be_told_apart(shelf, delivery, location):
    delivery.varied("e", lot="007", supplier="Tallow & Reed").entered_in(shelf)
    assert len(shelf.find("007")) == 2
    with pytest.raises(LedgerError) as caught:
        shelf.lot_history("007")
    assert str(caught.value) == (
        f'ledger {location} has 2 lots "007": say which: #2 (Kranich Filament), #4 (Tallow & Reed)'
    )
    assert len(shelf.lot_history("#4")) == len(shelf.lot_history(4)) == 1
    assert len(shelf.lot_history("tallow & reed/007")) == 1


def test_a_lot_or_inspection_that_is_not_there_is_told(shelf, location):
    with pytest.raises(LedgerError) as caught:
        shelf.lot_history("nowhere")
    assert str(caught.value) == (
        f'ledger {location} has no lot "nowhere": `lotqa ledger list` shows what it has'
    )
    for question in (shelf.document, shelf.sources, shelf.raw_rows, shelf.places):
        with pytest.raises(LedgerError) as caught:
            question(99)
        assert str(caught.value) == (
            f"ledger {location} has no inspection 99: `lotqa ledger list` shows what it has"
        )


def test_the_history_of_a_lot_keeps_every_verdict(ledger, delivery):
    delivery.entered_in(ledger)
    delivery.varied("again", verdict="reject", mean_ci95_mm=None).entered_in(ledger)
    history = ledger.lot_history(1)
    assert [row.verdict for row in history] == ["tune", "reject"]
    assert [row.mean_ci95_mm for row in history] == [(1.73, 1.76), None]


def test_a_lot_row_says_what_the_document_said(ledger, delivery):
    delivery.entered_in(ledger)
    row = ledger.lots()[0]
    said = delivery.document["lot"]
    not_repeated = {"claim_days", "claim_until", "lot_self_assigned", "mean_ci95_mm", "ordered"}
    for name in set(said) - not_repeated - {"received", "reasons"}:
        assert getattr(row, name) == said[name], name
    assert row.received == date(2026, 2, 20)
    assert row.claim_until == date(2026, 3, 6)
    assert row.inspected_at == datetime(2026, 3, 1, 10, 22, tzinfo=UTC)
    assert row.ovality_mm == pytest.approx(0.013)  # 0.012 and 0.014, counted by hand
    assert row.shortfall_g == 7.5  # one spool was weighed
    assert row.n_readings == 8


def test_a_spool_row_says_what_the_document_said(ledger, delivery):
    delivery.entered_in(ledger)
    first, second = ledger.spool_summaries()
    assert (first.spool, first.verdict, second.spool, second.verdict) == (
        "007",
        "accept",
        "NA",
        "tune",
    )
    said = delivery.document["spools"][0]["diameter"]
    of_its_own = {"mean_ci95_mm", "sd_ci95_mm", "uncertainty_mean_mm"}
    for name in set(said) - of_its_own:
        assert getattr(first, name) == said[name], name
    assert (first.mean_lo_mm, first.mean_hi_mm) == (1.741, 1.769)
    assert (first.sd_lo_mm, first.sd_hi_mm) == (0.005, None)
    assert first.u_mean_mm == 0.015  # half the expanded 0.03, k = 2
    assert (first.net_lo_g, first.net_hi_g, first.shortfall_g) == (990.0, 995.0, 7.5)
    assert (first.flow_error_pct, first.flow_swing_pct) == (0.57, 1.1)
    assert (first.n_critical, first.n_major, first.n_minor) == (0, 1, 0)
    assert (second.net_g, second.n_major) == (None, None)


def test_the_document_comes_back_as_it_went_in(ledger, delivery, location):
    delivery.entered_in(ledger)
    delivery.varied("again").entered_in(ledger)
    kept = ledger.document(2)
    place = kept.pop("ledger")
    assert kept == {key: value for key, value in delivery.document.items() if key != "ledger"}
    assert place == {
        "ledger": location,
        "inspection": 2,
        "lot_id": 1,
        "new": False,
        "earlier_inspections": 1,
    }


def test_lists_read_no_reading(ledger, delivery, plant):
    delivery.entered_in(ledger)
    plant("ALTER TABLE reading RENAME TO hidden")
    assert len(ledger.lots()) == 1
    assert len(ledger.spool_summaries()) == 2
    assert len(ledger.lot_history(1)) == 1
    with pytest.raises(LedgerError, match="no such table: reading"):
        ledger.places(1)
