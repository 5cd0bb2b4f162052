"""Mass checks: what the scale shows for a known mass, before and after the session."""

from lotqa.intake.names import Field
from lotqa.intake.pins import read_when
from lotqa.intake.table import Cells, Grid, read_side_table
from lotqa.intake.weighings import MASS_UNITS
from lotqa.model import MassCheck, Problem

FIELDS = (
    Field("instrument", ("scale", "balance", "tool"), required=True),
    Field("when", ("time",), required=True),
    Field("reference_g", ("ref", "known", "nominal"), MASS_UNITS, required=True),
    Field("reading_g", ("read", "value", "measured"), MASS_UNITS, required=True),
    Field("note", ("notes", "remark", "comment")),
)
MASS_G = (0.1, 50_000.0)  # of a known mass on the bench of a workshop
MOST_OFF_PART = 0.02  # a scale that is off by more says nothing: rather another mass
MOST_OFF_G = 3.0  # a display of whole grams under a light mass


def read_mass_checks(grid: Grid) -> tuple[list[MassCheck], list[Problem], int]:
    """Mass checks, problems and the number of rows read.

    :raises Refused: a required column is missing.
    """
    return read_side_table(grid, FIELDS, _check)


def _check(cells: Cells, file: str) -> MassCheck | None:
    instrument = cells.text("instrument")
    if not instrument:
        cells.complain("instrument", "is empty: write the scale's name as in the lot sheet")
    when = read_when(cells)
    reference_g = cells.number("reference_g", "500", required=True)
    reading_g = cells.number("reading_g", "501", required=True)
    if reference_g is not None and not MASS_G[0] <= reference_g <= MASS_G[1]:
        typed = cells.text("reference_g")
        cells.complain(
            "reference_g",
            f"is {typed}, outside {MASS_G[0]:g} to {MASS_G[1]:.0f} g: "
            "write the known mass in grams",
        )
    elif reference_g is not None and reading_g is not None:
        _compare(cells, reference_g, reading_g)
    if cells.failed or when is None or reference_g is None or reading_g is None:
        return None
    return MassCheck(instrument, when, reference_g, reading_g, file, cells.line)


def _compare(cells: Cells, reference_g: float, reading_g: float) -> None:
    most_g = max(MOST_OFF_G, MOST_OFF_PART * reference_g)
    if abs(reading_g - reference_g) <= most_g:
        return
    typed, known = cells.text("reading_g"), cells.text("reference_g")
    what = f"is {typed} for a known mass of {known} g"
    for name, value in (("reading_g", reading_g), ("reference_g", reference_g)):
        other = reference_g if name == "reading_g" else reading_g
        if value < other and abs(1000 * value - other) <= most_g:
            cells.complain(
                name,
                f"is {cells.text(name)} beside {other:g} g: kilograms? "
                f"Write grams, such as {1000 * value:g}",
            )
            return
    cells.complain("reading_g", f"{what}, more than {most_g:g} g off: another mass? Weigh it again")
