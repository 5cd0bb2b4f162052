"""The form of a log, from its first lines: separator, decimal mark, header, columns, or firmware.

A header is the line that names most known columns and has numbers under it.  A log without a header
is read if what its columns are is beyond doubt or the user says it; otherwise the user is asked.
"""

import dataclasses
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.refusal import Refused
from lotqa.intake.slips import STOCK_MM, is_near
from lotqa.intake.text import split_cells
from lotqa.intake.traces.columns import TraceColumns, find_columns, n_recognised
from lotqa.intake.traces.options import DIAMETER_UNITS, FIRMWARE_STEP_MM, TraceOptions

HEADER_WITHIN = 60  # lines: recorders write their name, date and settings above the header
LOOKED_AT = 400  # lines under it, to tell the decimal mark and columns without a header
SEPARATORS = ("\t", ";", ",", None)  # None: blanks, as many as there are
FIRMWARE = re.compile(
    rb"filament[ _](?:width|diameter|dia)[ \t]*[:=][ \t]*(?P<value>[^ \t,;]*)", re.IGNORECASE
)
_FIRMWARE_TEXT = re.compile(FIRMWARE.pattern.decode(), re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Form:
    """How the lines of a log are read."""

    columns: TraceColumns
    separator: str | None
    point: str  # the decimal mark
    header_line: int  # 0: no header
    header: str  # the line as it stands; "" without one
    n_cells: int  # of a row; more than the header's where lines end in a separator
    is_firmware: bool = False


def cells_of(line: str, separator: str | None) -> list[str]:
    """The cells of a line; blanks separate where there is no other separator."""
    return line.split() if separator is None else split_cells(line, separator)[0]


def find_form(file: str, lines: Sequence[str], options: TraceOptions) -> Form:
    """The form of a log from its first lines, as text.

    :raises Refused: nothing in it can be read, or a column must be named.
    """
    filled = [(i + 1, line) for i, line in enumerate(lines) if line.strip(" \t\0")]
    best: tuple[tuple[bool, int, int], int, str | None] | None = None
    for separator in SEPARATORS:
        for order, (_, line) in enumerate(filled[:HEADER_WITHIN]):
            if _FIRMWARE_TEXT.search(line):
                continue
            cells = cells_of(line, separator)
            n = n_recognised(cells, options)
            if not n:
                continue
            under = [cells_of(text, separator) for _, text in filled[order + 1 : order + 31]]
            is_table = any(_fits(row, len(cells)) for row in under)
            score = (is_table, n, sum(bool(c.strip()) for c in cells))
            if best is None or score > best[0]:
                best = (score, order, separator)
    if best is not None and (best[0][0] or not any(_FIRMWARE_TEXT.search(t) for _, t in filled)):
        return _with_header(file, filled, best[1], best[2], options)
    if any(_FIRMWARE_TEXT.search(text) for _, text in filled):
        return _firmware(options)
    return _without_header(file, filled, options)


def _fits(row: Sequence[str], n_cells: int) -> bool:
    """Whether a line under a header looks like a row of it."""
    n_filled = len([c for c in row if c.strip()])
    return bool(row) and abs(len(row) - n_cells) <= 1 and n_filled > 0 and any(map(_is_number, row))


def _is_number(text: str) -> bool:
    return not isinstance(read_number(text, example="", units=DIAMETER_UNITS), Unreadable)


def _with_header(
    file: str,
    filled: Sequence[tuple[int, str]],
    order: int,
    separator: str | None,
    options: TraceOptions,
) -> Form:
    number, line = filled[order]
    header = cells_of(line, separator)
    columns = find_columns(file, number, header, options)
    if not filled[order + 1 :]:
        raise Refused(file, number, "a header and no rows: give a log with rows under it")
    rows = [cells_of(text, separator) for _, text in filled[order + 1 : order + 1 + LOOKED_AT]]
    rows = [row for row in rows if _fits(row, len(header))]
    widest = max((len(row) for row in rows), default=len(header))
    ends_blank = all(not "".join(row[len(header) :]).strip() for row in rows)
    n_cells = widest if ends_blank and widest > len(header) else len(header)
    point = _decimal_mark(rows, columns.used, separator)
    return Form(columns, separator, point, number, line.strip(), n_cells)


def _decimal_mark(rows: Sequence[Sequence[str]], used: Sequence[int], separator: str | None) -> str:
    if separator == ",":
        return "."  # a comma inside quotes is read cell by cell
    text = "".join(row[i] for row in rows for i in used if i < len(row))
    return "," if text.count(",") > text.count(".") else "."


def _firmware(options: TraceOptions) -> Form:
    columns = TraceColumns(
        names=("Filament width",),
        along=None,
        along_factor=(options.step_mm or FIRMWARE_STEP_MM) / 1000.0 * options.length_scale,
        along_unit=None,
        is_time=False,
        diameters=(0,),
        diameter_factors=(DIAMETER_UNITS[options.unit or "mm"],),
        angles_deg=(options.axis_angles_deg or (None,))[:1],
        left_out=(),
    )
    return Form(columns, None, ".", 0, "", 1, is_firmware=True)


def _without_header(file: str, filled: Sequence[tuple[int, str]], options: TraceOptions) -> Form:
    """A log of bare numbers; raises Refused where it has none, or nobody can tell its columns."""
    separator, rows = _numbers_only(filled)
    if not rows:
        words = filled[0][1].strip()[:60] if filled else ""
        raise Refused(
            file,
            filled[0][0] if filled else None,
            f'no rows of numbers and no known column, the first line is "{words}": give a log with '
            "a length and a diameter, or name the columns by --length-column and --diameter-column",
        )
    first, n_cells = rows[0][0], len(rows[0][1])
    if first > filled[0][0] and any(cells_of(filled[0][1], separator)):
        before = [line for line in filled if line[0] < first]
        above = cells_of(before[-1][1], separator)
        if len(above) == n_cells and not any(map(_is_number, above)):
            find_columns(file, before[-1][0], above, options)  # refuses, and lists the columns
    names = [f"column {i + 1}" for i in range(n_cells)]
    columns = [[_value(row[i]) for _, row in rows if len(row) == n_cells] for i in range(n_cells)]
    given = _guess(file, columns, options)
    found = find_columns(file, None, names, given)
    point = _decimal_mark([row for _, row in rows], range(n_cells), separator)
    return Form(found, separator, point, 0, "", n_cells)


def _numbers_only(
    filled: Sequence[tuple[int, str]],
) -> tuple[str | None, list[tuple[int, list[str]]]]:
    """The separator under which most lines hold nothing but numbers, and those lines."""
    best: tuple[int, int] = (0, 0)
    found: tuple[str | None, list[tuple[int, list[str]]]] = (None, [])
    for separator in SEPARATORS:
        split = [(n, cells_of(line, separator)) for n, line in filled[:LOOKED_AT]]
        rows = [(n, cells) for n, cells in split if cells and all(map(_is_number, cells))]
        counts: dict[int, int] = {}
        for _, cells in rows:
            counts[len(cells)] = counts.get(len(cells), 0) + 1
        width = max(counts, key=lambda w: (counts[w], w), default=0)
        # A decimal comma splits every number in two: whole lines that are numbers go first.
        score = (counts.get(width, 0), width if separator != "," else -width)
        if score > best:
            best, found = score, (separator, [row for row in rows if len(row[1]) == width])
    return found


def _value(text: str) -> float:
    value = read_number(text, example="", units=DIAMETER_UNITS)
    return float("nan") if isinstance(value, Unreadable) else value


def _guess(file: str, columns: Sequence[Sequence[float]], options: TraceOptions) -> TraceOptions:
    """The options, with columns that only one reading of the numbers allows."""
    stock = STOCK_MM if options.nominal_mm is None else (options.nominal_mm,)
    factor = DIAMETER_UNITS[options.unit or "mm"]
    middle = [sorted(column)[len(column) // 2] for column in columns]
    along = options.length_column or options.time_column
    near = [
        str(i + 1)
        for i, value in enumerate(middle)
        if is_near(value * factor, stock) and str(i + 1) != along and not _rises(columns[i])
    ]
    rising = [str(i + 1) for i, column in enumerate(columns) if _rises(column)]
    if not options.diameter_columns:
        if not near:
            numbers = ", ".join(f"{value:g}" for value in middle)
            raise Refused(
                file,
                None,
                f"there is no header and no column near {stock[0]:g} mm (they are about {numbers}):"
                " give the diameter's number by --diameter-column, and --unit in if it is inches",
            )
        options = dataclasses.replace(options, diameter_columns=tuple(near))
    if options.step_mm is not None or along is not None:
        return options
    if len(rising) == 1 and options.length_unit is not None:
        return dataclasses.replace(options, length_column=rising[0])
    if len(rising) == 1 and options.speed_mm_s is not None:
        return dataclasses.replace(options, time_column=rising[0])
    if rising:
        raise Refused(
            file,
            None,
            f"there is no header and column {' and '.join(rising)} rises: if it is the length, say "
            f"so by --length-column {rising[0]} --length-unit m, or give --step-mm",
        )
    raise Refused(
        file,
        None,
        "there is no header and no length: say how far the filament moves from row to row by "
        "--step-mm",
    )


def _rises(column: Sequence[float]) -> bool:
    """Whether numbers only go up, as a length or a time does."""
    pairs = list(itertools.pairwise(column))
    n_up = sum(b > a for a, b in pairs)
    return len(pairs) > 1 and n_up > 0 and sum(b < a for a, b in pairs) <= 0.02 * len(pairs)
