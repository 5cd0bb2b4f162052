"""What drying showed, what to do about it, and what can hurt while doing it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_mass import by_its_interval
from lotqa.report.lot_notes import bundled
from lotqa.report.numbers import as_typed, interval, shown
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.terms import PLATEAU_WORDS, STATE_WORDS
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Table
from lotqa.report.words import WORDS

Document = Mapping[str, Any]
# State of a spool -> (mark, colour of the word).  A spool that is dry needs no advice.
_LOOKS: Final[dict[str, tuple[str, str]]] = {
    "dry": ("accept", "accept"),
    "wet": ("tune", "tune"),
    "far too wet": ("reject", "reject"),
    "cannot tell": ("undecided", ""),
    "gained": ("undecided", ""),
    "no limit known": ("none", ""),
}


@dataclass(frozen=True, slots=True)
class MoistureView:
    """``advice`` and ``cautions`` are empty where every spool that was dried is dry."""

    table: Table
    notes: tuple[str, ...]
    advice: str
    background: tuple[str, ...]
    cautions: tuple[str, ...]


def moisture(document: Document, number: int) -> MoistureView | None:
    """Losses on drying of the spools that were dried and weighed, or None."""
    dried = [s for s in rows(document, "spools") if get(s, "moisture")]
    if not dried:
        return None
    heads = [
        Column(WORDS.spool),
        Column(WORDS.moisture_state),
        number_column(WORDS.loss_g),
        number_column(WORDS.loss_pct),
        number_column(WORDS.reel_water_g),
        number_column(WORDS.filament_loss_pct),
        Column(WORDS.plateau),
    ]
    wet = [s for s in dried if get(s, "moisture", "state") != "dry"]
    home = [get(s, "moisture", "drying", "home", "text") for s in wet]
    first = wet[0]["moisture"] if wet else {}
    background = (
        get(first, "drying", "industrial", "text"),
        get(first, "drying", "glass_transition"),
    )
    return MoistureView(
        table=table(number, WORDS.moisture_table, heads, [_row(s) for s in dried]),
        notes=_notes(dried),
        advice=plain(str(next((t for t in home if t), ""))),
        background=tuple(plain(str(t)) for t in background if t),
        cautions=tuple(plain(str(c)) for c in rows(first, "cautions")),
    )


def _row(spool: Document) -> list[Cell]:
    m = spool["moisture"]
    state = str(get(m, "state") or "")
    mark, tone = _LOOKS.get(state, ("none", ""))
    hours, temperature = as_typed(get(m, "hours")), as_typed(get(m, "temperature_c"))
    dried = WORDS.drying_text.format(hours=hours, temperature=temperature)
    return [
        Cell(text(spool, "spool"), dried if hours != WORDS.dash else ""),
        Cell(STATE_WORDS.get(state, WORDS.dash), mark=mark if state else "", tone=tone),
        Cell(shown(get(m, "loss_g"), 1)),
        estimate(get(m, "loss_pct"), get(m, "loss_ci95_pct"), 2),
        _reel_cell(m),
        Cell(interval(get(m, "filament_ci95_pct"), 2)),
        _plateau_cell(m),
    ]


def _reel_cell(m: Document) -> Cell:
    """What of the loss can be the reel's own water; of an unknown reel it is a supposition."""
    lo, hi = (get(m, "reel_share", end) for end in ("lo_g", "hi_g"))
    if hi is None:
        known = get(m, "reel_share", "known")
        return Cell(WORDS.reel_gives_none if known else WORDS.dash)
    known = get(m, "reel_share", "known")
    return Cell(interval((lo, hi), 0), "" if known else WORDS.if_cardboard)


def _plateau_cell(m: Document) -> Cell:
    word = get(m, "plateau", "word")
    last = by_its_interval(
        get(m, "plateau", "difference_g"), get(m, "plateau", "difference_ci95_g")
    )
    return Cell(
        PLATEAU_WORDS.get(str(word), plain(str(word))) if word else WORDS.weighed_once,
        WORDS.last_stretch.format(value=last.text) if word and last.text != WORDS.dash else "",
    )


def _notes(dried: Sequence[Document]) -> tuple[str, ...]:
    """Sentences of the document, each once; what stands among the reasons is not said again."""
    reasons = " ".join(text(r, "text") for s in dried for r in rows(s, "reasons"))
    # What a reel of known material can lose stands in the table.
    unsaid = [s for s in dried if not get(s, "moisture", "reel_share", "known")]
    lines: list[str] = []
    for path, spools in (
        (("text",), dried),
        (("plateau", "text"), dried),
        (("reel_share", "text"), unsaid),
        (("scale_can_show", "text"), dried),
    ):
        found = [(text(s, "spool"), get(s, "moisture", *path)) for s in spools]
        said = [(name, str(sentence)) for name, sentence in found if sentence]
        lines += bundled([pair for pair in said if plain(pair[1]) not in reasons], len(dried))
    return tuple(lines)
