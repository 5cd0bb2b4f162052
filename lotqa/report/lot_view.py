"""A lot page as a record: eight numbered sections, in the order in which they are read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.lookup import day, get, joined_known, rows, text
from lotqa.report.lot_decision import SPOOL_TABLE, Decision, decision
from lotqa.report.lot_detail import detail_tables
from lotqa.report.lot_figures import lot_figures, worst
from lotqa.report.lot_method_tables import (
    files_table,
    instruments_table,
    label_table,
    limits_table,
    problems_table,
)
from lotqa.report.lot_reasons import reason_groups
from lotqa.report.lot_tables import (
    findings_table,
    lot_line,
    moisture_table,
    spool_table,
    weight_table,
)
from lotqa.report.numbers import as_typed
from lotqa.report.strip import Strip
from lotqa.report.terms import GLOSSARY
from lotqa.report.texts import plain
from lotqa.report.view import Fact, Figure, ReasonGroup, Section, Table
from lotqa.report.words import WORDS

REASONS: Final = 4  # number of the section of reasons


@dataclass(frozen=True, slots=True)
class LotView:
    """Everything on the page, as text.  A table that is None has a sentence in its stead."""

    title: str
    running: str  # what stands at the foot of each printed page
    heading: str
    maker: str
    dates: str
    strand_mm: str  # thickness of the line under the heading: filament at its real size
    sections: tuple[Section, ...]
    decision: Decision
    spool_table: Table
    lot_line: str
    figures: tuple[Figure, ...]
    not_drawn: str
    reasons: tuple[ReasonGroup, ...]
    weight_table: Table | None
    moisture_table: Table | None
    findings_table: Table | None
    findings_none: str
    mass_notes: tuple[str, ...]
    detail_tables: tuple[Table, ...]
    limits_table: Table | None
    label_table: Table
    settings: tuple[Fact, ...]
    instruments_table: Table | None
    instrument_notes: tuple[str, ...]
    criteria_text: str
    criteria_sha256: str
    glossary: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    problems_table: Table | None
    files_table: Table | None
    missing: tuple[str, ...]
    origin: tuple[str, ...]


def lot_view(document: Mapping[str, Any], strips: Sequence[Strip]) -> LotView:
    """The view of one inspection document; tables and figures are numbered in page order."""
    drawn = worst(document)
    spools = spool_table(document, SPOOL_TABLE)
    number = SPOOL_TABLE + 1

    def numbered(made: Table | None) -> Table | None:
        nonlocal number
        number += made is not None
        return made

    weights = numbered(weight_table(document, number))
    moisture = numbered(moisture_table(document, number))
    findings = numbered(findings_table(document, number))
    details = detail_tables(document, drawn, number)
    number += len(details)
    limits = numbered(limits_table(document, number))
    label = label_table(document, number)
    number += 1
    instruments = numbered(instruments_table(document, number))
    problems = numbered(problems_table(document, number))
    files = numbered(files_table(document, number))
    lot = document["lot"]
    heading = lot_name(lot)
    nominal_mm = get(document, "label", "nominal_mm")
    return LotView(
        title=joined_known([heading, get(lot, "supplier")], ", "),
        running=joined_known([get(lot, "supplier"), heading], ", "),
        heading=heading,
        maker=_maker(lot),
        dates=_dates(document),
        strand_mm=as_typed(nominal_mm) if nominal_mm else "",
        sections=_sections(),
        decision=decision(document),
        spool_table=spools,
        lot_line=lot_line(document),
        figures=lot_figures(document, strips),
        not_drawn=_not_drawn(document, len(drawn)),
        reasons=reason_groups(document, REASONS),
        weight_table=weights,
        moisture_table=moisture,
        findings_table=findings,
        findings_none=(
            WORDS.findings_none
            if any(get(s, "findings") is not None for s in rows(document, "spools"))
            else WORDS.findings_unknown
        ),
        mass_notes=_notes(document, "weight") + _notes(document, "moisture"),
        detail_tables=details,
        limits_table=limits,
        label_table=label,
        settings=_settings(document),
        instruments_table=instruments,
        instrument_notes=tuple(
            WORDS.instrument_note.format(name=text(i, "name"), text=plain(i["text"]))
            for i in rows(document, "instruments")
            if get(i, "text")
        ),
        criteria_text=get(document, "criteria", "text") or "",
        criteria_sha256=text(document, "criteria", "sha256"),
        glossary=tuple(GLOSSARY.items()),
        cautions=tuple(plain(c) for c in rows(document, "cautions")),
        problems_table=problems,
        files_table=files,
        missing=tuple(plain(m) for m in rows(document, "missing")),
        origin=_origin(document),
    )


def lot_name(lot: Mapping[str, Any]) -> str:
    """The lot as a heading."""
    code = get(lot, "lot")
    if code in (None, ""):
        return f"{WORDS.lot} {WORDS.no_lot_code}"
    return str(WORDS.lot_title.format(lot=plain(str(code))))


def _sections() -> tuple[Section, ...]:
    titles = (
        WORDS.decision,
        WORDS.spools,
        WORDS.strips,
        WORDS.reasons,
        WORDS.mass_and_findings,
        WORDS.method,
        WORDS.cautions,
        WORDS.input,
    )
    return tuple(Section(n, f"s{n}", title) for n, title in enumerate(titles, start=1))


def _maker(lot: Mapping[str, Any]) -> str:
    supplier = get(lot, "supplier") or WORDS.no_supplier
    product = joined_known([get(lot, "product"), get(lot, "material"), get(lot, "colour")], ", ")
    return joined_known([supplier, product], ": ")


def _dates(document: Mapping[str, Any]) -> str:
    lot = document["lot"]
    parts = []
    if get(lot, "received"):
        parts.append(WORDS.received.format(when=day(lot["received"])))
    if get(document, "inspected_at"):
        parts.append(WORDS.inspected.format(when=day(document["inspected_at"])))
    if get(lot, "lot_self_assigned"):
        parts.append(WORDS.self_assigned)
    return "; ".join(parts)


def _not_drawn(document: Mapping[str, Any], n_drawn: int) -> str:
    n_total = len(rows(document, "spools"))
    if n_total <= n_drawn:
        return ""
    return str(
        WORDS.not_drawn.format(
            n=n_total - n_drawn, total=n_total, drawn=n_drawn, number=SPOOL_TABLE
        )
    )


def _notes(document: Mapping[str, Any], block: str) -> tuple[str, ...]:
    """The sentence of each spool's block that is not a reason, once where they share it."""
    found: dict[str, list[str]] = {}
    for spool in rows(document, "spools"):
        said = {get(r, "text") for r in rows(spool, "reasons")}
        if get(spool, block, "text") and spool[block]["text"] not in said:
            found.setdefault(plain(spool[block]["text"]), []).append(text(spool, "spool"))
    if len(found) == 1:
        return tuple(found)
    return tuple(
        WORDS.spool_note.format(spool=", ".join(names), text=note) for note, names in found.items()
    )


def _settings(document: Mapping[str, Any]) -> tuple[Fact, ...]:
    return tuple(
        Fact(getattr(WORDS, f"print_{field}"), as_typed(get(document, "print", field)))
        for field in ("line_width_mm", "layer_height_mm", "set_diameter_mm", "multiplier")
        if get(document, "print", field) is not None
    )


def _origin(document: Mapping[str, Any]) -> tuple[str, ...]:
    lines = [
        WORDS.made_by.format(
            version=text(document, "program_version"), schema=text(document, "schema")
        )
    ]
    if get(document, "ledger"):
        lines.append(
            WORDS.ledger_line.format(
                ledger=text(document, "ledger", "ledger"),
                inspection=text(document, "ledger", "inspection"),
            )
        )
        if get(document, "ledger", "new") is False:
            lines.append(WORDS.ledger_again)
        earlier = get(document, "ledger", "earlier_inspections")
        if earlier:
            lines.append(WORDS.ledger_earlier.format(n=earlier))
    return tuple(lines)
