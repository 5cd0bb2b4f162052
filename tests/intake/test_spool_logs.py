"""Which files of a lot are logs, and what is said of those that cannot be used."""

from dataclasses import replace
from pathlib import Path

import pytest

from lotqa.errors import UnusableInput
from lotqa.intake import ReadOptions, read_lot, read_sources
from lotqa.intake.sheetfields import DIAMETER_UNITS, LENGTH_UNITS
from lotqa.intake.spool_logs import spool_of
from lotqa.intake.traces import options
from tests.logged_lots import GAUGE, SHEET, judged, log, put, read_by_hand, said
from tests.traces import table_bytes

GOOD = table_bytes(log(300))


def lot(folder: Path, sheet: str = SHEET + GAUGE, **files: str | bytes) -> list[str]:
    """What is said of a lot that was read by hand as well."""
    return said(judged(put(folder, sheet=sheet, readings__csv=read_by_hand(spools="Q"), **files)))


@pytest.mark.parametrize(
    ("name", "spool"),
    [
        ("trace_007.csv", "007"),
        ("trace_A_2.tsv", "A_2"),
        ("TRACE_Left reel.TXT", "Left reel"),
        ("trace_.csv", None),
        ("trace.csv", None),
        ("tracer_A.csv", None),
        ("trace_A.xlsx", None),
    ],
)
def test_the_spool_stands_in_the_name(name: str, spool: str | None) -> None:
    assert spool_of(name) == spool


def test_logs_of_every_suffix_are_found_and_counted(tmp_path: Path) -> None:
    tabs = GOOD.replace(b",", b"\t")
    found = judged(put(tmp_path, trace_A__csv=GOOD, trace_B__tsv=tabs, trace_C__txt=tabs))
    assert found.spools == ("A", "B", "C")
    rows = {f.name: (f.rows_read, f.rows_used, f.rows_reported) for f in found.prepared.lot.files}
    assert rows["trace_B.tsv"] == (300, 300, 0)


@pytest.mark.parametrize(
    ("file", "content", "message"),
    [
        ("trace_A__csv", b"", "the log is empty: give a log with rows of diameters; the file is "
         "left out"),
        ("trace_A__csv", b"PK\x03\x04rest", "not a text file: this is a workbook or zip archive: "
         "unpack it, or save the log as CSV; the file is left out"),
        ("trace_A__csv", b"length_m,thickness\n0,1.75\n", "no column is known as a diameter, the "
         "log has length_m, thickness: name it by diameter_columns (in a [[trace]] block of "
         "lot.toml); the file is left out"),
        ("trace_A__xlsx", b"PK\x03\x04rest", "left out: save the log as CSV, under the same name"),
        ("trace__csv", GOOD, "left out: name the log of a spool trace_<spool>.csv, or name it "
         "under [[trace]]"),
    ],
)  # fmt: skip
def test_a_log_that_cannot_be_used_costs_no_more_than_itself(
    tmp_path: Path, file: str, content: bytes, message: str
) -> None:
    told = lot(tmp_path, **{file: content})
    assert [line.split(": ", 1)[1] for line in told if line.startswith("trace")] == [message]


def test_a_log_alone_that_cannot_be_used_is_refused_with_its_reason(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as caught:
        read_lot(put(tmp_path / "empty", trace_A__csv=b""))
    assert str(caught.value) == (
        "trace_A.csv: the log is empty: give a log with rows of diameters; the file is left out"
    )
    folder = put(tmp_path / "words", trace_A__csv=b"length_m,diameter_mm\n0,thick\n1,thin\n")
    with pytest.raises(UnusableInput, match=r"^trace_A.csv: none of the rows can be used"):
        judged(folder)


def test_inches_are_read_where_the_header_or_the_sheet_says_so(tmp_path: Path) -> None:
    inches = replace(log(300), diameter_mm=log(300).diameter_mm / 25.4)
    named = table_bytes(inches, "length_m,diameter_in", diameter_decimals=6)
    unnamed = table_bytes(inches, "length_m,diameter", diameter_decimals=6)
    block = '[[trace]]\nfile = "trace_B.csv"\nunit = "in"\n'
    found = judged(
        put(tmp_path / "a", sheet=SHEET + GAUGE + block, trace_A__csv=named, trace_B__csv=unnamed)
    )
    mean = found.prepared.case.evidence.diameter.mean_mm
    assert found.spools == ("B", "A")  # the block of the sheet first
    assert mean == pytest.approx([log(300).diameter_mm.mean()] * 2, abs=1e-5)
    told = lot(tmp_path / "b", trace_B__csv=unnamed)
    [said_last] = [line for line in told if "the log is left out" in line]
    assert said_last == (
        "trace_B.csv: none of the rows can be used: diameter should hold diameters near 1.75 or "
        '2.85 mm; name other columns by diameter_columns, and give unit = "in" if they are inches '
        "(in a [[trace]] block of lot.toml); the log is left out"
    )


def test_of_two_logs_of_one_spool_the_first_is_used_and_the_other_told(tmp_path: Path) -> None:
    second = (
        'spool "A" has a log already, {first}: this one is left out; put two stretches of one '
        "spool into one file, or give another spool its own name"
    )
    told = lot(tmp_path / "names", trace_A__csv=GOOD, trace_A__txt=GOOD)
    assert told == [f"trace_A.txt: {second.format(first='trace_A.csv')}"]
    block = '[[trace]]\nfile = "line.csv"\nspool = "A"\n'
    told = lot(tmp_path / "block", SHEET + GAUGE + block, trace_A__csv=GOOD, line__csv=GOOD)
    assert told == [f"trace_A.csv: {second.format(first='line.csv')}"]


@pytest.mark.parametrize(
    ("block", "line", "message"),
    [
        ('file = "lime.csv"\nspool = "1"', 17, 'file is "lime.csv", and there is no such file in '
         "the folder: did you mean line.csv?"),
        ('file = "line.csv"', 17, 'spool is missing under [[trace]] of line.csv: write spool = '
         '"1"'),
        ('spool = "1"', 17, 'file is missing under [[trace]]: write file = "line3.csv"'),
        ('file = "readings.csv"\nspool = "1"', 17, "readings.csv is read as readings: give the "
         "log a file of its own"),
        ('file = "line.csv"\nspool = "1"\nlenght_scale = 2', 19, "lenght_scale in [trace] is not "
         "known and is left out: did you mean length_scale?"),
        ('file = "line.csv"\nspool = "1"\nunit = "inch"', 19, 'unit is "inch": write mm, in or um'),
        ('file = "line.csv"\nspool = "1"\ndiameter_columns = [1, "b"]', 19, "diameter_columns is "
         'the number 1: put it in quotes, "1", so it stays text'),
    ],
)  # fmt: skip
def test_a_block_that_says_nothing_useful_is_told_with_its_line(
    tmp_path: Path, block: str, line: int, message: str
) -> None:
    told = lot(tmp_path, SHEET + GAUGE + f"[[trace]]\n{block}\n", line__csv=GOOD)
    assert f"lot.toml:{line}: {message}" in told


def test_a_file_named_as_a_log_is_not_asked_about_for_its_name(tmp_path: Path) -> None:
    block = '[[trace]]\nfile = "readings_of_line.csv"\nspool = "1"\n'
    assert lot(tmp_path, SHEET + GAUGE + block, readings_of_line__csv=GOOD) == []


def test_a_name_that_is_nearly_that_of_a_spool_is_asked_about(tmp_path: Path) -> None:
    assert lot(tmp_path, trace_q__csv=GOOD) == [
        'trace_q.csv: no readings for spool "q": did you mean Q? It is kept apart'
    ]


def test_one_log_alone_is_a_lot(tmp_path: Path) -> None:
    put(tmp_path, trace_A__csv=GOOD)
    given = read_lot(tmp_path / "trace_A.csv", ReadOptions(nominal_mm=1.75))
    assert [t.spool for t in given.traces] == ["A"]
    assert len(given.readings) == 0


def test_a_log_that_is_held_reads_as_the_file_does(tmp_path: Path) -> None:
    folder = put(tmp_path, trace_A__csv=GOOD)
    sheet = (folder / "lot.toml").read_bytes()
    held = read_sources([("lot.toml", sheet), ("trace_A.csv", GOOD)])
    filed = read_lot(folder)
    assert [f.sha256 for f in held.files] == [f.sha256 for f in filed.files]
    for ours, theirs in zip(held.traces[0].log, filed.traces[0].log, strict=True):
        assert (ours.diameter_mm == theirs.diameter_mm).all()


def test_units_of_the_sheet_are_those_of_the_reader() -> None:
    assert set(DIAMETER_UNITS) == set(options.DIAMETER_UNITS)
    assert set(LENGTH_UNITS) == set(options.LENGTH_UNITS)
