"""Waves of one spool from its places, in the inspection document: keys and a ready sentence."""

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lotqa.printed import LotTuning
from lotqa.report.numbers import p_value
from lotqa.report.spool_document import number

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.evidence.waves.along_spool import SpoolWave
    from lotqa.evidence.waves.bands import Band
    from lotqa.inspection import Inspection

SIZE_MM, WALLS = 80.0, 3  # the part of the table whose band the sentence tells
ALIASES_NAMED: Final = 3


def waves(inspection: "Inspection", tuned: LotTuning, i: int) -> dict[str, Any] | None:
    """The wave that the places of spool ``i`` show, or why they show none; None without places."""
    # Here, since commands that look up an old document do without them.
    from lotqa.evidence.waves.along_spool import spool_wave
    from lotqa.evidence.waves.bands import wave_swing_pct
    from lotqa.report.trace_document import band_document

    case = inspection.prepared.case
    evidence = case.evidence
    places = evidence.places
    rows = places.along[slice(*np.searchsorted(places.spool, (i, i + 1)))]
    if not len(rows):
        return None
    drifts = _drifts(inspection, i)
    wave = spool_wave(places.position_m[rows], places.mean_mm[rows], drifts=drifts)
    shown = _bands(inspection, tuned, i, wave) if wave.found else ()
    swing = (
        float(
            wave_swing_pct(
                wave.amplitude_mm, evidence.diameter.mean_mm[i], evidence.section.laid_for_mm
            )
        )
        if wave.found
        else None
    )
    return {
        "found": wave.found,
        "period_m": number(wave.period_m) if wave.found else None,
        "amplitude_mm": number(wave.amplitude_mm) if wave.found else None,
        "significance": number(wave.significance),
        "swing_pct": swing,
        "aliases_m": list(wave.aliases_m) if wave.found else [],
        "drift": wave.is_drift,
        "detectable_mm": number(wave.detectable_mm),
        "shortest_m": number(wave.shortest_m),
        "longest_m": number(wave.longest_m),
        "cannot": wave.cannot,
        "bands": [band_document(b) for b in shown],
        "text": _text(wave, swing, shown, supposed=tuned.line.supposed, drifts=drifts),
    }


def _drifts(inspection: "Inspection", i: int) -> bool:
    """Whether trend or neighbours say that places are not independent along the spool."""
    case = inspection.prepared.case
    order, limit = case.evidence.order, case.criteria["order.alpha"]
    alike = order.lag1_p[i] < limit and order.lag1[i] > 0
    return bool(order.trend_p[i] < limit or alike)


def _bands(
    inspection: "Inspection", tuned: LotTuning, i: int, wave: "SpoolWave"
) -> "tuple[Band, ...]":
    from lotqa.evidence.waves.bands import bands, table_parts

    case = inspection.prepared.case
    return bands(
        ((wave.period_m, wave.amplitude_mm),),
        table_parts(),
        diameter_mm=float(case.evidence.diameter.mean_mm[i]),
        set_diameter_mm=case.evidence.section.laid_for_mm,
        line_width_mm=tuned.line.width_mm,
        layer_height_mm=tuned.line.height_mm,
        fine_pct=case.criteria["swing.fine_pct"],
        bands_pct=case.criteria["swing.bands_pct"],
    )


def _text(
    wave: "SpoolWave",
    swing_pct: float | None,
    shown: "tuple[Band, ...]",
    *,
    supposed: bool,
    drifts: bool,
) -> str:
    from lotqa.evidence.waves.bands import square_part
    from lotqa.report.trace_words import period_text

    if wave.cannot is not None:
        return f"Waves cannot be looked for: {wave.cannot}."
    p = f"p {p_value(wave.significance)}"
    if wave.is_drift:
        return (
            f"The places drift along the filament: a wave of {period_text(wave.period_m)}, longer "
            "than a third of the stretch read, is not to be told from that."
        )
    if not wave.found:
        beside = "Beside the drift of the places, no" if drifts else "No"
        told_of = f"{period_text(wave.shortest_m)} to {period_text(wave.longest_m)} ({p})"
        if not np.isfinite(wave.detectable_mm):
            return f"{beside} wave stands out from {told_of}; so few places show only large ones."
        return (
            f"{beside} wave stands out from {told_of}; with places that scatter like these, one of "
            f"{wave.detectable_mm:.3f} mm to either side would most likely be seen, a smaller one "
            "may hide."
        )
    told = [
        f"A wave of {period_text(wave.period_m)}, {wave.amplitude_mm:.3f} mm to either side ({p}), "
        f"swings the flow by {swing_pct:.1f} %."
    ]
    if wave.aliases_m:
        named = [period_text(a) for a in wave.aliases_m[:ALIASES_NAMED]]
        more = len(wave.aliases_m) - len(named)
        told.append(
            f"These places fit as well: {', '.join(named)}{f' and {more} more' if more else ''}; "
            "more uneven places would tell."
        )
    part = square_part(SIZE_MM, WALLS).name
    band = next(b for b in shown if b.part == part)
    told.append(band.sentence[0].upper() + band.sentence[1:])
    if supposed:
        told.append("The line is supposed: state line_width_mm and layer_height_mm under [print].")
    return " ".join(told)
