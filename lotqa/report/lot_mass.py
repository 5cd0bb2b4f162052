"""What is on the reels: the table of masses, weighed lengths, and the sentences beside them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_notes import bundled, spool_names
from lotqa.report.numbers import DIGITS, as_typed, interval, is_known, shown
from lotqa.report.tables import estimate, number_column, table, unless_dash
from lotqa.report.terms import MEANING_WORDS, TARE_WORDS
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Table
from lotqa.report.words import WORDS

Document = Mapping[str, Any]
MASS_TABLE: Final = 2  # where spools were weighed, the table of masses follows that of the spools


@dataclass(frozen=True, slots=True)
class Mass:
    """Tables and sentences about what the spools hold.  A table that is None was not made."""

    table: Table | None
    notes: tuple[str, ...]
    cut_table: Table | None
    cut_notes: tuple[str, ...]
    immersion_notes: tuple[str, ...]


def mass(document: Document, number: int) -> Mass:
    """Tables are numbered from ``number``."""
    weighed = [s for s in rows(document, "spools") if get(s, "weight")]
    made = _mass_table(document, weighed, number)
    cut = [s for s in weighed if get(s, "weight", "cut")]
    return Mass(
        table=made,
        notes=_notes(document, weighed) if made else (),
        cut_table=_cut_table(cut, number + (made is not None)),
        cut_notes=(
            *bundled(_said(cut, "cut", "causes"), len(cut)),
            *bundled(_said([s for s in cut if not _is_compared(s)], "cut", "text"), len(cut)),
        ),
        immersion_notes=bundled(_said(weighed, "immersion", "text"), len(weighed)),
    )


def digits_by(u: float | None) -> int:
    """Digits after the point that an uncertainty leaves worth printing.

    >>> digits_by(1.8), digits_by(0.4), digits_by(0.03), digits_by(None)
    (0, 1, 2, 0)
    """
    if u is None or not is_known(u) or u >= 1:
        return 0
    return 1 if u >= 0.1 else 2


def by_its_interval(value: float | None, ci: Any) -> Cell:
    """An estimate with the digits that its interval leaves."""
    known = [end for end in ci or () if is_known(end)]
    half = (known[1] - known[0]) / 2 if len(known) == 2 else None
    return estimate(value, ci, digits_by(half))


def _mass_table(document: Document, weighed: Sequence[Document], number: int) -> Table | None:
    """One row a spool that was put on a scale, or None."""
    body = [_mass_row(s) for s in weighed]
    if not body:
        return None
    label = as_typed(get(document, "label", "net_g"))
    against = WORDS.against_label.format(label=label) if label != WORDS.dash else WORDS.short_g
    heads = [
        Column(WORDS.spool),
        number_column(WORDS.net_g),
        number_column(against),
        number_column(WORDS.length_m),
        number_column(WORDS.volume_ml),
        number_column(WORDS.grams_per_m),
        number_column(WORDS.tare_g),
    ]
    return table(number, WORDS.mass_table, heads, body)


def _mass_row(spool: Document) -> list[Cell]:
    w = spool["weight"]
    u = get(w, "uncertainty_g")
    net_digits = digits_by(u)
    gross = shown(get(w, "gross_g"), _typed_digits(get(w, "gross_g")))
    return [
        Cell(text(spool, "spool"), "" if gross == WORDS.dash else WORDS.gross.format(value=gross)),
        Cell(shown(get(w, "net_g"), net_digits), _plus_minus(u)),
        _against(get(w, "shortfall_g"), get(w, "shortfall_ci95_g"), net_digits),
        by_its_interval(get(w, "length_m"), get(w, "length_ci95_m")),
        by_its_interval(get(w, "volume_ml"), get(w, "volume_ci95_ml")),
        estimate(get(w, "grams_per_m"), get(w, "grams_per_m_ci95"), 2),
        _tare_cell(w),
    ]


def _against(shortfall: float | None, ci: Any, digits: int) -> Cell:
    """'45 short' or '3 over', the interval in the sense of the word."""
    if shortfall is None or not is_known(shortfall):
        return Cell(WORDS.dash)
    value = shown(abs(shortfall), digits)
    if float(value) == 0:
        return Cell(value, unless_dash(interval(ci, digits)), is_interval=True)
    if shortfall > 0:
        said, ends = WORDS.short_by, ci
    else:
        lo, hi = ci or (None, None)
        said, ends = WORDS.over_by, [None if v is None else -v for v in (hi, lo)]
    return Cell(said.format(value=value), unless_dash(interval(ends, digits)), is_interval=True)


def _tare_cell(w: Document) -> Cell:
    known = get(w, "tare_known")
    u = get(w, "tare", "u_g")
    parts = [
        _plus_minus(None if u is None else 2 * u),
        TARE_WORDS.get(str(known), plain(str(known))) if known else "",
    ]
    return Cell(shown(get(w, "tare_g"), 0), ", ".join(p for p in parts if p))


def _cut_table(cut: Sequence[Document], number: int) -> Table | None:
    """Weighed lengths beside the calliper, or None."""
    if not cut:
        return None
    heads = [
        Column(WORDS.spool),
        number_column(WORDS.grams_per_m),
        number_column(WORDS.by_weight_mm),
        number_column(WORDS.by_calliper_mm),
        number_column(WORDS.apart_mm),
        number_column(WORDS.together_mm),
        number_column(WORDS.apparent_density),
        Column(WORDS.cut_says),
    ]
    return table(number, WORDS.cut_table, heads, [_cut_row(s) for s in cut])


def _is_compared(spool: Document) -> bool:
    return get(spool, "weight", "cut", "agrees") is not None


def _cut_row(spool: Document) -> list[Cell]:
    w, cut = spool["weight"], spool["weight"]["cut"]
    agrees, meaning = get(cut, "agrees"), get(cut, "meaning")
    piece = WORDS.piece.format(
        length=as_typed(get(cut, "length_m")), mass=shown(get(cut, "mass_g"), 2)
    )
    expected = shown(get(w, "density_used_g_cm3"), 2)
    compared = agrees is not None
    says = MEANING_WORDS.get(str(meaning), plain(str(meaning))) if meaning else WORDS.dash
    apparent = estimate(
        get(cut, "apparent_density_g_cm3"), get(cut, "apparent_density_ci95"), DIGITS["density"]
    )
    weight_pct = shown(100 * cut["weight_of_cut"], 0) if get(cut, "weight_of_cut") else ""
    return [
        Cell(text(spool, "spool"), piece),
        estimate(get(cut, "linear_density_g_per_m"), get(cut, "linear_density_ci95"), 3),
        estimate(get(cut, "diameter_mm"), get(cut, "diameter_ci95_mm"), 3),
        estimate(get(spool, "diameter", "mean_mm"), get(spool, "diameter", "mean_ci95_mm"), 3),
        estimate(get(cut, "difference_mm"), get(cut, "difference_ci95_mm"), 3, sign=True),
        Cell(
            shown(get(cut, "combined_mm"), 3) if agrees else WORDS.dash,
            WORDS.by_weight_pct.format(value=weight_pct) if agrees and weight_pct else "",
        ),
        apparent,
        Cell(
            says,
            WORDS.expected.format(value=expected) if expected != WORDS.dash else "",
            mark="" if not compared else "accept" if agrees else "undecided",
            tone="accept" if agrees else "",
        ),
    ]


def _notes(document: Document, weighed: Sequence[Document]) -> tuple[str, ...]:
    """What the numbers of the table rest on, each said once."""
    n = len(weighed)
    guessed = [s for s in weighed if get(s, "weight", "tare_known") not in (None, "itself")]
    lines = [
        *bundled(_said(guessed, "tare", "text"), n),
        *(WORDS.scale_note.format(text=t) for t in bundled(_said(weighed, "scale", "text"), n)),
        *bundled(_densities(weighed), n),
        *_by_weighed_length(weighed),
        *_thin(document, weighed),
        *bundled(_own_sentences(weighed), n),
    ]
    for spool in weighed:
        lines += [plain(c) for c in rows(spool, "weight", "cautions") if plain(c) not in lines]
    return tuple(lines)


def _said(spools: Sequence[Document], *path: str) -> list[tuple[str, str]]:
    found = [(text(s, "spool"), get(s, "weight", *path)) for s in spools]
    return [(name, str(sentence)) for name, sentence in found if sentence]


def _own_sentences(weighed: Sequence[Document]) -> list[tuple[str, str]]:
    """The sentence of each spool that does not stand among its reasons already."""
    return [
        (name, sentence)
        for s, (name, sentence) in ((s, pair) for s in weighed for pair in _said([s], "text"))
        if sentence not in {get(r, "text") for r in rows(s, "reasons")}
    ]


def _densities(weighed: Sequence[Document]) -> list[tuple[str, str]]:
    return [
        (
            text(s, "spool"),
            WORDS.density_note.format(
                value=shown(s["weight"]["density_used_g_cm3"], DIGITS["density"]),
                source=text(s, "weight", "density_source"),
            ),
        )
        for s in weighed
        if is_known(get(s, "weight", "density_used_g_cm3"))
        and get(s, "weight", "volume_ml") is not None
    ]


def _by_weighed_length(weighed: Sequence[Document]) -> list[str]:
    names = [
        text(s, "spool") for s in weighed if get(s, "weight", "grams_per_m_by") == "weighed length"
    ]
    return [WORDS.g_per_m_note.format(spools=spool_names(names))] if names else []


def _thin(document: Document, weighed: Sequence[Document]) -> list[str]:
    """How many metres more a thin spool gives, where that is beyond doubt."""
    nominal = as_typed(get(document, "label", "nominal_mm"))
    lines, in_doubt = [], []
    for s in weighed:
        gain, ci = (get(s, "weight", f"thin_gain_{key}m") for key in ("", "ci95_"))
        ends = [end for end in ci or () if is_known(end)]
        if gain is None or len(ends) < 2:
            continue
        if ends[0] <= 0 <= ends[1]:
            in_doubt.append(text(s, "spool"))
            continue
        words = WORDS.thin_more if gain > 0 else WORDS.thin_fewer
        pair = ends if gain > 0 else [-ends[1], -ends[0]]
        digits = digits_by((ends[1] - ends[0]) / 2)
        lines.append(
            words.format(
                spool=text(s, "spool"),
                gain=shown(abs(gain), digits),
                ci=interval(pair, digits),
                nominal=nominal,
            )
        )
    if in_doubt:
        lines.append(WORDS.thin_in_doubt.format(spools=spool_names(in_doubt), nominal=nominal))
    return lines


def _plus_minus(u: float | None) -> str:
    """'± 2' with the digits that it leaves; empty where it is not known."""
    if u is None or not is_known(u):
        return ""
    return str(WORDS.u_alone.format(u=shown(u, digits_by(u))))


def _typed_digits(value: float | None) -> int:
    """Digits of a mass as it was read, at most two."""
    return min(len(as_typed(value).partition(".")[2]), 2)
