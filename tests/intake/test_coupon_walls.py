"""Walls of coupons and the [coupon] of the lot sheet: what is kept, and each slip's message."""

from io import BytesIO

import openpyxl
import pytest

from lotqa.intake import read_sources
from lotqa.model import CouponSettings, WallReading
from tests.intake.reading import assert_rows_add_up, lot_of, told

READINGS = "spool,diameter_mm\nA,1.75\n007,1.74\n"
WALLS = "spool,side,wall_mm\n"
FULL = WALLS + "".join(f"A,{side},0.4{n}\n" for side in (1, 2, 3, 4) for n in (4, 5, 6))
SHEET = "[coupon]\nwall_target_mm = 0.45\n"


def test_walls_are_kept_whatever_their_sides_are_called():
    lot = lot_of(
        READINGS,
        sheet=SHEET,
        coupon_walls="Spool;Side;Wall (mm);Calliper\n007;Front;0,46;c\n007;side 2;0.45 mm;\n"
        "007;C;0.0177 in;\n007;left;.44;\n" + "007;4;0.44;\n" * 8,
    )
    assert told(lot) == []
    assert lot.wall_readings[:4] == (
        WallReading("007", "1", 0.46, "c", "coupon_walls.csv", 2),
        WallReading("007", "2", 0.45, None, "coupon_walls.csv", 3),
        WallReading("007", "3", pytest.approx(0.44958), None, "coupon_walls.csv", 4),
        WallReading("007", "4", 0.44, None, "coupon_walls.csv", 5),
    )
    assert_rows_add_up(lot)


def test_no_coupon_is_no_problem():
    lot = lot_of(READINGS)
    assert (lot.wall_readings, lot.sheet.coupon, told(lot)) == ((), CouponSettings(), [])


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "A,1,450",
            "wall_mm is 450, outside 0.1 to 3 mm: micrometres? Write millimetres, such as 0.45",
        ),
        (
            "A,1,0.0177",
            "wall_mm is 0.0177, outside 0.1 to 3 mm: inches? Write millimetres, such as 0.45",
        ),
        ("A,1,4.5", "wall_mm is 4.5, outside 0.1 to 3 mm: a slip for 0.45?"),
        (
            "A,1,25",
            "wall_mm is 25, outside 0.1 to 3 mm: write the thickness of the single wall in "
            "millimetres",
        ),
        ("A,1,", "wall_mm is empty: write a number such as 0.46"),
        ("A,frnot,0.45", 'side is "frnot": did you mean front?'),
        ("A,7,0.45", 'side is "7": write 1 to 4, A to D, or front, right, back, left'),
        ("A,,0.45", "side is empty: write 1 to 4, A to D, or front, right, back, left"),
        (",1,0.45", "spool is empty: write the spool's name in every row"),
        (
            "A,1,0,45",
            "the row has 4 cells and the header 3: with a decimal comma, "
            'put the number in quotes ("1,75") or part the columns by semicolons',
        ),
    ],
)
def test_a_wall_that_cannot_be_right_is_not_used(row, message):
    lot = lot_of(READINGS, sheet=SHEET, coupon_walls=FULL + row + "\n")
    assert told(lot) == [f"coupon_walls.csv:14: {message} [x]"]
    assert len(lot.wall_readings) == 12
    assert_rows_add_up(lot)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "A,1,0.45\nA,2,0.45\nA,3,0.45\nA,4,0.45\n",
            '5: the wall of spool "A" has 4 readings on 4 sides, and is used so: read three places '
            "on each of four sides, 12 in all",
        ),
        (
            "A,1,0.45\n" * 6 + "A,2,0.45\n" * 6,
            '13: the wall of spool "A" has 12 readings on 2 sides, and is used so: read three '
            "places on each of four sides, 12 in all",
        ),
        (
            "A,1,0.45\n" * 12,
            '13: the wall of spool "A" was read on 1 side only and cannot be judged: read three '
            "places on each of four sides",
        ),
        (
            FULL.removeprefix(WALLS) + "A,1,0.90\n",
            "14: wall_mm is 0.9 for a target of 0.45 mm: two walls, or another coupon? It is used; "
            "read it again",
        ),
        (
            FULL.removeprefix(WALLS).replace("A,", "B,"),
            '2: no readings for spool "B": the row is kept, the spool has none',
        ),
    ],
)
def test_what_is_said_of_walls_that_are_used(rows, message):
    lot = lot_of(READINGS, sheet=SHEET, coupon_walls=WALLS + rows)
    assert told(lot) == [f"coupon_walls.csv:{message}"]
    assert len(lot.wall_readings) == rows.count("\n")
    assert_rows_add_up(lot)


def test_without_a_target_the_line_width_is_taken_and_without_both_it_is_said():
    lot = lot_of(READINGS, sheet="[print]\nline_width_mm = 0.45\n", coupon_walls=FULL)
    assert told(lot) == [
        "coupon_walls.csv: wall_target_mm is not stated: 0.45 mm, the line width, is taken; write "
        "it under [coupon] in lot.toml"
    ]
    assert told(lot_of(READINGS, coupon_walls=FULL)) == [
        "coupon_walls.csv: the wall that was asked for is not known, so the walls cannot be "
        "judged: write wall_target_mm under [coupon] in lot.toml"
    ]


def test_a_weighed_coupon_wants_what_was_commanded():
    weighings = "spool,kind,mass_g\nA,coupon,19.9\n"
    message = (
        "weighings.csv:2: a coupon was weighed, but what the machine was told to feed is not "
        "known: write commanded_mm or commanded_volume_mm3 under [coupon] in lot.toml"
    )
    assert told(lot_of(READINGS, weighings=weighings)) == [message]
    sheet = "[coupon]\ncommanded_mm = 6500\n"
    assert told(lot_of(READINGS, sheet=sheet, weighings=weighings)) == []


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            "commanded_mm = 6.5",
            ":2: commanded_mm is 6.5, outside 50 to 500000: metres? Write millimetres, such as "
            "6500",
        ),
        (
            "commanded_volume_mm3 = 15.6",
            ":2: commanded_volume_mm3 is 15.6, outside 100 to 2000000: cm3? Write mm3, such as "
            "15600",
        ),
        (
            "wall_target_mm = 450",
            ":2: wall_target_mm is 450, outside 0.1 to 3: micrometres? Write millimetres, such as "
            "0.45",
        ),
        ('reference_route = "wal"', ':2: reference_route is "wal": did you mean wall?'),
        ('reference_tools = "mine"', ':2: reference_tools is "mine": write same or other'),
        (
            "reference_u = 0.01",
            ": reference_u without reference_residual says nothing: write both",
        ),
        (
            "commanded_mm = 6500\ncommanded_volume_mm3 = 15600",
            ": commanded_mm and commanded_volume_mm3 are both given: the volume is used",
        ),
    ],
)
def test_the_coupon_of_the_lot_sheet(line, said):
    assert told(lot_of(READINGS, sheet=f"[coupon]\n{line}\n")) == [f"lot.toml{said}"]


def test_all_of_the_coupon_is_read():
    sheet = """[coupon]
wall_target_mm = 0.45
commanded_mm = 6500
machine = "bench 2"
reference_residual = 0.97
reference_u = 0.004
reference_route = "Mass"
reference_tools = "same"
"""
    lot = lot_of(READINGS, sheet=sheet)
    assert told(lot) == []
    assert lot.sheet.coupon == CouponSettings(
        wall_target_mm=0.45,
        commanded_mm=6500.0,
        machine="bench 2",
        reference_residual=0.97,
        reference_u=0.004,
        reference_route="mass",
        reference_tools="same",
    )


def test_an_instrument_that_the_sheet_does_not_name_is_pointed_out():
    sheet = SHEET + '[[instrument]]\nkind = "micrometer"\nname = "mic"\n'
    walls = FULL.replace("wall_mm\n", "wall_mm,instrument\n").replace("5\n", "5,mik\n")
    said = told(lot_of(READINGS, sheet=sheet, coupon_walls=walls))
    assert said == [
        'coupon_walls.csv:3: instrument "mik" is not in the lot sheet: add it as [[instrument]]'
    ]


def test_a_name_that_comes_near_is_asked_about():
    lot = read_sources([("readings.csv", READINGS.encode()), ("coupon.csv", FULL.encode())])
    assert told(lot) == ["coupon.csv: left out: did you mean coupon_walls.csv? Rename it"]


def test_walls_in_a_workbook():
    book = openpyxl.Workbook()
    book.remove(book.active)
    walls = [["A", side, 0.45] for side in (1, "b", "back", 4) for _ in range(3)]
    for title, rows in {
        "readings": [["spool", "diameter_mm"], ["A", 1.75]],
        "lot": [["coupon.wall_target_mm", 0.45], ["machine", "bench 2"]],
        "coupon_walls": [["spool", "side", "wall_mm"], *walls],
    }.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    content = BytesIO()
    book.save(content)
    lot = read_sources([("lot.xlsx", content.getvalue())])
    assert told(lot) == []
    assert [w.side for w in lot.wall_readings] == ["1"] * 3 + ["2"] * 3 + ["3"] * 3 + ["4"] * 3
    assert (lot.sheet.coupon.wall_target_mm, lot.sheet.coupon.machine) == (0.45, "bench 2")
    assert_rows_add_up(lot)
