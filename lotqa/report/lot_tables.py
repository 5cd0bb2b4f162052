"""The tables of a lot page, document in, rows of text out."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_decision import either, entry
from lotqa.report.numbers import DIGITS, as_typed, interval, joined, shown
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Table, verdict_cell
from lotqa.report.words import CLASS_WORDS, WORDS

Document = Mapping[str, Any]
STOCK_KEY: Final = re.compile(r"stock (\d+(?:\.\d+)?)\.")


def table(
    number: int,
    caption: str,
    heads: Sequence[str | Column],
    body: Sequence[Sequence[Cell]],
    *,
    is_stacked: bool = True,
) -> Table:
    """A numbered table; a head given as text belongs to a column of words."""
    return Table(
        number=number,
        anchor=f"table-{number}",
        caption=caption,
        columns=tuple(h if isinstance(h, Column) else Column(h) for h in heads),
        rows=tuple(tuple(row) for row in body),
        is_stacked=is_stacked,
    )


def number_column(head: str) -> Column:
    return Column(head, is_number=True)


def prose_column(head: str) -> Column:
    return Column(head, is_prose=True)


def estimate(value: float | None, ci: Any, digits: int, *, sign: bool = False) -> Cell:
    """An estimate with its 95 % interval on the second line."""
    ci_text = interval(ci, digits, sign=sign)
    second = "" if ci_text == WORDS.dash else ci_text
    return Cell(shown(value, digits, sign=sign), second, is_interval=True)


def spool_table(document: Document, number: int) -> Table:
    """One row a spool: what it is, what it measures, what to enter."""
    spools = rows(document, "spools")
    has_net = any(get(s, "weight", "net_g") is not None for s in spools)
    has_ovality = any(get(s, "ovality", "mean_mm") is not None for s in spools)
    has_entry = any(either(*entry(s)) for s in spools)
    heads: list[str | Column] = [
        WORDS.spool,
        WORDS.verdict,
        number_column(WORDS.mean_mm),
        number_column(WORDS.sd_mm),
        number_column(WORDS.cpk),
        number_column(WORDS.flow_pct),
    ]
    heads += [number_column(WORDS.ovality_mm)] if has_ovality else []
    heads += [number_column(WORDS.net_g)] if has_net else []
    heads += [WORDS.enter] if has_entry else []
    body = []
    for s in spools:
        cells = [
            Cell(text(s, "spool"), _places(s)),
            verdict_cell(s["verdict"], get(s, "standing")),
            estimate(get(s, "diameter", "mean_mm"), get(s, "diameter", "mean_ci95_mm"), 3),
            estimate(get(s, "diameter", "sd_mm"), get(s, "diameter", "sd_ci95_mm"), 4),
            estimate(get(s, "diameter", "cpk"), get(s, "diameter", "cpk_ci95"), 2),
            estimate(
                get(s, "flow", "error_pct"), get(s, "flow", "error_ci95_pct"), 1, sign=True
            ),
        ]
        if has_ovality:
            cells.append(
                estimate(get(s, "ovality", "mean_mm"), get(s, "ovality", "mean_ci95_mm"), 3)
            )
        if has_net:
            cells.append(estimate(get(s, "weight", "net_g"), get(s, "weight", "net_ci95_g"), 0))
        if has_entry:
            multiplier, diameter = entry(s)
            cells.append(_entry_cell(multiplier, diameter))
        body.append(cells)
    return table(number, WORDS.spool_table, heads, body)


def _places(spool: Document) -> str:
    n_places, n_readings = (get(spool, "diameter", key) for key in ("places", "readings"))
    if n_places is None:
        return ""
    words = WORDS.place_reading if n_places == 1 else WORDS.places_readings
    return str(words.format(places=n_places, readings=n_readings))


def _entry_cell(multiplier: str, diameter: str) -> Cell:
    if multiplier == WORDS.dash:
        return Cell(WORDS.enter_nothing if diameter == WORDS.dash else f"{diameter} mm")
    return Cell(multiplier, "" if diameter == WORDS.dash else f"{WORDS.tune_or} {diameter} mm")


def lot_line(document: Document) -> str:
    """The sentence under the table of spools; empty where the lot has no mean."""
    lot = document["lot"]
    mean = shown(get(lot, "mean_mm"), DIGITS["mm"])
    if mean == WORDS.dash:
        return ""
    return str(
        WORDS.lot_line.format(
            mean=mean,
            ci=interval(get(lot, "mean_ci95_mm"), DIGITS["mm"]),
            between=shown(get(lot, "between_spool_sd_mm"), DIGITS["sd_mm"]),
            within=shown(get(lot, "within_spool_sd_mm"), DIGITS["sd_mm"]),
        )
    )


def weight_table(document: Document, number: int) -> Table | None:
    """Weigh-ins of the spools that were weighed, or None."""
    weighed = [s for s in rows(document, "spools") if get(s, "weight")]
    if not weighed:
        return None
    heads = [
        WORDS.spool,
        number_column(WORDS.gross_g),
        number_column(WORDS.tare_g),
        number_column(WORDS.net_g),
        number_column(WORDS.short_g),
        number_column(WORDS.length_m),
        number_column(WORDS.volume_ml),
        number_column(WORDS.density),
    ]
    body = []
    for s in weighed:
        w = s["weight"]
        length = get(w, "length_m")
        body.append(
            [
                Cell(text(s, "spool")),
                Cell(shown(get(w, "gross_g"), 1)),
                Cell(shown(get(w, "tare_g"), 1), _known(text(w, "tare_source"))),
                estimate(get(w, "net_g"), get(w, "net_ci95_g"), 1),
                estimate(get(w, "shortfall_g"), get(w, "shortfall_ci95_g"), 1),
                estimate(length, get(w, "length_ci95_m"), 0),
                Cell(shown(get(w, "volume_ml"), DIGITS["ml"])),
                Cell(
                    shown(get(w, "density_g_cm3"), DIGITS["density"]),
                    ""
                    if get(w, "apparent_density_g_cm3") is None
                    else WORDS.apparent.format(
                        value=shown(w["apparent_density_g_cm3"], DIGITS["density"])
                    ),
                ),
            ]
        )
    return table(number, WORDS.weigh_table, heads, body)


def moisture_table(document: Document, number: int) -> Table | None:
    """Losses on drying of the spools that were dried and weighed, or None."""
    dried = [s for s in rows(document, "spools") if get(s, "moisture")]
    if not dried:
        return None
    heads = [
        WORDS.spool,
        number_column(WORDS.loss_g),
        number_column(WORDS.loss_pct),
        WORDS.drying,
    ]
    body = [
        [
            Cell(text(s, "spool")),
            Cell(shown(get(s, "moisture", "loss_g"), 2)),
            estimate(get(s, "moisture", "loss_pct"), get(s, "moisture", "loss_ci95_pct"), 2),
            Cell(
                WORDS.drying_text.format(
                    hours=as_typed(get(s, "moisture", "hours")),
                    temperature=as_typed(get(s, "moisture", "temperature_c")),
                )
            ),
        ]
        for s in dried
    ]
    return table(number, WORDS.moisture_table, heads, body)


def findings_table(document: Document, number: int) -> Table | None:
    """What was seen or felt, spool by spool, or None."""
    body = [
        [
            Cell(text(s, "spool")),
            Cell(text(item, "finding")),
            Cell(CLASS_WORDS.get(get(item, "class"), text(item, "class"))),
            Cell(text(item, "count")),
            Cell(as_typed(get(item, "position_m"))),
            Cell(text(item, "note")),
        ]
        for s in rows(document, "spools")
        for item in rows(s, "findings", "items")
    ]
    if not body:
        return None
    heads = [
        WORDS.spool,
        WORDS.finding,
        WORDS.finding_class,
        number_column(WORDS.count),
        number_column(WORDS.position_m),
        prose_column(WORDS.note),
    ]
    return table(number, WORDS.findings_table, heads, body)


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
    heads = [WORDS.label_field, number_column(WORDS.limit_value), WORDS.label_source]
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
    return table(number, caption, [WORDS.limit, number_column(WORDS.limit_value), prose_column(WORDS.why)], body)


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
        WORDS.instrument,
        number_column(WORDS.step),
        number_column(WORDS.limit_of_error),
        number_column(WORDS.repeatability),
        number_column(WORDS.offset),
        number_column(WORDS.shift),
    ]
    return table(number, WORDS.instruments_table, heads, [_instrument(i) for i in instruments])


def _instrument(i: Document) -> list[Cell]:
    """One instrument; a scale has grams where a calliper has millimetres."""
    n_pin, kind = get(i, "pin_readings"), _known(text(i, "kind"))
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
            _known(text(i, "repeatability_source")),
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
            Cell(_known(text(p, "column")), is_code=True),
            Cell(_known(text(p, "value")), is_code=True),
            Cell(text(p, "message")),
            Cell(WORDS.row_used if get(p, "row_used") else WORDS.row_left_out),
        ]
        for p in problems
    ]
    heads = [WORDS.where, WORDS.column, WORDS.typed, prose_column(WORDS.message), WORDS.row]
    return table(number, WORDS.problems_table, heads, body)


def files_table(document: Document, number: int) -> Table | None:
    """The files that were read, with their hashes and what became of their rows, or None."""
    files = rows(document, "files")
    if not files:
        return None
    heads = [
        WORDS.file,
        number_column(WORDS.bytes),
        number_column(WORDS.rows_read),
        number_column(WORDS.rows_used),
        number_column(WORDS.rows_reported),
        WORDS.sha256,
    ]
    counts: Callable[[Document], list[Cell]] = lambda f: [  # noqa: E731 - one line of cells
        Cell(text(f, key)) for key in ("bytes", "rows_read", "rows_used", "rows_reported")
    ]
    body = [
        [Cell(text(f, "name"), is_code=True), *counts(f), Cell(text(f, "sha256"), is_code=True)]
        for f in files
    ]
    return table(number, WORDS.files_table, heads, body)


def _where(problem: Document) -> str:
    line = get(problem, "line")
    return text(problem, "file") + (f":{line}" if line is not None else "")


def _known(shown_text: str) -> str:
    return "" if shown_text == WORDS.dash else shown_text


def _typed(value: Any) -> str:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return text({"value": value}, "value")
    if isinstance(value, Sequence):
        return ", ".join(_typed(v) for v in value)
    return as_typed(value)
