"""Suppliers side by side: the document ``lotqa.suppliers.v1``.

One row for each supplier, material and nominal diameter; lots of unlike nominal are never mixed.
Offset: mean over lots of the deviation from nominal, Student over lots; the error of an
instrument is common to all lots read with it, does not average out and is added as squares.
Scatter between lots: one-way analysis with the spool means as values and the lots as groups [1]_,

    lot_to_lot**2 = (MSB - MSW) / n0,     interval recovered from those of MSB and MSW [2]_

Where every lot has one spool, var(means) - mean(u_i**2) instead; it then holds the scatter
between spools.  A negative estimate is shown as 0; its interval says what it may be.
Price: litre = net / density (actual net, else label); a litre accepted or tuned bears the money
of all inspected spools, less refunds, and of the time they took (evidence/money.py), by the
criteria of each lot.  Currencies are never mixed.

.. [1] Searle, Casella & McCulloch, Variance Components (1992), 3.6.
.. [2] Graybill & Wang, JASA 75 (1980) 869 (modified large sample).
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from lotqa.evidence.money import PRICE_ALONE, spent
from lotqa.evidence.summary import mean_and_s
from lotqa.evidence.variances import difference_interval, oneway
from lotqa.evidence.weight import volume_ml
from lotqa.suppliers import words
from lotqa.suppliers.history import GroupKey, LotEstimate, grouped, lot_estimates
from lotqa.suppliers.intervals import combined_interval, known, pair, share_interval
from lotqa.suppliers.records import LotRecord

SCHEMA = "lotqa.suppliers.v1"
FEW_LOTS = 5  # below this a row carries a note of what so few lots can say
ML_A_LITRE = 1000.0


def suppliers_document(records: Iterable[LotRecord]) -> dict[str, Any]:
    """Compare all suppliers; sorted by supplier, material, nominal diameter."""
    groups = grouped(lot_estimates(records))
    names = sorted({key[0] for key, _ in groups})
    return {
        "schema": SCHEMA,
        "suppliers": [_row(key, lots) for key, lots in groups],
        "note": None if groups else words.EMPTY_LEDGER,
        "cautions": [words.alike_names(alike) for alike in _alike(names)],
    }


def _row(key: GroupKey, lots: Sequence[LotEstimate]) -> dict[str, Any]:
    supplier, material, nominal_mm = key
    records = [lot.record for lot in lots]
    row: dict[str, Any] = {
        "supplier": supplier,
        "material": material,
        "nominal_mm": known(nominal_mm),
        "lots": len(lots),
        "newest_lot": records[-1].lot,
        "newest_lot_date": lots[-1].day.isoformat(),
    }
    row |= _counts(records) | _offset(lots) | _between_lots(lots) | _within(lots)
    row |= {"ovality_mm": _mean([r.ovality_mm for r in records])}
    row |= _shortfall(records) | _price(records)
    row |= {"next_lot": None, "next_lot_note": "no forecast is computed"}
    row |= {"cautions": words.instrument_cautions([(r.instrument, r.pin_checked) for r in records])}
    return row | {"note": words.few_lots_compared(row) if len(lots) < FEW_LOTS else None}


def _counts(records: Sequence[LotRecord]) -> dict[str, Any]:
    judged = [r for r in records if _judged(r) is not None]
    accepted = _total(r.spools_accepted for r in judged)
    n_judged = _total(_judged(r) for r in judged)
    share, interval = None, None
    if accepted is not None and n_judged:
        share, interval = accepted / n_judged, pair(*share_interval(accepted, n_judged))
    return {
        "spools": _total(_inspected(r) for r in records),
        "spools_received": _total(r.spools_received for r in records),
        "accepted": accepted,
        "tuned": _total(r.spools_tuned for r in judged),
        "rejected": _total(r.spools_rejected for r in judged),
        "share_accepted": share,
        "share_accepted_ci95": interval,
    }


def _offset(lots: Sequence[LotEstimate]) -> dict[str, Any]:
    usable = [lot for lot in lots if np.isfinite(lot.deviation_mm)]
    m = len(usable)
    if not m:
        return {"offset_mm": None, "offset_ci95_mm": None}
    mean, s = mean_and_s(np.array([lot.deviation_mm for lot in usable]))
    interval = None
    if m > 1:
        low, high = combined_interval(mean, s / np.sqrt(m), m - 1, _u_instruments_mm(usable))
        interval = pair(float(low), float(high))
    return {"offset_mm": float(mean), "offset_ci95_mm": interval}


def _u_instruments_mm(lots: Sequence[LotEstimate]) -> float:
    """What the instruments leave in the mean over lots: common within one, free between two."""
    sums: dict[str | None, list[float]] = {}
    for lot in lots:
        sums.setdefault(lot.record.instrument, []).append(lot.u_instrument_mm**2)
    shares = [(len(u2) / len(lots)) ** 2 * float(np.mean(u2)) for u2 in sums.values()]
    return float(np.sqrt(sum(shares)))


def _between_lots(lots: Sequence[LotEstimate]) -> dict[str, Any]:
    usable = [lot for lot in lots if np.isfinite(lot.deviation_mm)]
    m = len(usable)
    if m < 2:
        return {"lot_to_lot_sd_mm": None, "lot_to_lot_ci95_mm": None, "lot_to_lot_df": None}
    values = [_unit_deviations_mm(lot) for lot in usable]
    if any(len(v) > 1 for v in values):
        group = np.repeat(np.arange(m), [len(v) for v in values])
        found = oneway(np.concatenate(values), group)
        within = found.within / found.n0
        between, df_within = found.between + within, float(found.df_within)
    else:
        _, s = mean_and_s(np.array([lot.deviation_mm for lot in usable]))
        u_places = np.nan_to_num([lot.u_places_mm for lot in usable])
        between, within = float(s) ** 2, float(np.mean(u_places**2))
        df_within = float(sum(lot.df_sd for lot in usable)) or np.inf
    # MSB expects at least MSW: a smaller one is luck, and its upper limit must not shrink to 0.
    variance, low, high = difference_interval(between, m - 1, within, df_within, v1_ceiling=within)
    sd, sd_lo, sd_hi = (float(np.sqrt(max(float(v), 0.0))) for v in (variance, low, high))
    return {
        "lot_to_lot_sd_mm": sd,
        "lot_to_lot_ci95_mm": pair(sd_lo, sd_hi),
        "lot_to_lot_df": m - 1,
    }


def _unit_deviations_mm(lot: LotEstimate) -> list[float]:
    nominal = lot.record.nominal_mm or 0.0  # known, or there were no deviation
    means = [v - nominal for v in lot.record.spool_means_mm if np.isfinite(v)]
    return means or [lot.deviation_mm]


def _within(lots: Sequence[LotEstimate]) -> dict[str, Any]:
    """Spread along the filament pooled over lots, gauge and rounding taken off."""
    usable = [lot for lot in lots if lot.df_sd > 0]
    df = np.array([lot.df_sd for lot in usable], dtype=np.float64)
    if not df.any():
        return {
            "within_spool_sd_mm": _mean([lot.sd_mm for lot in lots]),
            "within_spool_ci95_mm": None,
        }
    observed = np.average([lot.sd_observed_mm**2 for lot in usable], weights=df)
    own = np.average([lot.sd_mm**2 for lot in usable], weights=df)
    _, low, high = difference_interval(observed, df.sum(), observed - own, np.inf)
    ends = (float(np.sqrt(max(float(v), 0.0))) for v in (low, high))
    return {
        "within_spool_sd_mm": float(np.sqrt(own)),
        "within_spool_ci95_mm": pair(*ends) if observed > 0 else None,
    }


def _shortfall(records: Sequence[LotRecord]) -> dict[str, Any]:
    weighed = [r for r in records if r.net_g is not None and r.label_net_g is not None]
    short_g = np.array([r.label_net_g - r.net_g for r in weighed])  # type: ignore[operator]
    m = len(weighed)
    row: dict[str, Any] = {"weighed_lots": m}
    if not m:
        return row | {"shortfall_g": None, "shortfall_ci95_g": None, "shortfall_pct": None}
    mean, s = mean_and_s(short_g)
    interval = None
    if m > 1:
        # The error of the scale is common to all lots.
        u_scale = np.sqrt(np.mean([(r.u_net_g or 0.0) ** 2 for r in weighed]))
        low, high = combined_interval(mean, s / np.sqrt(m), m - 1, u_scale)
        interval = pair(float(low), float(high))
    label_g = np.array([r.label_net_g for r in weighed])
    return row | {
        "shortfall_g": float(mean),
        "shortfall_ci95_g": interval,
        "shortfall_pct": float(np.mean(100 * short_g / label_g)),
    }


def _price(records: Sequence[LotRecord]) -> dict[str, Any]:
    priced = [(r, litres) for r in records if r.price is not None and (litres := _litres(r))]
    currencies = {r.currency for r, _ in priced}
    row: dict[str, Any] = {
        "currency": None,
        "priced_lots": len(priced),
        "price_per_litre": None,
        "price_per_accepted_litre": None,
        "price_note": None,
    }
    if len(currencies) > 1:
        return row | {"price_note": words.mixed_currencies(currencies)}
    if not priced:
        return row | {"price_note": words.NO_PRICE}
    money, usable_litres = 0.0, 0.0
    for record, litres in priced:
        n_inspected = _inspected(record)
        if _judged(record) is not None and n_inspected:
            accepted, tuned = record.spools_accepted or 0, record.spools_tuned or 0
            lost = n_inspected - accepted - tuned  # rejected, or given no verdict
            handling = record.handling or PRICE_ALONE
            money += spent(record.price or 0.0, accepted, tuned, lost, handling).total
            usable_litres += litres * (accepted + tuned)
    return row | {
        "currency": currencies.pop(),
        "price_per_litre": _mean([(r.price or 0.0) / litres for r, litres in priced]),
        "price_per_accepted_litre": money / usable_litres if usable_litres else None,
    }


def _litres(record: LotRecord) -> float | None:
    """Litres of filament on one spool; None where mass or density is not known."""
    mass_g = record.label_net_g if record.net_g is None else record.net_g
    if not mass_g or not record.density_g_cm3:
        return None
    return float(volume_ml(mass_g, record.density_g_cm3)) / ML_A_LITRE


def _judged(record: LotRecord) -> int | None:
    """Spools with a verdict; None unless all three counts are known."""
    counts = (record.spools_accepted, record.spools_tuned, record.spools_rejected)
    return None if None in counts else sum(n for n in counts if n is not None)


def _inspected(record: LotRecord) -> int | None:
    return _judged(record) if record.spools_inspected is None else record.spools_inspected


def _total(counts: Iterable[int | None]) -> int | None:
    """Sum of what is known; None where nothing is."""
    given = [n for n in counts if n is not None]
    return sum(given) if given else None


def _mean(values: Iterable[float | None]) -> float | None:
    """Plain mean of what is known; None where nothing is."""
    given = [v for v in values if v is not None and np.isfinite(v)]
    return float(np.mean(given)) if given else None


def _alike(names: Sequence[str]) -> list[list[str]]:
    """Names that differ in case or blanks only."""
    counts = Counter(words.folded(name) for name in names)
    twice = [key for key, n in counts.items() if n > 1]
    return [[name for name in names if words.folded(name) == key] for key in twice]
