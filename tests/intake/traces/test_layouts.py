"""Rows read by their layout: held against Python's own ``float``, a correctly rounding reader.

``float`` rounds to the nearest binary number (IEEE 754-2008, 5.12.2; David Gay's strtod), so what
is read has to be the same to the last bit.
"""

import re

import numpy as np
import pytest

from lotqa.intake.traces import layouts
from lotqa.intake.traces.layouts import MOST_FAILURES, MOST_LAYOUTS, Layouts

NUMBER = rb"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"


def reader(separator: bytes = b",", point: str = ".", *, between: bytes = b"") -> Layouts:
    """For two numbers with a column of anything ``between``."""
    return Layouts(re.compile(NUMBER + separator + between + NUMBER), point)


def lines_of(numbers, form="{:.4f},{:.3f}"):
    return [form.format(*pair).encode() for pair in numbers]


def read(which: Layouts, lines):
    found = which.read(b"".join(line + b"\n" for line in lines), len(lines))
    assert found is not None
    return found


@pytest.mark.parametrize(
    "form", ["{:.4f},{:.3f}", "{:+.1f},{:.14f}", "{:.0f},{:.0f}.", "{:07.2f},{:.3f}"]
)
def test_every_number_is_the_one_that_float_reads(form):
    rng = np.random.default_rng(1)
    numbers = np.stack([np.cumsum(rng.exponential(0.01, 30_000)), rng.normal(0, 0.9, 30_000)], 1)
    if form != "{:.4f},{:.3f}":
        numbers = np.abs(numbers) % 0.9 + 1.0
    else:
        numbers = numbers[np.argsort(np.sign(numbers[:, 1]), kind="stable")]
        numbers = numbers[
            np.argsort(np.floor(np.log10(np.maximum(numbers[:, 0], 1))), kind="stable")
        ]
    lines = lines_of(numbers, form)
    fine, values = read(reader(), lines)
    assert fine.all()
    expected = [[float(cell) for cell in line.split(b",")] for line in lines]
    np.testing.assert_array_equal(values, expected)
    np.testing.assert_array_equal(np.signbit(values), np.signbit(expected))


def test_a_length_that_gets_a_digit_more_goes_on():
    lines = [b"%d.5,1.750" % n for n in range(9_000, 11_000)]
    fine, values = read(reader(), lines)
    assert fine.all()
    np.testing.assert_array_equal(values[:, 0], np.arange(9_000, 11_000) + 0.5)


def test_lines_that_are_no_rows_stand_alone():
    lines = [b"%d.5,1.750" % (1000 + n) for n in range(3000)]
    bad = {0: b"ok", 700: b"1700.5,1.7x0", 701: b"1701.5;1.750", 1500: b"", 2999: b"3999.5,1e999"}
    for at, line in bad.items():
        lines[at] = line
    lines[900] = b"1.9e3,1.750"
    fine, values = read(reader(), lines)
    assert np.flatnonzero(~fine).tolist() == [*bad]
    assert values[:, 0].tolist() == [1900.0 if i == 900 else 1000.5 + i for i in range(3000)
                                     if i not in bad]  # fmt: skip


@pytest.mark.parametrize("sign", [b"/", b":", b" ", b"-", b"\xb0", b"\0"])
def test_signs_beside_the_digits_are_none(sign):
    """The neighbours of 0 and 9 in ASCII, and what lies 128 above 0."""
    lines = [b"1.5,1.750"] * 100
    lines[50] = b"1.5,1.7" + sign + b"0"
    fine, _ = read(reader(), lines)
    assert np.flatnonzero(~fine).tolist() == [50]


def test_a_column_of_anything_may_hold_other_digits_and_a_decimal_comma_is_a_point():
    lines = [b"%d,5;10:%02d;1,7%02d" % (i, i, i) for i in range(10, 60)]
    fine, values = read(reader(b";", ",", between=rb'[^;"]*;'), lines)
    assert fine.all()
    np.testing.assert_array_equal(values, [[i + 0.5, float(f"1.7{i:02d}")] for i in range(10, 60)])


def test_more_digits_than_are_exact_are_read_one_by_one():
    lines = [b"0.%016d,1.75" % (9007199254740993 + i) for i in range(20)]
    _, values = read(reader(), lines)
    assert values[:, 0].tolist() == [float(line.split(b",")[0]) for line in lines]


def test_a_log_of_many_layouts_is_given_up_and_no_longer_tried(monkeypatch):
    which = reader()
    ragged = [b"1.5,1.75", b"1.5,1.750"] * MOST_LAYOUTS
    data = b"".join(line + b"\n" for line in ragged)
    for _ in range(MOST_FAILURES):
        assert which.read(data, len(ragged)) is None
    monkeypatch.setattr(layouts, "MOST_LAYOUTS", 10**6)
    assert which.read(data, len(ragged)) is None
    assert reader().read(data, len(ragged)) is not None
