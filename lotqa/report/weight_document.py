"""The part of the inspection document that speaks of one spool's masses."""

from typing import TYPE_CHECKING, Any

from lotqa.evidence.bench_scale import Weighed
from lotqa.evidence.pieces import Cut, Filament, Immersion
from lotqa.evidence.scale import ScaleCheck
from lotqa.evidence.weighings import SpoolWeight, Tare
from lotqa.evidence.weight import interval as normal_interval
from lotqa.materials import Material
from lotqa.report.spool_document import pair
from lotqa.verdict.agreement import causes, cut_words
from lotqa.verdict.words import counted, interval, number

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

CARDBOARD = "A cardboard reel holds water: its mass changes with the room and with drying."
OTHER_PARTS = (
    "Bag, desiccant, clip and outer label must be off the scale, or on it both times and noted."
)
WET_PIECE = "A piece that was under water is wet: do not print it."


def ends(value: float | None, u: float | None) -> list[float | None]:
    """95 % interval for JSON; [None, None] where the value is not known."""
    if value is None or u is None:
        return [None, None]
    return pair(*normal_interval(value, u))


def weight(inspection: "Inspection", i: int) -> dict[str, Any] | None:
    """Net mass and what follows; None where the spool was not weighed."""
    goods = inspection.prepared.case.goods
    w = goods.weights[i]
    if w is None:
        return None
    reason = next(c for c in inspection.judgement.checks if c.key == "weight.net").reason(i)
    g_per_m, u_g_per_m = w.g_per_m, w.u_g_per_m
    if w.cut is not None:
        g_per_m, u_g_per_m = w.cut.found.linear_density_g_per_m, w.cut.u_spool_g_per_m
    return {
        "net_g": w.net_g,
        "net_ci95_g": ends(w.net_g, w.u_net_g),
        "uncertainty_g": None if w.u_net_g is None else 2 * w.u_net_g,
        "shortfall_g": w.shortfall_g,
        "shortfall_ci95_g": ends(w.shortfall_g, w.u_net_g),
        "gross_g": w.gross_g,
        "gross_corrected_g": None if w.gross_g is None or not w.weighed else w.weighed.mass_g,
        "tare_g": None if w.tare is None else w.tare.mass_g,
        "tare_known": None if w.tare is None else w.tare.known,
        "tare_source": None if w.tare is None else w.tare.source,
        "tare": None if w.tare is None else _tare(w.tare),
        "scale": None if w.weighed is None else _scale(w.weighed),
        "length_m": w.length_m,
        "length_ci95_m": ends(w.length_m, w.u_length_m),
        "volume_ml": w.volume_ml,
        "volume_ci95_ml": ends(w.volume_ml, w.u_volume_ml),
        "grams_per_m": g_per_m,
        "grams_per_m_ci95": ends(g_per_m, u_g_per_m),
        "grams_per_m_by": None
        if g_per_m is None
        else "density and diameter"
        if w.cut is None
        else "weighed length",
        "thin_gain_m": w.thin_gain_m,
        "thin_gain_ci95_m": ends(w.thin_gain_m, w.u_thin_gain_m),
        "content_text": _content_text(w),
        "linear_density_g_per_m": w.linear_density_g_per_m,
        "apparent_density_g_cm3": w.apparent_density_g_cm3,
        "density_g_cm3": None if goods.material is None else goods.material.density_g_cm3,
        "density_used_g_cm3": None if w.filament is None else w.filament.density_g_cm3,
        "density_source": None if w.filament is None else w.filament.density_source,
        "cut": None if w.cut is None or w.filament is None else _cut(w, w.cut, w.filament),
        "immersion": None if w.immersion is None else _immersion(w.immersion, goods.material),
        "cautions": _cautions(w, goods.reel.material),
        "text": reason.text,
    }


def _tare(tare: Tare) -> dict[str, Any]:
    return {
        "mass_g": tare.mass_g,
        "u_g": tare.u_g,
        "known": tare.known,
        "source": tare.source,
        "reels": tare.n_reels,
        "text": f"Reel {number(tare.mass_g, 0)} g, standard uncertainty {number(tare.u_g, 1)} g: "
        f"{tare.source}.",
    }


def _scale(weighed: Weighed) -> dict[str, Any]:
    check = weighed.check
    return {
        "step_g": weighed.step_g,
        "limit_of_error_g": weighed.limit_of_error_g,
        "u_g": weighed.u_g,
        "offset_removed_g": weighed.offset_g,
        "check": None if check is None else check_document(check),
        "text": (
            f"No known mass near it was weighed: the limit of error of "
            f"{weighed.limit_of_error_g:g} g stays in."
            if check is None
            else check_words(check)
        ),
    }


def check_document(check: ScaleCheck) -> dict[str, Any]:
    """One known mass on the scale."""
    return {
        "readings": check.n_readings,
        "reference_g": check.reference_g,
        "offset_g": check.offset_g,
        "uncertainty_g": check.u_g,
        "shift_g": check.shift_g,
        "beyond_limit": check.beyond_limit,
        "text": check_words(check),
    }


def check_words(check: ScaleCheck) -> str:
    """What a known mass showed of the scale, and what is done about it.

    >>> check_words(ScaleCheck(2, 1.5, 0.5, None, 1000.0, 0.5, False))
    '2 readings of 1000 g were +1.5 g off (standard uncertainty 0.5 g); taken off masses near it.'
    """
    readings = counted(check.n_readings, "reading")
    were = "was" if check.n_readings == 1 else "were"
    sign = "+" if check.offset_g > 0 else ""
    shift = ""
    if check.shift_g is not None:
        sign_of = "+" if check.shift_g > 0 else ""
        shift = f", after the session {sign_of}{number(check.shift_g, 1)} g against before"
    return (
        f"{readings} of {check.reference_g:g} g {were} {sign}{number(check.offset_g, 1)} g off "
        f"(standard uncertainty {number(check.u_g, 1)} g{shift}); taken off masses near it."
    )


def _content_text(w: SpoolWeight) -> str | None:
    """Volume and metres in a sentence or two."""
    f = w.filament
    if w.volume_ml is None or w.u_volume_ml is None or f is None or f.density_g_cm3 is None:
        return None
    lo, hi = normal_interval(w.volume_ml, w.u_volume_ml)
    said = (
        f"{number(w.volume_ml, 0)} ml ({interval(lo, hi, 0)}) at {number(f.density_g_cm3, 3)} g/cm3"
    )
    if w.length_m is None or w.u_length_m is None or f.diameter_mm is None:
        return f"{said}; no length without a mean diameter."
    lo, hi = normal_interval(w.length_m, w.u_length_m)
    said += f", {number(w.length_m, 0)} m ({interval(lo, hi, 0)}) at {number(f.diameter_mm, 3)} mm"
    if w.thin_gain_m is None or w.u_thin_gain_m is None or f.nominal_mm is None:
        return f"{said}."
    lo, hi = normal_interval(w.thin_gain_m, w.u_thin_gain_m)
    gain = number(abs(w.thin_gain_m), 0)
    if gain == "0":
        return f"{said}, as at {f.nominal_mm:g} mm."
    against_nominal = (
        f"{gain} m {'more' if w.thin_gain_m > 0 else 'fewer'} than at {f.nominal_mm:g} mm "
        f"({interval(lo, hi, 0)})"
    )
    if lo <= 0 <= hi:
        return f"{said}; {against_nominal}, which may be none."
    shape = "thinner" if w.thin_gain_m > 0 else "thicker"
    return f"{said}: {against_nominal}, because it is {shape}."


def _cut(w: SpoolWeight, cut: Cut, filament: Filament) -> dict[str, Any]:
    found, both = cut.found, cut.agreement
    return {
        "length_m": cut.length_m,
        "mass_g": cut.mass_g,
        "linear_density_g_per_m": found.linear_density_g_per_m,
        "linear_density_ci95": ends(found.linear_density_g_per_m, found.u_linear_density_g_per_m),
        "diameter_mm": found.diameter_mm,
        "diameter_ci95_mm": ends(found.diameter_mm, found.u_diameter_mm),
        "combined_mm": None if both is None else both.combined_mm,
        "combined_ci95_mm": [None, None]
        if both is None
        else ends(both.combined_mm, both.u_combined_mm),
        "weight_of_cut": None if both is None else both.weight_of_cut,
        "difference_mm": None if both is None else both.difference_mm,
        "difference_ci95_mm": [None, None]
        if both is None
        else ends(both.difference_mm, both.u_difference_mm),
        "agrees": None if both is None else both.agrees,
        "meaning": None if both is None else both.meaning,
        "causes": None if both is None or both.agrees else causes(both.meaning, filament),
        "apparent_density_g_cm3": w.apparent_density_g_cm3,
        "apparent_density_ci95": ends(w.apparent_density_g_cm3, w.u_apparent_density_g_cm3)
        if both is None
        else pair(both.density_lo, both.density_hi),
        "text": cut_words(cut, filament),
    }


def _immersion(found: Immersion, material: Material | None) -> dict[str, Any]:
    lo, hi = normal_interval(found.density_g_cm3, found.u_density_g_cm3)
    said = (
        f"{counted(found.n_pieces, 'piece')} weighed in water: {number(found.density_g_cm3, 3)} "
        f"g/cm3 ({interval(lo, hi, 3)}), voids included"
    )
    if material is not None:
        least, most = material.density_lo_g_cm3, material.density_hi_g_cm3
        said += f"; {material.name} has {least:g} to {most:g}"
        if hi < least:
            said += ": lighter, so voids, bubbles or another material"
        elif lo > most:
            said += ": heavier, so a filler or another material"
        elif least <= lo and hi <= most:
            said += ": as expected"
        else:
            said += ": at its edge, no more is to be told"
    return {
        "density_g_cm3": found.density_g_cm3,
        "density_ci95": pair(lo, hi),
        "pieces": found.n_pieces,
        "text": f"{said}.",
    }


def _cautions(w: SpoolWeight, reel_material: str | None) -> list[str]:
    said = []
    if w.gross_g is not None:
        said.append(OTHER_PARTS)
    if reel_material == "cardboard":
        said.append(CARDBOARD)
    if w.immersion is not None:
        said.append(WET_PIECE)
    return said
