"""Which table of which source plays which role in a lot."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from lotqa.intake import roles
from lotqa.intake.refusal import Refused
from lotqa.intake.workbook import open_workbook
from lotqa.model import Problem


@dataclass(frozen=True, slots=True)
class Part:
    """One table of one file."""

    role: str
    name: str  # of the file
    label: str  # of the table in messages: the file, and the sheet if there are several
    content: bytes
    rows: list[tuple[Any, ...]] | None = None  # of a workbook's sheet


def assign(sources: Sequence[tuple[str, bytes]], problems: list[Problem]) -> dict[str, Part]:
    """One part a role; text goes before workbook, and what is left out is reported."""
    parts: dict[str, Part] = {}
    names = [name for name, _ in sources]
    for name, content in sorted(sources, key=lambda source: roles.preference(source[0])):
        role = roles.role_of(name)
        suffix = PurePath(name).suffix.casefold()
        if role is None and len(sources) == 1:
            role = "readings"
            if suffix in roles.FOREIGN:
                raise Refused(name, None, "this kind of file is not read: save it as .xlsx or CSV")
        if role is None:
            near = roles.near_role(name)
            if near is not None:
                problems.append(roles.near_name_problem(name, near, names))
            continue
        if suffix != roles.WORKBOOK:
            found = [Part(role, name, name, content)]
        else:
            try:
                found = _workbook_parts(role, name, content, problems)
            except Refused as refusal:
                if (role == "readings" and role not in parts) or len(sources) == 1:
                    raise
                problems.append(refusal.as_problem())
                continue
        for part in found:
            if part.role not in parts:
                parts[part.role] = part
            else:
                message = f"left out, since {parts[part.role].label} is there: keep one of the two"
                problems.append(Problem(part.label, None, None, None, message))
    return parts


def _workbook_parts(role: str, name: str, content: bytes, problems: list[Problem]) -> list[Part]:
    sheets = open_workbook(name, content)
    known = {title: roles.sheet_role(title) for title in sheets}
    parts = [
        Part(part_role, name, f"{name}[{title}]", content, sheets[title])
        for title, part_role in known.items()
        if part_role is not None
    ]
    if parts:
        for title, part_role in known.items():
            near = roles.near_role(f"{title}.xlsx") if part_role is None else None
            if near is not None:
                message = f"left out: did you mean {near}? Rename it"
                problems.append(Problem(f"{name}[{title}]", None, None, None, message))
        return parts
    filled = [rows for rows in sheets.values() if any(any(v is not None for v in r) for r in rows)]
    if not filled:
        raise Refused(name, None, "the workbook is empty: write a header line and rows")
    return [Part("readings" if role == "lot" else role, name, name, content, filled[0])]
