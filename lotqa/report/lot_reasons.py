"""Reasons of the lot and of each spool: what counts against it first, what holds folded under."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from lotqa.report.looks import OUTCOME_RANK
from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_mass import MASS_TABLE
from lotqa.report.lot_notes import bundled, pattern, spool_names
from lotqa.report.numbers import beside_limit, digits_for, interval, joined, shown
from lotqa.report.terms import CHECK_NAMES, STANDING_WORDS
from lotqa.report.texts import plain
from lotqa.report.view import Reason, ReasonGroup, outcome_look, spool_cell
from lotqa.report.words import WORDS

FOLDED: Final = frozenset({"pass", "not_checked"})
MEASURED: Final = frozenset({"mm", "g", "%", "m"})  # whole numbers of these are no counts
IN_A_TABLE: Final = frozenset({"weight.net"})  # checks whose numbers are tabled spool by spool
COUNTED: Final = frozenset({"spools", "places", "findings"})


def reason_groups(document: Mapping[str, Any], section: int) -> tuple[ReasonGroup, ...]:
    """The lot first, then what is the same for every spool, then the spools one by one.

    Only checks that hold, were not made or could not be settled are gathered; what counts against
    a spool stands with the spool.
    """
    lot, spools = document["lot"], rows(document, "spools")
    shared = _shared(spools)
    alike = _alike(spools)
    once = frozenset(_same(r) for told in alike for _, r in told)
    groups = [_group(WORDS.reasons_lot, rows(lot, "reasons"), lot, get(lot, "action"))]
    gathered = [r for r in rows(spools[0], "reasons") if _same(r) in shared] if spools else []
    gathered += [_told_once(told) for told in alike]
    if gathered:
        groups.append(_group(WORDS.reasons_alike, gathered))
    for spool in spools:
        own = [r for r in rows(spool, "reasons") if _same(r) not in shared | once]
        title = WORDS.reasons_spool.format(spool=text(spool, "spool"))
        groups.append(_with_sureness(_group(title, own, spool, get(spool, "action")), spool))
    return tuple(
        replace(group, number=f"{section}.{k}", anchor=f"s{section}-{k}")
        for k, group in enumerate(groups, start=1)
    )


def _with_sureness(group: ReasonGroup, spool: Mapping[str, Any]) -> ReasonGroup:
    """How sure the verdict is, what may be stated, a wave; documents before these have none."""
    likely, claim = get(spool, "conformity") or {}, get(spool, "claim") or {}
    wave = get(spool, "waves") or {}
    return replace(
        group,
        sureness=plain(str(get(likely, "text") or "")),
        statements=tuple(plain(str(s)) for s in get(claim, "statements") or ()),
        statement_rule=plain(str(get(claim, "rule") or "")),
        wave=plain(str(get(wave, "text") or "")) if get(wave, "found") else "",
    )


def reason(r: Mapping[str, Any]) -> Reason:
    """One reason; its value and limit never read the same unless they are the same."""
    word, mark, tone = outcome_look(r["outcome"])
    check = str(r["check"])
    details = [value_and_limit(get(r, "value"), get(r, "limit"), get(r, "unit") or "")]
    if get(r, "standing"):
        details.append(STANDING_WORDS.get(r["standing"], plain(str(r["standing"]))))
    return Reason(
        outcome_word=word,
        mark=mark,
        tone=tone,
        name=CHECK_NAMES.get(check, plain(check)),
        text=text(r, "text"),
        detail="; ".join(d for d in details if d),
        key=plain(check),
    )


def value_and_limit(value: Any, limit: Any, unit: str) -> str:
    """'value 0.0249 mm, limit 0.0125 mm'; empty where no value was taken."""
    if value is None or isinstance(value, bool):
        return ""
    if isinstance(value, str) or isinstance(limit, str):
        value_text, limit_text = plain(str(value)), "" if limit is None else plain(str(limit))
    elif isinstance(value, Sequence):
        value_text, limit_text = interval(value, digits_for(None, unit)), ""
    elif isinstance(limit, Sequence):
        value_text, limit_text = _beside_band(value, limit, unit)
    elif limit is None:
        digits = 0 if unit in COUNTED and _is_count(value) else digits_for(value, unit)
        value_text, limit_text = shown(value, digits), ""
    else:
        is_count = unit not in MEASURED and _is_count(value, limit)
        digits = 0 if is_count else digits_for(value, unit)
        value_text, limit_text = beside_limit(value, limit, digits)
    value_text, limit_text = joined(unit, value_text), limit_text and joined(unit, limit_text)
    if limit_text:
        return WORDS.value_limit.format(value=value_text, limit=limit_text)
    return WORDS.value_only.format(value=value_text)


def _is_count(*values: float) -> bool:
    return all(float(v).is_integer() for v in values)


def _beside_band(value: float, band: Sequence[float | None], unit: str) -> tuple[str, str]:
    """A value beside two limits, with the digits that tell it from both."""
    pairs = [beside_limit(value, limit, digits_for(value, unit)) for limit in band]
    return max((p[0] for p in pairs), key=len), WORDS.lo_to_hi.format(
        lo=pairs[0][1], hi=pairs[-1][1]
    )


def _same(r: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(get(r, key) for key in ("check", "outcome", "text", "standing"))


def _is_settled(r: Mapping[str, Any]) -> bool:
    """Nothing against it and nothing left to do; a pass astride its limit is not settled."""
    astride = r["outcome"] == "pass" and get(r, "standing") == "provisional"
    return r["outcome"] in FOLDED and not astride


def _shared(spools: Sequence[Mapping[str, Any]]) -> frozenset[tuple[Any, ...]]:
    """Reasons that say the same of every spool and count against none."""
    if len(spools) < 2:
        return frozenset()
    said = [{_same(r) for r in rows(spool, "reasons") if _is_settled(r)} for spool in spools]
    return frozenset(set.intersection(*said))


def _alike(spools: Sequence[Mapping[str, Any]]) -> list[list[tuple[str, Mapping[str, Any]]]]:
    """Reasons that differ in their numbers only, where a table holds the numbers of every spool.

    Each element is one sentence with the spools it is said of.  What counts against a spool, or
    holds by a hair, stays with the spool.
    """
    shared = _shared(spools)
    found: dict[tuple[Any, ...], list[tuple[str, Mapping[str, Any]]]] = {}
    for spool in spools:
        for r in rows(spool, "reasons"):
            is_open = r["outcome"] == "undecided"
            if r["check"] in IN_A_TABLE and _same(r) not in shared and (is_open or _is_settled(r)):
                key = (r["check"], r["outcome"], pattern(str(get(r, "text"))))
                found.setdefault(key, []).append((text(spool, "spool"), r))
    return [told for told in found.values() if len(told) > 1]


def _told_once(told: Sequence[tuple[str, Mapping[str, Any]]]) -> dict[str, Any]:
    """The reason of the first spool, said of all; its own value would be that of one spool."""
    names = [name for name, _ in told]
    first = told[0][1]
    if len({get(r, "text") for _, r in told}) > 1:
        (line,) = bundled([(name, str(get(r, "text"))) for name, r in told], 0)
        said = WORDS.reasons_alike_note.format(text=line, number=MASS_TABLE)
    else:
        said = WORDS.spool_note.format(spools=spool_names(names), text=get(first, "text"))
    return {**first, "text": said, "value": None}


def _group(
    title: str,
    reasons: Sequence[Mapping[str, Any]],
    judged: Mapping[str, Any] | None = None,
    action: str | None = None,
) -> ReasonGroup:
    # sorted() is stable, so reasons of the same outcome keep the order of the document
    ordered = sorted(reasons, key=lambda r: OUTCOME_RANK.get(r["outcome"], 0))
    settled = [r for r in ordered if _is_settled(r)]
    holding = [reason(r) for r in settled if r["outcome"] == "pass"]
    open_ones = [reason(r) for r in settled if r["outcome"] == "not_checked"]
    counts = []
    if holding:
        counts.append(_counted(len(holding), WORDS.holding_one, WORDS.holding))
    if open_ones:
        counts.append(_counted(len(open_ones), WORDS.not_made_one, WORDS.not_made))
    return ReasonGroup(
        number="",
        anchor="",
        title=title,
        verdict=spool_cell(judged) if judged else None,
        action=plain(action) if action else "",
        failing=tuple(reason(r) for r in ordered if not _is_settled(r)),
        folded=(*holding, *open_ones),
        folded_title=", ".join(counts),
    )


def _counted(n: int, one: str, many: str) -> str:
    return one if n == 1 else many.format(n=n)
