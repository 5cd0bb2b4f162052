"""``lotqa demo``: the invented scenario, inspected from first to last."""

from datetime import datetime
from pathlib import Path
from typing import Any

from lotqa.cli.options import CriteriaOption, JsonOption, LedgerOption

LEDGER = "lotqa-demo.sqlite"
REPORTS = "reports"


def demo(
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    criteria: CriteriaOption = None,
) -> None:
    """Inspect eighteen months of invented lots here: a ledger, a page a lot, a page a supplier."""
    from datetime import UTC

    from lotqa.cli.screen import bar, console, print_json, say
    from lotqa.inspection import Sources, run, text_of
    from lotqa.ledger import Ledger
    from lotqa.months import supplier_lots
    from lotqa.report import supplier_page, write_page
    from lotqa.samples import sample_lots

    place = ledger or LEDGER
    folder = Path(REPORTS)
    text, name = text_of(criteria)
    lots = sample_lots()
    done, pages = [], {}
    with bar(len(lots) + 1) as shown:
        for lot in lots:
            shown.step(lot.name)
            done.append(
                run(
                    lot,
                    now=datetime.now(UTC),
                    sources=Sources(criteria_text=text, criteria_name=name),
                    ledger=place,
                    report_folder=folder,
                )
            )
        shown.step("pages of the suppliers")
        with Ledger.open(place) as book:
            for supplier in dict.fromkeys(d.document["lot"]["supplier"] for d in done):
                html = supplier_page(supplier, supplier_lots(book, supplier))
                pages[supplier] = write_page(html, folder, f"supplier_{supplier}")
    if as_json:
        print_json(
            {
                "schema": "lotqa.demo.v1",
                "ledger": place,
                "lots": [
                    {**d.document["lot"], "page": str(d.page), "folder": lot.name}
                    for d, lot in zip(done, lots, strict=True)
                ],
                "supplier_pages": {s: str(p) for s, p in pages.items()},
            }
        )
        return
    screen = console()
    say(screen, "A workshop in a harbour town, its suppliers and all readings are invented.")
    screen.print(_table([d.document["lot"] for d in done]))
    say(screen, f"Ledger: {place} (lotqa suppliers --ledger {place} compares the suppliers)")
    worst: Path | None = next(
        (d.page for d in done if d.document["lot"]["verdict"] == "reject"), done[0].page
    )
    say(screen, f"Open {worst} first; the months of each supplier:")
    for page in pages.values():
        say(screen, f"  {page}")


def _table(lots: list[dict[str, Any]]) -> Any:
    from lotqa.cli.screen import digits, table, told

    right = "right"
    return table(
        (
            ("received", "left"),
            ("supplier", "left"),
            ("what", "left"),
            ("spools", right),
            ("mean, mm", right),
            ("sd, mm", right),
            ("verdict", "left"),
        ),
        [
            (
                str(lot["received"]),
                str(lot["supplier"]),
                f"{lot['material']} {lot['colour']}",
                f"{lot['spools_inspected']}/{lot['spools_received']}",
                digits(lot["mean_mm"], 3),
                digits(lot["within_spool_sd_mm"], 4),
                told(lot["verdict"], lot["standing"]),
            )
            for lot in lots
        ],
    )
