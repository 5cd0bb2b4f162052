"""One inspection in the terminal: the decision first, then spools, then what speaks against."""

from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.screen import console, say, show_table, tell
from lotqa.cli.tables import Column, name, right
from lotqa.cli.words import SIGNS, UNKNOWN, counted, digits, joined, plus_minus, told

if TYPE_CHECKING:
    from rich.console import Console

    from lotqa.inspection import Done

SPOOLS_SHOWN: Final = 20  # of a large archive the worst are shown
PROBLEMS_SHOWN: Final = 20
DOUBT: Final = (
    "?: provisional; a firm verdict asks for an interval a little wider than the 95 % printed."
)
# What drying showed, in words that follow the names of the spools.
MOISTURE: Final = {
    "dry": "dry",
    "wet": "wet",
    "far too wet": "far too wet",
    "cannot tell": "unclear",
    "gained": "heavier than before drying",
    "no limit known": "without a limit to judge by",
}
WANTS_DRYING: Final = ("wet", "far too wet", "cannot tell")
QUIET_IF_KEPT: Final = ("lot.findings_", "lot.means")  # the page and --json tell of them
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
    _goods(screen, document)
    _waves(screen, listed)
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


def _goods(screen: "Console", document: dict[str, Any]) -> None:
    """What is on a reel, what a litre of it costs, and which spools want drying."""
    lot, spools = document["lot"], document["spools"]
    # Documents from before these were kept have neither.
    money, net = lot.get("money") or {}, lot.get("net_content") or {}
    label = document["label"]["net_g"]
    parts = []
    if money.get("mass_source") == "weighed":
        lo, hi = net.get("mean_net_ci95_g") or (None, None)
        ends = "" if lo is None else f" ({digits(lo, 0)} to {digits(hi, 0)})"
        of = "" if label is None else f" of {label:g} g"
        parts.append(f"net {digits(money['mass_g'], 0)} g{ends}{of}")
    elif money.get("mass_g") is not None:
        parts.append(f"{money['mass_g']:g} g by label")
    if money.get("volume_ml") is not None and money.get("length_m") is not None:
        parts.append(f"{digits(money['volume_ml'], 0)} ml, {digits(money['length_m'], 0)} m")
    if money.get("per_litre") is not None:
        parts.append(f"{joined(digits(money['per_litre'], 2), money['currency'])} a litre")
    if parts:
        say(screen, f"On a reel: {'; '.join(parts)}.")
    _moisture(screen, spools)


def _moisture(screen: "Console", spools: list[dict[str, Any]]) -> None:
    """The spools by what drying showed, and how to dry where no spool's action says it."""
    found: dict[str, list[str]] = {}
    advice = ""
    for s in spools:
        state = (s["moisture"] or {}).get("state")
        if state:
            found.setdefault(state, []).append(s["spool"])
        if state in WANTS_DRYING:
            advice = advice or s["moisture"]["drying"]["home"]["text"]
    if not found:
        return
    said = "; ".join(
        f"{'spool' if len(names) == 1 else 'spools'} {_listed(names)} {MOISTURE[state]}"
        for state, names in found.items()
    )
    # An action begins its sentence with the same words in lower case.
    told_already = any(advice[1:-1] in s["action"] for s in spools)
    more = f" {advice}" if advice and not told_already else ""
    say(screen, f"Moisture: {said}.{more}")


def _waves(screen: "Console", spools: list[dict[str, Any]]) -> None:
    """Only waves that were found; documents from before they were looked for have none."""
    for s in spools:
        wave = s.get("waves") or {}
        if wave.get("found"):
            say(screen, f"Spool {s['spool']}: {wave['text']}")


def _listed(names: list[str]) -> str:
    more = len(names) - SPOOLS_SHOWN
    return ", ".join(names[:SPOOLS_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _reasons(screen: "Console", lot: dict[str, Any], spools: list[dict[str, Any]]) -> None:
    for reason in lot["reasons"]:
        if reason["outcome"] != "pass" or not reason["check"].startswith(QUIET_IF_KEPT):
            say(screen, f"Lot: {reason['text']}")
    # Documents from before these were kept have neither.
    for told_of in (
        (lot.get("unopened") or {}).get("action"),
        (lot.get("effort") or {}).get("text"),
    ):
        if told_of:
            say(screen, f"Lot: {told_of}")
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
        tuning, coupon = s.get("tuning") or {}, s.get("coupon") or {}
        if s["verdict"] == "tune" and tuning.get("warning"):
            say(screen, tuning["warning"], indent=2)
        if coupon.get("text"):
            say(screen, f"coupon: {coupon['text']}", indent=2)
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
    if done.cards is not None:
        tell(screen, f"Tuning cards: {done.cards}")
