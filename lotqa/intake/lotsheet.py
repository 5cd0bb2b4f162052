"""The lot sheet: who sold what, what the label promises, what it is measured with.

``lot.toml`` is TOML 1.0 [1]_; dates are ISO 8601 calendar dates [2]_.  An entry that cannot be used
is reported with its line and left as not known; the rest of the sheet stands.

.. [1] TOML v1.0.0 (2021-01-12).
.. [2] ISO 8601-1:2019, 5.2.2.1, calendar date.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from lotqa.intake.names import did_you_mean, one_of
from lotqa.intake.sheetfields import INSTRUMENT_FIELDS, SECTIONS, Entry, SheetValues
from lotqa.intake.text import decode
from lotqa.model import (
    CouponSettings,
    Instrument,
    Label,
    LogEntry,
    LotSheet,
    PrintSettings,
    Problem,
    Reel,
)

_HEADING = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"\s*(?:\"([^\"]+)\"|'([^']+)'|([A-Za-z0-9_.-]+))\s*=")
_BARE_DATE = re.compile(r"(?m)^(\s*[\w.\"'-]+\s*=\s*)(\d{4}-\d{2}-\d{2})(?=\s*(?:#.*)?$)")


def read_lot_toml(name: str, content: bytes) -> tuple[LotSheet, list[Problem]]:
    """The lot sheet of a TOML file; a file that is no TOML is one problem and an empty sheet.

    :raises Refused: the file is empty or not text.
    """
    text, notes = decode(name, content)
    problems = list(notes)
    try:
        tree = tomllib.loads(_BARE_DATE.sub(_quote_impossible, text))
    except tomllib.TOMLDecodeError as error:
        problems.append(_syntax_problem(name, text, str(error)))
        return LotSheet(), problems
    entries = list(_entries(tree, _key_lines(text)))
    sheet, found = build_sheet(name, entries)
    return sheet, sorted([*problems, *found], key=lambda p: p.line or 0)


def read_lot_rows(
    name: str, rows: Sequence[tuple[int, Sequence[Any]]], instruments: Sequence[tuple[int, Any]]
) -> tuple[LotSheet, list[Problem]]:
    """The lot sheet of a workbook: rows of key and value, and a table of instruments.

    A key is ``lot.supplier`` or, where only one section has it, ``supplier``.  ``instruments``
    holds a line and a mapping of key to value for each instrument.
    """
    entries: list[Entry] = []
    for line, cells in rows:
        key = str(cells[0] or "").strip()
        value = cells[1] if len(cells) > 1 else None
        if not key or key.casefold() in ("key", "field", "name") or value in (None, ""):
            continue
        section, dot, rest = key.rpartition(".")
        if not dot:
            owners = [s for s, fields in SECTIONS.items() if key in fields and s != "instrument"]
            section, rest = (owners[0] if owners else ""), key
        entries.append(Entry(section, 0, rest, value, line, in_cell=True))
    for number, (line, cells) in enumerate(instruments):
        for key, value in cells.items():
            if value not in (None, ""):
                entries.append(Entry("instrument", number, str(key), value, line, in_cell=True))
    return build_sheet(name, entries)


def _quote_impossible(match: re.Match[str]) -> str:
    """Put a date that does not exist into quotes, so that it costs one entry, not the sheet."""
    try:
        date.fromisoformat(match[2])
    except ValueError:
        return f'{match[1]}"{match[2]}"'
    return match[0]


def _syntax_problem(name: str, text: str, error: str) -> Problem:
    found = re.search(r"\(at line (\d+)", error)
    lines = text.split("\n")
    line = int(found[1]) if found else len(lines)
    typed = lines[min(line, len(lines)) - 1].strip()
    if re.search(r"=\s*[0-9]+,[0-9]+", typed):
        advice = "write decimals with a point"
    elif re.search(r"=\s*[^\"'\[{\d\s+-]", typed):
        advice = 'put text in quotes, such as supplier = "Kranich Filament"'
    else:
        advice = 'write one key = value a line, text in quotes, such as colour = "grey"'
    message = f'"{typed}" is not TOML, the lot sheet is left out: {advice}'
    return Problem(name, line, None, typed or None, message)


def _key_lines(text: str) -> Mapping[tuple[str, int, str], int]:
    """Line of each key by section and number of the section; a light scan will do for messages."""
    lines: dict[tuple[str, int, str], int] = {}
    section, number = "", 0
    count: dict[str, int] = {}
    for index, line in enumerate(text.split("\n"), start=1):
        heading, key = _HEADING.match(line), _KEY.match(line)
        if heading:
            section = heading[2]
            number = count.get(section, 0)
            count[section] = number + 1
            lines.setdefault((section, number, ""), index)
        elif key:
            lines.setdefault((section, number, key[1] or key[2] or key[3]), index)
    return lines


def _entries(tree: Mapping[str, Any], lines: Mapping[tuple[str, int, str], int]) -> Iterator[Entry]:
    for section, content in tree.items():
        tables = content if isinstance(content, list) else [content]
        if not tables or not all(isinstance(table, dict) for table in tables):
            line = lines.get(("", 0, section))
            yield Entry("", 0, section, content, line)
            continue
        for number, table in enumerate(tables):
            heading = lines.get((section, number, ""))
            if section not in SECTIONS:
                yield Entry(section, number, "", None, heading)
                continue
            for key, value in table.items():
                line = lines.get((section, number, key)) or lines.get(
                    ("", 0, f"{section}.{key}"), heading
                )
                yield Entry(section, number, key, value, line)


def build_sheet(name: str, entries: Sequence[Entry]) -> tuple[LotSheet, list[Problem]]:
    """The sheet from its entries; what is unknown or cannot be used is reported."""
    problems: list[Problem] = []
    values: dict[tuple[str, int], SheetValues] = {}
    for entry in entries:
        known = SECTIONS.get(entry.section)
        if known is None or entry.key not in known:
            problems.append(_unknown(name, entry))
            continue
        group = values.setdefault((entry.section, entry.number), SheetValues(name))
        group.take(known[entry.key], entry)
    empty = SheetValues(name)
    lot = values.get(("lot", 0), empty)
    label = values.get(("label", 0), empty)
    settings = values.get(("print", 0), empty)
    reel = values.get(("reel", 0), empty)
    label.check_tolerance()
    lot.check_dates()
    instruments, logs = [], []
    for (section, _), group in values.items():
        if section == "instrument":
            fields: dict[str, Any] = {key: group.value.get(key) for key in INSTRUMENT_FIELDS}
            fields["kind"] = (fields["kind"] or "").casefold()
            fields["name"] = fields["name"] or fields["kind"]
            instruments.append(Instrument(**fields))
        if section == "trace":
            line = min((e.line for e in group.entries.values() if e.line), default=None)
            logs.append(LogEntry(**group.value, line=line))
        problems += group.problems
    sheet = LotSheet(
        **lot.value,
        label=Label(**label.value),
        instruments=tuple(instruments),
        print_settings=PrintSettings(**settings.value),
        reel=Reel(**reel.value),
        coupon=CouponSettings(**values.get(("coupon", 0), empty).value),
        logs=tuple(logs),
    )
    return sheet, problems


def _unknown(name: str, entry: Entry) -> Problem:
    if entry.section and entry.section not in SECTIONS:
        near = did_you_mean(entry.section, SECTIONS)
        advice = f"did you mean [{near}]?" if near else f"known are {one_of(list(SECTIONS))}"
        message = f"section [{entry.section}] is not known and is left out: {advice}"
        return Problem(name, entry.line, entry.section, None, message)
    owners = [section for section, fields in SECTIONS.items() if entry.key in fields]
    where = f" in [{entry.section}]" if entry.section else ""
    if owners:
        advice = f"it belongs under [{owners[0]}]"
    else:
        known = SECTIONS.get(entry.section) or {
            key: field for fields in SECTIONS.values() for key, field in fields.items()
        }
        near = did_you_mean(entry.key, known)
        advice = f"did you mean {near}?" if near else f"known are {', '.join(known)}"
    message = f"{entry.key}{where} is not known and is left out: {advice}"
    return Problem(name, entry.line, entry.key, str(entry.value), message)
