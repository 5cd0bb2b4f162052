"""Two lots in one folder: a column of lot codes, a second lot sheet."""

import pytest

from lotqa.intake import read_lot

HEAD = "spool,diameter_mm,"


def put(folder, header="lot", codes=("K1", "K1", "K1"), sheet='[lot]\nlot = "K1"\n', **more):
    rows = "".join(f"{s},1.75,{c}\n" for s, c in zip("ABC", codes, strict=True))
    (folder / "readings.csv").write_text(f"{HEAD}{header}\n{rows}")
    if sheet is not None:
        (folder / "lot.toml").write_text(sheet)
    for name, content in more.items():
        (folder / name.replace("__", ".")).write_text(content)
    return folder


def told(lot):
    return [(p.file, p.line, p.column, p.value, p.message) for p in lot.problems]


@pytest.mark.parametrize("header", ["lot", "Lot code", "batch"])
def test_a_column_that_names_the_lot_of_the_sheet_is_no_problem(tmp_path, header):
    lot = read_lot(put(tmp_path, header, codes=("K1", "", "k1 ")))
    assert (lot.sheet.lot, told(lot)) == ("K1", [])


def test_a_column_names_the_lot_where_the_sheet_does_not(tmp_path):
    lot = read_lot(put(tmp_path, sheet=None))
    assert (lot.sheet.lot, told(lot)) == ("K1", [])


def test_two_lots_in_one_table_are_told_with_their_rows_and_nothing_is_lost(tmp_path):
    lot = read_lot(put(tmp_path, codes=("K1", "K2", "K2")))
    assert told(lot) == [(
        "readings.csv", 3, "lot", "K2",
        'column "lot" names 2 lots: "K1" (1 rows from line 2), "K2" (2 rows from line 3); one '
        "folder holds one lot: all rows are judged together as one, put the rows of each lot into "
        "a folder of its own",
    )]  # fmt: skip
    assert lot.readings.spools == ("A", "B", "C")
    assert len(lot.readings) == 3


def test_a_table_of_another_lot_than_the_sheet(tmp_path):
    lot = read_lot(put(tmp_path, codes=("K9",) * 3))
    assert lot.sheet.lot == "K1"
    assert told(lot) == [(
        "readings.csv", 2, "lot", "K9",
        'column "lot" says "K9", and the lot sheet "K1": the lot sheet is used; correct it if '
        "these are the readings of the other lot",
    )]  # fmt: skip


def test_many_lots_are_not_all_listed(tmp_path):
    rows = "".join(f"A,1.75,K{i}\n" for i in range(9))
    (tmp_path / "readings.csv").write_text(f"{HEAD}lot\n{rows}")
    (message,) = [p.message for p in read_lot(tmp_path).problems if p.column == "lot"]
    assert 'names 9 lots: "K0" (1 rows from line 2)' in message
    assert '"K4" (1 rows from line 6) and 4 more; one folder' in message


def test_a_second_lot_sheet_of_another_lot(tmp_path):
    other = {"lot_b__toml": '[lot]\nlot = "K2"\n'}
    assert told(read_lot(put(tmp_path, **other))) == [(
        "lot_b.toml", None, "lot", "K2",
        'left out: it names the lot "K2", and lot.toml the lot "K1"; one folder holds one lot, so '
        "put the spools of the other into a folder of their own",
    )]  # fmt: skip


def test_a_second_lot_sheet_of_the_same_lot_is_just_left_out(tmp_path):
    same = {"lot_b__toml": '[lot]\nlot = "k1"\n'}
    assert told(read_lot(put(tmp_path, **same))) == [
        ("lot_b.toml", None, None, None, "left out: lot.toml is used")
    ]


def test_a_second_lot_sheet_that_cannot_be_read_is_just_left_out(tmp_path):
    for content in ("lot = = 1", ""):
        lot = read_lot(put(tmp_path, lot_b__toml=content))
        assert [m for *_, m in told(lot)] == ["left out: lot.toml is used"]


def test_a_table_too_large_to_be_searched_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("lotqa.intake.bulk.BULK_BYTES", 10)
    lot = read_lot(put(tmp_path, codes=("K1", "K2", "K2")))
    assert [m for *_, m in told(lot)] == [
        'column "lot" is not read in a table of this size: one folder holds one lot'
    ]
    assert len(lot.readings) == 3
