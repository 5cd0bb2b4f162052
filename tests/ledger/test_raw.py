"""Readings beside the rows as typed, and gathered by place."""

import io
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.ledger import raw
from tests.ledger.conftest import READINGS_CSV, Delivery, source


def with_file(delivery: Delivery, name: str, content: bytes) -> Delivery:
    readings = replace(delivery.lot.readings, file=name)
    return replace(
        delivery, lot=replace(delivery.lot, readings=readings, files=(source(name, content),))
    )


def texts(ledger) -> list[str | None]:
    return [row.text for row in ledger.raw_rows(1)]


AS_TYPED = [
    '007,0.5,"1,74",1.75',
    "007,10,1.76,1.77",
    "NA,0.5,+001.75, 1.74",
    "NA,10,1.73,1.72",
]


@pytest.mark.parametrize(
    "content",
    [
        READINGS_CSV.encode(),
        READINGS_CSV.replace("\n", "\r\n").encode("utf-8-sig"),
        READINGS_CSV.replace("\n", "\r").encode(),
        READINGS_CSV.encode("utf-16"),
        READINGS_CSV.rstrip("\n").encode(),
    ],
    ids=["unix", "windows with BOM", "old mac", "utf-16", "no newline at the end"],
)
def test_each_reading_stands_beside_its_row_as_typed(ledger, delivery, content):
    with_file(delivery, "readings.csv", content).entered_in(ledger)
    assert texts(ledger) == [text for text in AS_TYPED for _ in range(2)]


def test_bytes_that_are_not_utf_8_are_shown_as_latin_1(ledger, delivery):
    content = READINGS_CSV.replace("NA", "caf\u00e9").encode("latin-1")
    with_file(delivery, "readings.csv", content).entered_in(ledger)
    assert ledger.raw_rows(1)[4].text == "café,0.5,+001.75, 1.74"


def test_only_what_an_editor_counts_as_a_line_is_a_line(ledger, delivery):
    """str.splitlines() would break at the form feed and the line separator."""
    content = READINGS_CSV.replace("007,0.5", "007\x0c\u2028,0.5").encode()
    with_file(delivery, "readings.csv", content).entered_in(ledger)
    assert ledger.raw_rows(1)[-1].text == AS_TYPED[-1]


def test_rows_of_a_workbook_are_shown_as_cells(ledger, delivery):
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "lot"
    sheet = book.create_sheet("Readings")
    for row in [("spool", "d0_mm"), ("007", "1,74"), (7, 1.76), ("NA", None), ("NA", 1.73)]:
        sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    with_file(delivery, "lot.xlsx", content.getvalue()).entered_in(ledger)
    assert texts(ledger)[::2] == ["007\t1,74", "7\t1.76", "NA\t", "NA\t1.73"]


def test_a_line_that_is_not_in_the_file_has_no_text(ledger, delivery):
    readings = replace(delivery.lot.readings, line=np.array([0, 1, 5, 6, 99, -1, 2, 2]))
    replace(delivery, lot=replace(delivery.lot, readings=readings)).entered_in(ledger)
    assert texts(ledger)[:6] == [
        None,
        "spool,position_m,d0_mm,d90_mm",
        AS_TYPED[-1],
        None,
        None,
        None,
    ]


def test_raw_files_come_back_byte_for_byte(ledger, delivery):
    files = (source("a.csv", b"\xff\x00\r\n"), source("empty.csv", b""), source("a.csv", b"2"))
    replace(delivery, lot=replace(delivery.lot, files=files)).entered_in(ledger)
    assert ledger.sources(1) == [("a.csv", b"\xff\x00\r\n"), ("empty.csv", b""), ("a.csv", b"2")]


def test_places_of_each_spool(ledger, delivery):
    delivery.entered_in(ledger)
    one, two = ledger.places(1)
    assert (one.spool, two.spool) == ("007", "NA")
    assert two.place.tolist() == [1, 2]
    assert two.position_m.tolist() == [0.5, 10.0]
    # Readings 1.75 and 1.74, then 1.73 and 1.72: see the file.
    assert two.low_mm.tolist() == [1.74, 1.72]
    assert two.high_mm.tolist() == [1.75, 1.73]
    assert two.mean_mm.tolist() == pytest.approx([1.745, 1.725])
    for array in (two.place, two.position_m, two.low_mm, two.high_mm, two.mean_mm):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_places_of_the_spools_asked_for(ledger, delivery):
    delivery.entered_in(ledger)
    assert [spool.spool for spool in ledger.places(1, spools=["NA", "nowhere"])] == ["NA"]
    assert ledger.places(1, spools=[]) == []


def test_places_are_the_same_whatever_is_fetched_at_a_time(ledger, delivery, monkeypatch):
    delivery.entered_in(ledger)
    monkeypatch.setattr(raw, "FETCH_ROWS", 3)
    assert [spool.mean_mm.tolist() for spool in ledger.places(1)] == [
        pytest.approx([1.745, 1.765]),
        pytest.approx([1.745, 1.725]),
    ]


readings_of_places = st.lists(
    st.tuples(
        st.integers(0, 3),
        st.integers(0, 4),
        st.sampled_from([0.0, 60.0, 90.0, None]),
        st.integers(1600, 1900),
    ),
    max_size=40,
)


@given(readings_of_places)
def test_gathering_agrees_with_doing_it_by_hand(rows):
    """The other road: plain dictionaries and Python's own statistics."""
    import statistics

    widths: dict[tuple[int, int], dict[object, list[int]]] = {}
    for n, (spool, place, direction, width) in enumerate(rows):
        key = ("unknown", n) if direction is None else direction
        widths.setdefault((spool, place), {}).setdefault(key, []).append(width)
    expected = []
    for _, by_direction in sorted(widths.items()):
        means = [statistics.fmean(values) for values in by_direction.values()]
        expected.append([min(means), max(means), statistics.fmean(means)])

    spool, place, direction, width = zip(*rows, strict=True) if rows else ((), (), (), ())
    _, _, low, high, mean = raw.gather(
        np.array(spool, dtype=np.int64),
        np.array(place, dtype=np.int64),
        np.zeros(len(rows)),
        np.array(direction, dtype=np.float64),
        np.array(width, dtype=np.float64),
    )
    # Sums of at most 40 numbers under 2000: relative rounding under 40 * 2**-52.
    np.testing.assert_allclose(
        np.column_stack([low, high, mean]), np.reshape(expected, (-1, 3)), rtol=1e-13
    )
