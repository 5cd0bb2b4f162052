"""``lotqa suppliers``: all suppliers side by side, from the ledger."""

from typing import TYPE_CHECKING, Any

from lotqa.cli.options import JsonOption, LedgerOption, MaterialOption, location

if TYPE_CHECKING:
    from rich.console import Console


def suppliers(
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    material: MaterialOption = None,
) -> None:
    """Compare suppliers: verdicts, offset, spread, price per litre."""
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import console, print_json, say

    with bar(2) as shown:
        shown.step("starting")
        from lotqa.ledger import Ledger
        from lotqa.months import records
        from lotqa.suppliers.comparison import suppliers_document
        from lotqa.suppliers.words import supplier_sentences

        shown.step("reading the ledger")
        with Ledger.open(location(ledger), create=False) as book:
            found = records(book)
        if material:
            found = [r for r in found if r.material.casefold() == material.casefold()]
        document = suppliers_document(found)
    if as_json:
        print_json(document)
        return
    screen = console()
    if not document["suppliers"]:
        what = f" of {material}" if material else ""
        say(screen, f"The ledger holds no lot{what}: lotqa inspect enters one.")
        return
    _table(screen, document["suppliers"])
    for row in document["suppliers"]:
        say(screen, f"{row['supplier'] or 'supplier unknown'}, {row['material'] or 'no material'}:")
        for sentence in supplier_sentences(row):
            say(screen, sentence, indent=2)


def _table(screen: "Console", rows: list[dict[str, Any]]) -> None:
    from lotqa.cli.screen import say, show_table
    from lotqa.cli.tables import name, right
    from lotqa.cli.words import UNKNOWN, digits, joined

    show_table(
        screen,
        [
            name("supplier"),
            name("material"),
            right("lots"),
            right("a/t/r"),
            right("offset"),
            right("between", drop=2),
            right("within", drop=1),
            right("per litre"),
        ],
        [
            [
                joined(r["supplier"]),
                joined(r["material"]),
                str(r["lots"]),
                "/".join(
                    str(r[k] if r[k] is not None else UNKNOWN)
                    for k in ("accepted", "tuned", "rejected")
                ),
                digits(r["offset_mm"], 3, sign_always=True),
                digits(r["lot_to_lot_sd_mm"], 3),
                digits(r["within_spool_sd_mm"], 4),
                digits(r["price_per_litre"], 2)
                if r["price_per_litre"] is None
                else joined(digits(r["price_per_litre"], 2), r["currency"]),
            ]
            for r in rows
        ],
    )
    say(
        screen,
        "a/t/r: spools accepted, tuned, rejected. In mm: offset of the mean from nominal, "
        "standard deviation between lots and within spools.\n",
    )
