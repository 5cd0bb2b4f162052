"""What logs do wrong: each told once with its lines, whole messages compared, the rest used."""

import numpy as np
import pytest

from tests.intake.traces.reading import ROADS, read, take_road, with_lines
from tests.traces import Shape, Trace, firmware_log, simulated, table_bytes

TWO = simulated(400, Shape(axis_angles_deg=(0.0, 90.0)))
CLEAN = table_bytes(TWO)  # line 2 is row 0 at 0 m; a row every millimetre


@pytest.fixture(params=ROADS, autouse=True)
def _road(request, monkeypatch):
    """All roads of parsing."""
    take_road(monkeypatch, request.param)


PASSED = {
    "chatter": (
        [b"ok", b" T:210.02 /210.00", b"echo:busy, processing"],
        'log.csv:101: lines 101-103: 3 lines of text, the first "ok": they are passed over [x]',
    ),
    "one line of chatter with brackets": (
        [b"{ok}"],
        'log.csv:101: a line of text, "{ok}": it is passed over [x]',
    ),
    "two lines of chatter with brackets": (
        [b"{ok}", b"{}"],
        'log.csv:101: lines 101-102: 2 lines of text, the first "{ok}": they are passed over [x]',
    ),
    "the header again": (
        [b"length_m,d_x_mm,d_y_mm"],
        "log.csv:101: the header stands here again: it is passed over [x]",
    ),
    "bytes of nothing": (
        [b"\0\0\0\0"],
        "log.csv:101: the line holds NUL bytes, as a power cut leaves them: it is left out [x]",
    ),
    "no UTF-8": (
        [b"\xff\xfe\xb0C"],
        'log.csv:101: a line of text, "\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}'
        '\N{REPLACEMENT CHARACTER}C": it is passed over [x]',
    ),
    "inches": (
        [b"0.0985,0.0689,0.0690", b"0.0986,0.0688,0.0691"],
        "log.csv:101: lines 101-102: 2 rows are left out, the first: d_x_mm is 0.0689, outside 0.5 "
        "to 5 mm: inches? 0.0689 in is 1.75 mm: give --unit in, or write the unit [x]",
    ),
    "a moved point": (
        [b"0.0985,1.75,17.5"],
        "log.csv:101: d_y_mm is 17.5, outside 0.5 to 5 mm: a slip for 1.75? [x]",
    ),
    "a digit twice": (
        [b"0.0985,11.75,1.75"],
        "log.csv:101: d_x_mm is 11.75, outside 0.5 to 5 mm: a digit typed twice, a slip for 1.75? "
        "[x]",
    ),
    "no filament": (
        [b"0.0985,0,0"],
        "log.csv:101: d_x_mm is 0, outside 0.5 to 5 mm: a zero or a sign typed by the calliper? "
        "Read the place again [x]",
    ),
    "not a number": (
        [b"0.0985,nan,1.75", b"0.0986,NaN,1.75"],
        'log.csv:101: lines 101-102: 2 rows, the first: d_x_mm is "nan", no reading: the row is '
        "left out [x]",
    ),
    "infinite": (
        [b"0.0985,1.75,-inf"],
        'log.csv:101: d_y_mm is "-inf", no reading: the row is left out [x]',
    ),
    "beyond all numbers": (
        [b"0.0985,1.75,1e999"],
        'log.csv:101: d_y_mm is "1e999": write a number such as 1.75 [x]',
    ),
    "empty": ([b"0.0985,,1.75"], "log.csv:101: d_x_mm is empty: the row is left out [x]"),
    "a letter in a number": (
        [b"0.0985,1.7S,1.75"],
        'log.csv:101: d_x_mm is "1.7S": write a number such as 1.75 [x]',
    ),
    "a letter in the length": (
        [b"0.O985,1.75,1.75"],
        'log.csv:101: length_m is "0.O985": write a number such as 12.5 [x]',
    ),
    "a cell too few": (
        [b"0.0985,1.75"],
        "log.csv:101: the row has 2 cells and not 3: it is left out [x]",
    ),
    "a cell too many": (
        [b"0.0985,1.75,1.75,1.75"],
        "log.csv:101: the row has 4 cells and not 3: it is left out [x]",
    ),
    "a garbled length": (
        [b"9.85,1.75,1.75"],
        "log.csv:101: length_m is 9.85, far from the rows around it: the row is left out [x]",
    ),
    "a garbled length that is small": (
        [b"0.0001,1.75,1.75", b"0.0002,1.75,1.75"],
        "log.csv:101: lines 101-102: 2 rows, the first: length_m is 0.0001, far from the rows "
        "around it: the row is left out [x]",
    ),
}


@pytest.mark.parametrize(("lines", "message"), PASSED.values(), ids=PASSED)
def test_rows_that_cannot_be_used_are_left_out_and_told(lines, message, tmp_path):
    log = read(with_lines(CLEAN, 101, *lines), tmp_path)
    assert log.told == [message]
    assert log.reader.rows_reported == len(lines)
    assert log.sections == []
    np.testing.assert_allclose(log.length_m, TWO.length_m, atol=1e-9)
    np.testing.assert_allclose(log.diameter_mm, TWO.diameter_mm, atol=1e-9)


def test_a_unit_typed_with_a_value_and_blank_lines_cost_nothing(tmp_path):
    content = with_lines(CLEAN, 101, b"0.0985,1.75 mm,0.0689 in", b"", b",,", b"   ")
    log = read(content, tmp_path)
    assert log.told == []
    assert log.reader.rows_read == 401
    np.testing.assert_allclose(log.diameter_mm[99], [1.75, 0.0689 * 25.4])


def test_an_axis_far_off_the_nominal_is_left_out_only_if_the_nominal_is_given(tmp_path):
    content = with_lines(CLEAN, 101, b"0.0985,2.85,1.75")
    assert read(content, tmp_path).told == []
    assert read(content, tmp_path, nominal_mm=1.75).told == [
        "log.csv:101: d_x_mm is 2.85, more than 35 % off the nominal 1.75 mm: another stock size "
        "or another spool? [x]"
    ]


def test_a_restart_begins_a_section_and_lengths_go_on(tmp_path):
    trace = simulated(400, restarts=(150, 300))
    log = read(table_bytes(trace), tmp_path)
    assert log.sections == [150, 300]
    np.testing.assert_allclose(log.length_m, np.arange(400) / 1000, atol=1e-9)
    assert log.told == [
        "log.csv:152: length_m falls from 0.149 to 0: the log starts anew here, lengths go on from "
        "0.149 m and nothing is compared across",
        "log.csv:302: length_m falls from 0.149 to 0: the log starts anew here, lengths go on from "
        "0.299 m and nothing is compared across",
    ]
    assert log.reader.rows_used == 400


def test_a_log_that_runs_backwards_for_a_while_is_read_on_where_it_was(tmp_path):
    trace = simulated(400)
    trace.length_m[200:] -= 0.03  # drawn back 31 mm row by row from row 200 on
    trace.length_m[200:230] = trace.length_m[199] - 0.001 * np.arange(1, 31)
    log = read(table_bytes(trace), tmp_path)
    assert log.told == [
        "log.csv:202: lines 202-231: 30 rows, the first: length_m runs back to 0.198: these metres "
        "were read before, the rows are left out [x]"
    ]
    assert log.sections == []
    assert log.reader.rows_used == 370
    assert log.length_m[-1] == pytest.approx(0.369)


def test_a_log_that_counts_down_is_turned_round(tmp_path):
    trace = simulated(400)
    down = Trace(5.0 - trace.length_m, trace.diameter_mm, trace.true_mean_mm)
    log = read(table_bytes(down), tmp_path)
    np.testing.assert_allclose(log.length_m, trace.length_m, atol=1e-9)
    assert log.told == ["log.csv:1: length_m counts down: metres are counted from the first row on"]


def test_a_gap_begins_a_section(tmp_path):
    lines = CLEAN.split(b"\n")
    log = read(b"\n".join(lines[:101] + lines[201:]), tmp_path)
    assert log.sections == [100]
    assert log.told == [
        "log.csv:102: 0.101 m of filament have no row before this line, from 0.099 to 0.2 m: "
        "nothing is compared across"
    ]
    assert log.length_m[100] == pytest.approx(0.2)


def test_a_sensor_that_sticks_is_left_out_but_for_its_first_row(tmp_path):
    trace = simulated(2000, Shape(axis_angles_deg=(0.0, 90.0)))
    trace.diameter_mm[600:1000, 1] = 1.9
    log = read(table_bytes(trace), tmp_path)
    assert log.told == [
        "log.csv:603: lines 603-1001: d_y_mm sticks at 1.9 mm for 399 rows after the first: no "
        "filament is that even, look at the sensor; they are left out [x]"
    ]
    assert log.reader.rows_used == 1601
    assert log.sections == [601]  # the rows left out are a gap
    assert log.length_m[601] == pytest.approx(1.0)


def test_a_sensor_that_sticks_to_the_end_of_the_log_is_seen(tmp_path):
    trace = simulated(2000)
    trace.diameter_mm[1500:] = 1.9
    log = read(table_bytes(trace), tmp_path)
    assert log.reader.rows_used == 1501
    assert "sticks at 1.9 mm for 499 rows" in log.told[0]


def test_a_steady_filament_on_a_coarse_display_is_not_called_stuck(tmp_path):
    shape = Shape(mean_mm=1.7515, sd_mm=0.002, gauge_step_mm=0.01, neighbour_correlation=0.98)
    trace = simulated(20_000, shape)
    log = read(table_bytes(trace), tmp_path)
    assert np.count_nonzero(np.diff(trace.diameter_mm[:, 0])) < 2_500  # it stands still mostly
    assert (log.told, log.reader.rows_used) == ([], 20_000)
    trace.diameter_mm[:500] = 1.75
    log = read(table_bytes(Trace(*(a[:500] for a in _arrays(trace)))), tmp_path)
    assert (log.told, log.reader.rows_used) == ([], 500)


def _arrays(trace):
    return trace.length_m, trace.diameter_mm, trace.true_mean_mm


def test_a_machine_that_stands_gives_its_place_once(tmp_path):
    trace = simulated(2000)
    trace.length_m[900:] -= 0.3
    trace.length_m[600:900] = 0.599
    log = read(table_bytes(trace), tmp_path)
    assert log.told == [
        "log.csv:602: lines 602-901: the length stands still at 0.599 m for 300 rows after the "
        "first: the machine stood? They are left out [x]"
    ]
    assert log.sections == []
    np.testing.assert_allclose(log.length_m, np.arange(1700) / 1000, atol=1e-9)


CUT = {
    "in the middle of a row": (b"0.4000,1.7", True),
    "in its last number": (b"0.4000,1.7500,1.7", True),
    "in a sign": (b"0.4000,1.7500,-", True),
    "whole, without a line end": (b"0.4000,1.7500,1.7500", False),
}


@pytest.mark.parametrize(("line", "is_cut"), CUT.values(), ids=CUT)
def test_a_last_row_that_was_cut_is_left_out(line, is_cut, tmp_path):
    log = read(CLEAN + line, tmp_path)
    assert log.reader.rows_read == 401
    assert log.reader.rows_reported == is_cut
    message = "log.csv:402: the log ends in the middle of this row: it is left out [x]"
    assert log.told == [message] * is_cut


def test_a_last_row_that_was_cut_in_printer_talk(tmp_path):
    log = read(firmware_log(simulated(60), chatter_every=100)[:-3], tmp_path)
    assert log.told[-1].endswith("the log ends in the middle of this row: it is left out [x]")
    assert log.reader.rows_used == 59


def test_switching_to_inches_midway_keeps_the_first_half(tmp_path):
    lines = CLEAN.split(b"\n")[:-1]
    inches = [b"%.4f,%.5f,%.5f" % (x, 1.75 / 25.4, 1.75 / 25.4) for x in TWO.length_m[200:]]
    log = read(b"\n".join(lines[:201] + inches) + b"\n", tmp_path)
    assert log.told == [
        "log.csv:202: lines 202-401: 200 rows are left out, the first: d_x_mm is 0.06890, outside "
        "0.5 to 5 mm: inches? 0.06890 in is 1.75 mm: give --unit in, or write the unit [x]"
    ]
    assert log.reader.rows_used == 200


def test_problems_are_bounded_and_the_rest_is_counted(tmp_path):
    rows = [b"%.3f,%s" % (i / 1000, b"17.5" if i % 2 else b"1.7%d" % (i % 4)) for i in range(4000)]
    log = read(b"length_m,d\n" + b"\n".join(rows) + b"\n", tmp_path)
    assert log.reader.rows_reported == 2000
    assert len(log.told) == 21
    assert log.told[0] == "log.csv:3: d is 17.5, outside 0.5 to 5 mm: a slip for 1.75? [x]"
    assert log.told[-1] == (
        "log.csv:43: and 1,980 more places like this up to line 4001, 1,980 rows, not listed one "
        "by one, the first: d is 17.5, outside 0.5 to 5 mm: a slip for 1.75? [x]"
    )
    assert log.reader.n_problems == 2000


def test_a_line_without_end_cannot_fill_the_memory(tmp_path):
    content = with_lines(CLEAN, 101, b"0.0985,1.75," + b"1" * 3_000_000)
    log = read(content, tmp_path)
    assert log.told == ["log.csv:101: a line of more than 1 MiB, left out: is this a log? [x]"]
    assert log.reader.rows_used == 400
