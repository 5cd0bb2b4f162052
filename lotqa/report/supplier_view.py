"""The page of a supplier as a record: all lots in the order received, on one scale."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lotqa.report.looks import MAX_TALLY, NARROW, WIDE
from lotqa.report.lookup import day, joined_known
from lotqa.report.numbers import DIGITS, as_typed, shown
from lotqa.report.plots import (
    IntervalRow,
    LotBlock,
    diameter_range_mm,
    figure_svg,
    mean_interval_plot,
    spread_interval_plot,
    supplier_strips,
)
from lotqa.report.strip import SupplierLot
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Fact, Figure, Section, Table, TallyMark, verdict_cell
from lotqa.report.words import WORDS

ROWS_PER_FIGURE: Final = 24  # rows of an interval plot that fit on a printed page
LOTS_TABLE: Final = 1


@dataclass(frozen=True, slots=True)
class SupplierView:
    title: str
    running: str
    heading: str
    sections: tuple[Section, ...]
    facts: tuple[Fact, ...]
    tally: tuple[TallyMark, ...]
    tally_more: str
    tally_label: str
    lots_table: Table | None
    strip_figures: tuple[Figure, ...]
    interval_figures: tuple[Figure, ...]


def supplier_view(supplier: str, lots: Sequence[SupplierLot]) -> SupplierView:
    """The view of all lots of a supplier; lots without a date come first, as given."""
    ordered = sorted(lots, key=lambda lot: lot.received or "")
    name = plain(supplier) or WORDS.no_supplier
    groups = _by_nominal(ordered)
    strip_figures = _strip_figures(groups)
    titles = (WORDS.supplier_summary, WORDS.lots_title, WORDS.lot_strips, WORDS.lot_means)
    return SupplierView(
        title=WORDS.supplier_title.format(supplier=name),
        running=WORDS.supplier_title.format(supplier=name),
        heading=name,
        sections=tuple(Section(n, f"s{n}", title) for n, title in enumerate(titles, start=1)),
        facts=_facts(ordered),
        tally=_tally(ordered[-MAX_TALLY:]),
        tally_more="",
        tally_label=_counts(ordered),
        lots_table=_lots_table(ordered) if ordered else None,
        strip_figures=strip_figures,
        interval_figures=_interval_figures(groups, len(strip_figures) + 1),
    )


def _by_nominal(
    lots: Sequence[SupplierLot],
) -> tuple[tuple[float | None, tuple[SupplierLot, ...]], ...]:
    """Lots of one nominal diameter together, since they alone share a scale."""
    found: dict[float | None, list[SupplierLot]] = {}
    for lot in lots:
        found.setdefault(lot.nominal_mm, []).append(lot)
    known = sorted(key for key in found if key is not None)
    keys: list[float | None] = [*known, *([None] if None in found else [])]
    return tuple((key, tuple(found[key])) for key in keys)


def _counts(lots: Sequence[SupplierLot]) -> str:
    dates = [lot.received for lot in lots if lot.received]
    words = WORDS.lots_count if dates else WORDS.lots_count_undated
    return str(
        words.format(
            n=len(lots),
            first=day(dates[0]) if dates else "",
            last=day(dates[-1]) if dates else "",
            accepted=sum(lot.verdict == "accept" for lot in lots),
            tuned=sum(lot.verdict == "tune" for lot in lots),
            rejected=sum(lot.verdict == "reject" for lot in lots),
        )
    )


def _facts(lots: Sequence[SupplierLot]) -> tuple[Fact, ...]:
    if not lots:
        return (Fact(WORDS.lots_head, WORDS.no_lots),)
    last = lots[-1]
    cell = verdict_cell(last.verdict, last.standing)
    return (
        Fact(WORDS.lots_head, _counts(lots)),
        Fact(
            WORDS.last_lot,
            joined_known([last.lot, day(last.received) if last.received else None], ", ")
            + f": {cell.text}, {cell.second}",
        ),
    )


def _tally(lots: Sequence[SupplierLot]) -> tuple[TallyMark, ...]:
    cells = [(lot, verdict_cell(lot.verdict)) for lot in lots]
    return tuple(TallyMark(cell.mark, cell.tone, plain(lot.lot)) for lot, cell in cells)


def _lots_table(lots: Sequence[SupplierLot]) -> Table:
    heads = [
        Column(WORDS.lot),
        Column(WORDS.product),
        Column(WORDS.verdict),
        number_column(WORDS.spools_head),
        number_column(WORDS.mean_mm),
        number_column(WORDS.sd_mm),
        number_column(WORDS.short_g),
        number_column(WORDS.price_litre),
    ]
    body = [
        [
            Cell(plain(lot.lot) or WORDS.dash, day(lot.received) if lot.received else ""),
            Cell(joined_known([lot.product, lot.material], ", ") or WORDS.dash),
            verdict_cell(lot.verdict, lot.standing),
            Cell(str(len(lot.strips)) if lot.strips else WORDS.dash),
            estimate(lot.mean_mm, lot.mean_ci95_mm, DIGITS["mm"]),
            estimate(lot.sd_mm, lot.sd_ci95_mm, DIGITS["sd_mm"]),
            Cell(shown(lot.net_shortfall_g, DIGITS["g"])),
            Cell(_price(lot)),
        ]
        for lot in lots
    ]
    return table(LOTS_TABLE, WORDS.lots_table, heads, body)


def _price(lot: SupplierLot) -> str:
    price = shown(lot.price_per_litre, DIGITS["price"])
    if price == WORDS.dash or not lot.currency:
        return price
    return f"{price} {plain(lot.currency)}"


def _strip_figures(
    groups: Sequence[tuple[float | None, tuple[SupplierLot, ...]]],
) -> tuple[Figure, ...]:
    """Rows of lots; a row of the wide page is a figure, on a phone it is broken further."""
    figures: list[Figure] = []
    for nominal_mm, lots in groups:
        drawn = [lot for lot in lots if any(len(s.position_m) for s in lot.strips)]
        if not drawn:
            continue
        ends = [diameter_range_mm(d.strips, d.nominal_mm, d.tolerance_mm) for d in drawn]
        range_mm = (min(e[0] for e in ends), max(e[1] for e in ends))
        for start in range(0, len(drawn), WIDE.lots_per_row):
            row = [_block(lot) for lot in drawn[start : start + WIDE.lots_per_row]]
            number = len(figures) + 1
            figures.append(
                Figure(
                    number=number,
                    anchor=f"figure-{number}",
                    caption=_strip_caption(row, nominal_mm),
                    wide_svg=figure_svg(
                        supplier_strips(row, range_mm=range_mm, n_slots=WIDE.lots_per_row),
                        key=f"s{number}w",
                    ),
                    narrow_svg="".join(
                        figure_svg(
                            supplier_strips(
                                row[k : k + NARROW.lots_per_row],
                                range_mm=range_mm,
                                size=NARROW,
                                n_slots=NARROW.lots_per_row,
                            ),
                            key=f"s{number}n{k}",
                        )
                        for k in range(0, len(row), NARROW.lots_per_row)
                    ),
                )
            )
    return tuple(figures)


def _block(lot: SupplierLot) -> LotBlock:
    return LotBlock(
        head=lot.lot,
        second=lot.received or "",
        verdict=lot.verdict,
        strips=lot.strips,
        nominal_mm=lot.nominal_mm,
        tolerance_mm=lot.tolerance_mm,
    )


def _strip_caption(row: Sequence[LotBlock], nominal_mm: float | None) -> str:
    words = WORDS.lot_strips_caption if len(row) > 1 else WORDS.lot_strips_caption_one
    return str(
        words.format(
            first=plain(row[0].head), last=plain(row[-1].head), nominal=_nominal(nominal_mm)
        )
    )


def _nominal(nominal_mm: float | None) -> str:
    return WORDS.nominal_unknown if nominal_mm is None else f"{as_typed(nominal_mm)} mm"


def _interval_figures(
    groups: Sequence[tuple[float | None, tuple[SupplierLot, ...]]], first_number: int
) -> tuple[Figure, ...]:
    figures: list[Figure] = []

    def add(caption: str, wide_svg: str, narrow_svg: str) -> None:
        number = first_number + len(figures)
        figures.append(Figure(number, f"figure-{number}", caption, wide_svg, narrow_svg))

    for nominal_mm, lots in groups:
        for start in range(0, len(lots), ROWS_PER_FIGURE):
            chunk = lots[start : start + ROWS_PER_FIGURE]
            means = [row for lot in chunk if (row := _mean_row(lot)).value is not None]
            spreads = [row for lot in chunk if (row := _spread_row(lot)).value is not None]
            key = f"i{first_number + len(figures)}"
            nominal = _nominal(nominal_mm)
            if means:
                add(
                    WORDS.lot_means_caption.format(nominal=nominal),
                    figure_svg(mean_interval_plot(means, nominal_mm), key=f"{key}mw"),
                    figure_svg(mean_interval_plot(means, nominal_mm, size=NARROW), key=f"{key}mn"),
                )
            if spreads:
                add(
                    WORDS.lot_spreads_caption.format(nominal=nominal),
                    figure_svg(spread_interval_plot(spreads), key=f"{key}sw"),
                    figure_svg(spread_interval_plot(spreads, size=NARROW), key=f"{key}sn"),
                )
    return tuple(figures)


def _mean_row(lot: SupplierLot) -> IntervalRow:
    has_band = lot.nominal_mm is not None and lot.tolerance_mm is not None
    nominal_mm, tolerance_mm = lot.nominal_mm or 0.0, lot.tolerance_mm or 0.0
    return IntervalRow(
        label=lot.lot,
        second=lot.received or "",
        verdict=lot.verdict,
        value=lot.mean_mm,
        ci95=lot.mean_ci95_mm,
        lower_limit=nominal_mm - tolerance_mm if has_band else None,
        upper_limit=nominal_mm + tolerance_mm if has_band else None,
    )


def _spread_row(lot: SupplierLot) -> IntervalRow:
    return IntervalRow(
        label=lot.lot,
        second=lot.received or "",
        verdict=lot.verdict,
        value=lot.sd_mm,
        ci95=lot.sd_ci95_mm,
        upper_limit=lot.sd_limit_mm,
    )
