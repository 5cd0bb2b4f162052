"""``lotqa ledger ...``: look at the ledger, and look after it."""

from pathlib import Path
from typing import Annotated, Any

import typer

from lotqa.cli.ledger_remaining import remaining
from lotqa.cli.ledger_tare import TareCommand, tare
from lotqa.cli.options import JsonOption, LedgerOption, LotArgument, MaterialOption, location

app = typer.Typer(
    help="Look at the ledger, and look after it.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("list")
def list_lots(
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    supplier: Annotated[
        str | None, typer.Option(help="Only this supplier.", metavar="TEXT")
    ] = None,
    material: MaterialOption = None,
) -> None:
    """List all lots, each by its newest inspection."""
    from lotqa.cli.screen import console, print_json, say, show_table
    from lotqa.cli.tables import Column, name, right
    from lotqa.cli.words import counted, digits, joined, told
    from lotqa.ledger import Ledger
    from lotqa.months import lot_summary, name_in_ledger

    with Ledger.open(location(ledger), create=False) as book:
        rows = book.lots(material=material)
        if supplier is not None:
            wanted = name_in_ledger(supplier, [r.supplier for r in book.lots()])
            rows = [r for r in rows if r.supplier == wanted]
    if as_json:
        print_json({"schema": "lotqa.lots.v1", "lots": [lot_summary(r) for r in rows]})
        return
    screen = console()
    if rows:
        show_table(
            screen,
            [
                right("no."),
                Column("date", drop=4),
                name("supplier"),
                name("what", drop=3),
                name("lot"),
                right("mean", drop=2),
                right("sd", drop=1),
                Column("verdict"),
            ],
            [
                [
                    str(r.lot_id),
                    r.lot_date.isoformat(),
                    joined(r.supplier),
                    joined(r.material, r.colour),
                    r.lot,
                    digits(r.mean_mm, 3),
                    digits(r.within_spool_sd_mm, 4),
                    told(r.verdict, r.standing),
                ]
                for r in rows
            ],
        )
        say(screen, f"{counted(len(rows), 'lot')}. mean, sd: diameter in mm. ?: provisional.")
    else:
        say(screen, "No lot in the ledger fits: lotqa inspect enters one.")


@app.command("show")
def show_lot(
    lot: LotArgument,
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    raw: Annotated[
        bool, typer.Option("--raw", help="The readings beside the rows as they were typed.")
    ] = False,
) -> None:
    """Show one lot: its inspections, the newest in full."""
    from lotqa.cli.screen import console, print_json, show_table, tell
    from lotqa.cli.tables import Column, right
    from lotqa.cli.words import told
    from lotqa.inspection import Done
    from lotqa.ledger import Ledger
    from lotqa.months import lot_summary, one_lot

    with Ledger.open(location(ledger), create=False) as book:
        row = one_lot(book, lot)
        history = book.lot_history(row.lot_id)
        document = book.document(row.inspection)
        typed = book.raw_rows(row.inspection) if raw else []
    if as_json:
        shown: dict[str, Any] = {
            "schema": "lotqa.lot.v1",
            "inspections": [lot_summary(r) for r in history],
            "newest": document,
        }
        if raw:
            shown["rows"] = [
                {"spool": t.spool, "diameter_mm": t.diameter_mm, "file": t.file, "line": t.line,
                 "text": t.text}
                for t in typed
            ]  # fmt: skip
        print_json(shown)
        return
    from lotqa.cli.lot_screen import show

    screen = console()
    show_table(
        screen,
        [right("inspection"), Column("inspected (UTC)"), right("readings"), Column("verdict")],
        [
            [
                str(r.inspection),
                r.inspected_at.replace(tzinfo=None).isoformat(sep=" ", timespec="minutes"),
                str(r.n_readings),
                told(r.verdict, r.standing),
            ]
            for r in history
        ],
    )
    show(Done(document, None), from_ledger=True)
    for t in typed:
        tell(screen, f"{t.file}:{t.line}: {t.text}  ->  {t.diameter_mm:g} mm")


@app.command("export")
def export(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.", metavar="FOLDER")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
) -> None:
    """Write all as plain CSV tables and JSON documents."""
    from lotqa.cli.screen import console, print_json, tell
    from lotqa.cli.words import counted
    from lotqa.ledger import Ledger

    with Ledger.open(location(ledger), create=False) as book:
        files = book.export(folder)
    if as_json:
        print_json({"schema": "lotqa.export.v1", "files": [str(file) for file in files]})
        return
    tables = [file for file in files if file.parent == folder and file.suffix == ".csv"]
    screen = console()
    for file in tables:
        tell(screen, str(file))
    tell(
        screen,
        f"and {counted(len(files) - len(tables), 'file')} more: documents, criteria, "
        "and what was handed in, as it came.",
    )


@app.command("backup")
def backup(
    target: Annotated[Path, typer.Argument(help="A file that does not exist yet.", metavar="FILE")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
) -> None:
    """Copy the ledger, even in use; verify the copy."""
    from lotqa.cli.screen import console, print_json, tell
    from lotqa.ledger import Ledger

    place = location(ledger)
    with Ledger.open(place, create=False) as book:
        book.backup(target)
        shown = book.location
    if as_json:
        print_json({"schema": "lotqa.backup.v1", "ledger": shown, "backup": str(target)})
        return
    tell(console(), f"{target}: copied from {shown} and verified")


@app.command("check")
def check(as_json: JsonOption = False, ledger: LedgerOption = None) -> None:
    """Look for damage.

    The file itself, hashes of what was typed, sums against their parts.
    """
    from lotqa.cli.screen import console, print_json, tell
    from lotqa.errors import LedgerError
    from lotqa.ledger import Ledger

    with Ledger.open(location(ledger), create=False) as book:
        found = book.check()
        shown = book.location
    if as_json:
        print_json(
            {"schema": "lotqa.check.v1", "ledger": shown, "sound": not found, "found": found}
        )
    if found:
        lines = "\n".join(f"  {text}" for text in found)
        raise LedgerError(f"ledger {shown} is damaged:\n{lines}")
    if not as_json:
        tell(console(), f"{shown}: sound")


app.command("tare", cls=TareCommand)(tare)
app.command("remaining")(remaining)
