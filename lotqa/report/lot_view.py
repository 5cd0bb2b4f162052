"""A lot page as a record: eight numbered sections, in the order in which they are read."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.lookup import day, get, joined_known, rows, text
from lotqa.report.lot_decision import SPOOL_TABLE, Decision, decision
from lotqa.report.lot_detail import detail_tables
from lotqa.report.lot_figures import lot_figures, net_mass_figure, worst
from lotqa.report.lot_mass import MASS_TABLE, Mass, mass
from lotqa.report.lot_method_tables import (
    files_table,
    instruments_table,
    label_table,
    limits_table,
    problems_table,
)
from lotqa.report.lot_moisture import MoistureView, moisture
from lotqa.report.lot_money import MoneyView, NetContentView, money, net_content
from lotqa.report.lot_reasons import reason_groups
from lotqa.report.lot_tables import findings_table, lot_line, spool_table
from lotqa.report.numbers import as_typed
from lotqa.report.strip import Strip
from lotqa.report.terms import GLOSSARY, MASS_GLOSSARY
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
    strips_intro: str
    figures: tuple[Figure, ...]
    not_drawn: str
    reasons: tuple[ReasonGroup, ...]
    mass: Mass
    mass_figure: Figure | None
    net_content: NetContentView | None
    moisture: MoistureView | None
    money: MoneyView | None
    findings_table: Table | None
    findings_none: str
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
    number = MASS_TABLE

    def numbered(made: Table | None) -> Table | None:
        nonlocal number
        number += made is not None
        return made

    masses = mass(document, number)
    numbered(masses.table)
    numbered(masses.cut_table)
    drying = moisture(document, number)
    numbered(drying.table if drying else None)
    prices = money(document, number)
    numbered(prices.table if prices else None)
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
    figures = lot_figures(document, strips)
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
        strips_intro=joined_known(
            [WORDS.strips_intro, WORDS.strips_intro_log if any(s.from_log for s in strips) else ""],
            " ",
        ),
        figures=figures,
        not_drawn=_not_drawn(document, len(drawn)),
        reasons=reason_groups(document, REASONS),
        mass=masses,
        mass_figure=net_mass_figure(document, len(figures) + 1),
        net_content=net_content(document),
        moisture=drying,
        money=prices,
        findings_table=findings,
        findings_none=(
            WORDS.findings_none
            if any(get(s, "findings") is not None for s in rows(document, "spools"))
            else WORDS.findings_unknown
        ),
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
        glossary=(*GLOSSARY.items(), *(MASS_GLOSSARY.items() if masses.table else ())),
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
