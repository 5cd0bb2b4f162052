"""``lotqa suppliers``: all suppliers side by side, from the ledger."""

from typing import Any

from lotqa.cli.options import JsonOption, LedgerOption, MaterialOption, location


def suppliers(
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    material: MaterialOption = None,
) -> None:
    """Compare suppliers: lots, verdicts, offset, spread, price per litre."""
    from lotqa.cli.screen import console, print_json, say
    from lotqa.ledger import Ledger
    from lotqa.months import records
    from lotqa.suppliers.comparison import suppliers_document
    from lotqa.suppliers.words import supplier_sentences

    with Ledger.open(location(ledger), create=False) as book:
        found = records(book)
    if material:
        found = [r for r in found if r.material.casefold() == material.casefold()]
    document = suppliers_document(found)
    if as_json:
        print_json(document)
        return
    screen = console()
    screen.print(_table(document["suppliers"]))
    for row in document["suppliers"]:
        say(screen, f"{row['supplier']}, {row['material']}:")
        for sentence in supplier_sentences(row):
            say(screen, f"  {sentence}")
    if not document["suppliers"]:
        say(screen, "The ledger holds no lot that fits.")


def _table(rows: list[dict[str, Any]]) -> Any:
    from lotqa.cli.screen import digits, table

    right = "right"
    return table(
        (
            ("supplier", "left"),
            ("material", "left"),
            ("lots", right),
            ("acc/tune/rej", right),
            ("off nominal", right),
            ("sd lots", right),
            ("sd in spool", right),
            ("per litre", right),
        ),
        [
            (
                r["supplier"],
                r["material"],
                str(r["lots"]),
                "/".join(
                    str(r[k] if r[k] is not None else "–")
                    for k in ("accepted", "tuned", "rejected")
                ),
                digits(r["offset_mm"], 3, sign_always=True),
                digits(r["lot_to_lot_sd_mm"], 3),
                digits(r["within_spool_sd_mm"], 4),
                digits(r["price_per_litre"], 2),
            )
            for r in rows
        ],
    )
