"""Logs as recorders, spreadsheets and printers write them: separators, names, units, encodings."""

import numpy as np
import pytest

from lotqa.errors import UnusableInput
from lotqa.intake.traces import Axis, TraceOptions, read_trace
from tests.intake.traces.reading import ROADS, read, take_road
from tests.traces import Shape, firmware_log, simulated, table_bytes

TWO = simulated(120, Shape(axis_angles_deg=(0.0, 90.0), ovality_mm=0.02))
ONE = simulated(120)


def assert_is(log, trace, tolerance_m=0.00006):
    """Lengths are written with four decimals and diameters with four, of a step of 0.001 mm."""
    np.testing.assert_allclose(log.length_m, trace.length_m, atol=tolerance_m)
    np.testing.assert_allclose(log.diameter_mm, trace.diameter_mm, atol=1e-9)


STYLES = {
    "comma": {},
    "semicolon": {"separator": ";"},
    "semicolon, decimal comma": {"separator": ";", "point": ","},
    "tab, decimal comma": {"separator": "\t", "point": ","},
    "blanks": {"separator": "  "},
    "comma and blank": {"separator": ", "},
    "carriage return and line feed": {"line_end": "\r\n"},
    "carriage return": {"line_end": "\r"},
    "ends in a separator": {"line_end": ",\n"},
    "column ends in a separator, header does not": {"line_end": ",\n", "header": "length_m,d1,d2"},
}


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
@pytest.mark.parametrize("road", ROADS)
def test_a_table_in_any_style_gives_the_same_rows(style, road, tmp_path, monkeypatch):
    take_road(monkeypatch, road)
    log = read(table_bytes(TWO, **style), tmp_path)
    assert_is(log, TWO)
    assert log.told == []


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be-bom"])
def test_byte_order_marks_and_two_byte_text_are_read(encoding, tmp_path):
    text = table_bytes(TWO).decode()
    content = (
        b"\xfe\xff" + text.encode("utf-16-be")
        if encoding == "utf-16-be-bom"
        else text.encode(encoding)
    )
    log = read(content, tmp_path)
    assert_is(log, TWO)
    assert log.told == []


def test_quoted_decimal_commas_between_commas_are_read(tmp_path):
    content = 'length_m,d_mm\n"0,001","1,751"\n"0,002","1,752"\n"0,003","1,753"\n'
    log = read(content, tmp_path)
    np.testing.assert_allclose(log.length_m, [0.0, 0.001, 0.002], atol=1e-12)
    np.testing.assert_allclose(log.diameter_mm[:, 0], [1.751, 1.752, 1.753], atol=1e-12)


def test_lines_above_the_header_are_no_rows(tmp_path):
    content = b"recorder 7\nstarted at 12:30, by hand\n\n" + table_bytes(TWO)
    log = read(content, tmp_path)
    assert_is(log, TWO)
    assert log.told == []


@pytest.mark.parametrize(("header", "factor", "source"), [
    ("length_m,d_mm", 1.0, "length_m in m"),
    ("Position [mm],Dia (mm)", 1000.0, "Position [mm] in mm"),
    ("dist_cm,width", 100.0, "dist_cm in cm"),
    ("metres,filament_diameter_mm", 1.0, "metres in m"),
])  # fmt: skip
def test_names_and_units_of_the_trade_are_known(header, factor, source, tmp_path):
    content = table_bytes(ONE, header, length_factor=factor)
    log = read(content, tmp_path)
    assert_is(log, ONE)
    assert (log.told, log.reader.length_source) == ([], source)


@pytest.mark.parametrize(("header", "axes"), [
    ("length_m,d_x,d_y", (Axis("d_x", 0.0, True), Axis("d_y", 90.0, True))),
    ("length_m,d0_mm,d90_mm", (Axis("d0_mm", 0.0, True), Axis("d90_mm", 90.0, True))),
    ("length_m,d30,d120", (Axis("d30", 30.0, True), Axis("d120", 120.0, True))),
    ("length_m,d1,d2", (Axis("d1", 0.0, False), Axis("d2", 90.0, False))),
    ("length_m,axis_1,axis_2", (Axis("axis_1", 0.0, False), Axis("axis_2", 90.0, False))),
    ("length_m,x,y", (Axis("x", 0.0, True), Axis("y", 90.0, True))),
])  # fmt: skip
def test_axes_are_known_by_their_names(header, axes, tmp_path):
    log = read(table_bytes(TWO, header), tmp_path)
    assert_is(log, TWO)
    assert log.reader.axes == axes


def test_three_axes_are_supposed_60_degrees_apart_and_may_be_said_to_stand_otherwise(tmp_path):
    three = simulated(60, Shape(axis_angles_deg=(0.0, 60.0, 120.0), ovality_mm=0.02))
    log = read(table_bytes(three), tmp_path)
    assert_is(log, three)
    names = ("d_x_mm", "d_y_mm", "d_z_mm")
    supposed = tuple(Axis(n, a, False) for n, a in zip(names, (0.0, 60.0, 120.0), strict=True))
    assert log.reader.axes == supposed
    log = read(table_bytes(three), tmp_path, axis_angles_deg=(0.0, 45.0, 90.0))
    assert log.reader.axes == tuple(
        Axis(n, a, True) for n, a in zip(names, (0.0, 45.0, 90.0), strict=True)
    )


def test_the_mean_beside_axes_and_other_columns_are_left_out_and_told(tmp_path):
    rows = "".join(f"{i},{i / 1000},1.75{i % 10},1.74,1.745,50\n" for i in range(30))
    log = read("time,length_m,d_x,d_y,d_avg,speed\n" + rows, tmp_path)
    assert log.told == ["log.csv:1: time, d_avg, speed: columns are left out"]
    np.testing.assert_allclose(log.diameter_mm[:, 1], 1.74)


def test_own_names_choose_the_columns(tmp_path):
    rows = "".join(f"{i},A{i},1.7{i % 10},9\n" for i in range(30))
    log = read("walked,label,thickness,other\n" + rows, tmp_path, length_column="walked",
               length_unit="mm", diameter_columns=("Thickness",))  # fmt: skip
    np.testing.assert_allclose(log.length_m, np.arange(30) / 1000)
    assert log.told == ["log.csv:1: label, other: columns are left out"]


def test_inches_by_name_or_by_option(tmp_path):
    rows = "".join(f"{i / 1000},0.068{i % 10}\n" for i in range(30))
    wanted = [(0.068 + 0.0001 * (i % 10)) * 25.4 for i in range(30)]
    for header, options in (("length_m,d_in", {}), ("length_m,d", {"unit": "in"})):
        log = read(f"{header}\n{rows}", tmp_path, **options)
        np.testing.assert_allclose(log.diameter_mm[:, 0], wanted)


def test_a_time_column_becomes_length_by_the_speed(tmp_path):
    rows = "".join(f"{20 * i},1.75{i % 10}\n" for i in range(30))
    log = read("t_ms,d\n" + rows, tmp_path, speed_mm_s=500.0)
    np.testing.assert_allclose(log.length_m, np.arange(30) * 0.01, atol=1e-12)
    assert log.reader.length_source == "t_ms in ms, at 500 mm/s"
    assert log.told == []


def test_a_constant_step_overrides_the_length_column_and_counts_rows_left_out(tmp_path):
    log = read("length_m,d\n5,1.75\n4,nan\n3,1.74\n2,1.73\n", tmp_path, step_mm=2.5)
    np.testing.assert_allclose(log.length_m, [0.0, 0.005, 0.0075])
    assert log.reader.length_source == "2.5 mm a row, as given"


def test_the_length_can_be_scaled(tmp_path):
    log = read(table_bytes(ONE), tmp_path, length_scale=2.53)
    np.testing.assert_allclose(log.length_m, 2.53 * ONE.length_m, atol=0.0002)
    assert log.reader.length_source == "length_m in m, times 2.53"


def test_a_length_without_a_unit_is_taken_as_metres_and_told(tmp_path):
    log = read(table_bytes(ONE, "length,diameter"), tmp_path)
    assert_is(log, ONE)
    assert log.told == [
        "log.csv:1: length names no unit and is taken as metres, 1 mm a row: "
        "give --length-unit mm if it is mm"
    ]


def test_printer_talk_gives_a_reading_every_ten_millimetres(tmp_path):
    log = read(firmware_log(ONE), tmp_path)
    np.testing.assert_allclose(log.diameter_mm, ONE.diameter_mm, atol=1e-9)
    np.testing.assert_allclose(log.length_m, 0.01 * np.arange(120))
    assert log.told == [
        "log.csv: the log has no length: each reading is taken as 10 mm of filament, which is "
        "usual of printer firmware: give --step-mm if it is another",
        "log.csv: 82 lines without a reading are passed over",
    ]
    assert log.reader.rows_read == 120


def test_printer_talk_with_a_step_and_a_reading_of_nothing(tmp_path):
    content = "ok\nFilament width:1.714\nok\nfilament width: 0.00\nFilament width:1.72\nok\n"
    log = read(content, tmp_path, step_mm=3.0)
    np.testing.assert_allclose(log.length_m, [0.0, 0.006])
    assert log.told == [
        "log.csv: 3 lines without a reading are passed over",
        "log.csv:4: Filament width is 0.00, outside 0.5 to 5 mm: a zero or a sign typed by the "
        "calliper? Read the place again [x]",
    ]


BARE = "0.001 1.75\n0.002 1.74\n0.003 1.76\n0.004 1.75\n"


@pytest.mark.parametrize(("content", "options"), [
    (BARE, {"length_unit": "m"}),
    (BARE, {"length_column": "1", "diameter_columns": ("2",)}),
    (BARE, {"step_mm": 1.0}),
    (BARE, {"speed_mm_s": 1000.0}),
    (BARE.replace(".", ",").replace(" ", ";"), {"length_unit": "m"}),
    (BARE.replace("0.00", "").replace(" ", "\t"), {"length_unit": "mm"}),
    ("1.75\n1.74\n1.76\n1.75\n", {"step_mm": 1.0}),
    ("1,75\n1,74\n1,76\n1,75\n", {"step_mm": 1.0}),
])  # fmt: skip
def test_bare_numbers_are_read_when_it_is_said_what_they_are(content, options, tmp_path):
    log = read(content, tmp_path, **options)
    np.testing.assert_allclose(log.length_m, [0.0, 0.001, 0.002, 0.003], atol=1e-12)
    np.testing.assert_allclose(log.diameter_mm[:, 0], [1.75, 1.74, 1.76, 1.75])


REFUSED = {
    "no header, one column": (
        "1.75\n1.74\n",
        {},
        "log.csv: there is no header and no length: say how far the filament moves from row to "
        "row by --step-mm",
    ),
    "no header, two columns": (
        BARE,
        {},
        "log.csv: there is no header and column 1 rises: if it is the length, say so by "
        "--length-column 1 --length-unit m, or give --step-mm",
    ),
    "no header, no diameter": (
        "1 20\n2 21\n3 20\n",
        {},
        "log.csv: there is no header and no column near 1.75 mm (they are about 2, 20): give the "
        "diameter's number by --diameter-column, and --unit in if it is inches",
    ),
    "two lengths": (
        "length_m,pos_mm,d\n1,2,1.75\n",
        {},
        "log.csv:1: length_m and pos_mm could each be the length: name one by --length-column",
    ),
    "two diameters": (
        "length_m,diameter,width\n1,1.75,1.75\n",
        {},
        "log.csv:1: diameter and width could each be the diameter: name one by "
        "--diameter-column, or each axis of the gauge",
    ),
    "four axes": (
        "length_m,d1,d2,d3,d4\n1,1,1,1,1\n",
        {},
        "log.csv:1: 4 columns could be diameters (d1, d2, d3, d4): name one to 3 by "
        "--diameter-column",
    ),
    "no diameter": (
        "length_m,thickness\n1,1.75\n",
        {},
        "log.csv:1: no column is known as a diameter, the log has length_m, thickness: name it by "
        "--diameter-column",
    ),
    "no length": (
        "d_x,d_y\n1.75,1.75\n",
        {},
        "log.csv:1: no column is known as a length, the log has d_x, d_y: name it by "
        "--length-column, or say how far the filament moves from row to row by --step-mm",
    ),
    "time only": (
        "time_s,d\n1,1.75\n",
        {},
        "log.csv:1: there is no length column, only the time in time_s: say how fast the filament "
        "moved by --speed-mm-s, or how far it moves from row to row by --step-mm",
    ),
    "own name not there": (
        "length_m,d\n1,1.75\n",
        {"diameter_columns": ("dd",)},
        'log.csv:1: there is no column "dd", the log has length_m, d: name one by '
        "--diameter-column",
    ),
    "own name twice": (
        "length_m,q,q\n1,1.75,1\n",
        {"diameter_columns": ("q",)},
        'log.csv:1: --diameter-column "q" stands 2 times: give 2 or 3',
    ),
    "millimetres without saying so": (
        "length,d\n1,1.75\n2,1.75\n3,1.74\n",
        {},
        "log.csv:1: length names no unit, and as metres a row would stand for 1 m: give "
        "--length-unit mm, or the unit that it is",
    ),
    "header only": (
        "length_m,d\n",
        {},
        "log.csv:1: a header and no rows: give a log with rows under it",
    ),
    "words": (
        "hello\nworld\n",
        {},
        'log.csv:1: no rows of numbers and no known column, the first line is "hello": give a log '
        "with a length and a diameter, or name the columns by --length-column and "
        "--diameter-column",
    ),
    "empty": ("", {}, "log.csv: the log is empty: give a log with rows of diameters"),
    "blank": (" \n\n", {}, "log.csv: the log is empty: give a log with rows of diameters"),
    "packed": (
        b"\x1f\x8b\x08\x00",
        {},
        "log.csv: not a text file: this is packed by gzip: unpack it first",
    ),
    "two-byte text without its mark": (
        "length_m,d\n1,1.75\n".encode("utf-16-le"),
        {},
        "log.csv: not a text file: save the log as CSV in UTF-8",
    ),
    "nothing usable": (
        "length_m,d\n0.001,70\n0.002,71\n",
        {},
        "log.csv: none of the rows can be used: d should hold diameters near 1.75 or 2.85 mm; "
        "name other columns by --diameter-column, and give --unit in if they are inches",
    ),
    "clock times": (
        "time,d\n12:30:01,1.75\n12:30:02,1.76\n",
        {"speed_mm_s": 5.0},
        'log.csv: none of the rows can be used: lines 2-3: 2 rows, the first: time is "12:30:01": '
        "write a number such as 12.5",
    ),
    "decimal commas between commas": (
        "length_m,d\n0,001,1,75\n0,002,1,74\n",
        {},
        "log.csv: none of the rows can be used: lines 2-3: 2 rows, the first: the row has 4 cells "
        "and not 2: it is left out; are these decimal commas between commas? Save it with "
        "semicolons",
    ),
    "angles for other axes": (
        "length_m,d\n1,1.75\n",
        {"axis_angles_deg": (0.0, 90.0)},
        "log.csv: 2 angles are given for the axes d: give one each",
    ),
    "a step of nothing": (BARE, {"step_mm": 0.0}, "--step-mm is 0: give a number above 0"),
    "an unknown unit": (BARE, {"unit": "furlong"}, '--unit is "furlong": give mm, in or um'),
    "length and time": (
        BARE,
        {"length_column": "1", "time_column": "2"},
        "a length column and a time column are named: name one of them",
    ),
    "four own columns": (
        BARE,
        {"diameter_columns": tuple("abcd")},
        "4 diameter columns are named: name one to 3",
    ),
}


@pytest.mark.parametrize(("content", "options", "message"), REFUSED.values(), ids=REFUSED)
def test_a_log_that_cannot_be_read_says_what_would_be_right(content, options, message, tmp_path):
    with pytest.raises(UnusableInput) as refusal:
        read(content, tmp_path, **options)
    assert str(refusal.value) == message


def test_a_refusal_of_all_rows_brings_their_problems(tmp_path):
    with pytest.raises(UnusableInput) as refusal:
        read("length_m,d\n0.001,70\n0.002,71\n", tmp_path)
    assert [p.message for p in refusal.value.problems] == [
        "lines 2-3: 2 rows are left out, the first: d is 70, outside 0.5 to 5 mm: read the place "
        "again"
    ]


def test_a_file_that_is_not_there_and_a_folder_are_refused(tmp_path):
    with pytest.raises(UnusableInput, match=r"nothing.csv: there is no such file: give a log"):
        read_trace(tmp_path / "nothing.csv")
    with pytest.raises(UnusableInput, match=r"cannot be read \(is a directory\): give a log"):
        read_trace(tmp_path, TraceOptions())


def test_a_reader_can_be_read_twice(tmp_path):
    log = read(table_bytes(TWO), tmp_path)
    again = list(log.reader)
    np.testing.assert_array_equal(again[0].diameter_mm, log.diameter_mm)
    assert log.reader.rows_read == 120
