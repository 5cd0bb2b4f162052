"""Empty reels and what they settle, as a terminal shows them."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.screen import console, say, show_table, tell
from lotqa.cli.tables import Column, name, right
from lotqa.cli.words import UNKNOWN, digits, joined

if TYPE_CHECKING:
    from rich.console import Console

KNOWN: Final = {"itself": "itself", "alike": "lot", "record": "record", None: UNKNOWN}


def show(document: Mapping[str, Any], *, each: bool) -> None:
    """What was entered, the record, what is settled; every weighing too if ``each``."""
    screen = console()
    entered, withdrawn = document["entered"], document.get("withdrawn")
    if entered is not None:
        for text in entered["texts"]:
            say(screen, text)
        for record in document["records"]:
            say(screen, record["text"])
        _news(screen, [s for s in document["hindsight"] if s["before_this_entry"]])
        say(screen, document["text"])
        tell(screen, f"Ledger {document['ledger']}: tare {entered['tare']}.")
        return
    if withdrawn is not None:
        say(screen, withdrawn["text"])
    if not document["records"]:
        say(
            screen,
            "No empty reel has been weighed yet: lotqa ledger tare 214 --supplier NAME enters one.",
        )
    else:
        _records(screen, document["records"])
    if each and document["weighings"]:
        _weighings(screen, document["weighings"])
    _settled(screen, document["hindsight"])
    say(screen, document["text"])


def _records(screen: "Console", records: Sequence[Mapping[str, Any]]) -> None:
    show_table(
        screen,
        [
            name("supplier"),
            name("reel"),
            right("reels"),
            right("mean, g"),
            right("sd, g"),
            right("range, g", drop=2),
            right("next, g"),
            Column("since", drop=1),
        ],
        [
            [
                joined(r["supplier"]),
                _reel(r),
                str(r["reels"]),
                digits(r["mean_g"], 1),
                digits(r["sd_g"], 1),
                _range(r["min_g"], r["max_g"]),
                _range(*r["next_ci95_g"]),
                joined(r["since"]),
            ]
            for r in records
        ],
    )
    say(screen, "next: what the next reel of the kind weighs, 95 %.")
    for r in records:
        if "cannot be shown" in r["text"]:
            say(screen, r["text"])


def _weighings(screen: "Console", weighings: Sequence[Mapping[str, Any]]) -> None:
    show_table(
        screen,
        [
            right("tare"),
            Column("weighed"),
            right("mass, g"),
            name("reel"),
            name("lot", drop=2),
            name("spool", drop=2),
            name("note", drop=3),
        ],
        [
            [
                UNKNOWN if w["tare"] is None else str(w["tare"]),
                w["weighed_at"],
                f"{w['mass_g']:g}",
                _reel(w),
                joined(w["lot"]),
                joined(w["spool"]),
                joined(w["note"]),
            ]
            for w in weighings
        ],
    )
    if any(w["tare"] is None for w in weighings):
        say(screen, f"tare {UNKNOWN}: weighed with its lot; the others were entered by hand.")


def _settled(screen: "Console", spools: Sequence[Mapping[str, Any]]) -> None:
    """Spools of which more is known than at intake; the others only count."""
    told = [s for s in spools if s["now"] is not None]
    if not told:
        return
    show_table(
        screen,
        [
            name("lot"),
            name("spool"),
            right("then, g"),
            right("now, g"),
            Column("reel by", drop=2),
            right("limit, g", drop=1),
            Column("in hindsight"),
        ],
        [
            [
                s["lot"],
                s["spool"],
                _short(s["then"], s["tolerable_negative_error_g"]),
                _short(s["now"], s["tolerable_negative_error_g"]),
                KNOWN[s["now"]["known"]],
                digits(s["tolerable_negative_error_g"], 1),
                joined(s["outcome"]) + (", new" if s["changed"] else ""),
            ]
            for s in told
        ],
    )
    say(
        screen,
        "then, now: shortfall against the label at intake and now, 95 %. limit: one tolerable "
        "negative error of the label. reel by: this reel itself weighed empty, reels of its lot, "
        "or the record of its kind. new: another answer than at intake.",
    )


def _news(screen: "Console", spools: Sequence[Mapping[str, Any]]) -> None:
    settled = [s for s in spools if s["outcome"] != "still open"]
    for head, told in (
        ("This settles:", settled),
        ("This opens again:", [s for s in spools if s not in settled]),
    ):
        if told:
            say(screen, head)
        for s in told:
            say(screen, s["text"], indent=2)


def _reel(block: Mapping[str, Any]) -> str:
    return joined(block["reel_kind"] or block["reel_material"])


def _short(said: Mapping[str, Any], limit_g: float | None) -> str:
    from lotqa.report.tare_document import ends

    pair = said["shortfall_ci95_g"]
    return UNKNOWN if pair is None else " to ".join(ends(pair[0], pair[1], limit_g))


def _range(lo: float, hi: float) -> str:
    return f"{digits(lo, 0)} to {digits(hi, 0)}"
