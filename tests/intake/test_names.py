"""Names as people write them."""

import pytest

from lotqa.intake.layout import FIELDS
from lotqa.intake.names import did_you_mean, match_field, one_of


@pytest.mark.parametrize(
    ("header", "field", "factor"),
    [
        ("spool", "spool", None),
        ("Spool No.", "spool", None),
        ("Diameter mm", "diameter_mm", 1.0),
        ("diameter (mm)", "diameter_mm", 1.0),
        ("DIA", "diameter_mm", None),
        ("diameter_in", "diameter_mm", 25.4),
        ("Diameter [inches]", "diameter_mm", 25.4),
        ("position", "position_m", None),
        ("pos_m", "position_m", 1.0),
        ("Pos. (cm)", "position_m", 0.01),
        ("angle °", "direction_deg", 1.0),
        ("direction degrees", "direction_deg", 1.0),
    ],
)
def test_headers_are_known_by_their_sense(header, field, factor):
    found, found_factor = match_field(header, FIELDS)
    assert (found.name, found_factor) == (field, factor)


@pytest.mark.parametrize("header", ["", "mm", "diameter_g", "place", "width", "d60_mm", "1.75"])
def test_other_headers_are_not(header):
    assert match_field(header, FIELDS) is None


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("wieghings", "weighings"),
        ("Weighing", "weighings"),
        ("pin checks", "pin_checks"),
        ("xyz", None),
    ],
)
def test_a_slip_finds_the_name_that_was_meant(typed, meant):
    assert did_you_mean(typed, ["readings", "weighings", "pin_checks"]) == meant


def test_lists_read_as_a_sentence():
    assert one_of(["a"]) == "a"
    assert one_of(["a", "b", "c"]) == "a, b or c"
