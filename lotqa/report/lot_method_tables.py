"""The tables of a lot page about the proof: label, limits, instruments, problems, files."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from lotqa.report.lookup import get, rows, text
from lotqa.report.numbers import DIGITS, as_typed, joined, shown
from lotqa.report.tables import number_column, prose_column, table, unless_dash
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Table
from lotqa.report.words import WORDS

Document = Mapping[str, Any]
STOCK_KEY: Final = re.compile(r"stock (\d+(?:\.\d+)?)\.")


def label_table(document: Document, number: int) -> Table:
    """What the label promises and where each figure was taken from."""
    body = [
        [
            Cell(getattr(WORDS, f"label_{field}")),
            Cell(as_typed(get(document, "label", field))),
            Cell(text(document, "label", "sources", field)),
        ]
        for field in ("nominal_mm", "tolerance_mm", "net_g", "ovality_mm")
    ]
    heads = [
        Column(WORDS.label_field),
        number_column(WORDS.limit_value),
        Column(WORDS.label_source),
    ]
    return table(number, WORDS.label_table, heads, body)


def limits_table(document: Document, number: int) -> Table | None:
    """The limits that were applied, each with the reason the buyer wrote beside it, or None."""
    nominal_mm = get(document, "label", "nominal_mm")
    limits = [x for x in rows(document, "criteria", "limits") if _concerns(x, nominal_mm)]
    if not limits:
        return None
    body = [
        [
            Cell(text(limit, "key"), is_code=True),
            Cell(joined(plain(get(limit, "unit") or ""), _typed(get(limit, "value")))),
            Cell(text(limit, "why")),
        ]
        for limit in limits
    ]
    caption = WORDS.limits_table.format(name=text(document, "criteria", "name"))
    return table(
        number,
        caption,
        [Column(WORDS.limit), number_column(WORDS.limit_value), prose_column(WORDS.why)],
        body,
    )


def _concerns(limit: Document, nominal_mm: float | None) -> bool:
    """False for a limit of stock of another diameter, such as 'stock 2.85.thick_reject_mm'."""
    stock = STOCK_KEY.match(text(limit, "key"))
    return stock is None or nominal_mm is None or float(stock[1]) == nominal_mm


def instruments_table(document: Document, number: int) -> Table | None:
    """The instruments with offset and uncertainty, or None."""
    instruments = rows(document, "instruments")
    if not instruments:
        return None
    heads = [
        Column(WORDS.instrument),
        number_column(WORDS.step),
        number_column(WORDS.limit_of_error),
        number_column(WORDS.repeatability),
        number_column(WORDS.offset),
        number_column(WORDS.shift),
    ]
    return table(number, WORDS.instruments_table, heads, [_instrument(i) for i in instruments])


def _instrument(i: Document) -> list[Cell]:
    """One instrument; a scale has grams where a calliper has millimetres."""
    n_pin, kind = get(i, "pin_readings"), unless_dash(text(i, "kind"))
    offset = shown(get(i, "offset_mm"), DIGITS["offset_mm"], sign=True)
    u_offset = shown(get(i, "offset_uncertainty_mm"), DIGITS["offset_mm"])
    if WORDS.dash not in (offset, u_offset):
        offset = WORDS.plus_minus.format(value=offset, u=u_offset)
    return [
        Cell(text(i, "name"), "" if kind == text(i, "name") else kind),
        Cell(_either_unit(i, "resolution", as_typed)),
        Cell(_either_unit(i, "limit_of_error", as_typed)),
        Cell(
            _either_unit(i, "repeatability_sd", lambda v: shown(v, DIGITS["sd_mm"])),
            unless_dash(text(i, "repeatability_source")),
        ),
        Cell(joined("mm", offset), WORDS.pin_readings.format(n=n_pin) if n_pin else ""),
        Cell(joined("mm", shown(get(i, "shift_mm"), DIGITS["offset_mm"], sign=True))),
    ]


def _either_unit(i: Document, field: str, as_text: Callable[[float | None], str]) -> str:
    unit = "g" if get(i, f"{field}_g") is not None else "mm"
    return joined(unit, as_text(get(i, f"{field}_{unit}")))


def problems_table(document: Document, number: int) -> Table | None:
    """What was found wrong in the input, each where it stands and as typed, or None."""
    problems = rows(document, "problems")
    if not problems:
        return None
    body = [
        [
            Cell(_where(p), is_code=True),
            Cell(unless_dash(text(p, "column")), is_code=True),
            Cell(unless_dash(text(p, "value")), is_code=True),
            Cell(text(p, "message")),
            Cell(WORDS.row_used if get(p, "row_used") else WORDS.row_left_out),
        ]
        for p in problems
    ]
    heads = [
        Column(WORDS.where),
        Column(WORDS.column),
        Column(WORDS.typed),
        prose_column(WORDS.message),
        Column(WORDS.row),
    ]
    return table(number, WORDS.problems_table, heads, body)


def files_table(document: Document, number: int) -> Table | None:
    """The files that were read, with their hashes and what became of their rows, or None."""
    files = rows(document, "files")
    if not files:
        return None
    heads = [
        Column(WORDS.file),
        number_column(WORDS.bytes),
        number_column(WORDS.rows_read),
        number_column(WORDS.rows_used),
        number_column(WORDS.rows_reported),
        Column(WORDS.sha256),
    ]
    body = [
        [
            Cell(text(f, "name"), is_code=True),
            *(Cell(text(f, key)) for key in ("bytes", "rows_read", "rows_used", "rows_reported")),
            Cell(text(f, "sha256"), is_code=True),
        ]
        for f in files
    ]
    return table(number, WORDS.files_table, heads, body)


def _where(problem: Document) -> str:
    line = get(problem, "line")
    return text(problem, "file") + (f":{line}" if line is not None else "")


def _typed(value: Any) -> str:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return text({"value": value}, "value")
    if isinstance(value, Sequence):
        return ", ".join(_typed(v) for v in value)
    return as_typed(value)
