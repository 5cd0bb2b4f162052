"""``lotqa ledger ...``: look at the ledger, and look after it."""

from pathlib import Path
from typing import Annotated, Any

import typer

from lotqa.cli.options import JsonOption, LedgerOption, MaterialOption, location

app = typer.Typer(help="The ledger: list, show, export, backup, check.", no_args_is_help=True)


@app.command("list")
def list_lots(
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    supplier: Annotated[str | None, typer.Option(help="Only this supplier.")] = None,
    material: MaterialOption = None,
) -> None:
    """All lots in the order they came, each by its newest inspection."""
    from lotqa.cli.screen import console, digits, print_json, say, table, told
    from lotqa.ledger import Ledger
    from lotqa.months import lot_summary, name_in_ledger

    with Ledger.open(location(ledger), create=False) as book:
        rows = book.lots(material=material)
        if supplier is not None:
            name = name_in_ledger(supplier, [r.supplier for r in book.lots()])
            rows = [r for r in rows if r.supplier == name]
    if as_json:
        print_json({"schema": "lotqa.lots.v1", "lots": [lot_summary(r) for r in rows]})
        return
    screen = console()
    right = "right"
    screen.print(
        table(
            (
                ("no.", right),
                ("date", "left"),
                ("supplier", "left"),
                ("what", "left"),
                ("lot", "left"),
                ("mean, mm", right),
                ("sd, mm", right),
                ("verdict", "left"),
            ),
            [
                (
                    str(r.lot_id),
                    r.lot_date.isoformat(),
                    r.supplier or "–",
                    " ".join(p for p in (r.material, r.colour) if p) or "–",
                    r.lot,
                    digits(r.mean_mm, 3),
                    digits(r.within_spool_sd_mm, 4),
                    told(r.verdict, r.standing),
                )
                for r in rows
            ],
        )
    )
    say(screen, f"{len(rows)} lots")


@app.command("show")
def show_lot(
    lot: Annotated[str, typer.Argument(help="Lot code, SUPPLIER/LOT, or number in the ledger.")],
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    raw: Annotated[
        bool, typer.Option("--raw", help="The readings beside the rows as they were typed.")
    ] = False,
) -> None:
    """One lot: its inspections, and the newest one's verdict with reasons."""
    from lotqa.cli.inspect import show
    from lotqa.cli.screen import console, print_json, say, table, told
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
    screen = console()
    screen.print(
        table(
            (
                ("inspection", "right"),
                ("inspected", "left"),
                ("readings", "right"),
                ("verdict", "left"),
            ),
            [
                (
                    str(r.inspection),
                    r.inspected_at.isoformat(sep=" ", timespec="minutes"),
                    str(r.n_readings),
                    told(r.verdict, r.standing),
                )
                for r in history
            ],
        )
    )
    show(Done(document, None))
    for t in typed:
        say(screen, f"{t.file}:{t.line}: {t.text}  ->  {t.diameter_mm:g} mm")


@app.command("export")
def export(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")],
    ledger: LedgerOption = None,
) -> None:
    """Write the whole ledger as plain CSV tables and JSON documents."""
    from lotqa.cli.screen import console, say
    from lotqa.ledger import Ledger

    with Ledger.open(location(ledger), create=False) as book:
        files = book.export(folder)
    for file in files:
        say(console(), str(file))


@app.command("backup")
def backup(
    target: Annotated[Path, typer.Argument(help="A file that does not exist yet.")],
    ledger: LedgerOption = None,
) -> None:
    """Copy the ledger while it is in use, and verify the copy."""
    from lotqa.cli.screen import console, say
    from lotqa.ledger import Ledger

    with Ledger.open(location(ledger), create=False) as book:
        book.backup(target)
    say(console(), f"{target}: copied and verified")


@app.command("check")
def check(ledger: LedgerOption = None) -> None:
    """Look for damage: the file itself, hashes of what was typed, sums against their parts."""
    from lotqa.cli.screen import console, say
    from lotqa.errors import LedgerError
    from lotqa.ledger import Ledger

    place = location(ledger)
    with Ledger.open(place, create=False) as book:
        found = book.check()
    if found:
        raise LedgerError(f"{place} is damaged:\n" + "\n".join(f"  {text}" for text in found))
    say(console(), f"{place}: sound")
