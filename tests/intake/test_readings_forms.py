"""Every form in which people keep readings ends in the same arrays."""

import math

import numpy as np
import pytest

from lotqa.intake import ReadOptions
from tests.intake.reading import HEADER, assert_rows_add_up, lot_of, told

# Two spools, two places each, two directions: the truth that each form below spells in its way.
POSITION_M = [0.0, 0.0, 0.31, 0.31, 0.0, 0.0, 0.31, 0.31]
DIRECTION_DEG = [0.0, 90.0] * 4
DIAMETER_MM = [1.75, 1.74, 1.76, 1.73, 1.75, 1.75, 1.77, 1.72]
SPOOL = ["007"] * 4 + ["NA"] * 4


def long_form(separator=",", decimal=".", header=HEADER, unit="", quote="", digits=2):
    def text(value):
        return f"{quote}{value:.{digits}f}".replace(".", decimal) + unit + quote

    lines = [header.strip().replace(",", separator)]
    lines += [
        separator.join((s, text(p), text(d), text(v)))
        for s, p, d, v in zip(SPOOL, POSITION_M, DIRECTION_DEG, DIAMETER_MM, strict=True)
    ]
    return "\n".join(lines) + "\n"


FORMS = {
    "comma": long_form(),
    "semicolon": long_form(";"),
    "tab": long_form("\t"),
    "decimal comma, semicolon": long_form(";", ","),
    "decimal comma, tab": long_form("\t", ","),
    "decimal comma in quotes, comma": long_form(",", ",", quote='"'),
    "a line that names the separator": "sep=;\n" + long_form(";"),
    "other names": long_form(header="Roll,Pos (m),Angle [deg],Diameter mm\n"),
    "capitals and spaces": long_form(header=" Spool , Position M , DIRECTION , Diameter (mm) \n"),
    "no final line end": long_form().rstrip("\n"),
    "blank lines and lines of separators": long_form().replace("\nNA", "\n\n,,,\nNA", 1),
    "columns in another order": "diameter_mm,spool,direction_deg,position_m\n"
    + "".join(
        f"{v},{s},{d},{p}\n"
        for s, p, d, v in zip(SPOOL, POSITION_M, DIRECTION_DEG, DIAMETER_MM, strict=True)
    ),
    "centimetres": "spool,position_cm,direction_deg,diameter_mm\n"
    + "".join(
        f"{s},{100 * p:g},{d},{v}\n"
        for s, p, d, v in zip(SPOOL, POSITION_M, DIRECTION_DEG, DIAMETER_MM, strict=True)
    ),
    "wide": "spool,position_m,d0_mm,d90_mm\n007,0,1.75,1.74\n007,0.31,1.76,1.73\n"
    "NA,0,1.75,1.75\nNA,0.31,1.77,1.72\n",
    "wide, short names, semicolon": "spool;pos;D0;D90\n007;0;1,75;1,74\n007;0,31;1,76;1,73\n"
    "NA;0;1,75;1,75\nNA;0,31;1,77;1,72\n",
}


@pytest.mark.parametrize("form", FORMS)
def test_all_forms_give_the_same_readings(form):
    lot = lot_of(FORMS[form])
    readings = lot.readings
    assert told(lot) == []
    assert readings.spools == ("007", "NA")
    assert [readings.spools[i] for i in readings.spool] == SPOOL
    assert readings.position_m.tolist() == POSITION_M
    assert readings.direction_deg.tolist() == DIRECTION_DEG
    assert readings.diameter_mm.tolist() == DIAMETER_MM
    assert readings.place.tolist() == [0, 0, 1, 1, 2, 2, 3, 3]
    assert readings.trial.tolist() == [1] * 8
    assert readings.operators == ()
    assert readings.operator.tolist() == [-1] * 8
    assert readings.file == "readings.csv"
    assert_rows_add_up(lot)


INCH = "spool,diameter_in\nA,0.0689\nA,0.0685\n"


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        (INCH, None),
        (INCH.replace("_in", " (inches)"), None),
        (INCH.replace("diameter_in", "diameter_mm"), "in"),
        (INCH.replace("diameter_in", "diameter_mm").replace("\nA,0.0685", " in\nA,0.0685in"), None),
        ("spool,d0_in,d90_in\nA,0.0689,0.0685\n", None),
        ("0.0689\n0.0685\n", "in"),
    ],
)
def test_inches_become_millimetres_by_header_option_or_cell(text, unit):
    got = lot_of(text, options=ReadOptions(unit=unit)).readings.diameter_mm
    # NIST SP 811 (2008), B.6: 1 in = 25.4 mm exactly; products worked by hand
    assert got == pytest.approx([1.75006, 1.7399], abs=1e-12)


def test_a_unit_in_the_cell_goes_before_the_option():
    lot = lot_of("spool,diameter_mm\nA,1.75 mm\nA,0.0689\n", options=ReadOptions(unit="in"))
    assert lot.readings.diameter_mm == pytest.approx([1.75, 1.75006], abs=1e-12)


def test_one_value_a_line_from_a_calliper_needs_no_header():
    lot = lot_of("1,75\n1,74 mm\n\n+001.76\n1,76\n", name="roll7.txt")
    assert lot.readings.spools == ("roll7",)
    assert lot.readings.diameter_mm.tolist() == [1.75, 1.74, 1.76, 1.76]
    assert lot.readings.place.tolist() == [0, 1, 2, 3]
    assert lot.readings.line.tolist() == [1, 2, 4, 5]
    assert told(lot) == [
        'roll7.txt: there is no spool column: all readings are taken as of one spool, "roll7"; '
        "add a column spool if there are more"
    ]
    assert lot.files[0].rows_read == lot.files[0].rows_used == 4


def test_identifiers_stay_text():
    names = ["007", "NA", "1E5", "null", "1.0", "-", "a b", "TRUE", "0x10"]
    lot = lot_of("spool,diameter_mm\n" + "".join(f" {name} ,1.75\n" for name in names))
    assert lot.readings.spools == tuple(names)


def test_without_a_spool_column_the_file_names_the_spool():
    lot = lot_of("position_m,diameter_mm\n0,1.75\n1,1.74\n", name="roll 7.csv")
    assert lot.readings.spools == ("roll 7",)
    assert told(lot) == [
        "roll 7.csv:1: there is no spool column: all readings are taken as of one spool, "
        '"roll 7"; add a column spool if there are more'
    ]


def test_operators_and_trials_are_kept():
    lot = lot_of(
        "spool,position_m,operator,trial,diameter_mm\n"
        "A,0,East,1,1.75\nA,0,East,2,1.75\nA,0,West,1,1.74\nA,1,,,1.76\n"
    )
    readings = lot.readings
    assert readings.operators == ("East", "West")
    assert readings.operator.tolist() == [0, 0, 1, -1]
    assert readings.trial.tolist() == [1, 2, 1, 1]
    assert told(lot) == []


def test_a_wide_row_with_an_empty_cell_keeps_its_other_readings():
    lot = lot_of("spool,d0_mm,d60_mm,d120_mm\nA,1.75,,1.74\nA,1.7x,1.76,1.75\n")
    assert lot.readings.direction_deg.tolist() == [0.0, 120.0, 60.0, 120.0]
    assert lot.readings.place.tolist() == [0, 0, 1, 1]
    assert told(lot) == ['readings.csv:3: d0_mm is "1.7x": write a number such as 1.75']
    assert_rows_add_up(lot)


def test_columns_that_only_count_are_not_taken_for_degrees():
    lot = lot_of("spool,position_m,d1,d2\nA,0,1.75,1.74\n")
    assert np.isnan(lot.readings.direction_deg).all()
    assert lot.readings.trial.tolist() == [1, 1]
    assert told(lot) == [
        "readings.csv:1: columns d1 to d2 would be directions of 1 to 2 degrees and are taken as "
        "directions not known: name the direction, such as d0_mm and d90_mm"
    ]


def test_directions_stay_as_typed():
    lot = lot_of(HEADER + "A,0,270,1.75\nA,0,-90,1.74\nA,0,45°,1.75\n")
    assert lot.readings.direction_deg.tolist() == [270.0, -90.0, 45.0]


def test_what_was_not_typed_is_nan_and_never_zero():
    readings = lot_of("spool,diameter_mm\nA,1.75\n").readings
    assert math.isnan(readings.position_m[0])
    assert math.isnan(readings.direction_deg[0])


def test_arrays_cannot_be_written_to():
    readings = lot_of(FORMS["comma"]).readings
    for name in ("spool", "place", "position_m", "direction_deg", "diameter_mm", "trial",
                 "operator", "line"):  # fmt: skip
        with pytest.raises(ValueError, match="read-only"):
            getattr(readings, name)[0] = 0
    for name in ("spool", "place", "trial", "operator", "line"):
        assert getattr(readings, name).dtype == np.int64


def test_spools_are_sorted_by_first_appearance_and_rows_within_as_typed():
    lot = lot_of(HEADER + "B,0,0,1.75\nA,0,0,1.74\nB,1,0,1.76\nB,0,90,1.77\nA,0,90,1.73\n")
    readings = lot.readings
    assert readings.spools == ("B", "A")
    assert readings.line.tolist() == [2, 5, 4, 3, 6]
    assert readings.place.tolist() == [0, 0, 1, 2, 2]
