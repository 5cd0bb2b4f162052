"""One inspection in the terminal: the decision first, then spools, then what speaks against."""

from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.screen import console, say, show_table, tell
from lotqa.cli.tables import Column, name, right
from lotqa.cli.words import SIGNS, UNKNOWN, counted, digits, plus_minus, told

if TYPE_CHECKING:
    from rich.console import Console

    from lotqa.inspection import Done

SPOOLS_SHOWN: Final = 20  # of a large archive the worst are shown
PROBLEMS_SHOWN: Final = 20
DOUBT: Final = (
    "?: provisional; a firm verdict asks for an interval a little wider than the 95 % printed."
)
WORST_FIRST: Final = ("reject", "tune", "accept")


def show(done: "Done", *, from_ledger: bool = False) -> None:
    """Print one inspection; ``from_ledger`` says that it was looked up, not made just now."""
    screen = console()
    document, lot = done.document, done.document["lot"]
    head = (lot["supplier"], lot["material"], lot["colour"], f"lot {lot['lot']}")
    say(screen, " · ".join(str(v) for v in head if v))
    say(
        screen,
        f"{SIGNS[lot['verdict']]} {lot['verdict'].upper()}  ({lot['standing']})",
        style="bold",
    )
    say(screen, lot["action"])
    spools = document["spools"]
    listed = spools
    if len(spools) > SPOOLS_SHOWN:
        listed = sorted(spools, key=_badness)[:SPOOLS_SHOWN]
    _spool_table(screen, listed)
    if len(listed) < len(spools):
        say(screen, f"The worst {len(listed)} of {len(spools)} spools; --json tells of all.")
    _reasons(screen, lot, listed)
    _problems(screen, document["problems"])
    for text in document["missing"]:
        say(screen, text)
    _where(screen, done, from_ledger)


def _badness(spool: dict[str, Any]) -> tuple[int, bool]:
    """What puts the worst first, and of equals the firm."""
    return WORST_FIRST.index(spool["verdict"]), spool["standing"] == "provisional"


def _spool_table(screen: "Console", spools: list[dict[str, Any]]) -> None:
    columns = [
        name("spool"),
        Column("verdict"),
        right("places", drop=3),
        right("mean ± U, mm"),
        right("sd, mm", drop=1),
        right("Cpk", drop=5),
        right("flow %", drop=2),
        right("multi"),
        right("net g", drop=4),
    ]
    rows = []
    for s in spools:
        d, flow, weight = s["diameter"], s["flow"], s["weight"]
        rows.append(
            [
                s["spool"],
                told(s["verdict"], s["standing"])
                if d["places"] or s["verdict"] != "accept"
                else "not measured",
                str(d["places"]),
                plus_minus(d["mean_mm"], d["uncertainty_mean_mm"], 3),
                digits(d["sd_mm"], 4),
                digits(d["cpk"], 2),
                digits(flow["error_pct"], 1, sign_always=True),
                digits(flow["multiplier"], 3) if s["verdict"] == "tune" else UNKNOWN,
                digits(None if weight is None else weight["net_g"], 0),
            ]
        )
    told_of = [
        i
        for i, column in enumerate(columns)
        if column.heading == "spool" or any(row[i] != UNKNOWN for row in rows)
    ]
    show_table(screen, [columns[i] for i in told_of], [[row[i] for i in told_of] for row in rows])


def _reasons(screen: "Console", lot: dict[str, Any], spools: list[dict[str, Any]]) -> None:
    for reason in lot["reasons"]:
        say(screen, f"Lot: {reason['text']}")
    doubted = False
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
            doubt = r["standing"] == "provisional" and r["outcome"] != "undecided"
            doubted |= doubt
            say(screen, f"{r['outcome']}{'?' if doubt else ''}: {r['text']}", indent=2)
        if s["more_places"]:
            makes = "place would" if s["more_places"] == 1 else "places would"
            say(screen, f"{s['more_places']} more {makes} make the verdict firm.", indent=2)
        elif s["standing"] == "provisional":
            say(screen, "More places alone will not make the verdict firm.", indent=2)
        # Documents from before these were kept have neither.
        likely, claim = s.get("conformity") or {}, s.get("claim") or {}
        if likely.get("text"):
            say(screen, likely["text"], indent=2)
        for statement in claim.get("statements", ()):
            say(screen, f"may be stated: {statement}", indent=2)
    if doubted:
        say(screen, f"\n{DOUBT}")


def _problems(screen: "Console", problems: list[dict[str, Any]]) -> None:
    if not problems:
        return
    wants = "thing wants" if len(problems) == 1 else "things want"
    say(screen, f"\nIn the files {len(problems)} {wants} a look:")
    for p in problems[:PROBLEMS_SHOWN]:
        where = f"{p['file']}:{p['line']}" if p["line"] else p["file"]
        used = "" if p["row_used"] else " (row not used)"
        say(screen, f"{where}: {p['message']}{used}", indent=2)
    if len(problems) > PROBLEMS_SHOWN:
        say(screen, f"and {len(problems) - PROBLEMS_SHOWN} more; --json tells of all", indent=2)


def _where(screen: "Console", done: "Done", from_ledger: bool) -> None:
    entry = done.document["ledger"]
    if entry:
        number = f"inspection {entry['inspection']}"
        if from_ledger:
            what = number
        elif not entry["new"]:
            what = f"the same content is there already as {number}"
        else:
            what = f"entered as {number}"
            if entry["earlier_inspections"]:
                what += (
                    f", after {counted(entry['earlier_inspections'], 'earlier one')} of this lot"
                )
        tell(screen, f"Ledger {entry['ledger']}: {what}.")
    if done.page is not None:
        tell(screen, f"Page: {done.page}")
