"""A spool in use looked up: its reel and its metres, as the ledger knows them now."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from lotqa.criteria import Criteria
from lotqa.errors import UnusableInput
from lotqa.evidence.remaining import linear_density
from lotqa.evidence.tares import folded
from lotqa.evidence.weight import interval, u_weighing_g
from lotqa.ledger import BenchScale, Ledger, SpoolHindsight
from lotqa.materials import Material, material_for, read_materials
from lotqa.months import one_lot
from lotqa.report.remaining_document import InUse, Known, remaining_document
from lotqa.verdict.words import counted, number

Z95: Final = float(ndtri(0.975))
LISTED: Final = 12  # spools named in a message
NOW: Final = {
    "itself": "this reel weighed empty",
    "alike": "{n} of this lot weighed empty",
    "record": "tare record, {n} of this supplier",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line says; None is not said."""

    lot: str
    spool: str
    gross_g: float
    typed: str
    step_g: float | None = None
    limit_g: float | None = None
    needed_m: float | None = None


def looked_up(place: str, asked: Asked, limits: Criteria) -> dict[str, Any]:
    """The document on the spool asked for.  Raises UnusableInput."""
    with Ledger.open(place, create=False) as book:
        row = one_lot(book, asked.lot)
        document = book.document(row.inspection)
        told = {str(s["spool"]): s for s in document["spools"]}
        spool = _spool(asked.spool, row.lot, list(told))
        weight = told[spool].get("weight") or {}
        scale = _scale(document, asked, limits)
        looked_back = book.hindsight(
            scale=scale, like_sd_g=limits["weight.tare_like_sd_g"], supplier=row.supplier
        )
        found = next((s for s in looked_back if (s.lot_id, s.spool) == (row.lot_id, spool)), None)
        reel = book.reel_of(row.lot_id)
        reel_material = None if reel is None else reel[0].reel_material
        ledger = book.location
    tare, known = _tare(weight, found, reel_material, limits)
    u_gross = u_weighing_g(scale.limit_of_error_g, scale.step_g)
    first = weight.get("gross_g")
    _plausible(asked, spool, row.lot, first, tare, u_gross, scale)
    material = material_for(row.material, read_materials())
    density = _density(weight, material)
    return remaining_document(
        InUse(
            ledger=ledger,
            lot_id=row.lot_id,
            inspection=row.inspection,
            supplier=row.supplier,
            lot=row.lot,
            spool=spool,
            gross=Known(asked.gross_g, u_gross, _scale_words(scale)),
            first_gross_g=first,
            tare=tare,
            tare_known=known,
            reel_material=reel_material,
            g_per_m=_g_per_m(weight, told[spool].get("diameter") or {}, density),
            density_g_cm3=density,
        ),
        asked.needed_m,
    )


def _spool(wanted: str, lot: str, spools: list[str]) -> str:
    """The spool as the ledger writes it."""
    same = [s for s in spools if s == wanted] or [s for s in spools if folded(s) == folded(wanted)]
    if len(same) == 1:
        return same[0]
    near = difflib.get_close_matches(wanted, spools, n=1)
    shown = ", ".join(spools[:LISTED]) + (", ..." if len(spools) > LISTED else "")
    hint = f"did you mean {near[0]}? It has" if near else "it has"
    raise UnusableInput(
        f'--spool is "{wanted}", which is not among the spools inspected of lot {lot}: {hint} '
        f"{shown}"
    )


def _scale(document: Mapping[str, Any], asked: Asked, limits: Criteria) -> BenchScale:
    """The scale as said, else the one that the lot was weighed on, else the usual one."""
    tools = document.get("instruments") or ()
    of_lot: Mapping[str, Any] = next(
        (t for t in tools if t.get("kind") == "scale" and t.get("resolution_g")), {}
    )
    step, limit = (
        next(v for v in (said, of_lot.get(key), usual) if v is not None)
        for said, key, usual in (
            (asked.step_g, "resolution_g", limits["scale.step_g"]),
            (asked.limit_g, "limit_of_error_g", limits["scale.limit_of_error_g"]),
        )
    )
    return BenchScale(step, limit)


def _scale_words(scale: BenchScale) -> str:
    return f"scale with a step of {scale.step_g:g} g, off by up to {scale.limit_of_error_g:g} g"


def _tare(
    weight: Mapping[str, Any],
    found: SpoolHindsight | None,
    reel_material: str | None,
    limits: Criteria,
) -> tuple[Known, str]:
    """What the reel weighs, and how that is known: now if more is known now, else as then."""
    if found is not None and found.tare_now_g is not None and found.known_now is not None:
        source = NOW[found.known_now].format(n=counted(found.n_reels, "reel"))
        return Known(found.tare_now_g, found.u_tare_now_g or 0.0, source), found.known_now
    then = weight.get("tare")
    if then is not None:
        return Known(then["mass_g"], then["u_g"], then["source"]), then["known"]
    usual = limits.reel_for(reel_material)
    if usual is not None:
        lo_g, hi_g = usual.tare_lo_g, usual.tare_hi_g
        what = f"supposed, an empty {usual.material} reel for 1 kg"
    else:
        middle_g, half_g = limits["weight.tare_default_g"], limits["weight.tare_half_width_g"]
        lo_g, hi_g = middle_g - half_g, middle_g + half_g
        what = "supposed, a reel of which nothing is known"
    source = f"{what} weighs {lo_g:g} to {hi_g:g} g"
    return Known((lo_g + hi_g) / 2, (hi_g - lo_g) / 2 / 3**0.5, source), "supposed"


def _plausible(
    asked: Asked,
    spool: str,
    lot: str,
    first_g: float | None,
    tare: Known,
    u_gross_g: float,
    scale: BenchScale,
) -> None:
    """A spool in use weighs less than when it came, and more than its reel."""
    if first_g is not None:
        most_g = first_g + 2 * (scale.limit_of_error_g + scale.step_g)
        if asked.gross_g > most_g:
            raise UnusableInput(
                f'--gross is "{asked.typed}", but spool {spool} of lot {lot} weighed {first_g:g} g '
                "when it came: is it another spool, or is something else on the scale?"
            )
    lo_g, _ = interval(tare.value, float(np.hypot(tare.u, u_gross_g)))
    if asked.gross_g < lo_g:
        raise UnusableInput(
            f'--gross is "{asked.typed}", but the empty reel of spool {spool} of lot {lot} weighs '
            f"{number(tare.value, 0)} g ({tare.source}), at least {number(max(lo_g, 0), 0)} g: is "
            "it another reel? Weigh reel and filament together"
        )


def _density(weight: Mapping[str, Any], material: Material | None) -> Known | None:
    """Of the filament: as its inspection took it, else that of its material."""
    used, source = weight.get("density_used_g_cm3"), weight.get("density_source") or ""
    if used is not None:
        lo, hi = (weight.get("immersion") or {}).get("density_ci95") or (None, None)
        if lo is not None and hi is not None:
            return Known(used, (hi - lo) / 2 / Z95, source)
        relative = _relative_of_density(weight)
        if relative is not None:
            return Known(used, used * relative, source)
    if material is None or not material.density_g_cm3:
        return None
    return Known(material.density_g_cm3, material.u_density_g_cm3, f"that of {material.name}")


def _relative_of_density(weight: Mapping[str, Any]) -> float | None:
    """Relative uncertainty of the density: what that of the mass leaves of the volume's."""
    net_g, expanded_g, volume_ml = (weight.get(k) for k in ("net_g", "uncertainty_g", "volume_ml"))
    lo, hi = weight.get("volume_ci95_ml") or (None, None)
    if not net_g or not volume_ml or expanded_g is None or lo is None or hi is None:
        return None
    of_volume = (hi - lo) / 2 / Z95 / volume_ml
    return float(np.sqrt(max(of_volume**2 - (expanded_g / 2 / net_g) ** 2, 0.0)))


def _g_per_m(
    weight: Mapping[str, Any], diameter: Mapping[str, Any], density: Known | None
) -> Known | None:
    """From a weighed length if there was one, else from density and diameter."""
    told = weight.get("grams_per_m")
    lo, hi = weight.get("grams_per_m_ci95") or (None, None)
    if told is not None and lo is not None and hi is not None:
        return Known(told, (hi - lo) / 2 / Z95, weight["grams_per_m_by"])
    mean, expanded = diameter.get("mean_mm"), diameter.get("uncertainty_mean_mm")
    if density is None or mean is None or expanded is None:
        return None
    value, u = linear_density(density.value, density.u, mean, expanded / 2)
    return Known(value, u, "density and diameter")
