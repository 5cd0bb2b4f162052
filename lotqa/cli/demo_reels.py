"""The empty reels of the invented scenario: weighed when the spools had run out."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.tare_entry import Stated, entered, listed
from lotqa.verdict.words import counted

if TYPE_CHECKING:
    from lotqa.criteria import Criteria

FILE: Final = "empty_reels.csv"


@dataclass(frozen=True, slots=True)
class EmptyReel:
    """One line of the file: what was on the scale, and on which day."""

    weighed: date
    lot_folder: str
    spool: str
    mass_g: str  # as typed
    step_g: float


def empty_reels(lots: Sequence[Path]) -> list[EmptyReel]:
    """The reels of these lots, by their day; none if their file is not there."""
    path, folders = lots[0].parent / FILE, {lot.name for lot in lots}
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as lines:
        reels = [
            EmptyReel(
                date.fromisoformat(row["weighed"]),
                row["lot_folder"],
                row["spool"],
                row["mass_g"],
                float(row["scale_step_g"]),
            )
            for row in csv.DictReader(lines)
            if row["lot_folder"] in folders
        ]
    return sorted(reels, key=lambda reel: reel.weighed)


def before_month(reels: list[EmptyReel], month: str) -> Iterator[EmptyReel]:
    """Take from ``reels`` those weighed before a month, such as '2025-08'."""
    while reels and f"{reels[0].weighed:%Y-%m}" < month:
        yield reels.pop(0)


def enter(ledger: str, reel: EmptyReel, lots: Mapping[str, int], limits: "Criteria") -> None:
    """Enter one reel as `lotqa ledger tare` does; ``lots``: numbers in the ledger by folder."""
    # The clock of whoever tries the demo may stand before the scenario ends.
    that_day = datetime.combine(reel.weighed + timedelta(days=1), time(12), UTC)
    stated = Stated(
        lot=str(lots[reel.lot_folder]),
        spool=reel.spool,
        step_g=reel.step_g,
        weighed=reel.weighed,
        note="weighed when the spool had run out",
    )
    now = max(datetime.now(UTC), that_day)
    entered(ledger, float(reel.mass_g), reel.mass_g, stated, limits, now)


def settled(ledger: str, n_reels: int, limits: "Criteria") -> dict[str, Any]:
    """What the empty reels settled of the spools that came without a weighed reel."""
    document = listed(ledger, Stated(), limits)
    counts = document["counts"]
    changed = [s for s in document["hindsight"] if s["changed"]]
    short = [s for s in changed if s["outcome"] == "settled: short"]
    text = (
        f"Reels weighed empty since ({n_reels} when their spools ran out) settle "
        f"{counted(len(changed), 'spool')}: {len(short)} short"
    )
    if short:
        text += " (" + ", ".join(f"lot {s['lot']}, spool {s['spool']}" for s in short) + ")"
    text += f", {len(changed) - len(short)} not short; {counts['open']} still open."
    return {
        "weighed": n_reels,
        "counts": counts,
        "settled": [
            {k: s[k] for k in ("lot_id", "lot", "spool", "outcome", "text")} for s in changed
        ],
        "text": text,
    }
