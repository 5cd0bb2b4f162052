"""From a lot folder, a readings file or a workbook to everything known about the lot.

``read_lot`` touches files and gathers bytes; ``read_sources`` is the same without a file, and gives
the same result for what a ledger has kept.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from hashlib import sha256
from pathlib import Path, PurePath
from typing import Any, Literal

from lotqa.errors import UnusableInput
from lotqa.findings import Catalogue
from lotqa.intake import bulk, roles
from lotqa.intake.coupon_check import coupon_check
from lotqa.intake.coupon_walls import FIELDS as WALL_FIELDS
from lotqa.intake.coupon_walls import read_coupon_walls
from lotqa.intake.crosscheck import cross_check
from lotqa.intake.findings import FIELDS as FINDING_FIELDS
from lotqa.intake.findings import read_findings
from lotqa.intake.layout import FIELDS as READING_FIELDS
from lotqa.intake.lot_codes import checked_column, other_sheets
from lotqa.intake.lotsheet import read_lot_rows, read_lot_toml
from lotqa.intake.mass_checks import FIELDS as MASS_FIELDS
from lotqa.intake.mass_checks import read_mass_checks
from lotqa.intake.names import Field, did_you_mean
from lotqa.intake.parts import Part, assign
from lotqa.intake.pins import FIELDS as PIN_FIELDS
from lotqa.intake.pins import read_pin_checks
from lotqa.intake.readings import ReadingsTable, read_readings
from lotqa.intake.refusal import Refused
from lotqa.intake.spool_logs import near_names, no_readings, spool_logs, spool_of, stray
from lotqa.intake.table import Grid, TextGrid, find_separator
from lotqa.intake.text import decode
from lotqa.intake.weighings import FIELDS as WEIGHING_FIELDS
from lotqa.intake.weighings import read_weighings
from lotqa.intake.workbook import cell_text, sheet_grid
from lotqa.model import LotInput, LotSheet, Problem, SourceFile, SpoolTrace

FIELDS: dict[str, Sequence[Field]] = {
    "readings": READING_FIELDS,
    "weighings": WEIGHING_FIELDS,
    "findings": FINDING_FIELDS,
    "pin_checks": PIN_FIELDS,
    "mass_checks": MASS_FIELDS,
    "coupon_walls": WALL_FIELDS,
}
READERS: dict[str, Callable[[Grid], tuple[list[Any], list[Problem], int]]] = {
    "weighings": read_weighings,
    "findings": read_findings,
    "pin_checks": read_pin_checks,
    "mass_checks": read_mass_checks,
    "coupon_walls": read_coupon_walls,
}


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the files cannot say.  ``unit`` is that of a reading typed without one."""

    unit: Literal["mm", "in"] | None = None  # None: mm, unless the header says _in
    nominal_mm: float | None = None  # overrides the lot sheet
    catalogue: Catalogue | None = None  # of findings; None: the shipped one


DEFAULT = ReadOptions()


@dataclass(slots=True)
class Account:
    """Rows read and used of each file."""

    read: dict[str, int] = field(default_factory=dict)
    used: dict[str, int] = field(default_factory=dict)

    def add(self, name: str, n_read: int, n_used: int) -> None:
        self.read[name] = self.read.get(name, 0) + n_read
        self.used[name] = self.used.get(name, 0) + n_used


def read_lot(path: Path, options: ReadOptions = DEFAULT) -> LotInput:
    """Read a lot folder, one readings file, or a workbook with a sheet for each table.

    :raises UnusableInput: nothing can be computed from what is there; the message says why.
    """
    path = Path(path)
    if not path.exists():
        raise UnusableInput(f"{path}: there is no such file or folder{_near_path(path)}")
    if not path.is_dir():
        if spool_of(path.name):
            return read_sources([], options, logs={path.name: path})
        return read_sources([(path.name, _content(path))], options)
    try:
        names = sorted(entry.name for entry in path.iterdir() if entry.is_file())
    except OSError as error:
        raise UnusableInput(
            f"{path}: the folder cannot be read ({_reason(error)}): check its permissions"
        ) from None
    logs = {name: path / name for name in names if not name.startswith((".", "~$"))}
    chosen = [name for name in names if roles.role_of(name) or roles.near_role(name)]
    if not any(roles.role_of(name) or spool_of(name) for name in names):
        raise UnusableInput(_no_readings(str(path), names))
    sources = [(name, _content(path / name)) for name in chosen if not spool_of(name)]
    try:
        lot = read_sources(sources, options, logs=logs)
    except NoReadings as refusal:
        raise UnusableInput(_no_readings(str(path), names), refusal.problems) from None
    if not len(lot.readings) and not lot.traces and _other_tables(names):
        raise UnusableInput(_no_readings(str(path), names), lot.problems)
    return lot


class NoReadings(UnusableInput):
    """No source is a readings table."""


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UnusableInput(
            f"{path}: the file cannot be read ({_reason(error)}): check its permissions"
        ) from None


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _near_path(path: Path) -> str:
    try:
        names = [entry.name for entry in path.parent.iterdir()] if path.parent.is_dir() else []
    except OSError:
        names = []
    near = did_you_mean(path.name, names)
    return f": did you mean {near}?" if near else ": give a lot folder or a readings file"


def _other_tables(names: Sequence[str]) -> list[str]:
    """Tables that a folder holds and that nothing is read from."""
    tables = [
        n for n in names if PurePath(n).suffix.casefold() in (*roles.SUFFIXES, *roles.FOREIGN)
    ]
    return [n for n in tables if roles.role_of(n) is None and not n.startswith((".", "~$"))]


def _no_readings(where: str, names: Sequence[str]) -> str:
    tables = _other_tables(names)
    if not names:
        return f"{where}: the folder is empty: put the diameters into readings.csv"
    if len(tables) == 1:
        suffix = PurePath(tables[0]).suffix.casefold()
        right = f"readings{suffix}" if suffix in roles.SUFFIXES else "readings.xlsx"
        verb = "rename it to" if suffix in roles.SUFFIXES else "save it as"
        return f"{where}: there is no readings.csv, but {tables[0]}: {verb} {right}"
    return f"{where}: there is no readings.csv: put the diameters into it"


def read_sources(
    sources: Sequence[tuple[str, bytes]],
    options: ReadOptions = DEFAULT,
    *,
    logs: Mapping[str, Path] | None = None,
) -> LotInput:
    """Read a lot from pairs of file name and content; touches no file but in-line logs.

    ``logs`` are files beside the sources that may be in-line logs, by name; their rows are read
    when the lot is judged.  One among the sources is held as it is.

    :raises UnusableInput: nothing can be computed from the sources; the message says why.
    """
    problems: list[Problem] = []
    files: dict[str, Path | bytes] = {**(logs or {}), **dict(sources)}
    sources = [(name, content) for name, content in sources if not spool_of(name)]
    parts = assign(sources, problems)
    sheet = _sheet(parts, problems)
    if options.nominal_mm is not None:
        sheet = replace(sheet, label=replace(sheet.label, nominal_mm=options.nominal_mm))
    traces, log_sources = _logs(files, parts, sheet, problems)
    account = Account()
    readings = no_readings()
    if "readings" in parts:
        try:
            table = _readings(parts["readings"], options, sheet, problems)
        except UnusableInput as refusal:
            found = [p for p in refusal.problems if isinstance(p, Problem)]
            refusal.problems = (*problems, *found)
            raise
        readings = table.readings
        problems += table.problems
        if table.lots is not None:
            sheet, odd = checked_column(parts["readings"].label, table.lots, sheet)
            problems += odd
        account.add(parts["readings"].name, table.rows_read, table.rows_used)
    rest: dict[str, list[Any]] = {role: [] for role in READERS}
    readers = READERS | {"findings": partial(read_findings, catalogue=options.catalogue)}
    for role, reader in readers.items():
        if role in parts:
            rest[role] = _side_table(parts[role], reader, account, problems)
    if "readings" not in parts and not traces and not _is_weighed(parts, rest):
        said = next((p for p in problems if spool_of(p.file)), None)
        if said is not None:
            raise UnusableInput(f"{said.file}: {said.message}", tuple(problems))
        names = [name for name, _ in sources]
        where = names[0] if len(names) == 1 else "the lot"
        if len(names) == 1 and roles.role_of(names[0]):
            raise NoReadings(
                f"{where}: this file holds no readings: give the folder that it lies in, or a "
                "readings file"
            )
        raise NoReadings(_no_readings(where, names), tuple(problems))
    crossed = cross_check(
        sheet,
        readings,
        rest["weighings"],
        rest["findings"],
        [*rest["pin_checks"], *rest["mass_checks"]],
        rest["coupon_walls"],
    )
    logged = {trace.spool for trace in traces}
    # A spool that has a log has a diameter without a row of readings.
    problems += [
        p
        for p in crossed
        if p.column != "spool"
        or p.file == readings.file
        or (p.value not in logged and (len(readings) or traces))  # of an unmeasured lot none has
    ]
    problems += near_names(traces, readings.spools)
    sheet_file = parts["lot"].label if "lot" in parts else "lot.toml"
    problems = other_sheets(sources, sheet_file, sheet, problems)
    problems += coupon_check(sheet, sheet_file, rest["weighings"], rest["coupon_walls"])
    order = {name: number for number, (name, _) in enumerate(sources)}
    order |= {part.label: order[part.name] for part in parts.values()}
    problems.sort(key=lambda p: (order.get(p.file, len(order)), p.file, p.line or 0))
    return LotInput(
        sheet=sheet,
        readings=readings,
        weigh_ins=tuple(rest["weighings"]),
        findings=tuple(rest["findings"]),
        pin_checks=tuple(rest["pin_checks"]),
        mass_checks=tuple(rest["mass_checks"]),
        wall_readings=tuple(rest["coupon_walls"]),
        problems=tuple(problems),
        files=(*(_source(name, content, account) for name, content in sources), *log_sources),
        traces=tuple(traces),
    )


def _is_weighed(parts: Mapping[str, Part], rest: Mapping[str, Sequence[Any]]) -> bool:
    """A lot that was weighed or looked at and not measured, as on skip-lot; its sheet is there."""
    return "lot" in parts and bool(rest["weighings"] or rest["findings"])


def _logs(
    files: Mapping[str, Path | bytes],
    parts: Mapping[str, Part],
    sheet: LotSheet,
    problems: list[Problem],
) -> tuple[list[SpoolTrace], list[SourceFile]]:
    """The in-line logs of a lot; what was said of the name of a file named as a log is unsaid."""
    named = {entry.file for entry in sheet.logs}
    taken = {part.name: role for role, part in parts.items()}
    problems[:] = [p for p in problems if p.file not in named or p.file in taken]
    problems += [p for p in map(stray, files) if p is not None and p.file not in named]
    sheet_file = parts["lot"].label if "lot" in parts else "lot.toml"
    return spool_logs(
        files,
        sheet.logs,
        taken,
        sheet_file=sheet_file,
        nominal_mm=sheet.label.nominal_mm,
        problems=problems,
    )


def _source(name: str, content: bytes, account: Account) -> SourceFile:
    n_read, n_used = account.read.get(name, 0), account.used.get(name, 0)
    return SourceFile(
        name=name,
        content=content,
        sha256=sha256(content).hexdigest(),
        rows_read=n_read,
        rows_used=n_used,
        rows_reported=n_read - n_used,
    )


def _grid(part: Part, problems: list[Problem]) -> Grid:
    """The table of a part as a grid; large text stays bytes."""
    if part.rows is not None:
        return sheet_grid(part.name, part.label, part.rows)
    text, notes = decode(part.label, part.content)
    problems += notes
    fields = FIELDS[part.role]
    if len(part.content) > bulk.BULK_BYTES and part.role == "readings":
        separator = find_separator(text[:100_000].split("\n"), fields)
        # A byte order mark is not ASCII, and a guessed encoding leaves a note.
        as_it_is = not notes and b"\r" not in part.content and part.content[:1].isascii()
        data = part.content if as_it_is else text.encode()
        return bulk.BulkGrid(part.label, data, separator)
    lines = text.split("\n")
    return TextGrid(part.label, lines, find_separator(lines, fields))


def _sheet(parts: dict[str, Part], problems: list[Problem]) -> LotSheet:
    part, instruments = parts.get("lot"), parts.get("instruments")
    try:
        if part is not None and part.rows is None:
            sheet, found = read_lot_toml(part.name, part.content)
        elif part is not None or instruments is not None:
            rows = list(enumerate(part.rows or [], start=1)) if part is not None else []
            label = (part or instruments).label  # type: ignore[union-attr]
            sheet, found = read_lot_rows(label, rows, _instrument_rows(instruments))
        else:
            return LotSheet()
    except Refused as refusal:
        problems.append(replace(refusal.as_problem(), row_used=True))
        return LotSheet()
    problems += found
    return sheet


def _instrument_rows(part: Part | None) -> list[tuple[int, dict[str, Any]]]:
    if part is None or not part.rows:
        return []
    header = [cell_text(cell).strip().casefold() for cell in part.rows[0]]
    return [
        (line, {key: cell for key, cell in zip(header, row, strict=False) if key})
        for line, row in enumerate(part.rows[1:], start=2)
        if any(cell not in (None, "") for cell in row)
    ]


def _readings(
    part: Part, options: ReadOptions, sheet: LotSheet, problems: list[Problem]
) -> ReadingsTable:
    grid = _grid(part, problems)
    nominal_mm = sheet.label.nominal_mm
    return read_readings(grid, part.name, unit=options.unit, nominal_mm=nominal_mm)


def _side_table(
    part: Part,
    reader: Callable[[Grid], tuple[list[Any], list[Problem], int]],
    account: Account,
    problems: list[Problem],
) -> list[Any]:
    """Any table but the readings; a lot can do without them, so refusal is a problem."""
    try:
        items, found, n_read = reader(_grid(part, problems))
    except Refused as refusal:
        problems += [p for p in refusal.problems if isinstance(p, Problem)]
        problems.append(refusal.as_problem())
        return []
    problems += found
    account.add(part.name, n_read, len(items))
    return items
