"""Weigh-ins, findings and pin checks: what is kept, and the whole message of each slip."""

import pytest

from lotqa.model import Finding, PinCheck, WeighIn
from tests.intake.reading import assert_rows_add_up, lot_of, told

READINGS = "spool,diameter_mm\nA,1.75\n007,1.74\n"
WEIGH = "spool,kind,mass_g,length_m,hours,temperature_c,scale_step_g,note\n"
FIND = "spool,finding,class,count,position_m,note\n"
PIN = "instrument,when,reference_mm,reading_mm\n"


def test_weigh_ins_are_kept_with_all_their_fields():
    lot = lot_of(
        READINGS,
        weighings="Spool;Kind;Mass (kg);Length m;Hours;Temperature C;Scale step g;Note\n"
        "007;gross;1,193;;;;1;\nA;Before Drying;1193 g;;;;;bag off\n"
        "A;after drying;1.190;;4;50;;\nA;cut;0,00596;2,000;;;0,01;\n",
    )
    assert told(lot) == []
    assert lot.weigh_ins == (
        WeighIn("007", "gross", 1193.0, scale_step_g=1.0, file="weighings.csv", line=2),
        WeighIn("A", "before_drying", 1193.0, note="bag off", file="weighings.csv", line=3),
        WeighIn("A", "after_drying", 1190.0, None, 4.0, 50.0, file="weighings.csv", line=4),
        WeighIn("A", "cut", 5.96, 2.0, scale_step_g=0.01, file="weighings.csv", line=5),
    )


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("A,gros,1193", 'kind is "gros": did you mean gross?'),
        (
            "A,brutto,1193",
            'kind is "brutto": write gross, tare, net, cut, before_drying, after_drying, coupon, '
            "in_air or in_water",
        ),
        (
            "A,,1193",
            "kind is empty: write gross, tare, net, cut, before_drying, after_drying, coupon, "
            "in_air or in_water",
        ),
        ("A,gross,", "mass_g is empty: write a number such as 1193"),
        ("A,gross,heavy", 'mass_g is "heavy": write a number such as 1193'),
        ("A,gross,1.193", "mass_g is 1.193 for gross: kilograms? Write grams, such as 1193"),
        ("A,tare,0.223", "mass_g is 0.223 for tare: kilograms? Write grams, such as 223"),
        ("A,gross,-5", "mass_g is -5: a mass is above 0, weigh again"),
        (
            "A,gross,1193000",
            "mass_g is 1193000, above 50000 g: write the mass of one spool in grams",
        ),
        ("A,cut,5.96", "length_m is empty: a cut piece needs its length in metres"),
        ("A,cut,5.96,0", "length_m is 0: write the length in metres"),
        (
            "A,cut,5.96,2000",
            "length_m is 2000 for 5.96 g, that is 0.00298 g a metre, "
            "outside 1 to 40: millimetres? Write metres, such as 2",
        ),
        (
            "A,cut,5.96,200",
            "length_m is 200 for 5.96 g, that is 0.0298 g a metre, "
            "outside 1 to 40: centimetres? Write metres, such as 2",
        ),
        (
            "A,cut,0.00596,2",
            "length_m is 2 for 0.00596 g, that is 0.00298 g a metre, "
            "outside 1 to 40: kilograms? Write grams, such as 5.96",
        ),
        (
            "A,cut,5.96,0.1",
            "length_m is 0.1 for 5.96 g, that is 59.6 g a metre, "
            "outside 1 to 40: write metres and grams",
        ),
        (
            "A,before_drying,1.19",
            "mass_g is 1.19 for before_drying: kilograms? Write grams, such as 1190",
        ),
        (
            "A,in_water,1.15,,,,0.01",
            "temperature_c is empty: a piece in water needs the temperature of the water",
        ),
        (
            "A,in_water,1.15,,,60,0.01",
            "temperature_c is 60 for in_water, outside 0 to 40: "
            "write the temperature of the water in degrees Celsius",
        ),
        ("A,after_drying,1190,,-1", "hours is -1, outside 0 to 1000: write hours"),
        (
            "A,after_drying,1190,,4,500",
            "temperature_c is 500, outside -20 to 200: write degrees Celsius",
        ),
        ("A,gross,1193,,,,0", "scale_step_g is 0: write the step of the display in grams"),
        (",gross,1193", "spool is empty: write the spool's name in every row"),
        (
            "A,gross,1193,,,,,note, more",
            "the row has 9 cells and the header 8: with a decimal comma, "
            'put the number in quotes ("1,75") or part the columns by semicolons',
        ),
    ],
)
def test_a_weigh_in_that_cannot_be_right_is_not_used(row, message):
    lot = lot_of(READINGS, weighings=WEIGH + "A,tare,180\n" + row + "\n")
    assert told(lot) == [f"weighings.csv:3: {message} [x]"]
    assert len(lot.weigh_ins) == 1
    assert_rows_add_up(lot)


def test_a_spool_that_is_only_weighed_is_kept_with_a_note_each_name_once():
    lot = lot_of(READINGS, weighings=WEIGH + "7,gross,1193\n7,tare,180\nQ12,gross,1190\n")
    assert [w.spool for w in lot.weigh_ins] == ["7", "7", "Q12"]
    assert told(lot) == [
        'weighings.csv:2: no readings for spool "7": did you mean 007?',
        'weighings.csv:4: no readings for spool "Q12": the row is kept, the spool has none',
    ]
    assert_rows_add_up(lot)


def test_findings_are_kept():
    lot = lot_of(READINGS, findings=FIND + 'A,lump,Major,2,12.5,"near, the end"\nA,dust,minor\n')
    assert lot.problems == ()
    assert lot.findings == (
        Finding("A", "lump", "major", 2, 12.5, "near, the end", "findings.csv", 2),
        Finding("A", "dust", "minor", file="findings.csv", line=3),
    )


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("A,lump,majr", 'class is "majr": did you mean major?'),
        ("A,lump,bad", 'class is "bad": write critical, major or minor'),
        (
            "A,melon,",
            'class is empty, and "melon" is not in the catalogue: write critical, major or minor',
        ),
        ("A,,major", "finding is empty: write what was seen, such as lump"),
        (",lump,major", "spool is empty: write the spool's name in every row"),
        ("A,lump,major,0", "count is 0: count 1, 2, 3"),
        ("A,lump,major,1.5", "count is 1.5: count 1, 2, 3"),
        ("A,lump,major,many", 'count is "many": write a number such as 1'),
        (
            "A,lump,major,1,-2",
            "position_m is -2: positions count from the free end, write metres from 0 up",
        ),
    ],
)
def test_a_finding_that_cannot_be_right_is_not_used(row, message):
    lot = lot_of(READINGS, findings=FIND + row + "\n")
    assert told(lot) == [f"findings.csv:2: {message} [x]"]
    assert lot.findings == ()
    assert_rows_add_up(lot)


def test_pin_checks_are_kept():
    lot = lot_of(READINGS, pin_checks=PIN + "bench,before,1.750,1.76\nbench,After,0.0689 in,1.75\n")
    assert lot.problems == ()
    assert lot.pin_checks[0] == PinCheck("bench", "before", 1.75, 1.76, "pin_checks.csv", 2)
    # NIST SP 811 (2008), B.6: 1 in = 25.4 mm exactly
    assert lot.pin_checks[1].reference_mm == pytest.approx(1.75006, abs=1e-12)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("bench,befor,1.75,1.76", 'when is "befor": did you mean before?'),
        ("bench,noon,1.75,1.76", 'when is "noon": write before or after'),
        ("bench,,1.75,1.76", "when is empty: write before or after"),
        (
            ",before,1.75,1.76",
            "instrument is empty: write the instrument's name as in the lot sheet",
        ),
        ("bench,before,1.75,", "reading_mm is empty: write a number such as 1.76"),
        ("bench,before,1.75,1.7S", 'reading_mm is "1.7S": write a number such as 1.76'),
        (
            "bench,before,175,1.76",
            "reference_mm is 175, outside 0.05 to 30 mm: write the size in millimetres",
        ),
        (
            "bench,before,1.75,2.00",
            "reading_mm is 2.00 on a pin of 1.75 mm, more than 0.2 mm off: "
            "another pin? Read it again",
        ),
    ],
)
def test_a_pin_check_that_cannot_be_right_is_not_used(row, message):
    lot = lot_of(READINGS, pin_checks=PIN + row + "\n")
    assert told(lot) == [f"pin_checks.csv:2: {message} [x]"]
    assert lot.pin_checks == ()
    assert_rows_add_up(lot)


def test_an_instrument_that_the_sheet_does_not_name_is_pointed_out():
    sheet = '[[instrument]]\nkind = "calliper"\nname = "bench"\n'
    lot = lot_of(READINGS, sheet=sheet, pin_checks=PIN + "bnch,before,1.75,1.76\n" * 2)
    assert told(lot) == [
        'pin_checks.csv:2: instrument "bnch" is not in the lot sheet: did you mean bench?'
    ]
    assert len(lot.pin_checks) == 2


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        (
            "weighings",
            "spool,mass_g\nA,1193\n",
            "weighings.csv:1: the column kind is missing, "
            "the header has spool, mass_g: add it to the header; the file is left out [x]",
        ),
        (
            "weighings",
            "A,gross,1193\n",
            "weighings.csv:1: the columns spool, kind, mass_g are "
            "missing, the header has A, gross, 1193: add it to the header; "
            "the file is left out [x]",
        ),
        (
            "findings",
            "",
            "findings.csv: the file is empty: write a header line and the rows under "
            "it; the file is left out [x]",
        ),
        (
            "pin_checks",
            "\0\1",
            "pin_checks.csv: not a text file: save the table as CSV in UTF-8; "
            "the file is left out [x]",
        ),
    ],
)
def test_a_side_table_that_cannot_be_read_costs_only_itself(name, content, message):
    lot = lot_of(READINGS, **{name: content})
    assert told(lot)[-1] == message
    assert len(lot.readings) == 2
    assert_rows_add_up(lot)


def test_pieces_weighed_in_air_and_in_water_are_kept():
    """Below zero in water: a piece that floats, held down by a sinker that is subtracted."""
    lot = lot_of(
        READINGS,
        weighings=WEIGH
        + "A,in_air,5.96,,,,0.01\nA,In Water,1.15,,,23,0.01\n"
        + "007,in_air,5.4,,,,0.01\n007,in_water,-0.6,,,23,0.01\n",
    )
    assert told(lot) == []
    assert [(w.kind, w.mass_g, w.temperature_c) for w in lot.weigh_ins] == [
        ("in_air", 5.96, None),
        ("in_water", 1.15, 23.0),
        ("in_air", 5.4, None),
        ("in_water", -0.6, 23.0),
    ]


def test_a_small_sample_dried_on_a_fine_scale_is_no_slip():
    lot = lot_of(READINGS, weighings=WEIGH + "A,before_drying,3.215,,,,0.001\n")
    assert told(lot) == []


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "A,in_air,1.15\nA,in_water,5.96,,,23\n",
            "weighings.csv:3: mass_g is 5.96 in water and 1.15 in air (line 2): a piece weighs "
            "less in water, were the two exchanged? [x]",
        ),
        (
            "A,in_air,5.96\nA,in_water,5.5,,,23\n",
            "weighings.csv:3: mass_g is 5.5 in water and 5.96 in air (line 2), that is 13 g/cm3, "
            "outside 0.5 to 5: weigh the same piece both times, hung free and without bubbles [x]",
        ),
        (
            "A,in_water,1.15,,,23\nA,in_water,1.16,,,23\n",
            'weighings.csv:2: spool "A" is weighed in_water and not in_air, so it gives no '
            "density: weigh the same piece in_air too",
        ),
        (
            "A,in_air,5.96\n007,gross,1193\n",
            'weighings.csv:2: spool "A" is weighed in_air and not in_water, so it gives no '
            "density: weigh the same piece in_water too",
        ),
    ],
)
def test_pieces_that_do_not_belong_together(rows, message):
    lot = lot_of(READINGS, weighings=WEIGH + rows)
    assert told(lot) == [message]
    assert len(lot.weigh_ins) == (1 if message.endswith("[x]") else 2)
    assert_rows_add_up(lot)
