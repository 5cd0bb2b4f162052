"""Empty reels: what was entered stays, counts once, and settles what was open."""

import copy
import shutil
import sqlite3
from contextlib import closing
from dataclasses import asdict, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from lotqa.errors import LedgerError
from lotqa.ledger import BenchScale, Ledger, TareEntry, upgrade
from lotqa.ledger.content import content_hash
from lotqa.ledger.migrations import REVISIONS
from lotqa.model import Reel, WeighIn
from tests.ledger.conftest import CRITERIA, NOW, Delivery, small_document, small_lot, source

KRANICH, TALLOW = "Kranich Filament", "Tallow & Reed"
TODAY = NOW.date()
SCALE = BenchScale(step_g=1.0, limit_of_error_g=2.0)
GREY = Reel("grey ring", "plastic")


def enter(ledger, mass_g, **changed):
    said = {"supplier": KRANICH, "weighed_at": TODAY, "now": NOW, **changed}
    return ledger.record_tare(mass_g, **said)


def weighed_block(gross_g, tare_g, u_net_g, known):
    """The weight block of a spool as the document of an inspection has it."""
    return {
        "gross_g": gross_g,
        "net_g": gross_g - tare_g,
        "uncertainty_g": 2 * u_net_g,
        "tare_g": tare_g,
        "tare_known": known,
    }


def lot_of(code, *weigh_ins, reel=GREY, supplier=KRANICH, days=0, blocks=None, label_g=1000.0):
    """A lot with its document; weigh-ins are (spool, kind, mass), blocks {spool: weight}."""
    now = NOW + timedelta(days=days)
    document = small_document()
    document["lot"].update(lot=code, supplier=supplier)
    document["inspected_at"] = now.isoformat()
    document["label"]["net_g"] = label_g
    document["instruments"] = [
        {"kind": "calliper", "name": "bench 1"},
        {"kind": "scale", "resolution_g": 1.0, "limit_of_error_g": 2.0},
    ]
    for block in document["spools"]:
        block["weight"] = (blocks or {}).get(block["spool"])
    lot = small_lot()
    rows = tuple(WeighIn(s, k, m, file="w.csv", line=i) for i, (s, k, m) in enumerate(weigh_ins, 2))
    remark = source("remark.txt", repr((code, days, weigh_ins)).encode())
    sheet = replace(lot.sheet, lot=code, supplier=supplier, reel=reel)
    return Delivery(
        replace(lot, sheet=sheet, weigh_ins=rows, files=(*lot.files, remark)), document, now=now
    )


# Entering.


def test_a_weighing_is_kept_with_everything_that_was_said_of_it(ledger, delivery):
    lot_id = delivery.entered_in(ledger).lot_id
    found = enter(
        ledger,
        214.5,
        reel_kind=" Grey ring ",
        reel_material="Plastic",
        lot_id=lot_id,
        spool="007",
        scale_step_g=0.5,
        limit_of_error_g=1.0,
        note="dusty",
    )
    assert found == TareEntry(1, True, ledger.location)
    (row,) = [r for r in ledger.tares() if r.tare is not None]
    assert asdict(row) == {
        "tare": 1,
        "inspection": None,
        "supplier": KRANICH,
        "reel_kind": "Grey ring",
        "reel_material": "plastic",
        "lot_id": lot_id,
        "lot": "K-0412",
        "spool": "007",
        "mass_g": 214.5,
        "scale_step_g": 0.5,
        "limit_of_error_g": 1.0,
        "weighed_at": TODAY,
        "note": "dusty",
    }


def test_the_same_line_is_entered_once_whatever_case_and_blanks(ledger):
    first = enter(ledger, 214, reel_kind="grey ring")
    again = enter(
        ledger,
        214.0,
        supplier=" kranich  FILAMENT",
        reel_kind="Grey  Ring",
        scale_step_g=0.1,
        now=NOW + timedelta(hours=1),
    )
    assert (first.new, again.tare, again.new) == (True, first.tare, False)
    assert len(ledger.tares()) == 1


@pytest.mark.parametrize(
    "changed",
    [
        {"weighed_at": TODAY + timedelta(days=1)},
        {"note": "the second one"},
        {"reel_kind": "black ring"},
        {"reel_material": "plastic"},
        {"supplier": TALLOW},
    ],
)
def test_another_line_is_entered(ledger, changed):
    assert enter(ledger, 214.0).new
    assert enter(ledger, 214.0, **changed).new


def test_the_same_reel_weighed_again_is_another_weighing_of_one_reel(ledger, delivery):
    lot_id = delivery.entered_in(ledger).lot_id
    reel = {"lot_id": lot_id, "spool": "NA", "reel_kind": "grey ring"}
    assert enter(ledger, 214.0, **reel).new
    assert enter(ledger, 216.0, **reel).new
    found = ledger.tare_record(KRANICH, "grey ring", None)
    assert (found.n, found.mean_g, found.sd_g) == (1, 215.0, None)


@pytest.mark.parametrize(
    ("mass_g", "changed", "told"),
    [
        (0.0, {}, "the tare is 0 g: an empty reel weighs more than nothing"),
        (-3.0, {}, "the tare is -3 g: an empty reel weighs more than nothing"),
        (float("nan"), {}, "the tare is nan g: an empty reel weighs more than nothing"),
        (214.0, {"supplier": " "}, "the tare names no supplier: say whose reel it is"),
        (214.0, {"lot_id": 77}, "ledger {place} has no lot 77: see lotqa ledger list"),
    ],
)
def test_what_cannot_be_a_reel_is_refused(ledger, mass_g, changed, told):
    with pytest.raises(LedgerError) as caught:
        enter(ledger, mass_g, **changed)
    assert str(caught.value) == told.format(place=ledger.location)
    assert ledger.tares() == []


def test_a_slip_is_withdrawn_and_stays_in_the_ledger(ledger, tmp_path):
    slip = enter(ledger, 1214.0).tare
    enter(ledger, 214.0)
    done = ledger.withdraw_tare(slip, now=NOW, note="full spool")
    assert (done.tare, done.new) == (3, True)
    assert ledger.withdraw_tare(slip, now=NOW).new is False
    assert [row.mass_g for row in ledger.tares()] == [214.0]
    ledger.export(tmp_path / "out")
    kept = (tmp_path / "out" / "tare.csv").read_text(encoding="utf-8-sig")
    assert kept.count("1214.0") == 2  # the slip, and the row that withdraws it
    assert ledger.check() == []


def test_what_was_withdrawn_comes_back_only_with_a_note(ledger):
    slip = enter(ledger, 214.0).tare
    ledger.withdraw_tare(slip, now=NOW)
    with pytest.raises(LedgerError, match="was entered as tare 1 and withdrawn: add --note"):
        enter(ledger, 214.0)
    assert enter(ledger, 214.0, note="it was right").new


@pytest.mark.parametrize("number", [5, 2])
def test_what_is_no_weighing_cannot_be_withdrawn(ledger, number):
    """Number 2 is the row of a withdrawal itself."""
    ledger.withdraw_tare(enter(ledger, 214.0).tare, now=NOW)
    with pytest.raises(LedgerError, match=f"has no tare {number}"):
        ledger.withdraw_tare(number, now=NOW)


# The record.


def test_reels_weighed_with_their_lots_count_beside_those_entered_by_hand(ledger):
    lot_of("A", ("1", "tare", 210.0), ("1", "tare", 212.0), ("2", "tare", 215.0)).entered_in(ledger)
    enter(ledger, 219.0, reel_kind="grey ring", weighed_at=date(2025, 12, 24))
    found = ledger.tare_record("kranich filament", "GREY RING", None)
    assert (found.n, found.mean_g) == (3, (211.0 + 215.0 + 219.0) / 3)
    # With the lots: the day they came, not the day of the inspection.
    assert (found.first, found.last) == ("2025-12-24", "2026-02-20")


def test_a_reel_weighed_with_its_lot_and_later_by_hand_is_one_reel(ledger):
    lot_id = lot_of("A", ("1", "tare", 210.0)).entered_in(ledger).lot_id
    enter(ledger, 214.0, lot_id=lot_id, spool="1", reel_kind="grey ring")
    found = ledger.tare_record(KRANICH, "grey ring", "plastic")
    assert (found.n, found.mean_g) == (1, 212.0)


def test_of_a_lot_the_newest_inspection_speaks(ledger):
    lot_of("A", ("1", "tare", 210.0)).entered_in(ledger)
    lot_of("A", ("1", "tare", 220.0), days=3).entered_in(ledger)
    assert ledger.tare_record(KRANICH, "grey ring", None).mean_g == 220.0


def test_a_lot_without_a_reel_kind_counts_only_where_no_kind_is_asked_for(ledger):
    lot_of("A", ("1", "tare", 210.0), reel=Reel()).entered_in(ledger)
    assert ledger.tare_record(KRANICH, "grey ring", None) is None
    assert ledger.tare_record(KRANICH, None, None).mean_g == 210.0


def test_the_material_speaks_where_the_kind_is_not_known_and_no_supplier_for_another(ledger):
    lot_of("A", ("1", "tare", 210.0)).entered_in(ledger)
    lot_of("B", ("1", "tare", 150.0), reel=Reel("board", "cardboard")).entered_in(ledger)
    lot_of("C", ("1", "tare", 300.0), supplier=TALLOW).entered_in(ledger)
    found = ledger.tare_record(KRANICH, "black ring", "plastic")
    assert (found.mean_g, found.kind, found.n_kinds) == (210.0, None, 1)
    assert ledger.tare_record(KRANICH, "black ring", None) is None
    assert ledger.tare_record(KRANICH, "black ring", "metal") is None
    assert ledger.tare_record("Brightwater Polymers", "grey ring", "plastic") is None
    assert ledger.tare_record(None, "grey ring", "plastic") is None


def test_an_empty_reel_as_heavy_as_its_full_spool_is_not_believed(ledger):
    lot_of("A", ("1", "gross", 214.0), ("1", "tare", 1190.0), ("2", "tare", 215.0)).entered_in(
        ledger
    )
    found = ledger.tare_record(KRANICH, "grey ring", None)
    assert (found.n, found.mean_g) == (1, 215.0)


def test_a_lot_from_before_sheets_named_a_reel(ledger, delivery, plant):
    delivery.entered_in(ledger)
    plant("UPDATE inspection SET lot_sheet = replace(lot_sheet, '\"reel\"', '\"other\"')")
    assert ledger.tare_record(KRANICH, None, None).mean_g == 220.0


# Hindsight.


def looked(ledger, **changed):
    found = ledger.hindsight(scale=SCALE, like_sd_g=8.0, **changed)
    return {(row.lot, row.spool): row for row in found}


SUPPOSED = {"007": weighed_block(1179.0, 220.0, 23.0, "supposed")}
GROSS = ("007", "gross", 1179.0)


def test_a_spool_whose_reel_is_weighed_when_it_ran_out_is_settled_by_itself(ledger):
    lot_id = lot_of("A", GROSS, blocks=SUPPOSED).entered_in(ledger).lot_id
    before = looked(ledger)["A", "007"]
    assert (before.known_now, before.found.outcome) == (None, "still open")
    for mass_g in (214.0, 216.0):
        enter(ledger, mass_g, lot_id=lot_id, spool="007", limit_of_error_g=1.0)
    after = looked(ledger)["A", "007"]
    assert (after.known_now, after.tare_now_g, after.n_reels) == ("itself", 215.0, 1)
    assert after.found.now.net_g == 964.0
    assert (after.found.outcome, after.found.changed) == ("settled: short", True)
    # GUM 4.3.7: rectangular limits of 2 and 1 g, and two roundings of half a gram.
    assert after.found.now.u_net_g == pytest.approx(((4 + 1 + 2 * 0.25) / 3) ** 0.5)


def test_the_record_settles_spools_of_its_kind_and_supplier_only(ledger):
    lot_of("A", GROSS, blocks=SUPPOSED).entered_in(ledger)
    lot_of("B", GROSS, blocks=SUPPOSED, reel=Reel("board", "cardboard")).entered_in(ledger)
    lot_of("C", GROSS, blocks=SUPPOSED, supplier=TALLOW).entered_in(ledger)
    lot_of("D", GROSS, blocks=SUPPOSED, reel=Reel()).entered_in(ledger)
    for i, mass_g in enumerate((213.0, 214.0, 214.0, 215.0, 216.0, 216.0)):
        enter(ledger, mass_g, reel_kind="grey ring", reel_material="plastic", note=str(i))
    found = looked(ledger)
    row = found["A", "007"]
    assert (row.known_now, row.n_reels, row.found.outcome) == ("record", 6, "settled: short")
    assert [found[lot, "007"].known_now for lot in "BCD"] == [None, None, None]
    assert [found[lot, "007"].found.outcome for lot in "BCD"] == ["still open"] * 3
    assert set(looked(ledger, supplier="TALLOW & reed")) == {("C", "007")}


def test_others_of_the_lot_speak_unless_the_record_tells_more(ledger):
    blocks = {"007": weighed_block(1179.0, 215.0, 11.5, "alike")}
    lot_of("A", GROSS, ("NA", "tare", 215.0), blocks=blocks).entered_in(ledger)
    row = looked(ledger)["A", "007"]
    assert (row.known_now, row.n_reels) == ("alike", 1)
    for i in range(8):
        enter(ledger, 213.0 + i % 3, reel_kind="grey ring", note=str(i))
    row = looked(ledger)["A", "007"]
    assert (row.known_now, row.n_reels) == ("record", 9)
    assert row.u_tare_now_g < 3


def test_spools_that_need_no_hindsight_are_left_out(ledger):
    blocks = {
        "007": weighed_block(1179.0, 215.0, 1.6, "itself"),
        "NA": {**weighed_block(1.0, 0.0, 1.0, None), "gross_g": None},
    }
    lot_of("A", GROSS, ("NA", "net", 1000.0), blocks=blocks).entered_in(ledger)
    assert looked(ledger) == {}


def test_a_known_mass_on_the_scale_counts_as_it_did_at_intake(ledger):
    block = SUPPOSED["007"] | {"gross_corrected_g": 1176.0, "scale": {"u_g": 0.4}}
    lot_id = lot_of("A", GROSS, blocks={"007": block}).entered_in(ledger).lot_id
    enter(ledger, 215.0, lot_id=lot_id, spool="007", scale_step_g=0.0, limit_of_error_g=0.0)
    row = looked(ledger)["A", "007"]
    assert (row.gross_g, row.found.now.net_g) == (1179.0, 961.0)
    assert row.found.now.u_net_g == pytest.approx(0.4)


def test_without_a_label_there_is_nothing_to_settle(ledger):
    lot_id = lot_of("A", GROSS, blocks=SUPPOSED, label_g=None).entered_in(ledger).lot_id
    enter(ledger, 215.0, lot_id=lot_id, spool="007")
    row = looked(ledger)["A", "007"]
    assert (row.label_g, row.found.outcome, row.found.now.net_g) == (None, None, 964.0)


def test_looking_back_writes_nothing(ledger, location):
    lot_of("A", GROSS, blocks=SUPPOSED).entered_in(ledger)
    enter(ledger, 215.0, reel_kind="grey ring")

    def whole() -> list[str]:
        with closing(sqlite3.connect(location)) as connection:
            return list(connection.iterdump())

    before = whole()
    assert looked(ledger)["A", "007"].known_now == "record"
    assert whole() == before


# Keeping.


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE tare SET mass_g = 200.0",
        "UPDATE tare SET scale_step_g = 0.1",
        "UPDATE tare SET supplier_key = 'tallow & reed'",
        "UPDATE tare SET weighed_at = '2020-01-01'",
        "UPDATE tare SET content_hash = 'x'",
        "UPDATE tare SET withdraws = 1",
    ],
)
def test_the_check_finds_a_planted_change(ledger, plant, sql):
    enter(ledger, 214.0, scale_step_g=1.0)
    assert ledger.check() == []
    plant(sql)
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found == ["tare 1: the row differs from its hash: keep this file and restore a backup"]


def test_the_check_tells_a_day_that_is_none(ledger, plant):
    enter(ledger, 214.0)
    plant("UPDATE tare SET weighed_at = 'yesterday'")
    found = [text for text in ledger.check() if "the guards" not in text]
    assert found[0].startswith("tare: a row cannot be read (ValueError")


def test_export_and_backup_hold_the_weighings(ledger, tmp_path):
    enter(ledger, 214.0, note="=1+1")
    ledger.export(tmp_path / "out")
    assert "'=1+1" in (tmp_path / "out" / "tare.csv").read_text(encoding="utf-8-sig")
    ledger.backup(tmp_path / "copy.sqlite")
    with Ledger.open(str(tmp_path / "copy.sqlite"), create=False) as copy:
        assert copy.tares() == ledger.tares()
        assert copy.check() == []


@pytest.mark.parametrize("known", [1, 2])
def test_an_older_ledger_gets_the_table_and_keeps_its_rows(
    location, delivery, tmp_path, monkeypatch, known
):
    """A ledger built by the first migrations alone, as an older program left it."""
    folder = tmp_path / "older"
    newer = [f"{name}*" for name in REVISIONS[known:]]
    shutil.copytree(
        Path(upgrade.__file__).parent / "migrations",
        folder,
        ignore=shutil.ignore_patterns("__pycache__", *newer),
    )
    with monkeypatch.context() as older:
        older.setattr(upgrade, "migration_folder", lambda: folder)
        older.setattr(upgrade, "REVISIONS", REVISIONS[:known])
        older.setattr(upgrade, "HEAD", REVISIONS[known - 1])
        with Ledger.open(location) as ledger:
            delivery.entered_in(ledger)
    with sqlite3.connect(location) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    connection.close()
    assert "tare" not in names
    with Ledger.open(location) as ledger:
        assert enter(ledger, 214.0).new
        assert [row.mass_g for row in ledger.tares()] == [220.0, 214.0]
        assert len(ledger.lots()) == 1
        assert ledger.check() == []


# The content hash.

# Of the small lot, by the last version whose lot sheets knew no reel.
BEFORE_REELS = "3c86955389c51ffe1be52a978ce310ca3d9d2e0836eb0246ba849b49245b887a"


def hash_of(document=None, **sheet):
    lot = small_lot()
    given = asdict(lot.sheet) | sheet
    given["received"] = lot.sheet.received.isoformat()
    return content_hash(
        (file.sha256 for file in lot.files), given, document or small_document(), CRITERIA
    )


def test_an_inspection_from_before_reels_is_recognised(ledger, delivery):
    assert hash_of() == BEFORE_REELS
    assert hash_of(reel=asdict(Reel())) == BEFORE_REELS
    delivery.entered_in(ledger)
    assert ledger.lots()[0].content_hash == BEFORE_REELS
    assert delivery.entered_in(ledger).new is False


def test_a_reel_in_the_sheet_makes_another_content():
    assert hash_of(reel=asdict(GREY)) != BEFORE_REELS


def test_a_reel_from_the_record_makes_another_content_as_a_study_does():
    def given(tare_g, u_g, known="record", source="6 reels"):
        document = copy.deepcopy(small_document())
        document["spools"][0]["weight"] |= {
            "tare_g": tare_g, "tare_known": known, "tare_source": source, "tare": {"u_g": u_g}
        }  # fmt: skip
        return hash_of(document)

    assert given(214.0, 3.0, known="supposed") == BEFORE_REELS
    assert given(214.0, 3.0) == given(214.0, 3.0, source="other words for it")
    assert len({BEFORE_REELS, given(214.0, 3.0), given(215.0, 3.0), given(214.0, 2.0)}) == 4
