"""How closely a lot is looked at, by what the ledger says of the lots before it.

The effort is worked out anew from the outcomes each time, never read from the record.  A lot
counts once, by its newest inspection, on its day (received, else first inspected).  MIL-STD-105E
4.7.1 counts the first inspection only, since there a lot resubmitted was sorted meanwhile; here
the same goods are measured again, and mostly more closely.

A lot meets the effort that lots of earlier days left.  What it leaves for the next one follows
from all lots.  Where that differs from what was recorded last, a change is recorded with it: a
step, if the lot is new, the last of all, and took the effort there by a rule; else a correction (a
lot of an earlier day, one inspected again, other rules, a ledger older than this record).  What was
recorded stays.
"""

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from lotqa.criteria import Criteria
from lotqa.errors import UnusableCriteria
from lotqa.evidence.tares import folded
from lotqa.ledger import EffortChange, KeptOutcome, Ledger
from lotqa.ledger.efforts import START
from lotqa.sampling.switching import NAMES, Effort, LotOutcome, Rules, State, effort_after

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

AS: dict[State, str] = {
    "normal": "normal",
    "tightened": "tightened",
    "reduced": "reduced",
    "skip": "skip-lot",
}


@dataclass(frozen=True, slots=True)
class Past:
    """What is known, before a lot is judged, of its supplier and material."""

    rules: Rules
    before: Effort  # that the lot meets
    is_known: bool = False  # whether the lot names a supplier and a material
    received: date | None = None
    others: tuple[KeptOutcome, ...] = ()  # all lots but this one, in the order of their days
    n_earlier: int = 0  # of them, the ones that ``before`` rests on
    itself: KeptOutcome | None = None  # this lot, if it was inspected before
    recorded: State | None = None  # where the recorded changes ended; None: there are none


@dataclass(frozen=True, slots=True)
class Course:
    """What a lot met and what it leaves."""

    before: Effort
    after: Effort  # that the next lot meets
    change: EffortChange | None  # to be recorded with this lot
    text: str  # both in words


def rules_of(criteria: Criteria) -> Rules:
    """The rules as the buyer wrote them.  Raises UnusableCriteria, which names the key.

    >>> from lotqa.criteria import read_criteria
    >>> rules_of(read_criteria()).restore_accepted
    5
    """
    counts = {f: int(criteria[f"effort.{f}"]) for f in Rules.__slots__ if f != "firm_share"}
    try:
        return Rules(**counts, firm_share=criteria["effort.firm_share"])
    except ValueError as error:
        raise UnusableCriteria(f"effort.{error}") from None


def past_of(
    book: Ledger | None,
    supplier: str | None,
    material: str | None,
    before: date | None,
    lot: str,
    criteria: Criteria,
    *,
    product: str | None,
    colour: str | None,
) -> Past:
    """What ``book`` knows of the lots before one that was received on the day ``before``.

    ``before`` None: the day is not known, then all lots entered before it are earlier.  The lot
    itself, of this product, colour and code, is left out.  A supplier or material that is not named
    has no past, nor has a ledger that is not there (None).  Raises UnusableCriteria.
    """
    rules = rules_of(criteria)
    if not (supplier and material and folded(supplier) and folded(material)):
        return Past(rules, effort_after([], rules))
    kept = [] if book is None else book.outcomes(supplier, material)
    own = [folded(part) for part in (product, colour, lot)]
    mine = [k for k in kept if own == [folded(p) for p in (k.product, k.colour, k.outcome.lot)]]
    itself = mine[-1] if mine else None
    others = [k for k in kept if k not in mine]
    if before is not None:
        earlier = [k for k in others if k.day < before]
    elif itself is not None:
        earlier = [k for k in others if k.lot_id < itself.lot_id]
    else:
        earlier = others
    recorded = [] if book is None else book.efforts(supplier, material)
    return Past(
        rules=rules,
        before=effort_after([k.outcome for k in earlier], rules),
        is_known=True,
        received=before,
        others=tuple(others),
        n_earlier=len(earlier),
        itself=itself,
        recorded=recorded[-1].after if recorded else None,
    )


def effort_before(
    book: Ledger | None,
    supplier: str | None,
    material: str | None,
    before: date | None,
    lot: str,
    criteria: Criteria,
    *,
    product: str | None,
    colour: str | None,
) -> Effort:
    """The effort that a lot arriving now meets; arguments and errors as in :func:`past_of`."""
    return past_of(
        book, supplier, material, before, lot, criteria, product=product, colour=colour
    ).before


def outcome_of(inspection: "Inspection", today: date) -> LotOutcome:
    """The outcome of a lot just judged, as the ledger will keep it."""
    prepared, verdict = inspection.prepared, inspection.lot
    case, received = prepared.case, prepared.lot.sheet.received
    found = (f for of_spool in case.goods.findings for f in of_spool)
    return LotOutcome(
        lot=prepared.lot_code,
        day=(received or today).isoformat(),
        verdict=verdict.verdict,
        standing=verdict.standing,
        critical=sum(f.count for f in found if f.grade == "critical"),
        measured=bool(np.any(case.evidence.diameter.n_places > 0)),
    )


def course(past: Past, outcome: LotOutcome) -> Course | None:
    """What the lot met, and what it leaves to the next; None where nobody is known to remember.

    ``outcome.day`` is the day received, else that of this inspection.
    """
    if not past.is_known:
        return None
    own_day = _own_day(past, outcome)
    outcome = replace(outcome, day=own_day.isoformat())
    # A new lot is entered after those of the same day.
    own = (own_day, float("inf") if past.itself is None else past.itself.lot_id)
    place = sum((k.day, k.lot_id) < own for k in past.others)
    row = [k.outcome for k in past.others]
    after = effort_after([*row[:place], outcome, *row[place:]], past.rules)
    recorded = START if past.recorded is None else past.recorded
    cause = None  # of a correction; None: a step
    if past.itself is not None:
        cause = f"lot {outcome.lot} was inspected again"
    elif place < len(row):
        cause = f"lot {outcome.lot} of {outcome.day} was entered after lots of later days"
    elif effort_after(row, past.rules).state != recorded:
        cause = "the lots or the rules have changed since the last record"
        if past.recorded is None:
            cause = "nothing was recorded before this lot"
    change = _change(recorded, after, cause)
    return Course(past.before, after, change, _text(past, after, change, cause))


def _own_day(past: Past, outcome: LotOutcome) -> date:
    """The day that the ledger will give the lot: measured again later it keeps its own."""
    if past.received is not None:
        return past.received
    today = date.fromisoformat(outcome.day)
    return today if past.itself is None else min(past.itself.first_inspected, today)


def _change(recorded: State, after: Effort, cause: str | None) -> EffortChange | None:
    if after.state == recorded:
        return None
    if cause is None:
        return EffortChange(recorded, after.state, after.why)
    why = f"{cause}; all lots counted in the order of their days: {after.why}"
    return EffortChange(recorded, after.state, why, is_correction=True)


def _text(past: Past, after: Effort, change: EffortChange | None, cause: str | None) -> str:
    told = [_met(past.before), _next(past.before, after)]
    n_later = len(past.others) - past.n_earlier
    if n_later:
        lots, count = ("lot", "counts") if n_later == 1 else ("lots", "count")
        told.insert(1, f"For the next one {n_later} more {lots} of the same day or later {count}.")
    if change is not None and change.is_correction:
        told.append(f"The record is corrected from {NAMES[change.before]}: {cause}.")
    if after.advice:
        told.append(f"{after.advice[0].upper()}{after.advice[1:]}.")
    return " ".join(told)


def arriving(effort: Effort) -> str:
    """What a lot that arrives now meets, as a sentence."""
    return _met(effort, "To be inspected as")


def _met(before: Effort, verb: str = "Inspected as") -> str:
    since = "" if before.since is None else f" since {before.since}"
    due = ""
    if before.state == "skip":
        due = ", due to be measured" if before.is_due else ", not due to be measured"
    return f"{verb} {AS[before.state]}{since}{due} ({_reason(before)})."


def _next(before: Effort, after: Effort) -> str:
    if after.state == "skip":
        due = "to be measured" if after.is_due else "to be weighed and looked at only"
        why = "" if before.state == "skip" else f" ({_reason(after)})"
        return f"The next lot: skip-lot, {due}{why}."
    if after.state == before.state:
        return "The next lot: the same."
    return f"The next lot: {NAMES[after.state]} ({_reason(after)})."


def _reason(effort: Effort) -> str:
    """Why it is so; where it never changed, without the word that stands before it already."""
    return effort.why if effort.since is not None else effort.why.removesuffix(": normal")
