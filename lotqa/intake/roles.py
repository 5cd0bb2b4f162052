"""Which file of a lot holds what, told by its name alone."""

from collections.abc import Iterable
from pathlib import PurePath

from lotqa.intake.names import did_you_mean, plain
from lotqa.model import Problem

TABLES = ("readings", "weighings", "findings", "pin_checks", "mass_checks", "coupon_walls")
TEXT_SUFFIXES = (".csv", ".tsv", ".txt")  # the first that is there is used
WORKBOOK = ".xlsx"
SUFFIXES = (*TEXT_SUFFIXES, WORKBOOK)
FOREIGN = (".xls", ".ods", ".numbers")
LOT_SHEET = "lot"
_BEGINNINGS = {
    "reading": "readings",
    "weigh": "weighings",
    "finding": "findings",
    "pin": "pin_checks",
    "mass": "mass_checks",
    "coupon": "coupon_walls",
    "wall": "coupon_walls",
    "lot": LOT_SHEET,
}


def role_of(name: str) -> str | None:
    """'lot' or the name of a table; None for any other file."""
    path = PurePath(name)
    stem, suffix = path.stem.casefold(), path.suffix.casefold()
    if stem == LOT_SHEET and suffix in (".toml", WORKBOOK):
        return LOT_SHEET
    return stem if stem in TABLES and suffix in SUFFIXES else None


def sheet_role(title: str) -> str | None:
    """The role of a workbook's sheet; 'instruments' belongs to the lot sheet."""
    key = plain(title)
    if key in ("instrument", "instruments"):
        return "instruments"
    return key if key in (LOT_SHEET, *TABLES) else None


def near_role(name: str) -> str | None:
    """The role that a file's name comes near to, so that a slip in the name is told."""
    path = PurePath(name)
    suffix, key = path.suffix.casefold(), plain(path.stem)
    if name.startswith((".", "~$")) or role_of(name) is not None:
        return None
    if suffix == ".toml":
        return LOT_SHEET if key.startswith(LOT_SHEET) else None
    if suffix not in (*SUFFIXES, *FOREIGN):
        return None
    for beginning, role in _BEGINNINGS.items():
        if key.startswith(beginning) and role != LOT_SHEET:
            return role
    return did_you_mean(key, TABLES)


def near_name_problem(name: str, role: str, used: Iterable[str]) -> Problem:
    """The report of a file that is left out for its name."""
    there = next((other for other in used if role_of(other) == role), None)
    if there is not None:
        advice = f"{there} is used: add the rows of this file to it if they belong to the lot"
        if role == LOT_SHEET:
            advice = f"{there} is used"
    else:
        right = "lot.toml" if role == LOT_SHEET else f"{role}.csv"
        advice = f"did you mean {right}? Rename it"
    return Problem(name, None, None, None, f"left out: {advice}")


def preference(name: str) -> int:
    """Text before workbook; lower comes first."""
    suffix = PurePath(name).suffix.casefold()
    order = (".toml", *SUFFIXES)
    return order.index(suffix) if suffix in order else len(order)
