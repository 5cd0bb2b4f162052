"""The document on empty reels, lotqa.tares.v1: what reels weigh, and what that settles."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from lotqa.evidence.hindsight import Hindsight, Outcome, Shortfall
from lotqa.evidence.tares import EmptyReel, empty_reels, folded, record_of, tare_from_record
from lotqa.evidence.weight import interval, tolerable_negative_error_g
from lotqa.verdict.words import counted, number

if TYPE_CHECKING:  # the ledger stands beside this room, not below it
    from lotqa.ledger import SpoolHindsight, TareRow

SCHEMA: Final = "lotqa.tares.v1"
PACK_G: Final = 1000.0  # the pack that a scatter of reels is told against
MOST_DIGITS: Final = 3

Spool = tuple[int, str]  # number of the lot, name of the spool

KNOWN_THEN: Final = {
    "supposed": "reel supposed",
    "alike": "reel from others of the lot",
    "record": "reel from the record",
    "material": "reel supposed by its material",
}
KNOWN_NOW: Final = {
    "itself": "this reel weighed empty",
    "alike": "{n} of this lot weighed empty",
    "record": "{n} of this supplier weighed empty",
}


def tare_document(
    rows: Sequence["TareRow"],
    spools: Sequence["SpoolHindsight"],
    *,
    like_sd_g: float,
    u_scale_g: float,
    ledger: str,
    before: Mapping[Spool, Outcome | None] | None = None,
) -> dict[str, Any]:
    """All weighings, the records they make, and every spool they bear on.

    ``before``: the outcomes before what has just been entered.
    """
    document = {
        "schema": SCHEMA,
        "ledger": ledger,
        "entered": None,
        "records": _records(rows, like_sd_g, u_scale_g),
        "weighings": [_weighing(row) for row in rows],
        "hindsight": [_spool(s, before) for s in spools],
    }
    counted_again(document)
    return document


def counted_again(document: dict[str, Any]) -> None:
    """Put in what the spools of ``hindsight`` add up to; again after some were left out."""
    looked = document["hindsight"]
    document.update(counts=_counts(looked), text=summary(looked))


def summary(looked: Sequence[Mapping[str, Any]]) -> str:
    """How many spools are settled, in one or two sentences."""
    if not looked:
        return "No spool in the ledger waits for its reel."
    n = _counts(looked)
    text = (
        f"{counted(len(looked), 'spool')} came with a reel that was not weighed: "
        f"{n['short']} settled as short, {n['not_short']} as not short, {n['open']} still open"
    )
    if n["no_label"]:
        text += f", {n['no_label']} without a net mass on the label"
    return text + ("." if not n["open"] else ". Weigh the reel when the spool runs out.")


def _counts(looked: Iterable[Mapping[str, Any]]) -> dict[str, int]:
    outcomes = [s["outcome"] for s in looked]
    return {
        "spools": len(outcomes),
        "short": outcomes.count("settled: short"),
        "not_short": outcomes.count("settled: not short"),
        "open": outcomes.count("still open"),
        "no_label": outcomes.count(None),
    }


def _records(rows: Sequence["TareRow"], like_sd_g: float, u_scale_g: float) -> list[dict[str, Any]]:
    reels: dict[tuple[str, ...], list[EmptyReel]] = defaultdict(list)
    for reel in empty_reels(row.weighing for row in rows):
        reels[_group(reel)].append(reel)
    return [_record(group, like_sd_g, u_scale_g) for _, group in sorted(reels.items())]


def _group(reel: EmptyReel) -> tuple[str, ...]:
    """Reels of one kind are alike; without a kind those of one material are listed together."""
    kind = folded(reel.kind)
    return folded(reel.supplier), kind, "" if kind else folded(reel.material)


def _record(reels: Sequence[EmptyReel], like_sd_g: float, u_scale_g: float) -> dict[str, Any]:
    last = reels[-1]
    record = record_of(reels, last.kind)
    assert record is not None  # a group has a reel, for the type checker
    mass_g, u_g = tare_from_record(record, u_scale_g, like_sd_g)
    lo_g, hi_g = interval(mass_g, u_g)
    block = {
        "supplier": last.supplier,
        "reel_kind": last.kind,
        "reel_material": next((r.material for r in reversed(reels) if r.material), None),
        "reels": record.n,
        "weighings": sum(r.n_weighings for r in reels),
        "mean_g": record.mean_g,
        "sd_g": record.sd_g,
        "min_g": min(r.mass_g for r in reels),
        "max_g": max(r.mass_g for r in reels),
        "since": record.first,
        "last": record.last,
        "next_uncertainty_g": 2 * u_g,
        "next_ci95_g": [lo_g, hi_g],
    }
    return {**block, "text": _record_text(block, like_sd_g)}


def _record_text(block: Mapping[str, Any], like_sd_g: float) -> str:
    lo_g, hi_g = block["next_ci95_g"]
    half_g = (hi_g - lo_g) / 2
    allowed_g = float(tolerable_negative_error_g(PACK_G))
    text = (
        f"{reel_name(block)}: {counted(block['reels'], 'reel')} weighed empty, mean "
        f"{number(block['mean_g'], 1)} g. The next one weighs {number(lo_g, 0)} to "
        f"{number(hi_g, 0)} g (95 %)"
    )
    if block["sd_g"] is None:
        text += f", if reels of a kind differ by {number(like_sd_g, 0)} g (standard deviation)"
    if half_g > allowed_g:
        text += (
            f". That is ± {number(half_g, 0)} g: a shortage of {number(allowed_g, 0)} g on "
            f"{number(PACK_G, 0)} g cannot be shown from the gross mass; weigh the reel itself "
            "when it is empty"
        )
    return text + "."


def reel_name(block: Mapping[str, Any]) -> str:
    """A kind of reel in words, with its supplier.

    >>> reel_name({"supplier": "Tallow & Reed", "reel_kind": None, "reel_material": "plastic"})
    'Tallow & Reed, plastic reels without a kind'
    """
    supplier = block["supplier"] or "supplier unknown"
    if block["reel_kind"]:
        return f'{supplier}, reel "{block["reel_kind"]}"'
    material = block["reel_material"]
    return f"{supplier}, {material + ' ' if material else ''}reels without a kind"


def _weighing(row: "TareRow") -> dict[str, Any]:
    return {**asdict(row), "weighed_at": row.weighed_at.isoformat()}


def _spool(s: "SpoolHindsight", before: Mapping[Spool, Outcome | None] | None) -> dict[str, Any]:
    found = s.found
    was = found.outcome if before is None else before.get((s.lot_id, s.spool))
    return {
        "lot_id": s.lot_id,
        "inspection": s.inspection,
        "supplier": s.supplier,
        "lot": s.lot,
        "spool": s.spool,
        "reel_kind": s.reel_kind,
        "reel_material": s.reel_material,
        "label_net_g": s.label_g,
        "tolerable_negative_error_g": found.limit_g,
        "gross_g": s.gross_g,
        "then": {"tare_g": s.tare_then_g, "known": s.known_then, **_shortfall(found.then)},
        "now": None
        if found.now is None
        else {
            "tare_g": s.tare_now_g,
            "known": s.known_now,
            "reels": s.n_reels,
            **_shortfall(found.now),
        },
        "outcome": found.outcome,
        "changed": found.changed,
        "before_this_entry": None if was == found.outcome else was,
        "text": _spool_text(s),
    }


def _shortfall(said: Shortfall) -> dict[str, Any]:
    return {
        "net_g": said.net_g,
        "uncertainty_g": 2 * said.u_net_g,
        "net_ci95_g": [said.net_lo_g, said.net_hi_g],
        "shortfall_g": said.shortfall_g,
        "shortfall_ci95_g": None if said.lo_g is None else [said.lo_g, said.hi_g],
        "short": said.answer,
    }


def _spool_text(s: "SpoolHindsight") -> str:
    found = s.found
    then = KNOWN_THEN.get(s.known_then or "", "reel not weighed")
    parts = [f"Lot {s.lot}, spool {s.spool}. At intake ({then}): {_said(found.then, found)}."]
    if found.now is None or s.known_now is None:
        parts.append("No reel like it has been weighed empty since.")
        if not s.reel_kind and not s.reel_material:
            parts.append("The lot sheet names no reel: give its kind under [reel].")
    else:
        known = KNOWN_NOW[s.known_now].format(n=counted(s.n_reels, "reel"))
        parts.append(f"Now ({known}): {_said(found.now, found)}.")
    if found.outcome is not None:
        parts.append(found.outcome[:1].upper() + found.outcome[1:] + ".")
    return " ".join(parts)


def _said(said: Shortfall, found: Hindsight) -> str:
    if said.shortfall_g is None or said.lo_g is None or said.hi_g is None or found.limit_g is None:
        return (
            f"net {number(said.net_g, 0)} g ({' to '.join(ends(said.net_lo_g, said.net_hi_g))} g)"
        )
    way = {
        "short": "more than",
        "not short": "not more than",
        "open": "which may or may not be more than",
        None: "against",
    }[said.answer]
    side = "short of" if said.shortfall_g >= 0 else "over"
    return (
        f"net {number(said.net_g, 0)} g, {number(abs(said.shortfall_g), 0)} g {side} the label "
        f"(shortfall {' to '.join(ends(said.lo_g, said.hi_g, found.limit_g))} g), {way} the "
        f"{found.limit_g:g} g tolerated"
    )


def ends(lo_g: float, hi_g: float, limit_g: float | None = None) -> tuple[str, str]:
    """Both ends of an interval, with as many decimals as it takes to tell them from the limit.

    >>> ends(15.04, 24.9, 15.0), ends(12.2, 24.9, 15.0)
    (('15.04', '24.90'), ('12', '25'))
    """
    digits = 0
    while digits < MOST_DIGITS and any(
        limit_g is not None and v != limit_g and float(number(v, digits)) == limit_g
        for v in (lo_g, hi_g)
    ):
        digits += 1
    return number(lo_g, digits), number(hi_g, digits)
