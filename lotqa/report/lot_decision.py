"""The first thing on a lot page: the verdict, what to do now, and what the verdict rests on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.looks import MAX_TALLY
from lotqa.report.lookup import day, get, rows, text
from lotqa.report.lot_money import on_a_reel
from lotqa.report.numbers import DIGITS, shown
from lotqa.report.terms import STANDING_SENTENCES, VERDICT_TITLES, VERDICT_WORDS
from lotqa.report.texts import plain
from lotqa.report.view import Fact, TallyMark, is_only_weighed, verdict_cell
from lotqa.report.words import WORDS

SPOOL_TABLE: Final = 1  # the table of spools is always the first
MANY_TUNED: Final = 4  # more numbers than this belong in the table


@dataclass(frozen=True, slots=True)
class Decision:
    verdict: str
    mark: str
    tone: str
    title: str
    action: str
    facts: tuple[Fact, ...]
    tally: tuple[TallyMark, ...]
    tally_more: str
    tally_label: str


def decision(document: Mapping[str, Any]) -> Decision:
    """The decision of a document in words."""
    lot = document["lot"]
    verdict = lot["verdict"]
    cell = verdict_cell(verdict)
    marks, more, label = _tally(document)
    facts = (
        _standing(document),
        _numbers_to_enter(document),
        on_a_reel(document),
        _claim(lot, get(document, "inspected_at")),
        _spools(lot),
        _unopened(lot),
        _effort(lot),
    )
    return Decision(
        verdict=verdict,
        mark=cell.mark,
        tone=cell.tone,
        title=VERDICT_TITLES.get(verdict, plain(verdict)),
        action=text(lot, "action"),
        facts=tuple(fact for fact in facts if fact is not None),
        tally=marks,
        tally_more=more,
        tally_label=label,
    )


def entry(spool: Mapping[str, Any]) -> tuple[str, str]:
    """(multiplier, diameter) to enter for a spool as text; dashes where nothing is to be entered.

    A spool that only wants drying is to be tuned, too, but its flow is left as it is.
    """
    if not _wants_flow(spool):
        return WORDS.dash, WORDS.dash
    return (
        shown(get(spool, "flow", "multiplier"), DIGITS["multiplier"]),
        shown(get(spool, "flow", "set_diameter_mm"), DIGITS["mm"]),
    )


def _wants_flow(spool: Mapping[str, Any]) -> bool:
    return any(
        r["outcome"] == "tune" and r["check"].startswith("diameter.")
        for r in rows(spool, "reasons")
    )


def either(multiplier: str, diameter: str) -> str:
    """One sentence part that offers the number to enter, one or the other."""
    parts = []
    if multiplier != WORDS.dash:
        parts.append(WORDS.tune_multiplier.format(value=multiplier))
    if diameter != WORDS.dash:
        parts.append(WORDS.tune_diameter.format(value=diameter))
    return f" {WORDS.tune_or} ".join(parts)


def _standing(document: Mapping[str, Any]) -> Fact:
    standing = document["lot"]["standing"]
    wanting = [s for s in rows(document, "spools") if get(s, "more_places")]
    sentences = []
    for spool in wanting:
        n = int(spool["more_places"])
        words = WORDS.firm_by_place if n == 1 else WORDS.firm_by_places
        sentences.append(words.format(spool=text(spool, "spool"), n=n))
    return Fact(
        WORDS.standing,
        STANDING_SENTENCES.get(standing, plain(str(standing))),
        _at_most(sentences, 6),
    )


def _numbers_to_enter(document: Mapping[str, Any]) -> Fact | None:
    lot = document["lot"]
    tuned = [s for s in rows(document, "spools") if s["verdict"] == "tune"]
    multiplier = shown(get(lot, "multiplier"), DIGITS["multiplier"])
    diameter = shown(get(lot, "set_diameter_mm"), DIGITS["mm"])
    if multiplier != WORDS.dash and any(_wants_flow(s) for s in tuned):
        second = (
            WORDS.tune_never_both
            if diameter != WORDS.dash
            else WORDS.tune_only.format(number=SPOOL_TABLE)
        )
        return Fact(WORDS.tune_numbers, either(multiplier, diameter), second)
    groups = rows(lot, "groups")
    if len(groups) <= MANY_TUNED and any(len(g["spools"]) > 1 for g in groups):
        return Fact(
            WORDS.tune_numbers, "; ".join(_of_group(g) for g in groups), WORDS.tune_never_both
        )
    numbered = [(text(s, "spool"), either(*entry(s))) for s in tuned]
    numbered = [(spool, numbers) for spool, numbers in numbered if numbers]
    if not numbered:
        return None
    if len(numbered) > MANY_TUNED:
        return Fact(
            WORDS.tune_numbers,
            WORDS.tune_each.format(number=SPOOL_TABLE),
            WORDS.tune_never_both,
        )
    lines = [WORDS.tune_spool.format(spool=spool, numbers=numbers) for spool, numbers in numbered]
    return Fact(WORDS.tune_numbers, "; ".join(lines), WORDS.tune_never_both)


def _of_group(group: Mapping[str, Any]) -> str:
    words = WORDS.tune_one_spool if len(group["spools"]) == 1 else WORDS.tune_spools
    numbers = either(
        shown(group["multiplier"], DIGITS["multiplier"]),
        shown(group["set_diameter_mm"], DIGITS["mm"]),
    )
    return WORDS.tune_group.format(
        spools=words.format(names=plain(", ".join(group["spools"]))),
        numbers=WORDS.tune_as_set if group["as_it_is"] else numbers,
    )


def _claim(lot: Mapping[str, Any], inspected_at: str | None) -> Fact:
    until, days = get(lot, "claim_until"), get(lot, "claim_days")
    if until is None:
        return Fact(WORDS.claim, WORDS.claim_unknown)
    is_closed = bool(inspected_at) and str(inspected_at)[: len(until)] > until  # ISO dates
    if days is None:
        words = WORDS.claim_closed_only if is_closed else WORDS.claim_until_only
    else:
        words = WORDS.claim_closed if is_closed else WORDS.claim_until
    return Fact(WORDS.claim, words.format(when=day(until), days=days))


def _spools(lot: Mapping[str, Any]) -> Fact:
    counts = {
        name: get(lot, key) if get(lot, key) is not None else WORDS.dash
        for name, key in (
            ("received", "spools_received"),
            ("inspected", "spools_inspected"),
            ("accepted", "accepted"),
            ("tuned", "tuned"),
            ("rejected", "rejected"),
        )
    }
    known = get(lot, "spools_received") is not None
    words = WORDS.spool_count if known else WORDS.spool_count_unknown
    return Fact(WORDS.spools, words.format(**counts))


def _unopened(lot: Mapping[str, Any]) -> Fact | None:
    sentence = get(lot, "unopened", "text")
    if not sentence:
        return None
    return Fact(WORDS.unopened, plain(sentence), plain(get(lot, "unopened", "action") or ""))


def _effort(lot: Mapping[str, Any]) -> Fact | None:
    sentence = get(lot, "effort", "text")
    return Fact(WORDS.effort, plain(sentence)) if sentence else None


def _tally(document: Mapping[str, Any]) -> tuple[tuple[TallyMark, ...], str, str]:
    """A mark for each spool in order, then one for each that was not opened."""
    marks = []
    opened = [s for s in rows(document, "spools") if not is_only_weighed(s)]
    for spool in opened or rows(document, "spools"):
        cell = verdict_cell(spool["verdict"])
        name = WORDS.tally_spool.format(spool=text(spool, "spool"), verdict=cell.text)
        marks.append(TallyMark(cell.mark, cell.tone, name))
    n_opened, n_unopened = len(marks), get(document, "lot", "unopened", "spools") or 0
    counts = [
        f"{sum(s['verdict'] == v for s in opened)} {word}" for v, word in VERDICT_WORDS.items()
    ]
    if n_unopened:
        counts.append(WORDS.tally_unopened.format(n=n_unopened))
    label = WORDS.tally_label.format(text=", ".join(counts))
    marks += [TallyMark("unopened", "soft", WORDS.unopened)] * min(n_unopened, MAX_TALLY)
    n_more = n_opened + n_unopened - MAX_TALLY
    more = WORDS.and_more.format(n=n_more) if n_more > 0 else ""
    return tuple(marks[:MAX_TALLY]), more, label


def _at_most(sentences: Sequence[str], n_most: int) -> str:
    shown_part = " ".join(sentences[:n_most])
    n_more = len(sentences) - n_most
    return f"{shown_part} ({WORDS.and_more.format(n=n_more)})" if n_more > 0 else shown_part
