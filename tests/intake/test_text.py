"""Encodings and cells.  Python's csv module is the second opinion on quoting."""

import csv

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.intake.refusal import Refused
from lotqa.intake.text import decode, record_at, split_cells
from tests.intake.reading import HEADER, lot_of, told

ROWS = HEADER + "Rolle ä,0,0,1.75\nRolle ä,0,90,1.74\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_unicode_with_its_mark_is_read_without_a_word(encoding):
    mark = "\ufeff" if encoding in ("utf-16-le", "utf-16-be") else ""
    lot = lot_of((mark + ROWS).encode(encoding))
    assert lot.readings.spools == ("Rolle ä",)
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.74]
    assert lot.problems == ()


def test_latin_1_is_the_reported_last_resort():
    lot = lot_of(ROWS.encode("latin-1"))
    assert lot.readings.spools == ("Rolle ä",)
    assert told(lot) == [
        "readings.csv:2: the text is not UTF-8 and is read as Latin-1: "
        "check letters with accents in names, or save the file as UTF-8"
    ]


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_line_ends_of_all_systems_give_the_same_line_numbers(line_end):
    lot = lot_of(ROWS.replace("\n", line_end))
    assert lot.readings.line.tolist() == [2, 3]
    assert lot.problems == ()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "x.csv: the file is empty: write a header line and the rows under it"),
        (b" \r\n\r\n", "x.csv: the file is empty: write a header line and the rows under it"),
        (b",,,\n;;\n", "x.csv: the file is empty: write a header line and the rows under it"),
        (b"\x00\x01\x02rub", "x.csv: not a text file: save the table as CSV in UTF-8"),
        (b"\xff\xfe\x00", "x.csv: not a text file: save the table as CSV in UTF-8"),
        (b"\x01\x02\x03\x04" * 9, "x.csv: not a text file: save the table as CSV in UTF-8"),
        (b"%PDF-1.7 ...", "x.csv: not a text file: this is a PDF: save the table as CSV"),
        (
            b"PK\x03\x04....",
            "x.csv: not a text file: this is a workbook or zip archive: "
            "rename it to .xlsx, or save it as CSV",
        ),
        (
            b"\xd0\xcf\x11\xe0....",
            "x.csv: not a text file: this is an old or locked workbook: "
            "save it as .xlsx without a password",
        ),
    ],
)
def test_what_is_no_text_is_refused_with_the_way_out(content, message):
    with pytest.raises(Refused) as caught:
        decode("x.csv", content)
    assert str(caught.value) == message


CELL = st.text(alphabet='ab1.,;" ', max_size=6)


@given(st.lists(CELL, min_size=1, max_size=5), st.sampled_from(",;"))
def test_cells_written_by_the_csv_module_come_back(cells, separator):
    quoted = separator.join('"' + cell.replace('"', '""') + '"' for cell in cells)
    assert next(csv.reader([quoted], delimiter=separator)) == cells  # the second opinion agrees
    assert split_cells(quoted, separator) == (cells, False)


@given(st.text(alphabet='ab1,"', max_size=12))
def test_any_line_splits_as_the_csv_module_splits_it(line):
    cells, is_open = split_cells(line, ",")
    if line and not is_open:
        assert cells == next(csv.reader([line]))


def test_a_line_break_in_quotes_continues_the_row():
    lines = ['A,"two', 'lines",1', "B,x,2"]
    assert record_at(lines, 0, ",") == (["A", "two\nlines", "1"], 2)


def test_two_stray_quotes_far_apart_cannot_swallow_the_rows_between():
    between = "".join(f"A,{i},0,1.7{i % 10}\n" for i in range(1, 41))
    lot = lot_of(HEADER + 'A,0,0,"1.75\n' + between + 'A,50,0,"1.75\n')
    assert len(lot.readings) == 40
    assert [p.line for p in lot.problems] == [2, 43]


def test_a_stray_quote_cannot_swallow_the_rows_after_it():
    rows = HEADER + 'A,0,0,"1.75\n' + "".join(f"A,{i},0,1.7{i % 10}\n" for i in range(1, 41))
    lot = lot_of(rows)
    assert len(lot.readings) == 40
    assert told(lot) == ['readings.csv:2: diameter_mm is ""1.75": write a number such as 1.75 [x]']
