"""``lotqa inspect PATH``: the main job."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from lotqa.cli.options import (
    CriteriaOption,
    JsonOption,
    LedgerOption,
    MaterialsOption,
    location,
)

if TYPE_CHECKING:
    from rich.console import Console

    from lotqa.inspection import Done

GATE_NOT_ACCEPTED, GATE_PROVISIONAL = 3, 4
STEPS = 4  # read, judge, ledger, page
SPOOLS_SHOWN = 20  # of a large archive the worst are shown
Text = Optional[str]


def inspect(
    path: Annotated[Path, typer.Argument(help="A lot folder, or one readings file.")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    no_ledger: Annotated[bool, typer.Option("--no-ledger", help="Enter nothing.")] = False,
    report: Annotated[
        Path, typer.Option("--report", help="Folder for the page.", metavar="DIR")
    ] = Path("reports"),
    no_report: Annotated[bool, typer.Option("--no-report", help="Draw no page.")] = False,
    criteria: CriteriaOption = None,
    materials: MaterialsOption = None,
    use: Annotated[
        Text, typer.Option(help="What it is for; picks [[for]] blocks of the criteria.")
    ] = None,
    gate: Annotated[
        bool, typer.Option("--gate", help="Exit 3 if not accepted, 4 if provisional.")
    ] = False,
    supplier: Annotated[Text, typer.Option(help="Over what the lot sheet says.")] = None,
    product: Annotated[Text, typer.Option()] = None,
    material: Annotated[Text, typer.Option()] = None,
    colour: Annotated[Text, typer.Option()] = None,
    lot: Annotated[Text, typer.Option(help="The maker's lot code.")] = None,
    received: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Day of receipt.")
    ] = None,
    spools_received: Annotated[int | None, typer.Option(min=1)] = None,
    claim_days: Annotated[int | None, typer.Option(min=0)] = None,
    price: Annotated[float | None, typer.Option(min=0, help="Of one spool.")] = None,
    currency: Annotated[Text, typer.Option()] = None,
    nominal: Annotated[
        float | None, typer.Option(min=0.5, max=5, help="Nominal diameter, mm.")
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option(min=0.001, max=0.5, help="Label tolerance +/-, mm.")
    ] = None,
    net: Annotated[float | None, typer.Option(min=1, help="Label net mass, g.")] = None,
    unit: Annotated[
        Text, typer.Option(help="mm or in: what readings without a unit are in.")
    ] = None,
) -> None:
    """Judge a lot: a folder with lot.toml and readings, or one readings file.

    Prints the verdict with its reasons, writes a page to --report and enters the lot into the
    ledger. Exit status: 0 when the job was done, whatever the verdict; 2 for input that cannot be
    used (then nothing is written); 3 and 4 with --gate.
    """
    from datetime import UTC

    from lotqa.cli.screen import bar, print_json
    from lotqa.errors import UnusableInput
    from lotqa.inspection import Sources, run, text_of
    from lotqa.intake import ReadOptions
    from lotqa.model import Label, LotSheet

    if unit not in (None, "mm", "in"):
        raise UnusableInput(f'--unit is "{unit}": write mm or in')
    criteria_text, criteria_name = text_of(criteria)
    materials_text, materials_name = text_of(materials)
    with bar(STEPS) as shown:
        done = run(
            path,
            now=datetime.now(UTC),
            options=ReadOptions(unit=unit, nominal_mm=nominal),  # type: ignore[arg-type]  # checked above
            stated=LotSheet(
                supplier=supplier,
                product=product,
                material=material,
                colour=colour,
                lot=lot,
                received=None if received is None else received.date(),
                spools_received=spools_received,
                claim_days=claim_days,
                price=price,
                currency=currency,
                label=Label(nominal_mm=nominal, tolerance_mm=tolerance, net_g=net),
            ),
            sources=Sources(criteria_text, criteria_name, materials_text, materials_name, use),
            ledger=None if no_ledger else location(ledger),
            report_folder=None if no_report else report,
            step=shown.step,
        )
    if as_json:
        print_json(done.document)
    else:
        show(done)
    if gate:
        told = done.document["lot"]
        if told["verdict"] != "accept":
            raise typer.Exit(GATE_NOT_ACCEPTED)
        if told["standing"] == "provisional":
            raise typer.Exit(GATE_PROVISIONAL)


def show(done: "Done") -> None:
    """The inspection in the terminal: decision first, then spools, then what speaks against."""
    from lotqa.cli.screen import console, say

    screen = console()
    document, lot = done.document, done.document["lot"]
    head = " · ".join(
        str(v) for v in (lot["supplier"], lot["material"], lot["colour"], f"lot {lot['lot']}") if v
    )
    say(screen, head)
    _decision(screen, lot)
    spools = document["spools"]
    worst_first = sorted(spools, key=lambda s: -("accept", "tune", "reject").index(s["verdict"]))
    listed = spools if len(spools) <= SPOOLS_SHOWN else worst_first[:SPOOLS_SHOWN]
    screen.print(_spool_table(listed))
    if len(listed) < len(spools):
        say(screen, f"{len(spools) - len(listed)} more spools are in the JSON document.")
    _reasons(screen, lot, listed)
    _problems(screen, document["problems"])
    for text in document["missing"]:
        say(screen, f"Not given: {text}")
    entry = document["ledger"]
    if entry:
        what = (
            f"entered as inspection {entry['inspection']}"
            if entry["new"]
            else f"the same content is there already as inspection {entry['inspection']}"
        )
        say(screen, f"Ledger {entry['ledger']}: {what}.")
    if done.page is not None:
        say(screen, f"Page: {done.page}")


def _decision(screen: "Console", lot: dict[str, Any]) -> None:
    from rich.text import Text as Rich

    from lotqa.cli.screen import sign

    line = Rich(f"{sign(lot['verdict'])} {lot['verdict'].upper()}", style="bold")
    line.append(f"  ({lot['standing']})", style="not bold")
    screen.print(line)
    screen.print(Rich(lot["action"]))


def _spool_table(spools: list[dict[str, Any]]) -> Any:
    from lotqa.cli.screen import digits, plus_minus, table, told

    rows = []
    for s in spools:
        d, flow = s["diameter"], s["flow"]
        multiplier = digits(flow["multiplier"], 3) if s["verdict"] == "tune" else "–"
        rows.append(
            (
                s["spool"],
                told(s["verdict"], s["standing"]),
                str(d["places"]),
                plus_minus(d["mean_mm"], d["uncertainty_mean_mm"], 3),
                digits(d["sd_mm"], 4),
                digits(d["cpk"], 2),
                digits(flow["error_pct"], 1, sign_always=True),
                multiplier,
                digits(None if s["weight"] is None else s["weight"]["net_g"], 0),
            )
        )
    right = "right"
    return table(
        (
            ("spool", "left"),
            ("verdict", "left"),
            ("places", right),
            ("mean ± U, mm", right),
            ("sd, mm", right),
            ("Cpk", right),
            ("flow %", right),
            ("multi", right),
            ("net g", right),
        ),
        rows,
    )


def _reasons(screen: "Console", lot: dict[str, Any], spools: list[dict[str, Any]]) -> None:
    from lotqa.cli.screen import say

    for reason in lot["reasons"]:
        say(screen, f"Lot: {reason['text']}")
    for s in spools:
        open_ones = [
            r
            for r in s["reasons"]
            if r["outcome"] in ("tune", "reject", "undecided")
            or (r["standing"] == "provisional" and r["outcome"] != "not_checked")
        ]
        if s["verdict"] == "accept" and not open_ones:
            continue
        say(screen, f"\nSpool {s['spool']}: {s['action']}")
        for r in open_ones:
            mark = r["outcome"] + ("?" if r["standing"] == "provisional" else "")
            say(screen, f"  {mark}: {r['text']}")
        if s["more_places"]:
            say(screen, f"  {s['more_places']} more places would make the verdict firm.")
        elif s["standing"] == "provisional":
            say(screen, "  More places alone will not make the verdict firm.")


def _problems(screen: "Console", problems: list[dict[str, Any]]) -> None:
    from lotqa.cli.screen import say

    if not problems:
        return
    say(screen, f"\nIn the files {len(problems)} things want a look:")
    for p in problems[:SPOOLS_SHOWN]:
        where = f"{p['file']}:{p['line']}" if p["line"] else p["file"]
        used = "" if p["row_used"] else " (row not used)"
        say(screen, f"  {where}: {p['message']}{used}")
    if len(problems) > SPOOLS_SHOWN:
        say(screen, f"  and {len(problems) - SPOOLS_SHOWN} more, all in the JSON document")
