"""Pin checks alone: from their own file, or from the folder of a lot that may hold nothing else."""

from dataclasses import dataclass
from pathlib import Path

from lotqa.errors import UnusableInput
from lotqa.intake.lot import read_lot
from lotqa.intake.lotsheet import read_lot_toml
from lotqa.intake.pins import FIELDS, read_pin_checks
from lotqa.intake.refusal import Refused
from lotqa.intake.roles import TEXT_SUFFIXES, role_of
from lotqa.intake.study import content_of, grid_of
from lotqa.model import LotSheet, PinCheck, Problem


@dataclass(frozen=True, slots=True)
class PinFile:
    """Pin checks with the lot sheet beside them; ``rows_read`` are used or reported, each."""

    checks: tuple[PinCheck, ...]
    problems: tuple[Problem, ...]
    sheet: LotSheet
    rows_read: int


def read_pin_file(path: Path) -> PinFile:
    """Read a file of pin checks or the folder it lies in.

    :raises UnusableInput: there are none, or none can be used; the problems are attached.
    """
    found = _of_folder(path) if path.is_dir() else _of_file(path, LotSheet(), [])
    if not found.checks:
        raise UnusableInput(
            f"{path}: no pin reading can be used: write instrument, when (before or after), "
            "reference_mm and reading_mm into pin_checks.csv",
            found.problems,
        )
    return found


def _of_folder(path: Path) -> PinFile:
    names = sorted(entry.name for entry in path.iterdir() if entry.is_file())
    pins = [n for n in names if role_of(n) == "pin_checks" and n.endswith(TEXT_SUFFIXES)]
    if not pins:  # a workbook may hold them
        lot = read_lot(path)
        own = tuple(p for p in lot.problems if "pin_checks" in p.file)
        return PinFile(lot.pin_checks, own, lot.sheet, len(lot.pin_checks))
    sheet, problems = LotSheet(), list[Problem]()
    if "lot.toml" in names:
        try:
            sheet, problems = read_lot_toml("lot.toml", content_of(path / "lot.toml"))
        except Refused as refusal:
            problems = [refusal.as_problem()]
    return _of_file(path / pins[0], sheet, problems)


def _of_file(path: Path, sheet: LotSheet, problems: list[Problem]) -> PinFile:
    grid, notes = grid_of(path.name, content_of(path), FIELDS)
    checks, found, n_rows = read_pin_checks(grid)
    return PinFile(tuple(checks), (*problems, *notes, *found), sheet, n_rows)
