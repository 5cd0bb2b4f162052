"""Findings: what was seen or felt on a spool, with its class.

The class may be left blank where the catalogue knows the finding.  One that is written down counts,
even against the catalogue; that is told.
"""

from types import MappingProxyType
from typing import cast

from lotqa.findings import Catalogue, CatalogueEntry, read_catalogue
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


def read_findings(
    grid: Grid, catalogue: Catalogue | None = None
) -> tuple[list[Finding], list[Problem], int]:
    """Findings, problems and the number of rows read; without a catalogue, by the shipped one.

    :raises Refused: a required column is missing.
    """
    known = read_catalogue() if catalogue is None else catalogue
    advice: dict[str, str] = {}  # by finding: a long list repeats itself
    return read_side_table(grid, FIELDS, lambda cells, file: _finding(cells, file, known, advice))


def _finding(cells: Cells, file: str, known: Catalogue, advice: dict[str, str]) -> Finding | None:
    spool, what = cells.text("spool"), cells.text("finding")
    if not spool:
        cells.complain("spool", "is empty: write the spool's name in every row")
    if not what:
        cells.complain("finding", "is empty: write what was seen, such as lump")
    grade = _grade(cells, known, advice)
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


def _grade(cells: Cells, known: Catalogue, advice: dict[str, str]) -> FindingClass | None:
    typed, what = cells.text("class"), cells.text("finding")
    entry = known.find(what)
    if typed.casefold() in FINDING_CLASSES:
        grade = cast(FindingClass, typed.casefold())
        if entry is not None and grade != entry.grade:
            cells.complain("class", _differs(typed, grade, entry), row_used=True)
        return grade
    if not typed:
        if entry is not None:
            return entry.grade
        if what not in advice:
            advice[what] = _unknown(what, known)
        cells.complain("class", f"is empty{advice[what]}")
        return None
    near = did_you_mean(typed, FINDING_CLASSES)
    todo = f"did you mean {near}?" if near else f"write {one_of(FINDING_CLASSES)}"
    cells.complain("class", f'is "{typed}": {todo}')
    return None


def _differs(typed: str, grade: FindingClass, entry: CatalogueEntry) -> str:
    return (
        f'is "{typed}", but {entry.name} is {entry.grade} in the catalogue: {grade} counts; '
        "if that is meant for every lot, write it as a [[finding]] into your criteria file"
    )


def _unknown(what: str, known: Catalogue) -> str:
    right = f"write {one_of(FINDING_CLASSES)}"
    if not what:
        return f": {right}"
    near = known.near(what)
    where = f', and "{what}" is not in the catalogue'
    return f"{where}: did you mean {one_of(near)}? Else {right}" if near else f"{where}: {right}"
