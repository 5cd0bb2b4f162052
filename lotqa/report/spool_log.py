"""The in-line log of one spool in the inspection document: keys and ready sentences.

``lotqa trace`` tells more of the same file: waves, stretches, bands; its numbers are these.
"""

from typing import TYPE_CHECKING, Any, Final

from lotqa.logged import GAUGE_KIND
from lotqa.report.spool_document import number, pair
from lotqa.report.trace_document import event_document

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.evidence.logged import SpoolLog
    from lotqa.evidence.traces import Event
    from lotqa.inspection import Inspection

TOLD_EVENTS: Final = 20  # those that stop first, then the highest; all are counted


def trace(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    """What the log of spool ``i`` says; None where it has none."""
    prepared = inspection.prepared
    log, gauge = prepared.case.evidence.log_of(i), prepared.log_gauge
    if log is None or gauge is None:
        return None
    e, d, drift = log.found, log.found.diameter, log.found.drift
    return {
        "file": log.file,
        "length_source": log.length_source,
        "decides": log.decides,
        "rows": e.n_rows,
        "sections": e.n_sections,
        "directions": list(e.directions_deg),
        "length_m": number(e.length_m),
        "row_spacing_mm": number(e.row_spacing_mm),
        "effective_places": number(d.n_effective),
        "independent_places": log.n_places,
        "settled": d.settled,
        "mean_mm": number(d.mean_mm),
        "mean_ci95_mm": pair(d.mean_lo_mm, d.mean_hi_mm),
        "sd_mm": number(d.sd_mm),
        "sd_ci95_mm": pair(d.sd_lo_mm, d.sd_hi_mm),
        "ovality_mm": number(e.ovality.mean_mm),
        "ovality_ci95_mm": pair(e.ovality.lo_mm, e.ovality.hi_mm),
        "min_mm": number(e.low_mm),
        "min_position_m": number(e.low_position_m),
        "max_mm": number(e.high_mm),
        "max_position_m": number(e.high_position_m),
        "drift_mm_per_100m": number(drift.slope_mm_per_100m),
        "drift_ci95_mm_per_100m": pair(drift.lo_mm_per_100m, drift.hi_mm_per_100m),
        "first_tenth_mm": number(drift.first_tenth_mm),
        "last_tenth_mm": number(drift.last_tenth_mm),
        "thick_pct": number(e.thick_pct),
        "thin_pct": number(e.thin_pct),
        "events": {
            "lump": e.n_lumps,
            "neck": e.n_necks,
            "splice": e.n_splices,
            "spike": e.n_spikes,
        },
        "told_events": [event_document(x) for x in _worst(log)],
        "gauge": {
            "name": gauge.name,
            "resolution_mm": log.step_mm,
            "limit_of_error_mm": gauge.limit_of_error_mm,
            "limit_stated": gauge.limit_stated,
            "repeatability_sd_mm": gauge.scatter_mm,
            "offset_mm": gauge.offset.offset_mm if gauge.pins else None,
            "offset_uncertainty_mm": log.u_offset_mm,
            "text": gauge.text,
        },
        "text": _text(log),
    }


def gauge_row(inspection: "Inspection") -> dict[str, Any] | None:
    """The gauge of the logs among the instruments, where the lot was also read by hand."""
    prepared = inspection.prepared
    gauge = prepared.log_gauge
    if gauge is None or not len(prepared.lot.readings):
        return None
    known = next(log for log in prepared.case.evidence.logs if log is not None)
    return {
        "kind": GAUGE_KIND,
        "name": gauge.name,
        "resolution_mm": known.step_mm,
        "limit_of_error_mm": gauge.limit_of_error_mm,
        "repeatability_sd_mm": gauge.scatter_mm,
        "repeatability_source": None if gauge.scatter_mm is None else "stated in the lot sheet",
        "offset_mm": gauge.offset.offset_mm if gauge.pins else None,
        "offset_uncertainty_mm": gauge.offset.u_mm,
        "pin_readings": gauge.offset.n_pin_readings,
        "shift_mm": gauge.offset.shift_mm,
        "text": gauge.text,
    }


def _worst(log: "SpoolLog") -> "list[Event]":
    """The events that a person should look for, in order along the filament."""
    real = [x for x in log.found.events if x.kind != "spike"]
    real.sort(key=lambda x: (not x.stops, -abs(x.peak_mm)))
    return sorted(real[:TOLD_EVENTS], key=lambda x: x.position_m)


def _text(log: "SpoolLog") -> str:
    e = log.found
    rows = f"{e.n_rows:,} row{'' if e.n_rows == 1 else 's'}"
    head = f"An in-line log of {e.length_m:.1f} m, {rows} ({log.file})"
    if log.decides:
        return (
            f"{head}, stands for readings by hand. Its rows repeat each other: for mean and spread "
            f"it is worth {log.n_places} independent place{'' if log.n_places == 1 else 's'}."
        )
    return (
        f"{head}, stands beside the readings, which decide; what it met of thick and thin spots "
        "counts in the feed path."
    )
