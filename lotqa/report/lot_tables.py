"""The tables of a lot page about the spools and about what was seen on them."""

from collections.abc import Mapping
from typing import Any

from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_decision import either, entry
from lotqa.report.numbers import DIGITS, as_typed, interval, shown
from lotqa.report.tables import estimate, number_column, prose_column, table
from lotqa.report.terms import CLASS_WORDS
from lotqa.report.view import Cell, Column, Table, spool_cell
from lotqa.report.words import WORDS

Document = Mapping[str, Any]


def spool_table(document: Document, number: int) -> Table:
    """One row a spool: what it is, what it measures, what to enter."""
    spools = rows(document, "spools")
    has_net = any(get(s, "weight", "net_g") is not None for s in spools)
    has_ovality = any(get(s, "ovality", "mean_mm") is not None for s in spools)
    has_entry = any(either(*entry(s)) for s in spools)
    heads = [
        Column(WORDS.spool),
        Column(WORDS.verdict),
        number_column(WORDS.mean_mm),
        number_column(WORDS.sd_mm),
        number_column(WORDS.cpk),
        number_column(WORDS.flow_pct),
    ]
    heads += [number_column(WORDS.ovality_mm)] if has_ovality else []
    heads += [number_column(WORDS.net_g)] if has_net else []
    heads += [Column(WORDS.enter)] if has_entry else []
    body = []
    for s in spools:
        cells = [
            Cell(text(s, "spool"), _places(s)),
            spool_cell(s),
            estimate(get(s, "diameter", "mean_mm"), get(s, "diameter", "mean_ci95_mm"), 3),
            estimate(get(s, "diameter", "sd_mm"), get(s, "diameter", "sd_ci95_mm"), 4),
            estimate(get(s, "diameter", "cpk"), get(s, "diameter", "cpk_ci95"), 2),
            estimate(get(s, "flow", "error_pct"), get(s, "flow", "error_ci95_pct"), 1, sign=True),
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
    ci = interval(get(lot, "mean_ci95_mm"), DIGITS["mm"])
    found = get(lot, "components")
    if found:
        said = [
            WORDS.lot_components.format(
                mean=mean,
                mean_ci=ci,
                between=shown(get(found, "between_sd_mm"), DIGITS["sd_mm"]),
                ci=interval(get(found, "between_sd_ci95_mm"), DIGITS["sd_mm"]),
                within=shown(get(found, "within_sd_mm"), DIGITS["sd_mm"]),
                reading=shown(get(found, "reading_sd_mm"), DIGITS["sd_mm"]),
            )
        ]
    else:  # a lot of one spool, or a document from before these were kept
        said = [
            WORDS.lot_line.format(
                mean=mean,
                ci=ci,
                between=shown(get(lot, "between_spool_sd_mm"), DIGITS["sd_mm"]),
                within=shown(get(lot, "within_spool_sd_mm"), DIGITS["sd_mm"]),
            )
        ]
    for key, words in (
        ("tolerance_interval_mm", WORDS.lot_tolerance),
        ("next_spool_mean_pi95_mm", WORDS.lot_next_spool),
    ):
        lo, hi = get(found, key) or (None, None)
        if lo is not None and hi is not None:
            said.append(words.format(lo=shown(lo, DIGITS["mm"]), hi=shown(hi, DIGITS["mm"])))
    return " ".join(said)


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
        Column(WORDS.spool),
        Column(WORDS.finding),
        Column(WORDS.finding_class),
        number_column(WORDS.count),
        number_column(WORDS.position_m),
        prose_column(WORDS.note),
    ]
    return table(number, WORDS.findings_table, heads, body)
