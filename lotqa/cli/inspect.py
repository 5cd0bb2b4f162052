"""``lotqa inspect PATH``: the main job."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Optional

import typer

from lotqa.cli.options import (
    REPORTS,
    CriteriaOption,
    JsonOption,
    LedgerOption,
    MaterialsOption,
    NoReportOption,
    ReportOption,
    amount,
    count,
    day,
    location,
    one_of,
)

if TYPE_CHECKING:
    from lotqa.inspection import Done
    from lotqa.model import LotSheet

GATE_NOT_ACCEPTED: Final = 3
GATE_PROVISIONAL: Final = 4
STEPS: Final = 5  # start, read, judge, ledger, page
OVER: Final = "Over what the lot sheet says."
Text = Optional[str]


def _figure(option: str, least: float, most: float, such_as: str, help_text: str) -> Any:
    parser = amount(option, least, most, such_as)
    return typer.Option(option, parser=parser, metavar="NUMBER", help=help_text)


def _whole(option: str, least: int, most: int, help_text: str) -> Any:
    parser = count(option, least, most)
    return typer.Option(option, parser=parser, metavar="NUMBER", help=help_text)


def inspect(
    path: Annotated[
        Path, typer.Argument(help="A lot folder, or one readings file.", metavar="PATH")
    ],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    no_ledger: Annotated[bool, typer.Option("--no-ledger", help="Enter nothing.")] = False,
    report: ReportOption = REPORTS,
    no_report: NoReportOption = False,
    criteria: CriteriaOption = None,
    materials: MaterialsOption = None,
    use: Annotated[
        Text,
        typer.Option(help="What it is for; picks [[for]] blocks of the criteria.", metavar="TEXT"),
    ] = None,
    gate: Annotated[
        bool, typer.Option("--gate", help="Exit 3 if not accepted, 4 if provisional.")
    ] = False,
    supplier: Annotated[Text, typer.Option(help=OVER, metavar="TEXT")] = None,
    product: Annotated[Text, typer.Option(help=OVER, metavar="TEXT")] = None,
    material: Annotated[Text, typer.Option(help=OVER, metavar="TEXT")] = None,
    colour: Annotated[Text, typer.Option(help=OVER, metavar="TEXT")] = None,
    lot: Annotated[Text, typer.Option(help="The maker's lot code.", metavar="TEXT")] = None,
    received: Annotated[
        date | None,
        typer.Option(parser=day("--received"), help="Day of receipt.", metavar="DAY"),
    ] = None,
    spools_received: Annotated[
        int | None, _whole("--spools-received", 1, 1_000_000, "Spools in the lot.")
    ] = None,
    claim_days: Annotated[
        int | None, _whole("--claim-days", 0, 36_500, "Days from receipt to claim in.")
    ] = None,
    price: Annotated[
        float | None, _figure("--price", 0, 1e6, "21.50", "Price of one spool.")
    ] = None,
    currency: Annotated[Text, typer.Option(help="Of the price.", metavar="TEXT")] = None,
    nominal: Annotated[
        float | None, _figure("--nominal", 0.5, 5, "1.75", "Nominal diameter, mm.")
    ] = None,
    tolerance: Annotated[
        float | None, _figure("--tolerance", 0.001, 0.5, "0.05", "Label tolerance +/-, mm.")
    ] = None,
    net: Annotated[
        float | None, _figure("--net", 1, 1e6, "1000", "Label net mass of a spool, g.")
    ] = None,
    unit: Annotated[
        Text,
        typer.Option(
            parser=one_of("--unit", "mm", "in"),
            help="mm or in: what readings without a unit are in.",
            metavar="mm|in",
        ),
    ] = None,
) -> None:
    """Judge a lot: its folder, or one readings file.

    Prints the verdict with its reasons, writes a page to --report and enters the lot into the
    ledger. Exit status: 0 when the job was done, whatever the verdict; 2 for input that cannot be
    used (then nothing is written); 3 and 4 with --gate.
    """
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import print_json

    with bar(STEPS) as shown:
        shown.step("starting")  # the libraries that compute take their time to load
        from lotqa.model import Label, LotSheet

        stated = LotSheet(
            supplier=supplier,
            product=product,
            material=material,
            colour=colour,
            lot=lot,
            received=received,
            spools_received=spools_received,
            claim_days=claim_days,
            price=price,
            currency=currency,
            label=Label(nominal_mm=nominal, tolerance_mm=tolerance, net_g=net),
        )
        done = _done(
            path,
            stated,
            unit,
            criteria,
            materials,
            use,
            None if no_ledger else location(ledger),
            None if no_report else report,
            shown.step,
        )
    if as_json:
        page, cards = (None if p is None else str(p) for p in (done.page, done.cards))
        print_json({**done.document, "page": page, "cards": cards})
    else:
        from lotqa.cli.lot_screen import show

        show(done)
    if gate:
        told = done.document["lot"]
        if told["verdict"] != "accept":
            raise typer.Exit(GATE_NOT_ACCEPTED)
        if told["standing"] == "provisional":
            raise typer.Exit(GATE_PROVISIONAL)


def _done(
    path: Path,
    stated: "LotSheet",
    unit: Any,
    criteria: Path | None,
    materials: Path | None,
    use: str | None,
    ledger: str | None,
    report: Path | None,
    step: Any,
) -> "Done":
    from datetime import UTC, datetime

    from lotqa.cli.folder import page_folder
    from lotqa.inspection import Sources, run, text_of
    from lotqa.intake import ReadOptions

    sources = Sources(*text_of(criteria), *text_of(materials), use)
    with page_folder(report):
        return run(
            path,
            now=datetime.now(UTC),
            options=ReadOptions(unit=unit, nominal_mm=stated.label.nominal_mm),
            stated=stated,
            sources=sources,
            ledger=ledger,
            report_folder=report,
            step=step,
        )
