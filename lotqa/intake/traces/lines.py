"""One line of a log that is not a clean row: what it holds, or why it cannot be used."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.traces.blocks import LINE_BYTES
from lotqa.intake.traces.head import FIRMWARE, Form, cells_of
from lotqa.intake.traces.options import DIAMETER_UNITS, LENGTH_UNITS, TIME_UNITS, TraceOptions
from lotqa.intake.traces.problems import Told, told

Meaning = Literal["blank", "row", "bad", "text"]  # text moves no filament, a bad row does
SHOWN = 40  # characters of a line that a message quotes


@dataclass(frozen=True, slots=True)
class Judged:
    """A line as it was understood."""

    meaning: Meaning
    values: tuple[float, ...] = ()  # length in m (if there is a column), then diameters in mm
    kind: str = ""
    column: str | None = None
    say: Told | None = None


def text_of(line: bytes) -> str:
    """A line as text; what is no UTF-8 is shown by a replacement sign."""
    return line.decode("utf-8", "replace")


def quoted(text: str) -> str:
    """The beginning of a text, in quotes, without control characters."""
    shown = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text.strip())
    return f'"{shown[:SHOWN]}…"' if len(shown) > SHOWN else f'"{shown}"'


class LineReader:
    """Reads the lines that are not clean rows."""

    def __init__(self, form: Form, options: TraceOptions) -> None:
        self._form = form
        self._units: list[Mapping[str, float]] = []
        self._factors: list[float] = []
        columns = form.columns
        if columns.along is not None:
            units: Mapping[str, float] = LENGTH_UNITS
            scale = options.length_scale
            if columns.is_time:
                units, scale = TIME_UNITS, scale * (options.speed_mm_s or 0.0) / 1000.0
            self._units.append({unit: factor * scale for unit, factor in units.items()})
            self._factors.append(columns.along_factor)
        for factor in columns.diameter_factors:
            self._units.append(DIAMETER_UNITS)
            self._factors.append(factor)

    def last_cell(self, line: bytes) -> str:
        """The end of a line as typed, to see whether it was cut."""
        if self._form.is_firmware:
            found = FIRMWARE.search(line)
            return text_of(found["value"]) if found else ""
        cells = cells_of(text_of(line), self._form.separator)
        return cells[-1].strip() if len(cells) == self._form.n_cells else ""

    def judge(self, line: bytes) -> Judged:
        """What a line holds."""
        if not line or line.isspace():
            return Judged("blank")
        if len(line) > LINE_BYTES:
            say = Told(
                quoted(text_of(line[:200])),
                f"a line of more than {LINE_BYTES // (1 << 20)} MiB, left out: is this a log?",
                (
                    "",
                    f" lines of more than {LINE_BYTES // (1 << 20)} MiB, left out: is this a log?",
                ),
            )
            return Judged("text", kind="long", say=say)
        if b"\0" in line:
            return Judged("text", kind="nul", say=_NUL)
        text = text_of(line)
        if self._form.header and text.strip() == self._form.header:
            return Judged("text", kind="header", say=_HEADER)
        return self._row(text, cells_of(text, self._form.separator))

    def reading(self, value: bytes) -> Judged:
        """The diameter that a printer wrote behind its words."""
        typed = text_of(value).strip()
        found = read_number(typed, example="", units=DIAMETER_UNITS, default=self._factors[0])
        if isinstance(found, Unreadable):
            return self._unreadable(0, typed)
        return Judged("row", values=(found,))

    def _row(self, text: str, cells: list[str]) -> Judged:
        form, used = self._form, self._form.columns.used
        if not any(cell.strip() for cell in cells):
            return Judged("blank")
        typed = [cells[i].strip() if i < len(cells) else "" for i in used]
        found = [
            read_number(cell, example="", units=units, default=factor)
            if cell[:1] in _BEGINS_NUMBER
            else _NO_NUMBER
            for cell, units, factor in zip(typed, self._units, self._factors, strict=True)
        ]
        numbers = [value for value in found if not isinstance(value, Unreadable)]
        if not numbers and not self._is_row(cells):
            return Judged("text", kind="text", say=_passed_over(text))
        n_filled = max(i + 1 for i, cell in enumerate(cells) if cell.strip())
        if n_filled > form.n_cells or len(cells) <= max(used):
            n = n_filled if n_filled > form.n_cells else len(cells)
            say = told(
                text.strip()[:SHOWN],
                f"the row has {n} cells and not {form.n_cells}: it is left out",
            )
            return Judged("bad", kind="cells", say=say)
        if len(numbers) == len(found):
            return Judged("row", values=tuple(numbers))
        which = next(k for k, value in enumerate(found) if isinstance(value, Unreadable))
        return self._unreadable(used[which], typed[which])

    def _is_row(self, cells: list[str]) -> bool:
        """Whether a line without a usable number still has the form of a row."""
        return len(cells) == self._form.n_cells and any(
            _says_nothing(cell)
            or (
                cell.strip()[:1] in _BEGINS_NUMBER
                and not isinstance(read_number(cell, example=""), Unreadable)
            )
            for cell in cells
        )

    def _unreadable(self, column: int, typed: str) -> Judged:
        name = self._form.columns.names[column]
        is_along = column == self._form.columns.along
        example = "12.5" if is_along else "1.75"
        if not typed:
            say = told(None, f"{name} is empty: the row is left out")
            return Judged("bad", kind="empty", column=name, say=say)
        if _says_nothing(typed):
            message = f'{name} is "{typed}", no reading: the row is left out'
            return Judged("bad", kind="nothing", column=name, say=told(typed, message))
        advice = read_number(typed, example=example, units=self._units[0 if is_along else -1])
        what = (
            advice.advice if isinstance(advice, Unreadable) else f"write a number such as {example}"
        )
        message = f"{name} is {quoted(typed)}: {what}"
        return Judged("bad", kind="unreadable", column=name, say=told(typed, message))


_BEGINS_NUMBER = frozenset("0123456789+-.,")
_NO_NUMBER = Unreadable("")
_NOTHING = frozenset({"nan", "inf", "infinity", "na", "n/a", "null", "none", "nil", "-", "err"})
_NUL = Told(
    None,
    "the line holds NUL bytes, as a power cut leaves them: it is left out",
    ("", " lines hold NUL bytes, as a power cut leaves them: they are left out"),
)
_HEADER = Told(
    None,
    "the header stands here again: it is passed over",
    ("", " lines of header stand here again: they are passed over"),
)


def _says_nothing(cell: str) -> bool:
    """Whether a recorder wrote that it has no value."""
    text = cell.strip().casefold()
    return text in _NOTHING or text.strip("+-") in _NOTHING


def _passed_over(text: str) -> Told:
    shown = quoted(text)
    return Told(
        text.strip()[:SHOWN],
        f"a line of text, {shown}: it is passed over",
        ("", f" lines of text, the first {shown}: they are passed over"),
    )
