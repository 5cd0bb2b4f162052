"""Findings: what was seen or felt on a spool, with its class."""

from types import MappingProxyType
from typing import cast

from lotqa.intake.names import Field, did_you_mean, one_of
from lotqa.intake.table import Cells, Grid, read_side_table
from lotqa.model import FINDING_CLASSES, Finding, FindingClass, Problem

FIELDS = (
    Field(
        "spool",
        ("spool_id", "spool_no", "spool_number", "spool_name", "roll", "reel"),
        required=True,
    ),
    Field("finding", ("defect", "what", "seen"), required=True),
    Field("class", ("grade", "severity"), required=True),
    Field("count", ("n", "number", "how_many")),
    Field("position_m", ("pos", "distance"), MappingProxyType({"m": 1.0, "cm": 0.01, "mm": 0.001})),
    Field("note", ("notes", "remark", "comment")),
)


def read_findings(grid: Grid) -> tuple[list[Finding], list[Problem], int]:
    """Findings, problems and the number of rows read.

    :raises Refused: a required column is missing.
    """
    return read_side_table(grid, FIELDS, _finding)


def _finding(cells: Cells, file: str) -> Finding | None:
    spool, what = cells.text("spool"), cells.text("finding")
    if not spool:
        cells.complain("spool", "is empty: write the spool's name in every row")
    if not what:
        cells.complain("finding", "is empty: write what was seen, such as lump")
    grade = _grade(cells)
    count = cells.number("count", "1")
    if count is not None and (count < 1.0 or count != int(count)):
        cells.complain("count", f"is {cells.text('count')}: count 1, 2, 3")
    position_m = cells.number("position_m", "0.31")
    if position_m is not None and position_m < 0.0:
        typed = cells.text("position_m")
        cells.complain(
            "position_m", f"is {typed}: positions count from the free end, write metres from 0 up"
        )
    if cells.failed or grade is None:
        return None
    return Finding(
        spool=spool,
        finding=what,
        grade=grade,
        count=1 if count is None else int(count),
        position_m=position_m,
        note=cells.text("note") or None,
        file=file,
        line=cells.line,
    )


def _grade(cells: Cells) -> FindingClass | None:
    typed = cells.text("class")
    if typed.casefold() in FINDING_CLASSES:
        return cast(FindingClass, typed.casefold())
    if not typed:
        cells.complain("class", f"is empty: write {one_of(FINDING_CLASSES)}")
        return None
    near = did_you_mean(typed, FINDING_CLASSES)
    advice = f"did you mean {near}?" if near else f"write {one_of(FINDING_CLASSES)}"
    cells.complain("class", f'is "{typed}": {advice}')
    return None
