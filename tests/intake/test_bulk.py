"""Large files take another road to the same result: readings, problems and counts."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lotqa.errors import UnusableInput
from lotqa.intake import bulk
from tests.intake.reading import HEADER, assert_rows_add_up, lot_of, told

ARRAYS = (
    "spool",
    "place",
    "position_m",
    "direction_deg",
    "diameter_mm",
    "trial",
    "operator",
    "line",
)


@pytest.fixture
def _small_pieces(monkeypatch):
    """Make every file a large one, cut into pieces of a few rows."""
    monkeypatch.setattr(bulk, "BULK_BYTES", 0)
    monkeypatch.setattr(bulk, "PIECE_BYTES", 150)
    monkeypatch.setattr(bulk, "FINE_BYTES", 60)


def both_roads(content, **options):
    """The lot by the row reader and by the bulk reader; a refusal is returned as its text."""
    results = []
    for limit in (10**12, 0):
        bulk.BULK_BYTES = limit
        try:
            results.append(lot_of(content, **options))
        except UnusableInput as refusal:
            results.append(str(refusal))
    return results


def assert_same(content):
    rows, large = both_roads(content)
    if isinstance(rows, str) or isinstance(large, str):
        assert rows == large
        return
    assert told(large) == told(rows)
    assert large.problems == rows.problems
    for name in ("spools", "operators", "file"):
        assert getattr(large.readings, name) == getattr(rows.readings, name)
    for name in ARRAYS:
        np.testing.assert_array_equal(
            getattr(large.readings, name), getattr(rows.readings, name), err_msg=name
        )
    assert large.files == rows.files
    assert_rows_add_up(large)


UGLY = {
    "clean": HEADER + "".join(f"S{i // 6},{i % 3},{90 * (i % 2)},1.7{i % 10}\n" for i in range(60)),
    "odd rows here and there": HEADER
    + "".join(
        f"{'S' if i % 7 else ''}{i // 6},{i % 3},{90 * (i % 2)},"
        + ("1.7S", "17.5", "1,75", "", "nan", "1.75 mm", "0.0689", "1.75", "inf")[i % 9]
        + "\n"
        for i in range(60)
    ),
    "rows too long and too short": HEADER
    + "A,0,0,1.75\nA,0,90\nA,1,0,1.75,x\nA,1,90,1.74,\nA,2,0,1.75,,,y\n" * 8,
    "a short good row beside a long one": "spool,diameter_mm,trial\nA,1.75\nA,1.74,2,x\n" * 9,
    "blank lines": HEADER + "A,0,0,1.75\n\n,,,\n\nA,0,90,1.74\n\n\n" * 8,
    "doubled rows over blank lines": HEADER + "A,0,0,1.75\nA,0,0,1.75\n\nA,0,0,1.75\n" * 8,
    "quotes": HEADER + '"A",0,0,"1.75"\n"B, C",0,"90",1.74\n"say ""x""",1,0,1.7\n' * 8,
    "line break in quotes": HEADER + '"A\nB",0,0,1.75\n"C",1,0,1.75\n' * 8,
    "stray quote": HEADER
    + 'A,0,0,1.75\nB,0,0,"1.75\n'
    + "".join(f"A,{i},0,1.75\n" for i in range(50)),
    "semicolon, decimal comma": "spool;position_m;diameter_mm\n"
    + "007;0,31;1,75\n007;0.5;1.74\n" * 9,
    "identifiers": "spool,diameter_mm\n" + "007,1.75\nNA,1.75\n1E5,1.75\nnull,1.74\n 7 ,1.7\n" * 9,
    "operators and trials": "spool,position_m,operator,trial,diameter_mm\n"
    + "A,0,East,1,1.75\nA,0,West,,1.75\nA,0,,2,1.74\nA,0,,x,1.75\nA,0,,1.5,1.75\nA,1,,,1.7\n" * 8,
    "wide": "spool,position_m,d0_mm,d60_mm,d120_mm\n"
    + "A,0,1.75,1.74,1.73\nA,1,,1.74,1.7x\nB,0,,,\nB,1,17.5,1.75,2.85\n" * 8,
    "words of truth": "spool,direction_deg,diameter_mm\n" + "A,TRUE,1.75\nTrue,0,1.74\n" * 9,
    "a column of nothing but words of truth": "spool,direction_deg,diameter_mm\n"
    + "A,TRUE,1.75\n" * 9,
    "one column": "diameter_mm\n" + "1,75\n1.74\n\nx\n" * 9,
    "bare list": "1.75\n1.74\n\nx\n1.7 mm\n" * 9,
    "bare list under a separator line": "sep=,\n" + "1.75\n1.74\n" * 9,
    "two stock sizes": "spool,diameter_mm\n" + "A,1.75\nB,2.85\nA,1.74\n" * 9,
    "inches in a column of inches": "spool,diameter_in\n" + "A,0.0689\nB,0.0685\nA,1.75\n" * 9,
    "names that first come in an odd row": HEADER + "A,0,0,1.75\nB,0,0,1.75 mm\nC,0,0,1.75\n" * 8,
    "nothing to use": HEADER + "A,0,0,x\n" * 30,
    "header alone": HEADER,
    "no final line end": HEADER + "A,0,0,1.75\nA,0,90,1.74",
}


@pytest.mark.usefixtures("_small_pieces")
@pytest.mark.parametrize("name", UGLY)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_both_roads_give_the_same(name, line_end):
    assert_same(UGLY[name].replace("\n", line_end))


@pytest.mark.usefixtures("_small_pieces")
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_both_roads_read_the_same_encodings(encoding):
    assert_same((HEADER + "Rolle ä,0,0,1.75\nRolle ö,0,90,1.74\n" * 20).encode(encoding))


TOKEN = st.sampled_from(
    [
        "A",
        "B",
        "007",
        " C ",
        "",
        "0",
        "0.31",
        "90",
        "1.75",
        "1,75",
        "1.7S",
        "17.5",
        "0.0689",
        "2.85",
        "nan",
        '"',
        '"1.75"',
        "1.75 mm",
        "-1",
        "true",
        "inf",
        "1e0",
        "1.7512345678901234567",
    ]
)


@pytest.mark.usefixtures("_small_pieces")
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.lists(TOKEN, max_size=6).map(",".join), max_size=25))
def test_both_roads_give_the_same_on_random_rubbish(rows):
    assert_same("spool,position_m,direction_deg,diameter_mm,trial\n" + "\n".join(rows))


def test_pandas_itself_reads_the_same_numbers():
    rng = np.random.default_rng(1975)
    n = 60_000
    frame = pd.DataFrame(
        {
            "spool": np.repeat([f"S{i:04d}" for i in range(n // 60)], 60),
            "position_m": np.tile(
                np.repeat(np.cumsum(rng.uniform(0.1, 0.5, 30)).round(2), 2), n // 60
            ),
            "direction_deg": np.tile([0, 90], n // 2),
            "diameter_mm": rng.normal(1.75, 0.01, n).round(4),
        }
    )
    content = frame.to_csv(index=False).encode()
    padded = content + b"\n" * max(0, bulk.BULK_BYTES + 1 - len(content))
    readings = lot_of(padded).readings
    np.testing.assert_array_equal(readings.diameter_mm, frame["diameter_mm"])
    np.testing.assert_array_equal(readings.position_m, frame["position_m"])
    assert [readings.spools[i] for i in readings.spool[::60]] == frame["spool"][::60].tolist()
    # 30 uneven positions a spool, each its own place
    assert readings.place[-1] == n // 2 - 1


def test_the_fast_road_is_taken_by_a_clean_large_file(monkeypatch):
    """A guard against a silent fall back to the row reader, which would only be slow."""
    taken = []
    road = bulk.typed_block
    monkeypatch.setattr(bulk, "typed_block", lambda *a: taken.append(road(*a)) or taken[-1])
    monkeypatch.setattr(bulk, "BULK_BYTES", 0)
    lot_of(UGLY["clean"])
    assert [len(block) for block in taken] == [60]
    taken.clear()
    lot_of(UGLY["clean"] + "S9,1,x,1.75\nS9,1,0,1.7S\nS9,1,0,1.75 mm\n")
    assert len(taken) == 1
    assert taken[0] is not None  # odd rows do not spoil the piece
    taken.clear()
    lot_of("spool,diameter_mm\n" + "007,1.75\n008,1.74\n" * 9)  # names that look like numbers
    assert [len(block) for block in taken] == [18]
    taken.clear()
    lot_of(UGLY["stray quote"])
    assert None in taken
