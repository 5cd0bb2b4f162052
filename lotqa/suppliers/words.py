"""Short sentences on lots and suppliers, for terminal and page.

Figures are rounded to 0.001 mm; where two figures of a sentence would then read the same though
they differ, digits are added until they do not.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from lotqa.evidence.summary import chi_square_factors
from lotqa.suppliers.signals import MIN_EARLIER, MeanComparison, SpreadComparison

DIGITS_MM = 3
MAX_DIGITS_MM = 9
EMPTY_LEDGER = "no lots are in the ledger yet: inspect one first"
NO_PRICE = "no price per litre: it needs price, net mass and density of a lot"

Row = Mapping[str, Any]


def folded(name: str) -> str:
    """A name without regard to case and blanks, for comparing only."""
    return " ".join(name.casefold().split())


def counted(n: int, noun: str) -> str:
    """A number with its noun.

    >>> counted(1, "lot"), counted(3, "earlier lot")
    ('1 lot', '3 earlier lots')
    """
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def percent(share: float) -> str:
    """A share of 1 as a percentage; never 0 or 100 unless it is so.

    >>> percent(0.01), percent(0.6667), percent(0.998), percent(1.0)
    ('1', '67', '99.8', '100')
    """
    digits = next((n for n in range(8) if 0 < round(100 * share, n) < 100), 0)
    return f"{100 * share:.{digits}f}"


def offset(mean_mm: float, ci95_mm: Sequence[float | None] | None = None) -> str:
    """Where a mean lies, with its interval.

    >>> offset(-0.021, [-0.030, -0.012])
    '0.021 mm below nominal (95 % 0.012 to 0.030)'
    >>> offset(0.004, [-0.002, 0.010])
    '0.004 mm above nominal (95 % 0.002 below to 0.010 above)'
    """
    ends = [v for v in ci95_mm or () if v is not None]
    digits = _digits_mm(mean_mm, *ends, 0.0)
    text = f"{_side(mean_mm, digits, unit=' mm')} nominal"
    if len(ends) < 2:
        return text
    if min(ends) < 0 < max(ends):
        low, high = (_side(v, digits) for v in ends)
    else:
        low, high = (f"{v:.{digits}f}" for v in sorted(abs(v) for v in ends))
    return f"{text} (95 % {low} to {high})"


def mean_signal(found: MeanComparison, instrument_changed: bool) -> str:
    """A mean that the earlier lots do not lead to expect."""
    digits = _digits_mm(found.deviation_mm, found.lo_mm, found.hi_mm)
    where = "up" if found.deviation_mm > found.hi_mm else "down"
    ends = (_side(v, digits) for v in (found.lo_mm, found.hi_mm))
    return (
        f"mean moved {where}: {_side(found.deviation_mm, digits, unit=' mm')} nominal, "
        f"expected {' to '.join(ends)} from {counted(found.n_earlier, 'earlier lot')}"
        + _instrument(instrument_changed)
    )


def spread_signal(found: SpreadComparison, instrument_changed: bool) -> str:
    """A spread that rose above that of the earlier lots."""
    digits = _digits_mm(found.sd_mm, found.earlier_mm)
    return (
        f"spread rose: {found.sd_mm:.{digits}f} mm against {found.earlier_mm:.{digits}f} mm of "
        f"{counted(found.n_earlier, 'earlier lot')}" + _instrument(instrument_changed)
    )


def trend(line: Row) -> str:
    """A trend of the means, or that none is shown.

    >>> trend({"slope_mm_per_year": -0.012, "ci95": [-0.02, -0.004], "years": 1.5, "lots": 6})
    '6 lots over 1.5 years: 0.012 mm a year thinner (95 % 0.004 to 0.020)'
    """
    slope, (low, high) = line["slope_mm_per_year"], line["ci95"]
    digits = _digits_mm(slope, low, high, 0.0)
    over = f"{counted(line['lots'], 'lot')} over {line['years']:.1f} years: "
    if low <= 0 <= high:
        ends = " to ".join(_pace(v, digits) for v in (low, high))
        return f"{over}no trend shown (95 % {ends} a year)"
    ends = " to ".join(f"{v:.{digits}f}" for v in sorted((abs(low), abs(high))))
    thicker = "thicker" if slope > 0 else "thinner"
    return f"{over}{abs(slope):.{digits}f} mm a year {thicker} (95 % {ends})"


def no_trend(n_lots: int, least: int) -> str:
    """Why there is no trend."""
    if n_lots < least:
        return f"a trend needs {least} lots with a known mean, there are {n_lots}"
    return f"a trend needs lots of different days; all {n_lots} came on one day"


def no_lots(
    supplier: str, material: str | None, suggestions: Sequence[str], materials: Collection[str]
) -> str:
    """Nothing is known of what was asked for; ``materials`` are those of the supplier."""
    of_what = f'"{supplier}"' if material is None else f'"{supplier}" in {material}'
    if suggestions:
        what_now = f"did you mean {' or '.join(_quoted(suggestions))}?"
    elif materials:
        what_now = f"this supplier's lots are of {', '.join(sorted(materials))}"
    else:
        what_now = "inspect one first"
    return f"no lots of {of_what} are in the ledger: {what_now}"


def few_lots(n_lots: int, shift: float | None, false_alarm: float) -> str:
    """What can be said from few lots; ``shift`` in standard deviations between lots."""
    have = counted(n_lots, "lot")
    if n_lots < MIN_EARLIER or shift is None:
        return (
            f"{have}: nothing to compare with yet; lots are compared from number "
            f"{MIN_EARLIER + 1} on"
        )
    return (
        f"{have}: the next lot gives a signal if its mean lies more than {shift:.1f} times the "
        f"scatter between lots from the mean of these (false alarms {percent(false_alarm)} %); "
        "more lots make this sharper"
    )


def few_lots_compared(row: Row) -> str:
    """What a row of few lots can say of its supplier."""
    n, df = row["lots"], row["lot_to_lot_df"]
    have = counted(n, "lot")
    if df is None:
        return f"{have}: tells what came, not what will come; the scatter between lots is not known"
    low, high = (float(v) for v in chi_square_factors(df))
    return (
        f"{have}: the scatter between lots is a rough figure; from so few it may truly be "
        f"{low:.1f} to {high:.1f} times what was seen"
    )


def mixed_nominals(counts: Sequence[tuple[float | None, int]], shown: float | None) -> str:
    """Lots of unlike nominal diameter; ``counts`` holds (nominal, lots)."""
    parts = ", ".join(f"{counted(n, 'lot')} of {_nominal(nominal)}" for nominal, n in counts)
    return f"{parts}: compared among themselves only; trend and note speak of {_nominal(shown)}"


def mixed_currencies(currencies: Collection[str | None]) -> str:
    """Prices that cannot be put together."""
    names = " and ".join(sorted("no currency" if c is None else c for c in currencies))
    return f"prices in {names} are not mixed: no price per litre"


def no_deviation(n_lots: int) -> str:
    """Lots that cannot be compared."""
    return f"{counted(n_lots, 'lot')} without mean or nominal diameter: listed, not compared"


def instrument_cautions(lots: Sequence[tuple[str | None, bool]]) -> list[str]:
    """What the instruments leave open; ``lots`` holds (name, pin checked) of each lot."""
    cautions = []
    n_unchecked = sum(not is_checked for _, is_checked in lots)
    if n_unchecked:
        cautions.append(
            f"{n_unchecked} of {counted(len(lots), 'lot')} measured without a pin check: an error "
            "of the instrument would look like one of the filament"
        )
    n_instruments = len({name for name, _ in lots})
    if n_instruments > 1:
        cautions.append(
            f"measured with {n_instruments} instruments: part of the differences between lots "
            "may be theirs"
        )
    return cautions


def alike_names(names: Sequence[str]) -> str:
    """Suppliers whose names differ in case or blanks only."""
    return f"{' and '.join(_quoted(names))} are kept apart: write one supplier one way"


def supplier_sentences(row: Row) -> tuple[str, ...]:
    """What a row of the comparison says, most wanted first."""
    said = []
    if row["offset_mm"] is not None:
        said.append(
            f"{counted(row['lots'], 'lot')}: mean {offset(row['offset_mm'], row['offset_ci95_mm'])}"
        )
    if row["share_accepted"] is not None:
        low, high = row["share_accepted_ci95"]
        said.append(
            f"{row['accepted']} spools accepted, {row['tuned']} tuned, {row['rejected']} rejected: "
            f"{percent(row['share_accepted'])} % accepted (95 % {percent(low)} to {percent(high)})"
        )
    if row["lot_to_lot_sd_mm"] is not None:
        said.append(_between(row))
    if row["within_spool_sd_mm"] is not None:
        said.append(f"spread along a spool {row['within_spool_sd_mm']:.4f} mm")
    if row["shortfall_g"] is not None:
        short = row["shortfall_g"]
        said.append(f"{abs(short):.1f} g a spool {'short of' if short > 0 else 'over'} the label")
    if row["price_per_litre"] is not None:
        said.append(_price(row))
    return (*said, *(row[key] for key in ("price_note", "note") if row[key]), *row["cautions"])


def mass_flow(row: Row) -> str:
    """How the mass of a metre changed.

    >>> mass_flow({"against": "A", "change_pct": -1.2, "ci95_pct": [-1.9, -0.5], "changed": True})
    '1.2 % less mass a metre than lot A (95 % -1.9 to -0.5 %; density cancels if the recipe stayed)'
    """
    change, (low, high) = row["change_pct"], row["ci95_pct"]
    reach = f"95 % {low:+.1f} to {high:+.1f} %; density cancels if the recipe stayed"
    if not row["changed"]:
        return f"no change of mass a metre from lot {row['against']} shown ({reach})"
    digits = next((n for n in range(1, MAX_DIGITS_MM) if round(abs(change), n)), MAX_DIGITS_MM)
    side = "more" if change > 0 else "less"
    return f"{abs(change):.{digits}f} % {side} mass a metre than lot {row['against']} ({reach})"


def drift_sentences(document: Row) -> tuple[str, ...]:
    """What a drift document says: signals lot by lot, trend, note, cautions."""
    lots = document["lots"]
    if not lots:
        return (document["note"],)
    signals = [
        f"lot {lot['lot']} ({lot['date']}): {signal['text']}"
        for lot in lots
        for signal in lot["signals"] or ()
    ]
    n_compared = sum(lot["signals"] is not None for lot in lots)
    if n_compared and not signals:
        signals = [f"{counted(n_compared, 'lot')} compared with those before: none stands out"]
    weighed = [lot for lot in lots if lot["mass_flow"] is not None]
    signals += [
        f"lot {lot['lot']} ({lot['date']}): {lot['mass_flow']['text']}"
        for lot in weighed
        if lot["mass_flow"]["changed"]
    ]
    if weighed and not any(lot["mass_flow"]["changed"] for lot in weighed):
        signals.append(
            f"{counted(len(weighed), 'lot')} weighed by the metre: none differs from the one before"
        )
    line = document["trend"]
    said = [*signals, line["text"] if line else document["trend_note"], document["note"]]
    return (*(text for text in said if text), *document["cautions"])


def _between(row: Row) -> str:
    sd, (low, high) = row["lot_to_lot_sd_mm"], row["lot_to_lot_ci95_mm"]
    reach = f"95 % {low:.4f} to {high:.4f}" if high is not None else f"at least {low:.4f}"
    if sd == 0:
        return f"no scatter between lots shown beyond that within them ({reach} mm)"
    return f"scatter between lots {sd:.4f} mm ({reach})"


def _price(row: Row) -> str:
    unit = f" {row['currency']}" if row["currency"] else ""
    text = f"{row['price_per_litre']:.2f}{unit} a litre"
    accepted = row["price_per_accepted_litre"]
    if accepted is None:
        return f"{text}; no litre of it accepted or tuned"
    return f"{text}, {accepted:.2f}{unit} a litre accepted or tuned"


def _instrument(changed: bool) -> str:
    return "; the instrument changed with this lot, check it first" if changed else ""


def _quoted(names: Sequence[str]) -> list[str]:
    return [f'"{name}"' for name in names]


def _nominal(nominal_mm: float | None) -> str:
    return "unknown nominal" if nominal_mm is None else f"{nominal_mm:g} mm"


def _side(deviation_mm: float, digits: int, unit: str = "") -> str:
    """A deviation as a size and a side; infinite where a bound is open."""
    if not math.isfinite(deviation_mm):
        return "anything"
    text = f"{abs(deviation_mm):.{digits}f}{unit}"
    return f"{text} {'below' if deviation_mm < 0 else 'above'}"


def _pace(slope: float, digits: int) -> str:
    return f"{abs(slope):.{digits}f} mm {'thinner' if slope < 0 else 'thicker'}"


def _digits_mm(*values: float) -> int:
    """Digits after the point at which figures that differ read differently."""
    finite = sorted({float(v) for v in values if math.isfinite(v)})
    for digits in range(DIGITS_MM, MAX_DIGITS_MM):
        if len({f"{v:.{digits}f}" for v in finite}) == len(finite):
            return digits
    return MAX_DIGITS_MM
