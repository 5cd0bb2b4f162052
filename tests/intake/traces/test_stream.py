"""Whatever a file holds and however it is cut: rows add up, and memory does not grow with it."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lotqa.errors import UnusableInput
from lotqa.intake.traces import TraceOptions, read_trace
from tests.intake.traces.reading import ROADS, lines_of, read, take_road
from tests.traces import Shape, firmware_log, simulated, table_bytes, write_table

BLOCKS = "lotqa.intake.traces.blocks.BLOCK_BYTES"
PANDAS = "lotqa.intake.traces.clean.PANDAS_BYTES"


def ugly_log():
    """A log with everything wrong that the reader knows."""
    trace = simulated(3000, Shape(axis_angles_deg=(0.0, 90.0)), restarts=(2200,))
    trace.length_m[500:560] -= 0.002 * np.arange(60)  # runs back
    trace.length_m[900:1050] = trace.length_m[900]  # stands still
    trace.length_m[1500:2200] += 4.0  # a gap
    trace.diameter_mm[1100:1200, 0] = 1.8  # sticks
    trace.diameter_mm[1180:1300, 1] = 1.7
    trace.diameter_mm[1600:1700:3, 0] = 17.5
    trace.diameter_mm[2600:2700] /= 25.4
    lines = table_bytes(trace).split(b"\n")
    for at, line in (
        (2900, b"0.7,nan,1.75"), (2800, b"ok T:210"), (2800, b"{}"), (2500, b"9,1.75,1.75"),
        (2500, b"\0\0"), (2400, b""), (2300, b"0.1,1.7"), (2100, b"0.1,1.7,1.7,1.7"),
        (1400, lines[0]), (1350, b"-7,1.75,1.75"), (1350, b"-7,1.75,1.75"),
        (300, b'0.3,"1.75",1.75'),
    ):  # fmt: skip
        lines.insert(at, line)
    return b"\n".join(lines)[:-3]


LOGS = {
    "ugly": ugly_log(),
    "ugly, other line ends": ugly_log().replace(b"\n", b"\r\n"),
    "ugly, two-byte text": ugly_log().decode().encode("utf-16"),
    "printer talk": firmware_log(simulated(700)) + b"Filament width:17.5\nFilament wid",
    "blanks": table_bytes(simulated(700), "length_m d_mm", separator="  "),
    "decimal comma, a column left out": b"t;length_mm;d_mm\n"
    + b"".join(b"%d;%d,5;1,7%02d\n" % (i, i, i % 37) for i in range(700)),
}


@pytest.mark.parametrize("content", LOGS.values(), ids=LOGS)
@pytest.mark.parametrize("road", ROADS)
def test_the_same_rows_and_problems_however_the_file_is_cut(content, road, tmp_path, monkeypatch):
    take_road(monkeypatch, road)
    whole = read(content, tmp_path)
    assert whole.reader.rows_used >= 700
    for block_bytes in (97, 1_009, 10_007, 50_021):
        if block_bytes == 97 and road == "pandas":
            continue  # hundreds of calls of pandas
        monkeypatch.setattr(BLOCKS, block_bytes)
        cut = read(content, tmp_path)
        assert cut.told == whole.told
        assert cut.sections == whole.sections
        np.testing.assert_array_equal(cut.length_m, whole.length_m)
        np.testing.assert_array_equal(cut.diameter_mm, whole.diameter_mm)


@pytest.mark.parametrize("content", LOGS.values(), ids=LOGS)
@pytest.mark.parametrize("road", ["layouts", "pandas"])
def test_both_roads_give_the_same(content, road, tmp_path, monkeypatch):
    take_road(monkeypatch, road)
    fast = read(content, tmp_path)
    take_road(monkeypatch, "plain")
    plain = read(content, tmp_path)
    assert fast.told == plain.told
    assert fast.sections == plain.sections
    # pandas may miss the last bit of a number; two floats of 1.75 differ by 2.2e-16 at least
    np.testing.assert_allclose(fast.length_m, plain.length_m, rtol=0, atol=1e-14)
    np.testing.assert_allclose(fast.diameter_mm, plain.diameter_mm, rtol=4e-16)


def test_the_ugly_log_has_every_kind_of_problem(tmp_path):
    text = "\n".join(read(LOGS["ugly"], tmp_path).told)
    for what in (
        "starts anew", "runs back", "stands still", "nothing is compared across", "sticks at 1.8",
        "sticks at 1.7", "a slip for 1.75", "inches", "no reading", "lines of text", "far from",
        "NUL", "2 cells", "4 cells", "header stands here again", "middle of this row",
    ):  # fmt: skip
        assert what in text, what


CELLS = st.sampled_from([
    "1.75", "1.74", "1.8", "0.001", "0.002", "0.5", "12", "-3", "17.5", "0.0689", "nan", "inf",
    "1e999", "1e5", "", " ", "ok", "T:210", "1,75", '"1.75"', '"', "\0", "1.75 mm", "é", "\r",
    "9999999", "+1.7", "1.7.5", "0x1A", "1_0", "True", ".", "-", "{n}", "\u2028", "1e", "1.75e0",
])  # fmt: skip
LINES = st.lists(
    st.lists(CELLS, min_size=0, max_size=4).map(",".join) | st.text(max_size=12), max_size=25
)
HEADS = st.sampled_from(
    ["length_m,d_x,d_y", "length_m,d_mm", "length_mm;d", "d", "time_s,d", "Filament width:1.75", ""]
)
SAID = st.sampled_from([
    {}, {"step_mm": 1.0}, {"speed_mm_s": 10.0}, {"nominal_mm": 1.75, "length_unit": "mm"},
    {"length_column": "1", "diameter_columns": ("2",)}, {"unit": "in", "length_scale": 2.0},
])  # fmt: skip


def assert_adds_up_or_is_refused(content, folder, options):
    path = folder / "log.csv"
    path.write_bytes(content)
    reader = None
    try:
        reader = read_trace(path, TraceOptions(**options))
        n = 0
        last_m = 0.0
        for chunk in reader:
            assert chunk.length_m[0] >= last_m
            last_m = chunk.length_m[-1]
            assert np.isfinite(chunk.length_m).all()
            assert (chunk.diameter_mm >= 0.5).all()
            assert (chunk.diameter_mm <= 5.0).all()
            n += len(chunk)
            assert reader.rows_read == reader.rows_used + reader.rows_reported
        assert n == reader.rows_used > 0
    except UnusableInput:
        pass
    if reader is not None:
        assert reader.rows_read == reader.rows_used + reader.rows_reported
        has_lost = any(not p.row_used for p in reader.problems)
        assert has_lost == (reader.rows_reported > 0)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(head=HEADS, lines=LINES, end=st.sampled_from(["\n", "\r\n", "\r", ""]), said=SAID,
       road=st.sampled_from([*ROADS]))  # fmt: skip
def test_rows_of_a_wild_table_always_add_up(head, lines, end, said, road, tmp_path, monkeypatch):
    take_road(monkeypatch, road)
    monkeypatch.setattr(BLOCKS, 50)
    text = (end or "\n").join([head, *lines]) + end
    content = text.encode("utf-8", "surrogatepass")
    assert_adds_up_or_is_refused(content, tmp_path, said)


def outcome(content, folder, options):
    """Rows and problems of a log, or its refusal."""
    path = folder / "log.csv"
    path.write_bytes(content)
    try:
        reader = read_trace(path, TraceOptions(**options))
        chunks = list(reader)
    except UnusableInput as refusal:
        return str(refusal), lines_of(refusal.problems), None, None
    length_m = np.concatenate([c.length_m for c in chunks])
    diameter_mm = np.concatenate([c.diameter_mm for c in chunks])
    return "", lines_of(reader.problems), length_m, diameter_mm


@settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(head=HEADS, lines=LINES, end=st.sampled_from(["\n", "\r\n"]), said=SAID)
def test_both_roads_agree_on_any_wild_table(head, lines, end, said, tmp_path, monkeypatch):
    content = (end.join([head, *lines]) + end).encode("utf-8", "surrogatepass")
    found = {}
    for road in ROADS:
        take_road(monkeypatch, road)
        found[road] = outcome(content, tmp_path, said)
    plain = found.pop("plain")
    for fast in found.values():
        assert fast[:2] == plain[:2]
        for one, other in zip(fast[2:], plain[2:], strict=True):
            if one is not None:
                np.testing.assert_allclose(one, other, rtol=4e-16, atol=1e-14)


@pytest.mark.parametrize("road", ["layouts", "pandas"])
@pytest.mark.parametrize("more", [[], ["1.76,"], [",1.75"], ["nan,nan"], ["null,false"]])
@pytest.mark.parametrize("word", ["True", "true", "FALSE", "fAlSe", "nan", "NULL", "yes", "-inf"])
def test_a_word_is_no_number_on_either_road(word, more, road, tmp_path, monkeypatch):
    told = []
    for lines in ([f"1.75,{word}", *more], [*more, f"1.75,{word}"]):
        content = "\n".join(["length_m,d_mm", *lines, ""]).encode()
        for each in (road, "plain"):
            take_road(monkeypatch, each)
            refusal, problems, *_ = outcome(content, tmp_path, {})
            assert "none of the rows can be used" in refusal
            told.append(problems)
        assert told[-1] == told[-2]
        assert any(word in line or f"{len(lines)} rows" in line for line in told[-1])


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(content=st.binary(max_size=300), at=st.integers(0, 2000), road=st.sampled_from([*ROADS]))
def test_any_bytes_anywhere_are_told_or_refused(content, at, road, tmp_path, monkeypatch):
    take_road(monkeypatch, road)
    assert_adds_up_or_is_refused(content, tmp_path, {})
    log = table_bytes(simulated(100))
    assert_adds_up_or_is_refused(log[:at] + content + log[at:], tmp_path, {})


def test_a_section_longer_than_a_chunk_is_cut_and_stays_one_section(tmp_path, monkeypatch):
    monkeypatch.setattr("lotqa.intake.traces.sticking.CHUNK_ROWS", 300)
    trace = simulated(1000, restarts=(700,))
    log = read(table_bytes(trace), tmp_path)
    assert log.sections == [700]
    sizes = [len(chunk) for chunk in log.reader]
    assert max(sizes) == 300
    np.testing.assert_allclose(log.length_m, np.arange(1000) / 1000, atol=1e-9)


def test_the_bytes_read_rise_to_the_size_of_the_file(tmp_path, monkeypatch):
    monkeypatch.setattr(BLOCKS, 10_000)
    path = tmp_path / "log.csv"
    write_table(path, simulated(5000))
    reader = read_trace(path)
    seen = [(reader.bytes_read, reader.bytes_total) for _ in reader]
    assert [s for s, _ in seen] == sorted(s for s, _ in seen)
    assert len(seen) > 5
    assert reader.bytes_read == path.stat().st_size


def peak_bytes(path, *, keeps_rows=False):
    """The most memory that a whole pass takes."""
    kept = []
    tracemalloc.start()
    n = 0
    for chunk in read_trace(path):
        n += len(chunk)
        if keeps_rows:
            kept.append(chunk)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return n, peak


@pytest.fixture
def _small_blocks(monkeypatch):
    """The same in small, so that the files can be."""
    monkeypatch.setattr(PANDAS, 0)
    monkeypatch.setattr(BLOCKS, 1 << 18)
    monkeypatch.setattr("lotqa.intake.traces.reader.HEAD_BYTES", 1 << 16)


@pytest.mark.usefixtures("_small_blocks")
def test_memory_does_not_grow_with_the_file(tmp_path):
    peaks = []
    for n_rows in (50_000, 240_000):
        path = tmp_path / f"{n_rows}.csv"
        write_table(path, simulated(n_rows, Shape(axis_angles_deg=(0.0, 90.0))))
        n, peak = peak_bytes(path)
        assert n == n_rows
        peaks.append(peak)
    assert peaks[1] < 1.25 * peaks[0]
    assert peak_bytes(path, keeps_rows=True)[1] > 2 * peaks[0]  # what growing would look like


@pytest.mark.usefixtures("_small_blocks")
def test_memory_does_not_grow_with_the_number_of_problems(tmp_path):
    peaks = []
    for n_rows in (40_000, 120_000):
        trace = simulated(n_rows)
        trace.diameter_mm[::2] = 17.5
        path = tmp_path / f"{n_rows}.csv"
        write_table(path, trace)
        peaks.append(peak_bytes(path)[1])
    assert peaks[1] < 1.25 * peaks[0]
