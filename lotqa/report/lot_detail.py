"""All figures of the diameter of each spool that is drawn: quantities down, spools across."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from lotqa.report.log_words import LOG_QUANTITIES, log_cell
from lotqa.report.looks import SPOOLS_PER_TABLE
from lotqa.report.lookup import get, rows, text
from lotqa.report.numbers import DIGITS, interval, p_value, percent, shown
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.terms import QUANTITIES
from lotqa.report.texts import plain
from lotqa.report.trace_words import period_text
from lotqa.report.view import Cell, Column, Table
from lotqa.report.words import WORDS

Spool = Mapping[str, Any]


def detail_tables(
    document: Mapping[str, Any], drawn: frozenset[str], first_number: int
) -> tuple[Table, ...]:
    """Tables of at most four spools each, numbered from ``first_number``."""
    spools = [
        s for s in rows(document, "spools") if str(s["spool"]) in drawn and get(s, "diameter")
    ]
    tables: list[Table] = []
    for start in range(0, len(spools), SPOOLS_PER_TABLE):
        chunk = spools[start : start + SPOOLS_PER_TABLE]
        first, last = text(chunk[0], "spool"), text(chunk[-1], "spool")
        words = WORDS.figures_table if len(chunk) > 1 else WORDS.figures_table_one
        body = [[Cell(QUANTITIES[name]), *(cell(s) for s in chunk)] for name, cell in _ROWS.items()]
        body += [[Cell(name), *(log_cell(s, name) for s in chunk)] for name in LOG_QUANTITIES]
        body = [row for row in body if any(c.text != WORDS.dash for c in row[1:])]
        heads = [Column(WORDS.quantity)]
        columns = [number_column(WORDS.reasons_spool.format(spool=text(s, "spool"))) for s in chunk]
        tables.append(
            table(
                first_number + len(tables),
                words.format(first=first, last=last),
                [*heads, *columns],
                body,
                is_stacked=False,
            )
        )
    return tuple(tables)


def _value(key: str, digits: int, *, sign: bool = False) -> Callable[[Spool], Cell]:
    return lambda s: Cell(shown(get(s, "diameter", key), digits, sign=sign))


def _estimate(key: str, ci_key: str, digits: int) -> Callable[[Spool], Cell]:
    return lambda s: estimate(get(s, "diameter", key), get(s, "diameter", ci_key), digits)


def _quantiles(s: Spool) -> Cell:
    pair = [get(s, "diameter", "quantiles_mm", key) for key in ("p05", "p95")]
    return Cell(interval(pair, DIGITS["mm"]))


def _directions(s: Spool) -> Cell:
    known = [d for d in rows(s, "diameter", "directions") if d is not None]
    return Cell(", ".join(f"{d:g}\u00b0" for d in known) or WORDS.dash)


def _free(s: Spool) -> Cell:
    free = get(s, "diameter", "distribution_free")
    coverage = shown(get(free, "coverage_pct"), 1)
    return Cell(
        interval([get(free, "lo_mm"), get(free, "hi_mm")], DIGITS["mm"]),
        "" if coverage == WORDS.dash else WORDS.coverage.format(value=coverage),
    )


def _outside(s: Spool) -> Cell:
    ci = get(s, "diameter", "fraction_outside_ci95")
    digits = DIGITS["fraction_pct"]
    second = ""
    if ci and None not in ci:
        second = WORDS.lo_to_hi.format(lo=percent(ci[0], digits), hi=percent(ci[1], digits))
    return Cell(percent(get(s, "diameter", "fraction_outside"), digits), second)


def _normality(s: Spool) -> Cell:
    if get(s, "diameter", "normality") is None:
        return Cell(WORDS.dash)
    judged = get(s, "diameter", "normality", "judged")
    return Cell(p_value(get(s, "diameter", "normality", "p")), "" if judged else WORDS.not_judged)


def _outliers(s: Spool) -> Cell:
    if get(s, "diameter", "outliers") is None:
        return Cell(WORDS.dash)
    found = rows(s, "diameter", "outliers")
    if not found:
        return Cell(WORDS.no_outliers)
    return Cell(
        str(len(found)),
        "; ".join(
            WORDS.outlier.format(place=text(o, "place"), mean=shown(get(o, "mean_mm"), 3))
            for o in found
        ),
    )


def _order(key: str) -> Callable[[Spool], Cell]:
    return lambda s: Cell(p_value(get(s, "diameter", "order", key)))


def _trend(s: Spool) -> Cell:
    known = get(s, "diameter", "order", "positions_known")
    trend = estimate(
        get(s, "diameter", "order", "trend_mm_per_m"),
        get(s, "diameter", "order", "trend_ci95"),
        4,
        sign=True,
    )
    return trend if known else Cell(WORDS.dash)


def _lag1(s: Spool) -> Cell:
    p = p_value(get(s, "diameter", "order", "lag1_p"))
    return Cell(
        shown(get(s, "diameter", "order", "lag1"), 2, sign=True),
        "" if p == WORDS.dash else WORDS.p_is.format(p=p),
    )


def _wave(s: Spool) -> Cell:
    wave = get(s, "waves")
    if not wave:
        return Cell(WORDS.dash)
    p = WORDS.p_is.format(p=p_value(get(wave, "significance")))
    if get(wave, "found"):
        height = shown(get(wave, "amplitude_mm"), DIGITS["mm"])
        period = period_text(wave["period_m"])
        return Cell(WORDS.wave_found.format(period=period, amplitude=height), p)
    if get(wave, "cannot"):
        return Cell(WORDS.wave_cannot, plain(str(wave["cannot"]).partition(":")[0]))
    if get(wave, "drift"):
        return Cell(WORDS.wave_drift)
    least = shown(get(wave, "detectable_mm"), DIGITS["mm"])
    seen_from = WORDS.wave_seen_from.format(amplitude=least)
    return Cell(WORDS.wave_none, "" if least == WORDS.dash else seen_from)


def _ovality(s: Spool) -> Cell:
    method = text(s, "ovality", "method")
    return Cell(
        shown(get(s, "ovality", "max_mm"), DIGITS["mm"]), "" if method == WORDS.dash else method
    )


# Name of the row in words.QUANTITIES -> its cell, in the order of the page.
_ROWS: Final[dict[str, Callable[[Spool], Cell]]] = {
    "places": lambda s: Cell(text(s, "diameter", "places")),
    "readings": lambda s: Cell(text(s, "diameter", "readings")),
    "directions": _directions,
    "mean": _estimate("mean_mm", "mean_ci95_mm", 3),
    "u_mean": _value("uncertainty_mean_mm", 4),
    "median": _value("median_mm", 3),
    "range": lambda s: Cell(
        interval([get(s, "diameter", "min_mm"), get(s, "diameter", "max_mm")], 3)
    ),
    "quantiles": _quantiles,
    "sd_observed": _value("sd_observed_mm", 4),
    "sd": _estimate("sd_mm", "sd_ci95_mm", 4),
    "rounding": lambda s: Cell(plain(str(get(s, "diameter", "rounding") or WORDS.dash))),
    "cp": _estimate("cp", "cp_ci95", 2),
    "cpk": _estimate("cpk", "cpk_ci95", 2),
    "cpm": _estimate("cpm", "cpm_ci95", 2),
    "quantile_index": _value("quantile_index", 2),
    "tolerance_interval": lambda s: Cell(interval(get(s, "diameter", "tolerance_interval_mm"), 3)),
    "distribution_free": _free,
    "outside": _outside,
    "normality": _normality,
    "outliers": _outliers,
    "runs": _order("runs_p"),
    "trend": _trend,
    "trend_p": _order("trend_p"),
    "lag1": _lag1,
    "effective": lambda s: Cell(shown(get(s, "diameter", "order", "effective_places"), 1)),
    "wave": _wave,
    "ovality_max": _ovality,
    "swing": lambda s: Cell(shown(get(s, "flow", "swing_pct"), 1)),
}
