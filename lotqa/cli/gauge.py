"""``lotqa gauge ...``: know your calliper."""

from pathlib import Path
from typing import Annotated, Optional

import typer

from lotqa.cli.options import (
    REPORTS,
    CriteriaOption,
    JsonOption,
    LedgerOption,
    NoReportOption,
    ReportOption,
    amount,
    limits_of,
    location,
)

STEPS = 5  # start, read, analyse, ledger, page
Text = Optional[str]
ToleranceOption = Annotated[
    float | None,
    typer.Option(
        "--tolerance",
        parser=amount("--tolerance", 0.001, 0.5, "0.05"),
        help="Half width of the band that shares are of, mm.",
        metavar="NUMBER",
    ),
]
InstrumentOption = Annotated[
    Text, typer.Option("--instrument", help="Name of the tool, as in lot.toml.", metavar="TEXT")
]

app = typer.Typer(
    help="Know your calliper: pin check, gauge study, size of a study.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("check")
def check(
    path: Annotated[
        Path, typer.Argument(help="A lot folder, or a pin_checks file.", metavar="PATH")
    ],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    instrument: InstrumentOption = None,
    tolerance: ToleranceOption = None,
    criteria: CriteriaOption = None,
) -> None:
    """Read what a pin of known size says of the tool.

    The offset and how well it is known, whether the tool moved between before and after, and what
    the pin buys. Exit status 2 when it moved more than the criteria allow.
    """
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import print_json
    from lotqa.errors import UnusableInput

    with bar(2) as shown:
        shown.step("starting")
        from lotqa.instrument import run_check
        from lotqa.report.pin_words import moved_message

        shown.step("reading")
        document = run_check(
            path,
            limits_of(criteria),
            instrument=instrument,
            tolerance_mm=tolerance,
            ledger=location(ledger),
        )
    if as_json:
        print_json(document)
    else:
        from lotqa.cli.gauge_screen import show_check

        show_check(document)
    moved = [b for b in document["instruments"] if b["moved"]]
    if moved:
        raise UnusableInput("\n".join(moved_message(document["file"], b) for b in moved))


@app.command("study")
def study(
    file: Annotated[Path, typer.Argument(help="A table of readings.", metavar="FILE")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    no_ledger: Annotated[bool, typer.Option("--no-ledger", help="Enter nothing.")] = False,
    report: ReportOption = REPORTS,
    no_report: NoReportOption = False,
    instrument: InstrumentOption = None,
    tolerance: ToleranceOption = None,
    criteria: CriteriaOption = None,
) -> None:
    """Take the scatter of readings apart: same hand, other hands.

    FILE has the columns place (or position_m), operator, trial, diameter_mm, or one column a hand
    (east_mm, west_mm). The study is kept by the name of the tool, and later inspections use it.
    """
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import print_json

    with bar(STEPS) as shown:
        shown.step("starting")
        from datetime import UTC, datetime

        from lotqa.cli.folder import page_folder
        from lotqa.instrument import run_study

        folder = None if no_report else report
        with page_folder(folder):
            done = run_study(
                file,
                limits_of(criteria),
                now=datetime.now(UTC),
                instrument=instrument,
                tolerance_mm=tolerance,
                ledger=None if no_ledger else location(ledger),
                report_folder=folder,
                step=shown.step,
            )
    if as_json:
        print_json({**done.document, "page": None if done.page is None else str(done.page)})
        return
    from lotqa.cli.gauge_screen import show_study

    show_study(done.document, done.page)


@app.command("plan")
def plan(
    as_json: JsonOption = False,
    tolerance: ToleranceOption = None,
    scatter: Annotated[
        float | None,
        typer.Option(
            parser=amount("--scatter", 0.0001, 0.5, "0.008"),
            help="Standard deviation expected of one reading, mm.",
            metavar="NUMBER",
        ),
    ] = None,
    within: Annotated[
        float,
        typer.Option(
            parser=amount("--within", 1, 500, "30"),
            help="How far above the estimate its 95 % limit may be, %.",
            metavar="NUMBER",
        ),
    ] = 30.0,
    criteria: CriteriaOption = None,
) -> None:
    """Say how many places, trials and operators give a useful answer."""
    from lotqa.cli.screen import print_json
    from lotqa.report.gauge_plan import plan_document

    limits = limits_of(criteria)
    document = plan_document(
        scatter_sd_mm=limits.tools[0].scatter_sd_mm if scatter is None else scatter,
        tolerance_mm=limits.stocks[0].tolerance_mm if tolerance is None else tolerance,
        within_pct=within,
    )
    if as_json:
        print_json(document)
        return
    from lotqa.cli.gauge_screen import show_plan

    show_plan(document)
