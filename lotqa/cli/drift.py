"""``lotqa drift SUPPLIER``: the lots of one supplier in the order they came."""

from pathlib import Path
from typing import Annotated, Any

import typer

from lotqa.cli.options import JsonOption, LedgerOption, MaterialOption, location


def drift(
    supplier: Annotated[str, typer.Argument(help="As written in the lot sheets.")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    material: MaterialOption = None,
    colour: Annotated[str | None, typer.Option(help="Only this colour.")] = None,
    report: Annotated[
        Path, typer.Option("--report", help="Folder for the page.", metavar="DIR")
    ] = Path("reports"),
    no_report: Annotated[bool, typer.Option("--no-report", help="Draw no page.")] = False,
) -> None:
    """Show whether a supplier's lots change over the months, with a page of all their strips."""
    from lotqa.cli.screen import bar, console, print_json, say
    from lotqa.ledger import Ledger
    from lotqa.months import name_in_ledger, records, supplier_lots
    from lotqa.report import supplier_page, write_page
    from lotqa.suppliers.drift import drift_document
    from lotqa.suppliers.words import drift_sentences

    page = None
    with bar(2) as shown, Ledger.open(location(ledger), create=False) as book:
        shown.step("reading the ledger")
        found = records(book)
        name = name_in_ledger(supplier, [r.supplier for r in found])
        if colour is not None:
            found = [r for r in found if r.colour.casefold() == colour.casefold()]
        document = drift_document(found, name, material)
        if not no_report:
            shown.step("drawing the page")
            lots = supplier_lots(book, name, material=material, colour=colour)
            label = "_".join(p for p in ("supplier", name, material, colour) if p)
            page = write_page(supplier_page(name, lots), report, label)
    if as_json:
        print_json(document)
        return
    screen = console()
    screen.print(_table(document["lots"]))
    for sentence in drift_sentences(document):
        say(screen, sentence)
    if page is not None:
        say(screen, f"Page: {page}")


def _table(lots: list[dict[str, Any]]) -> Any:
    from lotqa.cli.screen import digits, plus_minus, table, told

    right = "right"
    return table(
        (
            ("received", "left"),
            ("lot", "left"),
            ("verdict", "left"),
            ("mean ± 95 %, mm", right),
            ("sd, mm", right),
            ("net g", right),
            ("signals", right),
        ),
        [
            (
                str(lot["received"] or "–"),
                lot["lot"],
                told(lot["verdict"], lot["standing"]) if lot.get("verdict") else "–",
                plus_minus(lot["mean_mm"], _half(lot.get("mean_ci95_mm")), 3),
                digits(lot["sd_mm"], 4),
                digits(lot["net_g"], 0),
                str(len(lot["signals"] or ())),
            )
            for lot in lots
        ],
    )


def _half(interval: list[float | None] | None) -> float | None:
    if not interval or interval[0] is None or interval[1] is None:
        return None
    return (interval[1] - interval[0]) / 2
