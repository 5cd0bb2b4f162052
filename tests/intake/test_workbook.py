"""Workbooks: one with a sheet for each table, and single tables saved as .xlsx."""

from datetime import date, datetime
from io import BytesIO

import openpyxl
import pytest

from lotqa.errors import UnusableInput
from lotqa.intake import read_sources
from lotqa.model import Instrument
from tests.intake.reading import assert_rows_add_up, lot_of, told


def workbook(**sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


READINGS = [
    ["spool", "position_m", "direction_deg", "diameter_mm"],
    ["007", 0, 0, 1.75],
    ["007", 0.31, 0, "1,74"],
    [],
    ["NA", 0, 0, 1.76],
]
WHOLE = {
    "lot": [
        ["key", "value"],
        ["lot.supplier", "Tallow & Reed"],
        ["lot", 4711],
        ["received", datetime(2026, 3, 1)],
        ["ordered", "2026-02-20"],
        ["label.nominal_mm", 1.75],
        ["tolerance_mm", "0,05"],
        ["spools_received", 12.0],
        ["multiplier", 0.98],
    ],
    "instruments": [
        ["kind", "name", "resolution_mm", "resolution_g"],
        ["Calliper", "bench", 0.01, None],
        ["scale", "kitchen", None, 1],
    ],
    "Readings": READINGS,
    "weighings": [["spool", "kind", "mass_g"], ["007", "gross", 1193], ["007", "gros", 1193]],
    "findings": [["spool", "finding", "class"], ["NA", "dust", "minor"]],
    "pin checks": [
        ["instrument", "when", "reference_mm", "reading_mm"],
        ["bench", "before", 1.75, 1.76],
    ],
}


def test_a_workbook_holds_a_whole_lot():
    lot = lot_of(workbook(**WHOLE), name="lot7.xlsx")
    assert told(lot) == ['lot7.xlsx[weighings]:3: kind is "gros": did you mean gross? [x]']
    sheet = lot.sheet
    assert (sheet.supplier, sheet.lot, sheet.spools_received) == ("Tallow & Reed", "4711", 12)
    assert (sheet.ordered, sheet.received) == (date(2026, 2, 20), date(2026, 3, 1))
    assert (sheet.label.nominal_mm, sheet.label.tolerance_mm) == (1.75, 0.05)
    assert sheet.print_settings.multiplier == 0.98
    assert sheet.instruments == (
        Instrument("calliper", "bench", resolution_mm=0.01),
        Instrument("scale", "kitchen", resolution_g=1.0),
    )
    assert lot.readings.spools == ("007", "NA")
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.74, 1.76]
    assert lot.readings.line.tolist() == [2, 3, 5]
    assert lot.readings.file == "lot7.xlsx"
    assert (len(lot.weigh_ins), len(lot.findings), len(lot.pin_checks)) == (1, 1, 1)
    [file] = lot.files
    assert (file.rows_read, file.rows_used, file.rows_reported) == (7, 6, 1)


def test_names_in_number_cells_are_read_as_whole_numbers_with_one_note():
    rows = [["spool", "diameter_mm"], [7, 1.75], [7.0, 1.74], ["007", 1.75]]
    lot = lot_of(workbook(Sheet1=rows), name="readings.xlsx")
    assert lot.readings.spools == ("7", "007")
    assert told(lot) == [
        'readings.xlsx:2: spool is a number cell, read as "7": '
        "format the column as text, so that a name such as 007 survives",
        'readings.xlsx:4: spool "007" is kept apart from spool "7": '
        "if they are one spool, write its name in one way",
    ]
    assert_rows_add_up(lot)


def test_text_goes_before_workbook_and_the_other_is_reported():
    lot = read_sources([
        ("readings.xlsx", workbook(Sheet1=READINGS)),
        ("readings.csv", b"spool,diameter_mm\nA,1.75\n"),
    ])  # fmt: skip
    assert lot.readings.spools == ("A",)
    assert told(lot) == [
        "readings.xlsx: left out, since readings.csv is there: keep one of the two"
    ]
    assert [f.rows_read for f in lot.files] == [0, 1]


def test_a_sheet_with_a_slip_in_its_name_is_told():
    content = workbook(readings=READINGS, weighing=[["spool", "kind", "mass_g"]])
    assert told(lot_of(content, name="lot7.xlsx")) == [
        "lot7.xlsx[weighing]: left out: did you mean weighings? Rename it"
    ]


def test_a_bare_column_of_numbers_works():
    lot = lot_of(workbook(Sheet1=[[1.75], [1.74]]), name="roll7.xlsx")
    assert lot.readings.spools == ("roll7",)
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.74]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "readings.xlsx: the file is empty: save the workbook again as .xlsx"),
        (b"PK\x03\x04 broken", "readings.xlsx: cannot be read as a workbook: open it in a "
         "spreadsheet program and save it as .xlsx, or save the table as CSV"),
        (b"spool,diameter_mm\nA,1.75\n", "readings.xlsx: cannot be read as a workbook: open it in "
         "a spreadsheet program and save it as .xlsx, or save the table as CSV"),
        (b"\xd0\xcf\x11\xe0 old", "readings.xlsx: this is an old or locked workbook: "
         "save it as .xlsx without a password"),
        (workbook(Sheet1=[]), "readings.xlsx: the workbook is empty: write a header line and rows"),
    ],
)  # fmt: skip
def test_a_workbook_that_cannot_be_read_is_refused(content, message):
    with pytest.raises(UnusableInput) as caught:
        lot_of(content, name="readings.xlsx")
    assert str(caught.value) == message


def test_a_broken_side_workbook_costs_only_itself():
    lot = read_sources([("readings.csv", b"spool,diameter_mm\nA,1.75\n"), ("weighings.xlsx", b"x")])
    assert told(lot) == [
        "weighings.xlsx: cannot be read as a workbook: open it in a spreadsheet program and save "
        "it as .xlsx, or save the table as CSV; the file is left out [x]"
    ]
