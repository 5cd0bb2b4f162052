"""``lotqa demo``: the invented scenario, inspected from first to last."""

import shlex
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from lotqa.cli.options import REPORTS, CriteriaOption, JsonOption, limits_of

if TYPE_CHECKING:
    from rich.console import Console

LEDGER: Final = "lotqa-demo.sqlite"


def demo(
    as_json: JsonOption = False,
    # Not LOTQA_LEDGER: invented lots have no business in the ledger that is kept.
    ledger: Annotated[
        str,
        typer.Option(
            "--ledger", help="Ledger file or database URL of the demo.", metavar="FILE|URL"
        ),
    ] = LEDGER,
    criteria: CriteriaOption = None,
) -> None:
    """Inspect eighteen months of invented lots, here.

    Between the lots empty reels are entered, which settle spools in hindsight. Leaves a ledger of
    its own and, in the folder reports, a page a lot, a page a supplier, and a plan for the next lot
    of each.
    """
    from datetime import UTC, datetime

    from lotqa.cli.folder import page_folder
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import console, print_json, say, tell
    from lotqa.samples import sample_lots

    lots = sample_lots()
    done, pages = [], {}
    way_out = "start it in a folder that you may write to"
    with bar(len(lots) + 3) as shown, page_folder(REPORTS, way_out):
        shown.step("starting")
        from lotqa.cli import demo_plans, demo_reels
        from lotqa.inspection import Sources, run, text_of
        from lotqa.ledger import Ledger
        from lotqa.months import supplier_lots
        from lotqa.report import supplier_page, write_page

        text, name = text_of(criteria)
        limits = limits_of(criteria)
        reels = demo_reels.empty_reels(lots)
        n_reels, numbers = len(reels), dict[str, int]()
        for lot in lots:
            shown.step(lot.name)
            for reel in demo_reels.before_month(reels, lot.name):
                demo_reels.enter(ledger, reel, numbers, limits)
            found = run(
                lot,
                now=datetime.now(UTC),
                sources=Sources(criteria_text=text, criteria_name=name),
                ledger=ledger,
                report_folder=REPORTS,
            )
            numbers[lot.name] = found.document["ledger"]["lot_id"]
            done.append(found)
        for reel in reels:
            demo_reels.enter(ledger, reel, numbers, limits)
        hindsight = demo_reels.settled(ledger, n_reels, limits)
        shown.step("pages of the suppliers")
        with Ledger.open(ledger) as book:
            for supplier in dict.fromkeys(d.document["lot"]["supplier"] for d in done):
                html = supplier_page(supplier, supplier_lots(book, supplier))
                pages[supplier] = write_page(html, REPORTS, f"supplier_{supplier}")
        shown.step("plans for the next lots")
        judged = [d.document["lot"] for d in done]
        plans = demo_plans.next_plans(ledger, judged, criteria, REPORTS, datetime.now(UTC))
    if as_json:
        print_json(
            {
                "schema": "lotqa.demo.v1",
                "ledger": ledger,
                "lots": [
                    {**d.document["lot"], "page": str(d.page), "folder": lot.name}
                    for d, lot in zip(done, lots, strict=True)
                ],
                "empty_reels": hindsight,
                "supplier_pages": {s: str(p) for s, p in pages.items()},
                "plans": plans,
            }
        )
        return
    screen = console()
    say(screen, "A workshop in a harbour town, its suppliers and all readings are invented.")
    _table(screen, judged)
    say(
        screen,
        "spools: inspected / asked for / received. mean, sd: diameter in mm. ?: provisional.\n",
    )
    say(screen, hindsight["text"])
    say(screen, f"To see how: lotqa ledger tare --ledger {shlex.quote(ledger)}\n")
    first = next((d.page for d in done if d.document["lot"]["verdict"] == "reject"), done[0].page)
    say(screen, "Open this page first:")
    tell(screen, f"  {first}")
    say(screen, "The months of each supplier:")
    for page in pages.values():
        tell(screen, f"  {page}")
    say(screen)
    demo_plans.tell_plans(screen, judged, plans)
    say(screen, "To compare the suppliers:")
    tell(screen, f"  lotqa suppliers --ledger {shlex.quote(ledger)}")


def _table(screen: "Console", lots: list[dict[str, Any]]) -> None:
    from lotqa.cli.screen import show_table
    from lotqa.cli.tables import Column, name, right
    from lotqa.cli.words import digits, joined, told

    show_table(
        screen,
        [
            Column("received"),
            name("supplier"),
            name("what"),
            right("spools", drop=3),
            right("mean", drop=2),
            right("sd", drop=1),
            Column("verdict"),
        ],
        [
            [
                str(lot["received"]),
                str(lot["supplier"]),
                joined(lot["material"], lot["colour"]),
                f"{lot['spools_inspected']}/{lot['effort']['spools_asked']}"
                f"/{lot['spools_received']}",
                digits(lot["mean_mm"], 3),
                digits(lot["within_spool_sd_mm"], 4),
                told(lot["verdict"], lot["standing"]),
            ]
            for lot in lots
        ],
    )
