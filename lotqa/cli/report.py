"""``lotqa report LOT``: the page of a lot that the ledger keeps."""

from lotqa.cli.options import REPORTS, JsonOption, LedgerOption, LotArgument, ReportOption, location


def report(
    lot: LotArgument,
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    folder: ReportOption = REPORTS,
) -> None:
    """Write the page of a lot again, from the ledger."""
    from lotqa.cli.folder import page_folder
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import console, print_json, tell

    with bar(3) as shown:
        shown.step("starting")
        from lotqa.inspection import page_name
        from lotqa.ledger import Ledger
        from lotqa.months import one_lot, supplier_strips
        from lotqa.report import write_lot_pages

        shown.step("reading the ledger")
        with Ledger.open(location(ledger), create=False) as book:
            row = one_lot(book, lot)
            document = book.document(row.inspection)
            strips = supplier_strips(book, row.inspection, document)
        shown.step("drawing the page")
        with page_folder(folder):
            page, cards = write_lot_pages(document, strips, folder, page_name(document))
    if as_json:
        print_json({**document, "page": str(page), "cards": None if cards is None else str(cards)})
        return
    tell(console(), f"Page: {page}")
    if cards is not None:
        tell(console(), f"Tuning cards: {cards}")
