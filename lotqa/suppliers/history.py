"""One estimate a lot: mean, spread and net mass with their intervals, in date order.

Mean of a lot from k >= 2 spools: the spool means are the units, for a lot is judged through its
spools.  With s their standard deviation and s_i, n_i those of the places of one spool,

    u_s**2 = s**2 / k  or  mean(s_i**2 / n_i) / k,    u_f**2 = u_mean**2 - mean(s_i**2 / n_i)

Of the two u_s the one that makes the interval wider is taken: spool means are not better known
than their places make them.  u_f is the instrument's part, common to all spools (all of u_mean
where no s_i is known).  One spool has its own u_mean, and speaks for no spool beside it.
Spread: s_i pooled by degrees of freedom, chi-square interval [1]_; what the inspection took off
for gauge and rounding is taken off as a known variance.
Means are judged as deviations from nominal.  Places read closely one after another are not
independent; the intervals are then too narrow.

.. [1] NIST/SEMATECH e-Handbook 7.2.3.1; pooling: 2.4.4.4.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np

from lotqa.evidence.arrays import rows_of_equal_count
from lotqa.evidence.summary import mean_and_s, student_quantile
from lotqa.evidence.variances import difference_interval
from lotqa.model import FloatArray, IntArray
from lotqa.suppliers.intervals import combined_interval
from lotqa.suppliers.records import LotRecord

GroupKey = tuple[str, str, float | None]  # supplier, material, nominal_mm


@dataclass(frozen=True, slots=True)
class LotEstimate:
    """What is known of one lot; NaN where not known, infinite where not bounded."""

    record: LotRecord
    day: date  # received, else inspected
    n_spools: int  # with a mean of their own
    n_places: int
    mean_mm: float
    mean_lo_mm: float
    mean_hi_mm: float
    deviation_mm: float  # mean minus nominal
    s_spools_mm: float  # standard deviation of the spool means; NaN for one spool
    u_places_mm: float  # standard uncertainty of the mean by the sampling of the places alone
    u_instrument_mm: float  # 0 where not known
    sd_mm: float  # the filament's own, pooled over the spools
    sd_lo_mm: float
    sd_hi_mm: float
    sd_observed_mm: float
    df_sd: int


@dataclass(frozen=True, slots=True, eq=False)
class _Spools:
    """All spools of all lots, one element a spool; sorted by ``lot``."""

    lot: IntArray
    mean_mm: FloatArray
    sd_mm: FloatArray
    places: FloatArray


def day_of(record: LotRecord) -> date:
    """The day a lot is placed at: received, else inspected."""
    return record.received or record.inspected_at.date()


def newest_inspections(records: Iterable[LotRecord]) -> list[LotRecord]:
    """One record a lot, that of its newest inspection, in date order.

    Lots of one day stand in the order of inspection, then by name, so that the order of
    ``records`` never shows.
    """
    newest: dict[tuple[str, ...], LotRecord] = {}
    for record in sorted(records, key=_moment):
        identity = (record.supplier, record.product, record.material, record.colour, record.lot)
        newest[identity] = record
    return sorted(newest.values(), key=lambda r: (day_of(r), *_moment(r)))


def _moment(record: LotRecord) -> tuple[datetime, str, str, str, str, str, str]:
    when = record.inspected_at
    aware = when if when.tzinfo else when.replace(tzinfo=UTC)
    # What was read settles the rest: two inspections of one lot in one moment.
    names = (record.supplier, record.material, record.product, record.colour, record.lot)
    return (aware, *names, str((record.mean_mm, record.spool_means_mm)))


def lot_estimates(records: Iterable[LotRecord]) -> tuple[LotEstimate, ...]:
    """Estimates of all lots in date order, the newest inspection of each."""
    ordered = newest_inspections(records)
    if not ordered:
        return ()
    n_lots = len(ordered)
    spools = _spools_of(ordered)
    k = np.bincount(spools.lot, minlength=n_lots)
    mean, s_spools = _column(ordered, "mean_mm"), np.full(n_lots, np.nan)
    for lots, rows in rows_of_equal_count(spools.lot, n_lots):
        mean[lots], s_spools[lots] = mean_and_s(spools.mean_mm[rows])

    sd_observed, df_sd, of_places = _pooled(spools, n_lots)
    u_scatter, df, u_fixed = _mean_uncertainty(
        k, s_spools, of_places, df_sd, _column(ordered, "u_mean_mm")
    )
    mean_lo, mean_hi = combined_interval(mean, u_scatter, df, u_fixed)
    sd, sd_lo, sd_hi = _spread(sd_observed, df_sd, _column(ordered, "within_spool_sd_mm"))
    deviation = mean - _column(ordered, "nominal_mm")
    n_places = np.bincount(spools.lot, spools.places, minlength=n_lots)
    u_places = np.sqrt(of_places / np.maximum(k, 1))
    return tuple(
        LotEstimate(
            record=record,
            day=day_of(record),
            n_spools=int(k[i]),
            n_places=int(n_places[i]),
            mean_mm=float(mean[i]),
            mean_lo_mm=float(mean_lo[i]),
            mean_hi_mm=float(mean_hi[i]),
            deviation_mm=float(deviation[i]),
            s_spools_mm=float(s_spools[i]),
            u_places_mm=float(u_places[i]),
            u_instrument_mm=float(u_fixed[i]),
            sd_mm=float(sd[i]),
            sd_lo_mm=float(sd_lo[i]),
            sd_hi_mm=float(sd_hi[i]),
            sd_observed_mm=float(sd_observed[i]),
            df_sd=int(df_sd[i]),
        )
        for i, record in enumerate(ordered)
    )


def grouped(lots: Iterable[LotEstimate]) -> list[tuple[GroupKey, tuple[LotEstimate, ...]]]:
    """Lots by supplier, material and nominal diameter, sorted by name; date order is kept.

    Stock of 1.75 mm and of 2.85 mm comes from different lines, so their deviations are kept
    apart, too.
    """
    groups: dict[GroupKey, list[LotEstimate]] = {}
    for lot in lots:
        key = (lot.record.supplier, lot.record.material, lot.record.nominal_mm)
        groups.setdefault(key, []).append(lot)
    return [(key, tuple(groups[key])) for key in sorted(groups, key=_group_order)]


def _group_order(key: GroupKey) -> tuple[str, str, str, str, float]:
    supplier, material, nominal_mm = key
    last = np.inf if nominal_mm is None else nominal_mm
    return supplier.casefold(), supplier, material.casefold(), material, last


def _column(records: Sequence[LotRecord], name: str) -> FloatArray:
    values = (getattr(record, name) for record in records)
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _spools_of(records: Sequence[LotRecord]) -> _Spools:
    rows = [
        (i, mean, sd, places)
        for i, record in enumerate(records)
        for mean, sd, places in zip(
            record.spool_means_mm, record.spool_sds_mm, record.spool_places, strict=True
        )
        if np.isfinite(mean)
    ]
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    places = np.nan_to_num(table[:, 3])
    # One place has no spread, whatever was written for it.
    sd = np.where(places > 1, table[:, 2], np.nan)
    return _Spools(table[:, 0].astype(np.int64), table[:, 1], sd, places)


def _pooled(spools: _Spools, n_lots: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pooled s, its degrees of freedom, and mean of s_i**2 / n_i; NaN, 0, NaN without spread."""
    has_sd = np.isfinite(spools.sd_mm)
    lot, variance, n = (v[has_sd] for v in (spools.lot, spools.sd_mm**2, spools.places))
    df = np.bincount(lot, n - 1, minlength=n_lots).astype(np.float64)
    n_spools = np.bincount(lot, minlength=n_lots)
    with np.errstate(invalid="ignore"):
        sd = np.sqrt(np.bincount(lot, (n - 1) * variance, minlength=n_lots) / df)
        of_places = np.bincount(lot, variance / n, minlength=n_lots) / n_spools
    return sd, df, of_places


def _mean_uncertainty(
    k: IntArray, s_spools: FloatArray, of_places: FloatArray, df_sd: FloatArray, u_mean: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(u_s, df, u_f) of the lot means, as the docstring of the module has them."""
    several = k > 1
    no_spread = np.isnan(of_places)
    instrument = np.where(no_spread, u_mean**2, np.maximum(u_mean**2 - of_places, 0.0))
    instrument = np.nan_to_num(instrument)

    sampling = of_places / np.maximum(k, 1)
    by_spools = s_spools**2 / np.maximum(k, 1)
    wider_by_places = (
        student_quantile(df_sd) ** 2 * sampling > student_quantile(k - 1.0) ** 2 * by_spools
    )
    use_spools = several & ~wider_by_places
    scatter = np.where(use_spools, by_spools, sampling)
    df = np.where(use_spools, k - 1, df_sd)
    # One spool known by its uncertainty alone: its parts cannot be told apart.
    whole = ~several & no_spread
    scatter = np.where(whole, np.where(np.isnan(u_mean), np.nan, 0.0), scatter)
    return np.sqrt(scatter), df, np.sqrt(instrument)


def _spread(
    sd_observed: FloatArray, df: FloatArray, own: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The filament's own standard deviation with its interval."""
    removed = np.nan_to_num(np.maximum(sd_observed**2 - own**2, 0.0))
    variance, low, high = difference_interval(sd_observed**2, df, removed, np.inf)
    sd, sd_lo, sd_hi = (np.sqrt(np.maximum(v, 0.0)) for v in (variance, low, high))
    # Without places only the value is known; readings all equal hide a spread below their step.
    unknown = np.isnan(sd_observed)
    sd = np.where(unknown, own, sd)
    sd_lo = np.where(unknown, np.nan, sd_lo)
    sd_hi = np.where(unknown | (sd_observed == 0), np.nan, sd_hi)
    return sd, sd_lo, sd_hi
