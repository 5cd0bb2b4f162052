"""Walls of printed coupons: the thickness of a single wall, read on each of its four sides.

A side goes by its number, by its letter, or by where it looks when the coupon stands on the bed.
"""

from types import MappingProxyType

from lotqa.intake.layout import DIAMETER_UNITS
from lotqa.intake.names import Field, did_you_mean
from lotqa.intake.slips import MM_PER_INCH
from lotqa.intake.table import Cells, Grid, read_side_table
from lotqa.model import Problem, WallReading

FIELDS = (
    Field("spool", ("spool_id", "spool_no", "spool_number", "roll", "reel"), required=True),
    Field("side", ("face", "flank"), required=True),
    Field("wall_mm", ("thickness", "reading", "value"), DIAMETER_UNITS, required=True),
    Field("instrument", ("calliper", "caliper", "micrometer", "tool")),
    Field("note", ("notes", "remark", "comment")),
)
WALL_MM = (0.1, 3.0)  # one line of the finest and of the widest nozzle
NAMES = (("1", "a", "front"), ("2", "b", "right"), ("3", "c", "back"), ("4", "d", "left"))
SIDES = MappingProxyType({name: names[0] for names in NAMES for name in names})


def read_coupon_walls(grid: Grid) -> tuple[list[WallReading], list[Problem], int]:
    """Wall readings, problems and the number of rows read.

    :raises Refused: a required column is missing.
    """
    return read_side_table(grid, FIELDS, _wall)


def _wall(cells: Cells, file: str) -> WallReading | None:
    spool = cells.text("spool")
    if not spool:
        cells.complain("spool", "is empty: write the spool's name in every row")
    side = _side(cells)
    wall_mm = cells.number("wall_mm", "0.46", required=True)
    if wall_mm is not None and not WALL_MM[0] <= wall_mm <= WALL_MM[1]:
        what = f"is {cells.text('wall_mm')}, outside {WALL_MM[0]:g} to {WALL_MM[1]:g} mm"
        cells.complain("wall_mm", f"{what}: {_advice(wall_mm)}")
    if cells.failed or side is None or wall_mm is None:
        return None
    return WallReading(
        spool=spool,
        side=side,
        wall_mm=wall_mm,
        instrument=cells.text("instrument") or None,
        file=file,
        line=cells.line,
    )


def _side(cells: Cells) -> str | None:
    typed = cells.text("side")
    key = typed.casefold().removeprefix("side").strip()
    if key in SIDES:
        return SIDES[key]
    words = [names[-1] for names in NAMES]
    near = did_you_mean(key, words) if key else None
    advice = (
        f"did you mean {near}?" if near else "write 1 to 4, A to D, or front, right, back, left"
    )
    cells.complain("side", (f'is "{typed}": ' if typed else "is empty: ") + advice)
    return None


def _advice(wall_mm: float) -> str:
    """What a wall outside its range may have been meant as; walls are mostly 0.3 to 1.2 mm."""
    for factor, unit in ((0.001, "micrometres"), (MM_PER_INCH, "inches")):
        if 0.25 <= factor * wall_mm <= 1.5:
            return f"{unit}? Write millimetres, such as {factor * wall_mm:.3g}"
    if 0.25 <= wall_mm / 10 <= 1.5:
        return f"a slip for {wall_mm / 10:.4g}?"
    return "write the thickness of the single wall in millimetres"
