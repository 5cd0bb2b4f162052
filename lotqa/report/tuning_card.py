"""Tuning cards: what to enter for a spool, on one label and on a phone.

One big number, the multiplier; the diameter beside it is the other way and never both.  A card
fills one label when it is printed and the width of a phone otherwise.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.card_words import CARD_WORDS as SAY
from lotqa.report.looks import TYPE_PT
from lotqa.report.lookup import day, get, joined_known, rows, text
from lotqa.report.lot_decision import entry
from lotqa.report.numbers import DIGITS, as_typed, interval, shown
from lotqa.report.texts import shortened
from lotqa.report.view import Cell, verdict_cell
from lotqa.report.words import WORDS

LONGEST: Final = 36  # characters of a name on one line of a label
LONGEST_SPOOL: Final = 18  # its name is larger


@dataclass(frozen=True, slots=True)
class CardSize:
    """A label; sizes are for paper, a screen uses its own width."""

    width_mm: float
    height_mm: float
    margin_mm: float
    big_pt: float  # the one number
    text_pt: float
    least_pt: float  # the smallest print


LABEL: Final = CardSize(
    width_mm=62.0,
    height_mm=100.0,
    margin_mm=2.5,
    big_pt=38.0,
    text_pt=TYPE_PT["head"] - 0.5,
    least_pt=TYPE_PT["plain"] - 0.5,
)


@dataclass(frozen=True, slots=True)
class TuningCard:
    """One card as text; an empty text has no line."""

    anchor: str
    verdict: Cell
    lot: str
    maker: str
    spool: str
    dry: str
    big: str
    big_name: str
    certainty: str
    other: str
    now: str
    warning: str
    left: str
    label: str
    coupon: str
    made: str


@dataclass(frozen=True, slots=True)
class CardsView:
    """The page of all cards of a lot."""

    title: str
    heading: str
    intro: str
    size: CardSize
    strand_mm: str
    cards: tuple[TuningCard, ...]


def cards_view(document: Mapping[str, Any], size: CardSize = LABEL) -> CardsView:
    """The cards of the spools of a document that are to be tuned, in its order."""
    lot = document["lot"]
    heading = SAY.lot.format(lot=shortened(str(get(lot, "lot") or WORDS.dash), LONGEST))
    wide, high = as_typed(size.width_mm), as_typed(size.height_mm)
    nominal_mm = get(document, "label", "nominal_mm")
    tuned = [s for s in rows(document, "spools") if _has_card(s)]
    return CardsView(
        title=SAY.title.format(heading=heading),
        heading=SAY.title.format(heading=heading),
        intro=SAY.intro.format(size=f"{wide} x {high}") if tuned else SAY.none,
        size=size,
        strand_mm=as_typed(nominal_mm) if nominal_mm else "",
        cards=tuple(_card(document, spool, n) for n, spool in enumerate(tuned, start=1)),
    )


def has_cards(document: Mapping[str, Any]) -> bool:
    """Whether any spool of the document is to be tuned."""
    return any(_has_card(s) for s in rows(document, "spools"))


def _has_card(spool: Mapping[str, Any]) -> bool:
    """To be tuned, and kept by a program that worked out the tuning."""
    return spool["verdict"] == "tune" and get(spool, "tuning", "multiplier") is not None


def _card(document: Mapping[str, Any], spool: Mapping[str, Any], number: int) -> TuningCard:
    lot, tuning = document["lot"], spool["tuning"]
    multiplier, diameter = entry(spool)
    enters = multiplier != WORDS.dash
    present = get(tuning, "set_now", "multiplier")
    maker = [get(lot, "supplier"), get(lot, "material"), get(lot, "colour")]
    ci = interval(get(tuning, "multiplier_ci95"), DIGITS["multiplier"])
    on_one_line = ci.replace(" ", "\u00a0")
    known = SAY.certainty.format(ci=on_one_line)
    certainty = SAY.no_certainty if ci == WORDS.dash else known
    return TuningCard(
        anchor=f"card{number}",
        verdict=verdict_cell(spool["verdict"], spool.get("standing")),
        lot=SAY.lot.format(lot=shortened(str(get(lot, "lot") or WORDS.dash), LONGEST)),
        maker=shortened(joined_known(maker, ", "), LONGEST),
        spool=SAY.spool.format(spool=shortened(text(spool, "spool"), LONGEST_SPOOL)),
        dry=_dry(spool),
        big=multiplier if enters else shown(present, DIGITS["multiplier"]),
        big_name=SAY.multiplier if enters else SAY.keep,
        certainty=certainty if enters else "",
        other=SAY.other.format(diameter=diameter) if enters else "",
        now=SAY.now.format(
            diameter=as_typed(get(tuning, "set_now", "diameter_mm")), multiplier=as_typed(present)
        ),
        warning=_warning(tuning) if enters else "",
        left=_left(tuning),
        label=_label(tuning),
        coupon=_coupon(spool),
        made=SAY.made.format(when=day(get(document, "inspected_at"))),
    )


def _dry(spool: Mapping[str, Any]) -> str:
    if not any(
        r["outcome"] == "tune" and r["check"].startswith("moisture.")
        for r in rows(spool, "reasons")
    ):
        return ""
    home = get(spool, "moisture", "drying", "home") or {}
    ends = [get(home, key) for key in ("lo_h", "hi_h", "lo_c", "hi_c")]
    if None in ends:
        return SAY.dry
    hours, temperature = (_range(*ends[n : n + 2]) for n in (0, 2))
    return SAY.dry_how.format(hours=hours, temperature=temperature)


def _range(lo: float, hi: float) -> str:
    if lo == hi:
        return as_typed(lo)
    return WORDS.lo_to_hi.format(lo=as_typed(lo), hi=as_typed(hi))


def _warning(tuning: Mapping[str, Any]) -> str:
    if not get(tuning, "warning"):
        return ""
    lo, hi = (shown(v, 2) for v in tuning["multiplier_limits"])
    return SAY.suspicious.format(lo=lo, hi=hi)


def _left(tuning: Mapping[str, Any]) -> str:
    swing = get(tuning, "after", "swing_pct")
    top = (get(tuning, "after", "swing_ci95_pct") or (None, None))[1]
    if swing is not None:
        lo, hi = _ends(get(tuning, "after", "line_width_change_mm"), DIGITS["mm"])
        return SAY.left.format(swing=shown(swing, DIGITS["pct"]), lo=lo, hi=hi)
    if top is not None:
        return SAY.left_at_most.format(swing=shown(top, DIGITS["pct"]))
    return SAY.left_unknown


def _label(tuning: Mapping[str, Any]) -> str:
    lo, hi = _ends(get(tuning, "label_allows", "flow_pct"), DIGITS["pct"])
    return SAY.label.format(lo=lo, hi=hi)


def _ends(ends: Sequence[float | None] | None, digits: int) -> tuple[str, str]:
    lo, hi = ends or (None, None)
    return shown(lo, digits, sign=True), shown(hi, digits, sign=True)


def _coupon(spool: Mapping[str, Any]) -> str:
    route = get(spool, "coupon", "by")
    if route is None:
        return ""
    found = spool["coupon"][route]
    return SAY.coupon.format(
        route=route,
        multiplier=shown(found["multiplier"], DIGITS["multiplier"]),
        ci=interval(found["multiplier_ci95"], DIGITS["multiplier"]),
        word=getattr(SAY, found["word"]),
    )
