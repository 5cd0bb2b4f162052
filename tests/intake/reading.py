"""Short ways to read a lot from text, and to show its problems as a person sees them."""

from lotqa.intake import ReadOptions, read_sources
from lotqa.model import LotInput

HEADER = "spool,position_m,direction_deg,diameter_mm\n"


def lot_of(
    readings: str | bytes,
    name: str = "readings.csv",
    options: ReadOptions | None = None,
    **others: str | bytes,
) -> LotInput:
    """A lot of one readings file and others by keyword: weighings, findings, pin_checks, sheet."""
    names = {"sheet": "lot.toml"}
    pairs = [(name, readings)]
    pairs += [(names.get(key, f"{key}.csv"), content) for key, content in others.items()]
    sources = [(n, c.encode() if isinstance(c, str) else c) for n, c in pairs]
    return read_sources(sources, options or ReadOptions())


def told(lot: LotInput) -> list[str]:
    """Problems as lines 'file:line: message', a row that fell out marked by an x."""
    return [
        f"{p.file}{'' if p.line is None else f':{p.line}'}: {p.message}"
        + ("" if p.row_used else " [x]")
        for p in lot.problems
    ]


def assert_rows_add_up(lot: LotInput) -> None:
    """Rows read = used + reported, and each row that is not used has a problem of its own."""
    for file in lot.files:
        assert file.rows_read == file.rows_used + file.rows_reported
        fallen = [p for p in lot.problems if not p.row_used and p.file == file.name]
        lost = {p.line for p in fallen if not p.message.endswith("the file is left out")}
        assert len(lost) == file.rows_reported, (file, told(lot))
