"""``lotqa drift SUPPLIER``: the lots of one supplier in the order they came."""

import shlex
from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from lotqa.cli.options import (
    REPORTS,
    JsonOption,
    LedgerOption,
    MaterialOption,
    NoReportOption,
    ReportOption,
    location,
)

if TYPE_CHECKING:
    from rich.console import Console


def drift(
    supplier: Annotated[
        str, typer.Argument(help="As written in the lot sheets.", metavar="SUPPLIER")
    ],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    material: MaterialOption = None,
    colour: Annotated[str | None, typer.Option(help="Only this colour.", metavar="TEXT")] = None,
    report: ReportOption = REPORTS,
    no_report: NoReportOption = False,
) -> None:
    """Follow a supplier's lots through the months.

    Says whether they change, and draws the strips of all on one page. Of several materials the
    one with the most lots is shown, unless --material names another.
    """
    from lotqa.cli.folder import page_folder
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import console, print_json, say, tell

    page = None
    with bar(3) as shown:
        shown.step("starting")
        from lotqa.ledger import Ledger
        from lotqa.months import name_in_ledger, records, supplier_lots
        from lotqa.report import supplier_page, write_page
        from lotqa.suppliers.drift import drift_document
        from lotqa.suppliers.words import drift_sentences

        shown.step("reading the ledger")
        with Ledger.open(location(ledger), create=False) as book:
            found = records(book)
            name = name_in_ledger(supplier, [r.supplier for r in found])
            if colour is not None:
                found = [r for r in found if r.colour.casefold() == colour.casefold()]
            lots_of = Counter(r.material for r in found if r.supplier == name)
            chosen = material_of(name, lots_of, material)
            document = drift_document(found, name, chosen)
            document["other_materials"] = sorted(m for m in lots_of if m != chosen)
            if not no_report and document["lots"]:
                shown.step("drawing the page")
                label = "_".join(p for p in ("supplier", name, chosen, colour) if p)
                with page_folder(report):
                    lots = supplier_lots(book, name, material=chosen, colour=colour)
                    page = write_page(supplier_page(name, lots), report, label)
    if as_json:
        print_json({**document, "page": None if page is None else str(page)})
        return
    screen = console()
    if document["lots"]:
        _table(screen, document["lots"])
    for sentence in drift_sentences(document):
        say(screen, sentence)
    if document["other_materials"]:
        others = ", ".join(
            f"{m or 'none given'} ({lots_of[m]})" for m in document["other_materials"]
        )
        again = shlex.join(["lotqa", "drift", name, "--material", document["other_materials"][0]])
        say(screen, f"These are the lots of {chosen or 'no material'}; others: {others}: {again}")
    if page is not None:
        tell(screen, f"Page: {page}")


def material_of(supplier: str, lots_of: Mapping[str, int], wanted: str | None) -> str | None:
    """The material asked for as the ledger writes it, else the one with the most lots.

    Of equals the first by name.  None if there is no lot.  Raises UnusableInput for a material
    that is not there.
    """
    from lotqa.errors import UnusableInput

    if wanted is None:
        return min(lots_of, key=lambda m: (-lots_of[m], m), default=None)
    for same in (str, str.casefold):
        for material in sorted(lots_of):
            if same(material) == same(wanted):
                return material
    there = ", ".join(sorted(m for m in lots_of if m)) or "none"
    raise UnusableInput(
        f'material "{wanted}" is not among the lots of {supplier}: there is {there}'
    )


def _table(screen: "Console", lots: list[dict[str, Any]]) -> None:
    from lotqa.cli.screen import show_table
    from lotqa.cli.tables import Column, name, right
    from lotqa.cli.words import UNKNOWN, digits, joined, plus_minus, told

    weighed = any(lot["grams_per_m"] is not None for lot in lots)
    show_table(
        screen,
        [
            Column("received", drop=4),
            name("lot"),
            Column("verdict"),
            right("mean ± 95 %, mm"),
            right("sd, mm", drop=1),
            *([right("g/m", drop=3)] if weighed else []),
            right("net g", drop=5),
            right("signals", drop=2),
        ],
        [
            [
                joined(lot["received"]),
                lot["lot"],
                told(lot["verdict"], lot["standing"]) if lot.get("verdict") else UNKNOWN,
                plus_minus(lot["mean_mm"], _half(lot.get("mean_ci95_mm")), 3),
                digits(lot["sd_mm"], 4),
                *([_grams(lot)] if weighed else []),
                digits(lot["net_g"], 0),
                str(len(lot["signals"] or ())) if lot["signals"] is not None else UNKNOWN,
            ]
            for lot in lots
        ],
    )


def _grams(lot: dict[str, Any]) -> str:
    from lotqa.cli.words import plus_minus

    return plus_minus(lot["grams_per_m"], _half(lot["grams_per_m_ci95"]), 3)


def _half(interval: list[float | None] | None) -> float | None:
    if not interval or interval[0] is None or interval[1] is None:
        return None
    return (interval[1] - interval[0]) / 2
