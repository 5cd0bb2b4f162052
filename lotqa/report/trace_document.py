"""The document of an in-line log, lotqa.trace.v1: what was found, as plain data and sentences.

Unknown and unbounded numbers are None.  Positions are metres of filament from the first row.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from lotqa.evidence.waves.bands import WEAK_EVIDENCE, two_sizes_sentence
from lotqa.report.gauge_document import finite as number
from lotqa.report.trace_words import cautions, sentences

if TYPE_CHECKING:
    from lotqa.evidence.traces import Event, TraceEvidence, TraceSettings
    from lotqa.evidence.traces.stretches import Stretch
    from lotqa.evidence.waves.bands import Band, Part
    from lotqa.evidence.waves.spectrum import Wave, WaveEvidence
    from lotqa.model import Problem

SCHEMA: Final = "lotqa.trace.v1"
INTERVALS: Final = (
    "95 %, two-sided: mean and spread from means of long batches, since neighbouring rows repeat "
    "each other (Flegal & Jones 2010); waves against a smooth continuum, 1 % false alarm over all "
    "lengths together"
)

TWO_SIZES_RATIO: Final = 4.0  # of the pitches: nobody takes one for the other


@dataclass(frozen=True, slots=True)
class LogFile:
    """The log as it was read."""

    name: str
    n_bytes: int
    length_source: str
    rows_read: int
    rows_used: int
    rows_reported: int
    axes: tuple[dict[str, Any], ...]
    problems: "tuple[Problem, ...]"
    n_problems: int


@dataclass(frozen=True, slots=True)
class Print:
    """What is printed from the spool: bead, and limits of the swing."""

    line_width_mm: float
    layer_height_mm: float
    is_bead_stated: bool
    part: "Part | None"  # asked for, beside those of the table
    fine_pct: float
    bands_pct: float


def trace_document(
    file: LogFile,
    settings: "TraceSettings",
    evidence: "TraceEvidence",
    waves: "WaveEvidence",
    bands: "Sequence[Band]",
    print_: Print,
    *,
    now: datetime,
    program_version: str,
    is_gauge_error_stated: bool,
) -> dict[str, Any]:
    """Everything about one trace; ``page`` is filled in by who makes it."""
    e = evidence
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "program_version": program_version,
        "traced_at": now.isoformat(),
        "file": {
            "name": file.name,
            "bytes": file.n_bytes,
            "length_source": file.length_source,
            "axes": list(file.axes),
        },
        "rows": file.rows_used,
        "rows_read": file.rows_read,
        "rows_used": file.rows_used,
        "rows_reported": file.rows_reported,
        "sections": e.n_sections,
        "length_m": number(e.length_m),
        "row_spacing_mm": number(e.row_spacing_mm),
        "nominal_mm": settings.nominal_mm,
        "tolerance_mm": settings.tolerance_mm,
        "machine_diameter_mm": settings.set_diameter_mm,
        "gauge_error_stated": is_gauge_error_stated,
        "diameter": _diameter(e),
        "effective_rows": number(e.diameter.n_effective),
        "settled": e.diameter.settled,
        "ovality": _ovality(e),
        "flow": _flow(e),
        "drift": _drift(e),
        "outside": [
            {
                "tolerance_mm": o.tolerance_mm,
                "outside_pct": number(o.outside_pct),
                "label": o.tolerance_mm == settings.tolerance_mm,
            }
            for o in e.outside
        ],
        "feed": {
            "thick_mm": number(settings.thick_reject_mm),
            "thin_mm": settings.thin_reject_mm or None,
            "thick_pct": number(e.thick_pct),
            "thin_pct": number(e.thin_pct),
        },
        "windows": [
            {
                "length_m": w.length_m,
                "worst_flow": _stretch(w.by_flow),
                "worst_spread": _stretch(w.by_spread),
            }
            for w in e.stretches
        ],
        "events": [event_document(x) for x in e.events],
        "event_counts": {
            "lump": e.n_lumps,
            "neck": e.n_necks,
            "splice": e.n_splices,
            "spike": e.n_spikes,
        },
        "waves": [_wave(w, settings, e) for w in waves.waves],
        "wave_search": {
            "shortest_m": number(waves.shortest_m),
            "longest_m": number(waves.longest_m),
            "why_not": waves.why_not,
        },
        "swing": _swing(e, print_),
        "bead": {
            "line_width_mm": print_.line_width_mm,
            "layer_height_mm": print_.layer_height_mm,
            "stated": print_.is_bead_stated,
        },
        "part": None if print_.part is None else print_.part.name,
        "bands": [band_document(b) for b in bands],
        "two_sizes": _two_sizes(bands),
        "intervals": INTERVALS,
        "problems": [
            {k: v for k, v in asdict(p).items() if k != "row_used"} for p in file.problems
        ],
        "problems_total": file.n_problems,
    }
    document["cautions"] = cautions(document)
    document["texts"] = sentences(document)
    return document


def event_document(x: "Event") -> dict[str, Any]:
    """One event of a log."""
    return {
        "kind": x.kind,
        "position_m": x.position_m,
        "length_m": x.length_m,
        "peak_mm": x.peak_mm,
        "diameter_mm": x.diameter_mm,
        "stops": bool(x.stops),
        "rows": x.n_rows,
    }


def pair(lo: float, hi: float) -> list[float | None]:
    """An interval for JSON; None for an end that it does not have."""
    return [number(lo), number(hi)]


def _diameter(e: "TraceEvidence") -> dict[str, Any]:
    d, c = e.diameter, e.capability
    return {
        "readings": e.n_rows * e.n_axes,
        "directions": list(e.directions_deg),
        "mean_mm": number(d.mean_mm),
        "mean_ci95_mm": pair(d.mean_lo_mm, d.mean_hi_mm),
        "uncertainty_mean_mm": number(2 * d.u_mean_mm),
        "sd_observed_mm": number(d.s_observed_mm),
        "sd_mm": number(d.sd_mm),
        "sd_ci95_mm": pair(d.sd_lo_mm, d.sd_hi_mm),
        "min_mm": number(e.low_mm),
        "min_position_m": number(e.low_position_m),
        "max_mm": number(e.high_mm),
        "max_position_m": number(e.high_position_m),
        "min_as_read_mm": number(e.low_as_read_mm),
        "max_as_read_mm": number(e.high_as_read_mm),
        "median_mm": number(e.median_mm),
        "quantiles_mm": {
            "p025": number(e.q025_mm),
            "p05": number(e.q05_mm),
            "p95": number(e.q95_mm),
            "p975": number(e.q975_mm),
        },
        "cp": number(c.cp),
        "cp_ci95": pair(c.cp_lo, c.cp_hi),
        "cpk": number(c.cpk),
        "cpk_ci95": pair(c.cpk_lo, c.cpk_hi),
        "tolerance_interval_mm": pair(d.tolerance_lo_mm, d.tolerance_hi_mm),
    }


def _ovality(e: "TraceEvidence") -> dict[str, Any] | None:
    o = e.ovality
    if number(o.mean_mm) is None:
        return None
    n = o.n_directions
    return {
        "mean_mm": number(o.mean_mm),
        "mean_ci95_mm": pair(o.lo_mm, o.hi_mm),
        "max_mm": number(o.max_mm),
        "noise_removed_mm": number(o.noise_mm),
        "method": f"{n} axes, root mean square over the metres, noise removed",
    }


def _flow(e: "TraceEvidence") -> dict[str, Any]:
    f = e.flow
    return {
        "error_pct": number(f.error_pct),
        "error_ci95_pct": pair(f.error_lo_pct, f.error_hi_pct),
        "swing_pct": number(f.swing_pct),
        "swing_ci95_pct": pair(f.swing_lo_pct, f.swing_hi_pct),
        "swing_as_read_pct": number(f.swing_as_read_pct),
        "multiplier": number(f.multiplier),
        "set_diameter_mm": number(f.set_diameter_mm),
    }


def _drift(e: "TraceEvidence") -> dict[str, Any]:
    d = e.drift
    return {
        "slope_mm_per_100m": number(d.slope_mm_per_100m),
        "slope_ci95_mm_per_100m": pair(d.lo_mm_per_100m, d.hi_mm_per_100m),
        "first_tenth_mm": number(d.first_tenth_mm),
        "last_tenth_mm": number(d.last_tenth_mm),
    }


def _stretch(s: "Stretch | None") -> dict[str, Any] | None:
    if s is None:
        return None
    return {
        "position_m": max(s.position_m, 0.0),
        "mean_mm": s.mean_mm,
        "sd_mm": s.sd_mm,
        "flow_error_pct": s.flow_error_pct,
    }


def _wave(w: "Wave", settings: "TraceSettings", e: "TraceEvidence") -> dict[str, Any]:
    from lotqa.evidence.waves.bands import wave_swing_pct

    swing = wave_swing_pct(w.amplitude_mm, e.diameter.mean_mm, settings.set_diameter_mm)
    return {
        "period_m": w.period_m,
        "u_period_m": number(w.u_period_m),
        "amplitude_mm": w.amplitude_mm,
        "share_of_variance": w.share_of_variance,
        "significance": w.significance,
        "swing_pct": float(swing),
        "harmonics": list(w.harmonics),
    }


def _swing(e: "TraceEvidence", print_: Print) -> dict[str, Any]:
    value = e.flow.swing_as_read_pct
    word = "fine" if value <= print_.fine_pct else "look"
    return {
        "value_pct": number(value),
        "word": "bands expected" if value > print_.bands_pct else word,
        "fine_pct": print_.fine_pct,
        "bands_pct": print_.bands_pct,
        "evidence": WEAK_EVIDENCE,
    }


def band_document(b: "Band") -> dict[str, Any]:
    """A wave on a part, as every document tells it."""
    return {
        "part": b.part,
        "period_m": b.period_m,
        "filament_mm_per_layer": b.filament_mm_per_layer,
        "pitch_mm": b.pitch_mm,
        "seen_pitch_mm": number(b.seen_pitch_mm),
        "swing_pct": b.swing_pct,
        "seen_as": b.seen_as,
        "visibility": b.weight,
        "near_drive_lead_mm": b.near_drive_lead_mm,
        "text": b.sentence,
    }


def _two_sizes(bands: "Sequence[Band]") -> str | None:
    """The test print that tells the filament from the Z drive, for the strongest wave.

    Two parts that both show bands, the first of them with the one whose pitch is nearest to
    TWO_SIZES_RATIO times as wide or as narrow.
    """
    shown = [b for b in bands if b.period_m == bands[0].period_m and b.seen_as == "bands"]
    if len(shown) < 2:
        return None
    first = shown[0]
    apart = {b: abs(math.log(b.pitch_mm / first.pitch_mm)) for b in shown[1:]}
    other = min(apart, key=lambda b: abs(apart[b] - math.log(TWO_SIZES_RATIO)))
    return two_sizes_sentence(first, other) if apart[other] > math.log(1.5) else None
