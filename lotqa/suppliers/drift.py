"""One supplier and one material through time: the document ``lotqa.drift.v1``.

Lots in date order, each from the third on compared with those before it, and a straight line
through the lot means against the date:

    slope by ordinary least squares, Student's interval with m - 2 degrees of freedom [1]_

The line supposes that lots scatter independently round it.  A change of the instrument would
look like a change of the filament; it is marked, not corrected.
Lots of another nominal diameter are listed, but compared among themselves only.  What this
document does not compute is null, never an empty list.
Grams per metre, where lengths were cut and weighed: mass_flow.py.

.. [1] NIST/SEMATECH e-Handbook 1.4.2.6 (slope as a test of drift).
"""

import difflib
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from lotqa.errors import UnusableInput
from lotqa.evidence.order import trend
from lotqa.evidence.weight import interval as normal_interval
from lotqa.suppliers import mass_flow, words
from lotqa.suppliers.history import LotEstimate, grouped, lot_estimates
from lotqa.suppliers.intervals import known, pair
from lotqa.suppliers.records import LotRecord
from lotqa.suppliers.signals import compare_mean, compare_spread, detectable_shift

SCHEMA = "lotqa.drift.v1"
FALSE_ALARM = 0.01  # a comparison, a lot; a shop of 10 lots a year meets one in about 5 years
MIN_TREND = 3  # two points lie on a line whatever they are
DAYS_A_YEAR = 365.25
FEW_LOTS = 10  # below this the note says how large a shift must be to show


def drift_document(
    records: Iterable[LotRecord],
    supplier: str,
    material: str | None = None,
    *,
    false_alarm: float = FALSE_ALARM,
) -> dict[str, Any]:
    """Lots of ``supplier`` and ``material`` with signals and trend.

    Names match exactly, else regardless of case if that is unambiguous.  Without ``material``
    the supplier must have one only.  A supplier without lots gives a document without lots
    whose note says so.  Raises UnusableInput if a material must be chosen.
    """
    every = list(records)
    names = {r.supplier for r in every}
    name = _match(supplier, names)
    of_supplier = [r for r in every if r.supplier == name]
    materials = {r.material for r in of_supplier}
    if material is None:
        if len(materials) > 1:
            raise UnusableInput(
                f'supplier "{name}" has lots of {", ".join(sorted(materials))}: '
                "choose one with --material"
            )
        wanted = next(iter(materials), None)
    else:
        wanted = _match(material, materials)
    lots = lot_estimates(r for r in of_supplier if r.material == wanted)

    groups = [group for _, group in grouped(lots)]
    rows = {id(lot): row for group in groups for lot, row in _rows(group, false_alarm)}
    # The groups are sorted, so a tie goes to the thinner stock.
    main = max(groups, key=lambda group: len(_with_deviation(group)), default=())
    line = _trend(main)
    note = (
        _few_lots(main, false_alarm)
        if lots
        else words.no_lots(
            name or supplier, wanted or material, _similar(supplier, name, names), materials
        )
    )
    return {
        "schema": SCHEMA,
        "supplier": name or supplier,
        "material": wanted or material,
        "false_alarm_per_comparison": false_alarm,
        "lots": [rows[id(lot)] for lot in lots],
        "changes": None,
        "changes_note": "dates of changes are not computed; the signals name lots that stand out",
        "trend": line,
        "trend_note": None if line else words.no_trend(len(_with_deviation(main)), MIN_TREND),
        "note": note,
        "cautions": _cautions(groups, main),
    }


def _rows(
    lots: Sequence[LotEstimate], false_alarm: float
) -> list[tuple[LotEstimate, dict[str, Any]]]:
    """The lots of one nominal diameter as rows of the document."""
    rows = []
    for i, lot in enumerate(lots):
        changed = i > 0 and lot.record.instrument != lots[i - 1].record.instrument
        row = _described(lot) | {"instrument_changed": changed}
        row |= mass_flow.described(lot.record, [earlier.record for earlier in lots[:i]])
        rows.append((lot, row | _signals(lot, lots[:i], changed, false_alarm)))
    return rows


def _described(lot: LotEstimate) -> dict[str, Any]:
    record = lot.record
    nominal = np.nan if record.nominal_mm is None else record.nominal_mm
    net_ci95 = None
    if record.net_g is not None and record.u_net_g is not None:
        net_ci95 = pair(*normal_interval(record.net_g, record.u_net_g))
    shortfall = None
    if record.net_g is not None and record.label_net_g is not None:
        shortfall = record.label_net_g - record.net_g
    return {
        "lot": record.lot,
        "product": record.product,
        "colour": record.colour,
        "received": record.received and record.received.isoformat(),
        "date": lot.day.isoformat(),
        "verdict": record.verdict,
        "standing": record.standing,
        "spools": lot.n_spools,
        "nominal_mm": known(record.nominal_mm),
        "tolerance_mm": known(record.tolerance_mm),
        "mean_mm": known(lot.mean_mm),
        "mean_ci95_mm": pair(lot.mean_lo_mm, lot.mean_hi_mm),
        "offset_mm": known(lot.deviation_mm),
        "offset_ci95_mm": pair(lot.mean_lo_mm - nominal, lot.mean_hi_mm - nominal),
        "sd_mm": known(lot.sd_mm),
        "sd_ci95_mm": pair(lot.sd_lo_mm, lot.sd_hi_mm),
        "sd_observed_mm": known(lot.sd_observed_mm),
        "between_spool_sd_mm": known(record.between_spool_sd_mm),
        "ovality_mm": known(record.ovality_mm),
        "net_g": known(record.net_g),
        "net_ci95_g": net_ci95,
        "shortfall_g": known(shortfall),
        "instrument": record.instrument,
        "pin_checked": record.pin_checked,
    }


def _signals(
    lot: LotEstimate, earlier: Sequence[LotEstimate], changed: bool, false_alarm: float
) -> dict[str, Any]:
    """What was compared and what stood out; ``signals`` is null where nothing was compared."""
    mean = compare_mean(lot, earlier, false_alarm)
    spread = compare_spread(lot, earlier, false_alarm)
    nominal = lot.record.nominal_mm
    signals = []
    if mean and mean.is_signal:
        signals.append(
            {
                "characteristic": "mean",
                "direction": "up" if mean.deviation_mm > mean.hi_mm else "down",
                "value_mm": lot.mean_mm,
                "earlier_lots": mean.n_earlier,
                "text": words.mean_signal(mean, changed),
            }
        )
    if spread and spread.is_signal:
        signals.append(
            {
                "characteristic": "spread",
                "direction": "up",
                "value_mm": spread.sd_mm,
                "p": spread.p,
                "earlier_lots": spread.n_earlier,
                "text": words.spread_signal(spread, changed),
            }
        )
    expected = None
    if mean and nominal is not None:
        expected = pair(nominal + mean.lo_mm, nominal + mean.hi_mm)
    return {
        "compared": [name for name, done in (("mean", mean), ("spread", spread)) if done],
        "earlier_lots": len(earlier),
        "mean_expected_mm": expected,
        "spread_limit_mm": spread and spread.limit_mm,
        "signals": signals if mean or spread else None,
    }


def _trend(lots: Sequence[LotEstimate]) -> dict[str, Any] | None:
    usable = _with_deviation(lots)
    days = np.array([lot.day.toordinal() for lot in usable], dtype=np.float64)
    if len(usable) < MIN_TREND or days[0] == days[-1]:
        return None
    years = (days - days[0]) / DAYS_A_YEAR
    line = trend(years, [lot.deviation_mm for lot in usable])
    document = {
        "slope_mm_per_year": float(line.slope[0]),
        "ci95": pair(float(line.lo[0]), float(line.hi[0])),
        "p": float(line.p[0]),
        "lots": len(usable),
        "years": float(years[-1]),
        "nominal_mm": usable[0].record.nominal_mm,
    }
    return document | {"text": words.trend(document)}


def _with_deviation(lots: Sequence[LotEstimate]) -> list[LotEstimate]:
    return [lot for lot in lots if np.isfinite(lot.deviation_mm)]


def _few_lots(lots: Sequence[LotEstimate], false_alarm: float) -> str | None:
    n = len(_with_deviation(lots))
    if n >= FEW_LOTS:
        return None
    factor = detectable_shift(n, false_alarm) if n > 1 else None
    return words.few_lots(n, factor, false_alarm)


def _cautions(groups: Sequence[Sequence[LotEstimate]], main: Sequence[LotEstimate]) -> list[str]:
    cautions = []
    if len(groups) > 1:
        cautions.append(
            words.mixed_nominals(
                [(g[0].record.nominal_mm, len(g)) for g in groups], main[0].record.nominal_mm
            )
        )
    lots = [lot for group in groups for lot in group]
    n_unknown = len(lots) - len(_with_deviation(lots))
    if n_unknown:
        cautions.append(words.no_deviation(n_unknown))
    instruments = [(lot.record.instrument, lot.record.pin_checked) for lot in lots]
    return cautions + words.instrument_cautions(instruments)


def _match(wanted: str, names: Iterable[str]) -> str | None:
    """The name that is meant: the very same, else the only one that differs in case or blanks."""
    every = set(names)
    if wanted in every:
        return wanted
    alike = [name for name in every if words.folded(name) == words.folded(wanted)]
    return alike[0] if len(alike) == 1 else None


def _similar(wanted: str, found: str | None, names: Iterable[str]) -> list[str]:
    """Names to suggest when none was found."""
    if found is not None:
        return []
    alike = {name: words.folded(name) for name in sorted(names)}
    near = difflib.get_close_matches(words.folded(wanted), alike.values(), n=3, cutoff=0.4)
    return [name for name, folded in alike.items() if folded in near]
