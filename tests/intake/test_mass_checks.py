"""Mass checks and the reel: what is kept, and the whole message of each slip."""

from io import BytesIO

import openpyxl
import pytest

from lotqa.intake import read_sources
from lotqa.model import MassCheck, Reel
from tests.intake.reading import assert_rows_add_up, lot_of, told

READINGS = "spool,diameter_mm\nA,1.75\n007,1.74\n"
MASS = "instrument,when,reference_g,reading_g\n"


def test_mass_checks_are_kept():
    lot = lot_of(
        READINGS,
        mass_checks="Scale;When;Reference (g);Reading g;Note\n"
        "parcel;Before;1000;1001,5;\nparcel;after;0,5 kg;500;second mass\n",
    )
    assert told(lot) == []
    assert lot.mass_checks == (
        MassCheck("parcel", "before", 1000.0, 1001.5, "mass_checks.csv", 2),
        MassCheck("parcel", "after", 500.0, 500.0, "mass_checks.csv", 3),
    )
    assert_rows_add_up(lot)


def test_no_mass_checks_is_no_problem():
    assert lot_of(READINGS).mass_checks == ()


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("parcel,befor,500,501", 'when is "befor": did you mean before?'),
        (",before,500,501", "instrument is empty: write the scale's name as in the lot sheet"),
        ("parcel,before,500,", "reading_g is empty: write a number such as 501"),
        ("parcel,before,,501", "reference_g is empty: write a number such as 500"),
        (
            "parcel,before,500,1000",
            "reading_g is 1000 for a known mass of 500 g, more than 10 g off: another mass? "
            "Weigh it again",
        ),
        (
            "parcel,before,5,9",
            "reading_g is 9 for a known mass of 5 g, more than 3 g off: another mass? Weigh it "
            "again",
        ),
        (
            "parcel,before,500,0.501",
            "reading_g is 0.501 beside 500 g: kilograms? Write grams, such as 501",
        ),
        (
            "parcel,before,0.5,501",
            "reference_g is 0.5 beside 501 g: kilograms? Write grams, such as 500",
        ),
        (
            "parcel,before,0,0",
            "reference_g is 0, outside 0.1 to 50000 g: write the known mass in grams",
        ),
        (
            "parcel,before,500,501,5,6",
            "the row has 6 cells and the header 4: with a decimal comma, "
            'put the number in quotes ("1,75") or part the columns by semicolons',
        ),
    ],
)
def test_a_mass_check_that_cannot_be_right_is_not_used(row, message):
    lot = lot_of(READINGS, mass_checks=MASS + "parcel,before,500,501\n" + row + "\n")
    assert told(lot) == [f"mass_checks.csv:3: {message} [x]"]
    assert len(lot.mass_checks) == 1
    assert_rows_add_up(lot)


def test_a_scale_that_is_off_within_reason_is_used():
    lot = lot_of(READINGS, mass_checks=MASS + "parcel,before,500,509\n")
    assert told(lot) == []
    assert lot.mass_checks[0].reading_g == 509.0


def test_a_scale_that_the_sheet_does_not_name_is_pointed_out():
    sheet = '[[instrument]]\nkind = "scale"\nname = "parcel scale"\n'
    lot = lot_of(READINGS, sheet=sheet, mass_checks=MASS + "parcl scale,before,500,501\n" * 2)
    assert told(lot) == [
        'mass_checks.csv:2: instrument "parcl scale" is not in the lot sheet: did you mean '
        "parcel scale?"
    ]


def test_a_table_that_cannot_be_read_costs_only_itself():
    lot = lot_of(READINGS, mass_checks="a,b\n1,2\n")
    assert told(lot)[-1] == (
        "mass_checks.csv:1: the columns instrument, when, reference_g, reading_g are missing, the "
        "header has a, b: add it to the header; the file is left out [x]"
    )
    assert len(lot.readings) == 2
    assert_rows_add_up(lot)


def test_a_name_that_comes_near_is_asked_about():
    lot = read_sources([("readings.csv", READINGS.encode()), ("mass check.csv", MASS.encode())])
    assert told(lot) == ["mass check.csv: left out: did you mean mass_checks.csv? Rename it"]


@pytest.mark.parametrize(
    ("line", "reel", "said"),
    [
        ('kind = "grey ring 1 kg"\nmaterial = "Plastic"', Reel("grey ring 1 kg", "plastic"), []),
        ('material = "none"', Reel(None, "none"), []),
        (
            'material = "cardbord"',
            Reel(),
            ['lot.toml:2: material is "cardbord": did you mean cardboard?'],
        ),
        (
            'material = "bamboo"',
            Reel(),
            ['lot.toml:2: material is "bamboo": write plastic, cardboard, metal or none'],
        ),
        (
            "kind = 7",
            Reel("7"),
            ['lot.toml:2: kind is the number 7: put it in quotes, "7", so it stays text'],
        ),
        (
            "tare_g = 200",
            Reel(),
            ["lot.toml:2: tare_g in [reel] is not known and is left out: known are kind, material"],
        ),
    ],
)
def test_the_reel_of_the_lot_sheet(line, reel, said):
    lot = lot_of(READINGS, sheet=f"[reel]\n{line}\n")
    assert (lot.sheet.reel, told(lot)) == (reel, said)


def test_reel_and_mass_checks_in_a_workbook():
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in {
        "readings": [["spool", "diameter_mm"], ["A", 1.75]],
        "lot": [["reel.kind", "grey ring"], ["reel.material", "cardboard"], ["material", "PLA"]],
        "mass_checks": [
            ["instrument", "when", "reference_g", "reading_g"],
            ["s", "after", 500, 501],
        ],
    }.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    content = BytesIO()
    book.save(content)
    lot = read_sources([("readings.xlsx", content.getvalue())])
    assert told(lot) == []
    assert (lot.sheet.reel, lot.sheet.material) == (Reel("grey ring", "cardboard"), "PLA")
    assert lot.mass_checks == (MassCheck("s", "after", 500.0, 501.0, "readings.xlsx", 2),)
    assert_rows_add_up(lot)
