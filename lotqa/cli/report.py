"""``lotqa report LOT``: the page of a lot that the ledger keeps."""

from pathlib import Path
from typing import Annotated

import typer

from lotqa.cli.options import JsonOption, LedgerOption, location


def report(
    lot: Annotated[str, typer.Argument(help="Lot code, SUPPLIER/LOT, or number in the ledger.")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    folder: Annotated[
        Path, typer.Option("--report", help="Folder for the page.", metavar="DIR")
    ] = Path("reports"),
) -> None:
    """Write the page of a lot again, from its newest inspection in the ledger."""
    from lotqa.cli.screen import console, print_json, say
    from lotqa.inspection import page_name
    from lotqa.ledger import Ledger
    from lotqa.months import one_lot, supplier_strips
    from lotqa.report import lot_page, write_page

    with Ledger.open(location(ledger), create=False) as book:
        row = one_lot(book, lot)
        document = book.document(row.inspection)
        page = write_page(
            lot_page(document, supplier_strips(book, row.inspection, document)),
            folder,
            page_name(document),
        )
    if as_json:
        print_json(document)
        return
    say(console(), f"Page: {page}")
