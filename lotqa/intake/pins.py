"""Pin checks: an instrument's readings of a pin of known size, before and after the session."""

from typing import Literal, cast

from lotqa.intake.layout import DIAMETER_UNITS
from lotqa.intake.names import Field, did_you_mean
from lotqa.intake.table import Cells, Grid, read_side_table
from lotqa.model import PinCheck, Problem

FIELDS = (
    Field("instrument", ("calliper", "caliper", "tool", "gauge"), required=True),
    Field("when", ("time",), required=True),
    Field("reference_mm", ("ref", "pin", "nominal"), DIAMETER_UNITS, required=True),
    Field("reading_mm", ("read", "value", "measured"), DIAMETER_UNITS, required=True),
    Field("note", ("notes", "remark", "comment")),
)
PIN_MM = (0.05, 30.0)  # feeler gauge to the largest gauge block that a bench check needs
MOST_OFF_MM = 0.2  # ten times the limit of error of a calliper: rather another pin
WHEN = ("before", "after")


def read_pin_checks(grid: Grid) -> tuple[list[PinCheck], list[Problem], int]:
    """Pin checks, problems and the number of rows read.

    :raises Refused: a required column is missing.
    """
    return read_side_table(grid, FIELDS, _check)


def _check(cells: Cells, file: str) -> PinCheck | None:
    instrument = cells.text("instrument")
    if not instrument:
        cells.complain("instrument", "is empty: write the instrument's name as in the lot sheet")
    when = read_when(cells)
    reference_mm = _size(cells, "reference_mm", "1.750")
    reading_mm = _size(cells, "reading_mm", "1.76")
    if reference_mm is None or reading_mm is None:
        return None
    if abs(reading_mm - reference_mm) > MOST_OFF_MM:
        cells.complain(
            "reading_mm",
            f"is {cells.text('reading_mm')} on a pin of {cells.text('reference_mm')} mm, more "
            f"than {MOST_OFF_MM:g} mm off: another pin? Read it again",
        )
    if cells.failed or when is None:
        return None
    return PinCheck(
        instrument=instrument,
        when=when,
        reference_mm=reference_mm,
        reading_mm=reading_mm,
        file=file,
        line=cells.line,
    )


def read_when(cells: Cells) -> Literal["before", "after"] | None:
    """'before' or 'after' the session; anything else is reported."""
    typed = cells.text("when")
    if typed.casefold() in WHEN:
        return cast(Literal["before", "after"], typed.casefold())
    near = did_you_mean(typed, WHEN)
    what = f'is "{typed}"' if typed else "is empty"
    cells.complain(
        "when", f"{what}: " + (f"did you mean {near}?" if near else "write before or after")
    )
    return None


def _size(cells: Cells, name: str, example: str) -> float | None:
    value_mm = cells.number(name, example, required=True)
    if value_mm is not None and not PIN_MM[0] <= value_mm <= PIN_MM[1]:
        cells.complain(
            name,
            f"is {cells.text(name)}, outside {PIN_MM[0]:g} to {PIN_MM[1]:g} mm: "
            "write the size in millimetres",
        )
        return None
    return value_mm
