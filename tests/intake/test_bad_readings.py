"""Readings that cannot be right: the whole message of each, and what is kept."""

import pytest

from lotqa.errors import UnusableInput
from lotqa.intake import ReadOptions
from tests.intake.reading import HEADER, assert_rows_add_up, lot_of, told

GOOD = "A,0,0,1.75\nA,0,90,1.74\nA,0.31,0,1.76\nA,0.31,90,1.75\n"
NEXT = 6  # the line after header and the four good rows

CELLS = [
    ("A,1,0,1.7S", 'diameter_mm is "1.7S": write a number such as 1.75'),
    ("A,1,0,", "diameter_mm is empty: write the diameter, or delete the row"),
    ("A,1,0", "diameter_mm is empty: write the diameter, or delete the row"),
    ("A,1,0,nan", 'diameter_mm is "nan": write a number such as 1.75'),
    (
        "A,1,0,+-1.75",
        'diameter_mm is "+-1.75": take the stray sign away, write a number such as 1.75',
    ),
    ("A,1,0,17.5", "diameter_mm is 17.5, outside 0.5 to 5 mm: a slip for 1.75?"),
    ("A,1,0,175", "diameter_mm is 175, outside 0.5 to 5 mm: a slip for 1.75?"),
    ("A,1,0,0.175", "diameter_mm is 0.175, outside 0.5 to 5 mm: a slip for 1.75?"),
    (
        "A,1,0,11.75",
        "diameter_mm is 11.75, outside 0.5 to 5 mm: a digit typed twice, a slip for 1.75?",
    ),
    (
        "A,1,0,0.0689",
        "diameter_mm is 0.0689, outside 0.5 to 5 mm: inches? "
        "0.0689 in is 1.75 mm: give --unit in, or write the unit",
    ),
    (
        "A,1,0,-1.75",
        "diameter_mm is -1.75, outside 0.5 to 5 mm: "
        "a zero or a sign typed by the calliper? Read the place again",
    ),
    (
        "A,1,0,0.00",
        "diameter_mm is 0.00, outside 0.5 to 5 mm: "
        "a zero or a sign typed by the calliper? Read the place again",
    ),
    ("A,1,0,42", "diameter_mm is 42, outside 0.5 to 5 mm: read the place again"),
    (
        "A,1,0,2.85",
        "diameter_mm is 2.85, more than 35 % off the nominal 1.75 mm: "
        "another stock size or another spool?",
    ),
    (
        "A,1,0,1.75 cm",
        'diameter_mm is "1.75 cm": the unit "cm" is not read here: write mm or in, or no unit',
    ),
    (
        "A,1,0,1,75",
        "the row has 5 cells and the header 4: with a decimal comma, "
        'put the number in quotes ("1,75") or part the columns by semicolons',
    ),
    (",1,0,1.75", "spool is empty: write the spool's name in every row"),
    (
        "A,-1,0,1.75",
        'position_m is "-1": positions count from the free end, write metres from 0 up',
    ),
    ("A,start,0,1.75", 'position_m is "start": write a number such as 0.31'),
    ("A,1,left,1.75", 'direction_deg is "left": write a number such as 90'),
    ("A,1,inf,1.75", 'direction_deg is "inf": write a number such as 90'),
]


@pytest.mark.parametrize(("row", "message"), CELLS)
def test_a_bad_row_is_named_with_line_value_and_way_out(row, message):
    lot = lot_of(HEADER + GOOD + row + "\n")
    assert told(lot) == [f"readings.csv:{NEXT}: {message} [x]"]
    assert len(lot.readings) == 4
    assert_rows_add_up(lot)


def test_the_problem_carries_column_and_value_as_typed():
    problem = lot_of(HEADER.replace("diameter_mm", "Dia (mm)") + GOOD + "A,1,0, 1.7S \n").problems[
        0
    ]
    assert (problem.file, problem.line) == ("readings.csv", NEXT)
    assert (problem.column, problem.value) == ("Dia (mm)", "1.7S")


def test_a_trial_that_is_no_count_is_reported():
    lot = lot_of("spool,trial,diameter_mm\nA,1,1.75\nA,1.5,1.75\n")
    assert told(lot) == ['readings.csv:3: trial is "1.5": count trials 1, 2, 3 [x]']


def test_all_complaints_of_a_row_come_in_one_go():
    lot = lot_of(HEADER + GOOD + "A,x,y,z\n")
    assert [p.column for p in lot.problems] == ["position_m", "direction_deg", "diameter_mm"]
    assert_rows_add_up(lot)


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (
            "spool,diameter_mm,posiiton_m",
            'column "posiiton_m" is not known: did you mean position_m? The column is left out',
        ),
        (
            "spool,diameter_mm,humidity",
            'column "humidity" is not known: the column is left out; '
            "known are spool, position_m, direction_deg, diameter_mm, operator, trial, "
            "taken_at, note",
        ),
        (
            "spool,diameter_mm,dia",
            'column "dia" is diameter_mm a second time: the first one is used',
        ),
    ],
)
def test_a_column_that_is_not_used_is_reported_once(header, message):
    lot = lot_of(f"{header}\nA,1.75,1\nA,1.74,2\n")
    assert told(lot) == [f"readings.csv:1: {message}"]
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.74]


def test_a_mean_column_beside_directions_is_left_out():
    lot = lot_of("spool,d0_mm,d90_mm,diameter_mm\nA,1.75,1.73,1.74\n")
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.73]
    assert told(lot) == [
        'readings.csv:1: column "diameter_mm" is left out: '
        "the columns such as d0_mm hold the readings"
    ]


MIXED = "spool,diameter_mm\nA,1.75\nA,1.74\nB,1.76\nC,2.85\nC,2.84\n"


def test_a_spool_of_another_stock_size_is_reported_and_not_used():
    lot = lot_of(MIXED)
    message = 'spool "C" reads about 2.85 mm and the lot is 1.75 mm: inspect it as a lot of its own'
    assert told(lot) == [f"readings.csv:{line}: {message} [x]" for line in (5, 6)]
    assert lot.readings.spools == ("A", "B")
    assert_rows_add_up(lot)


def test_the_option_decides_which_stock_size_the_lot_is():
    lot = lot_of(MIXED, options=ReadOptions(nominal_mm=2.85))
    assert lot.readings.spools == ("C",)
    assert lot.sheet.label.nominal_mm == 2.85


def test_the_lot_sheet_decides_where_there_is_no_option():
    lot = lot_of(MIXED, sheet="[label]\nnominal_mm = 2.85\n")
    assert lot.readings.spools == ("C",)


REFUSED = [
    (HEADER, "readings.csv:1: a header and no rows: write the readings under it"),
    (
        "spool,position_m,width\nA,0,1.75\n",
        "readings.csv:1: the column diameter_mm is missing, the header has spool, position_m, "
        "width: add it to the header",
    ),
    (
        "spool,diametre_mm\nA,1.75\n",
        "readings.csv:1: the column diameter_mm is missing, the header has spool, diametre_mm: "
        "write diameter_mm for diametre_mm?",
    ),
    (
        "0,1.75\n1,1.74\n",
        "readings.csv:1: there is no header: write the column names into the first line: "
        "spool, position_m, direction_deg, diameter_mm",
    ),
    (
        HEADER + "A,0,0,x\n",
        'readings.csv:2: the only row cannot be used: diameter_mm is "x": '
        "write a number such as 1.75",
    ),
    (
        HEADER + "A,0,0,42\nA,0,0,43\n",
        "readings.csv:2: none of the 2 rows can be used: diameter_mm is 42, "
        "outside 0.5 to 5 mm: read the place again",
    ),
    (
        HEADER + "A,0,0,0.0689\nA,0,90,0.0685\nA,1,0,.0690\n",
        "readings.csv:2: diameter_mm is 0.0689, nearly all readings are like it: these look like "
        "inches (0.0689 in is 1.75 mm): give --unit in, or name the column diameter_in",
    ),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_a_table_of_which_nothing_can_be_used_is_refused(text, message):
    with pytest.raises(UnusableInput) as caught:
        lot_of(text)
    assert str(caught.value) == message


def test_millimetres_under_the_inch_option_are_refused_as_a_whole():
    with pytest.raises(UnusableInput) as caught:
        lot_of(HEADER + GOOD, options=ReadOptions(unit="in"))
    assert str(caught.value) == (
        "readings.csv:2: diameter_mm is 1.75 and read as inches, so are nearly all: these look "
        "like millimetres: leave out --unit in, or name the column diameter_mm"
    )


def test_one_millimetre_value_among_inches_is_a_slip():
    lot = lot_of("spool,diameter_in\n" + "A,0.0689\n" * 5 + "A,1.75\n")
    assert told(lot) == [
        "readings.csv:7: diameter_in is 1.75, that is 44.45 mm, outside 0.5 to 5 mm: "
        'millimetres? Write "1.75 mm" [x]'
    ]


def test_a_nominal_that_no_spool_has_is_refused():
    with pytest.raises(UnusableInput) as caught:
        lot_of(HEADER + GOOD, sheet="[label]\nnominal_mm = 2.85\n")
    assert str(caught.value) == (
        "readings.csv: all spools read about 1.75 mm and the nominal diameter is given as "
        "2.85 mm: correct nominal_mm, or check the calliper"
    )


def test_the_refusal_carries_all_problems():
    with pytest.raises(UnusableInput) as caught:
        lot_of(HEADER + "A,0,0,x\nA,0,0,y\n", sheet="[lot]\nsuplier = 'Kranich Filament'\n")
    assert [p.line for p in caught.value.problems] == [2, 2, 3]


def test_spools_written_in_two_ways_are_pointed_out_and_kept_apart():
    lot = lot_of("spool,diameter_mm\nRoll 7,1.75\nroll07,1.74\n")
    assert lot.readings.spools == ("Roll 7", "roll07")
    assert told(lot) == [
        'readings.csv:3: spool "roll07" is kept apart from spool "Roll 7": '
        "if they are one spool, write its name in one way"
    ]
