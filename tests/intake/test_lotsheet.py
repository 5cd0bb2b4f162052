"""The lot sheet: what is used, what is reported, and that the rest stands."""

from datetime import date

import pytest

from lotqa.model import Instrument, Label, LotSheet, PrintSettings
from tests.intake.reading import lot_of, told

READINGS = "spool,diameter_mm\nA,1.75\nA,1.74\n"
SHEET = """\
[lot]
supplier = "Kranich Filament"
product = "PLA plain"
material = "PLA"
colour = "grey"
lot = "007"
ordered = 2026-02-20
received = "2026-03-01"
spools_received = 12
claim_days = 14
price = 19.90
currency = "EUR"

[label]
nominal_mm = 1.75
tolerance_mm = 0.05
net_g = 1000
ovality_mm = 0.03

[[instrument]]
kind = "Calliper"
name = "bench"
resolution_mm = 0.01
limit_of_error_mm = 0.02
repeatability_sd_mm = 0.008

[[instrument]]
kind = "scale"
resolution_g = 1
limit_of_error_g = 2
repeatability_sd_g = 0.5

[print]
line_width_mm = 0.45
layer_height_mm = 0.2
set_diameter_mm = 1.75
multiplier = 0.98
"""


def test_a_whole_sheet_is_read():
    lot = lot_of(READINGS, sheet=SHEET)
    assert lot.problems == ()
    assert lot.sheet == LotSheet(
        supplier="Kranich Filament",
        product="PLA plain",
        material="PLA",
        colour="grey",
        lot="007",
        ordered=date(2026, 2, 20),
        received=date(2026, 3, 1),
        spools_received=12,
        claim_days=14,
        price=19.9,
        currency="EUR",
        label=Label(nominal_mm=1.75, tolerance_mm=0.05, net_g=1000.0, ovality_mm=0.03),
        instruments=(
            Instrument("calliper", "bench", 0.01, 0.02, 0.008),
            Instrument(
                "scale", "scale", resolution_g=1.0, limit_of_error_g=2.0, repeatability_sd_g=0.5
            ),
        ),
        print_settings=PrintSettings(0.45, 0.2, 1.75, 0.98),
    )


def test_no_sheet_is_no_problem():
    lot = lot_of(READINGS)
    assert lot.sheet == LotSheet()


LINES = [
    (
        "[lot]",
        "suplier = 'x'",
        "suplier in [lot] is not known and is left out: did you mean supplier?",
    ),
    (
        "[lot]",
        "net_g = 1000",
        "net_g in [lot] is not known and is left out: it belongs under [label]",
    ),
    (
        "[lot]",
        "received = 2026-02-30",
        'received is "2026-02-30", a day that does not exist: correct the date',
    ),
    (
        "[lot]",
        "received = '2026-02-30'",
        'received is "2026-02-30", a day that does not exist: correct the date',
    ),
    (
        "[lot]",
        "received = '1.3.2026'",
        'received is "1.3.2026": write year-month-day such as 2026-03-01',
    ),
    ("[lot]", "received = 3", 'received is "3": write year-month-day such as 2026-03-01'),
    ("[lot]", "lot = 4711", 'lot is the number 4711: put it in quotes, "4711", so it stays text'),
    ("[lot]", "colour = 1.5", 'colour is 1.5: write a text in quotes, such as "grey"'),
    ("[lot]", "colour = ['grey']", "colour is ['grey']: write a text in quotes, such as \"grey\""),
    ("[lot]", "price = 'cheap'", 'price is "cheap": write a number such as 19.90'),
    ("[lot]", "price = '19,90'", 'price is "19,90": write the number without quotes'),
    ("[lot]", "price = true", "price is True: write a number such as 19.90"),
    ("[lot]", "price = -3", "price is -3, outside 0 to 1000000: write a number such as 19.90"),
    ("[lot]", "spools_received = 2.5", "spools_received is 2.5: write a whole number such as 12"),
    (
        "[lot]",
        "spools_received = 0",
        "spools_received is 0, outside 1 to 100000: write a number such as 12",
    ),
    ("[lot]", "claim_days = -1", "claim_days is -1, outside 0 to 3650: write a number such as 14"),
    (
        "[label]",
        "tolerance_mm = 1.75",
        "tolerance_mm is 1.75, the diameter rather than the tolerance: "
        "write the half width in mm, such as 0.05",
    ),
    (
        "[label]",
        "tolerance_mm = 0",
        "tolerance_mm is 0, outside 0 to 0.5: write a number such as 0.05",
    ),
    (
        "[label]",
        "ovality_mm = 95",
        "ovality_mm is 95, outside 0 to 0.5: write a number such as 0.05",
    ),
    ("[label]", "nominal_mm = 17.5", "nominal_mm is 17.5, outside 0.5 to 5: a slip for 1.75?"),
    (
        "[label]",
        "nominal_mm = 0.0689",
        "nominal_mm is 0.0689, outside 0.5 to 5: inches? Write millimetres, 1.75",
    ),
    (
        "[label]",
        "nominal_mm = 1.57",
        "nominal_mm is 1.57: stock is sold as 1.75 or 2.85 mm: is it so?",
    ),
    ("[label]", "net_g = 1", "net_g is 1: kilograms? Write grams, such as 1000"),
    ("[label]", "net_g = nan", "net_g is nan, outside 5 to 50000: write a number such as 1000"),
    (
        "[[instrument]]",
        "resolution_mm = 10",
        "resolution_mm is 10, outside 0 to 0.2: write a number such as 0.01",
    ),
    (
        "[print]",
        "multiplier = 98",
        "multiplier is 98, outside 0.2 to 5: write a number such as 1.0",
    ),
    (
        "[print]",
        "line_with_mm = 0.4",
        "line_with_mm in [print] is not known and is left out: did you mean line_width_mm?",
    ),
]


@pytest.mark.parametrize(("section", "entry", "message"), LINES)
def test_an_entry_that_makes_no_sense_is_named_by_its_line(section, entry, message):
    # nominal 1.57 is used; the readings stay within 35 % of it
    sheet = f"# about the lot\n\n{section}\n{entry}\n"
    assert told(lot_of(READINGS, sheet=sheet)) == [f"lot.toml:4: {message}"]


def test_the_rest_of_the_sheet_stands():
    sheet = SHEET.replace('colour = "grey"', "colour = 3.5").replace("= 2026-02-20", "= 2026-02-31")
    lot = lot_of(READINGS, sheet=sheet)
    assert [p.line for p in lot.problems] == [5, 7]
    assert (lot.sheet.colour, lot.sheet.ordered) == (None, None)
    assert lot.sheet.received == date(2026, 3, 1)
    assert lot.sheet.label.tolerance_mm == 0.05


def test_a_slip_is_not_used():
    label = lot_of(READINGS, sheet="[label]\ntolerance_mm = 1.75\nnet_g = 1\n").sheet.label
    assert label == Label()


def test_a_tolerance_of_a_fifth_of_the_diameter_is_a_slip():
    lot = lot_of(READINGS, sheet="[label]\nnominal_mm = 1.75\ntolerance_mm = 0.4\n")
    assert lot.sheet.label.tolerance_mm is None
    assert told(lot) == [
        "lot.toml:3: tolerance_mm is 0.4, a fifth of the diameter or more: "
        "write the half width in mm, such as 0.05"
    ]


def test_nothing_arrives_before_it_is_ordered():
    lot = lot_of(READINGS, sheet="[lot]\nordered = 2026-03-05\nreceived = 2026-03-01\n")
    assert told(lot) == [
        "lot.toml:3: received is 2026-03-01, before it was ordered on 2026-03-05: "
        "correct one of the dates"
    ]


@pytest.mark.parametrize(
    ("sheet", "message"),
    [
        (
            "[lot]\nprice = 19,90\n",
            'lot.toml:2: "price = 19,90" is not TOML, the lot sheet is left out: '
            "write decimals with a point",
        ),
        (
            "[lot]\n\nsupplier = Kranich Filament\n",
            'lot.toml:3: "supplier = Kranich Filament" is not TOML, the lot sheet is left out: '
            'put text in quotes, such as supplier = "Kranich Filament"',
        ),
        (
            "[lot\nsupplier = 'x'\n",
            'lot.toml:1: "[lot" is not TOML, the lot sheet is left out: '
            'write one key = value a line, text in quotes, such as colour = "grey"',
        ),
        (
            "[print]\nx = 1\n[pritn]\ny = 2\n",
            "lot.toml:2: x in [print] is not known and is left out: known are line_width_mm, "
            "layer_height_mm, set_diameter_mm, multiplier",
        ),
        (
            "supplier = 'x'\n",
            "lot.toml:1: supplier is not known and is left out: it belongs under [lot]",
        ),
        (
            "\n",
            "lot.toml: the file is empty: write a header line and the rows under it; "
            "the file is left out",
        ),
        ("\0\0", "lot.toml: not a text file: save the table as CSV in UTF-8; the file is left out"),
    ],
)
def test_a_sheet_that_is_not_toml_is_left_out_and_the_readings_are_used(sheet, message):
    lot = lot_of(READINGS, sheet=sheet)
    assert told(lot)[0] == message
    assert len(lot.readings) == 2


def test_a_section_that_is_not_known_is_told():
    lot = lot_of(READINGS, sheet="[lot]\ncolour = 'grey'\n[labels]\nnominal_mm = 1.75\n")
    assert told(lot) == [
        "lot.toml:3: section [labels] is not known and is left out: did you mean [label]?"
    ]
