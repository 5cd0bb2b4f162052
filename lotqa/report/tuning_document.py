"""The parts of the inspection document that speak of tuning a spool and of its coupon."""

from typing import TYPE_CHECKING, Any

import numpy as np

from lotqa.evidence.coupon import CANNOT_TELL, EXPLAINED, NOT_DIAMETER, Factor, Judgement
from lotqa.evidence.flow import swing_pct
from lotqa.evidence.tuning import EITHER_OR, SAFER, card_sentences
from lotqa.model import CouponSettings
from lotqa.printed import (
    CouponCheck,
    LotTuning,
    MassRoute,
    Reference,
    WallRoute,
    coupon_check,
    lot_tuning,
)
from lotqa.report.spool_document import number, pair

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

WORDS = {EXPLAINED: "explained", NOT_DIAMETER: "not_diameter", CANNOT_TELL: "cannot_tell"}


def cards_of(inspection: "Inspection") -> LotTuning:
    """The tuning of all spools, worked out once for a document."""
    prepared = inspection.prepared
    return lot_tuning(prepared.lot, prepared.case.evidence, prepared.case.criteria)


def tuning(inspection: "Inspection", tuned: LotTuning, i: int) -> dict[str, Any] | None:
    """What to enter for spool ``i``, and what no setting cures; None without a diameter."""
    evidence = inspection.prepared.case.evidence
    d, section, card, line = evidence.diameter, evidence.section, tuned.card, tuned.line
    if not d.n_places[i]:
        return None
    said = card_sentences(
        card,
        i,
        set_diameter_mm=section.set_diameter_mm,
        multiplier=section.multiplier,
        multiplier_limits=tuned.multiplier_limits,
    )
    warning = said[-1] if card.suspicious[i] else None
    # A spread that the tool does not resolve leaves a swing with an upper end only.
    resolved = bool(d.resolved[i]) and bool(np.isfinite(d.sd_mm[i]))
    root = float(np.hypot(d.mean_mm[i], np.nan_to_num(d.sd_mm[i])))
    swing_lo, swing_hi = (
        float(swing_pct(d.mean_mm[i], sd, root)) for sd in (d.sd_lo_mm[i], d.sd_hi_mm[i])
    )
    label, prepared = tuned.label, inspection.prepared
    bounded = bool(np.isfinite(d.mean_hi_mm[i]))

    def known(lo: Any, hi: Any) -> list[float | None]:
        return pair(lo, hi) if bounded else [None, None]

    return {
        "set_now": {
            "diameter_mm": section.set_diameter_mm,
            "multiplier": section.multiplier,
            "stated": prepared.lot.sheet.print_settings.multiplier is not None,
            "machine_residual": section.machine_residual,
            "machine_residual_u": section.u_residual_rel,
            "reference": _reference(prepared.reference, prepared.lot.sheet.coupon),
        },
        "flow_error_pct": number(card.error_pct[i]),
        "flow_error_ci95_pct": pair(evidence.flow.error_lo_pct[i], evidence.flow.error_hi_pct[i]),
        "multiplier": number(card.new_multiplier[i]),
        "multiplier_ci95": known(card.new_multiplier_lo[i], card.new_multiplier_hi[i]),
        "diameter_mm": number(card.new_diameter_mm[i]),
        "diameter_ci95_mm": known(card.new_diameter_lo_mm[i], card.new_diameter_hi_mm[i]),
        "either_or": EITHER_OR,
        "safer": SAFER,
        "after": {
            "swing_pct": number(card.swing_pct[i]) if resolved else None,
            "swing_ci95_pct": pair(swing_lo, swing_hi),
            "line_width_change_mm": pair(card.width_lo_mm[i], card.width_hi_mm[i])
            if resolved
            else [None, None],
        },
        "line": {
            "width_mm": line.width_mm,
            "height_mm": line.height_mm,
            "supposed": line.supposed,
        },
        "label_allows": {
            "flow_pct": pair(label.flow_lo_pct, label.flow_hi_pct),
            "line_width_change_mm": pair(label.width_lo_mm, label.width_hi_mm),
        },
        "multiplier_limits": list(tuned.multiplier_limits),
        "warning": warning,
        "text": " ".join(
            [*_sentences(said, bounded, resolved, swing_hi), SAFER, *_beside(inspection, tuned)]
        ),
    }


def _sentences(said: tuple[str, ...], bounded: bool, resolved: bool, swing_hi: float) -> list[str]:
    """The sentences of the card, without intervals or a swing that the readings do not give."""
    told = [s for s in said if resolved or not s.startswith("No setting cures")]
    if not bounded:
        told[0] = told[0].partition(" (95 %")[0] + "; one place gives no interval."
    if not resolved and np.isfinite(swing_hi):
        told.append(
            f"No setting cures the swing along the spool: at most {swing_hi:.1f} % of flow, too "
            "little for this tool to tell."
        )
    elif not resolved:
        told.append("How much the flow swings along the spool is not known.")
    return told


def _beside(inspection: "Inspection", tuned: LotTuning) -> list[str]:
    section, line, label = inspection.prepared.case.evidence.section, tuned.line, tuned.label
    said = [
        f"The label's +/- {section.tolerance_mm:g} mm alone would allow "
        f"{float(label.flow_lo_pct):+.1f} to {float(label.flow_hi_pct):+.1f} % of flow, "
        f"{float(label.width_lo_mm):+.3f} to {float(label.width_hi_mm):+.3f} mm of line width."
    ]
    if line.supposed:
        said.append(
            f"A line of {line.width_mm:g} x {line.height_mm:g} mm is supposed: state "
            "line_width_mm and layer_height_mm under [print]."
        )
    reference = inspection.prepared.reference
    name = None if reference is None else reference.name
    if section.machine_residual != 1 or name is not None:
        needs = f"{section.machine_residual:.4g}"
        u = f"standard uncertainty {section.u_residual_rel:.1%}"
        which = f"its reference spool ({u})" if name is None else f"the coupon of {name}; {u}"
        said.append(
            f"Counted in: the machine itself needs {needs} of what a diameter says, by {which}."
        )
    return said


def coupon(inspection: "Inspection", tuned: LotTuning, i: int) -> dict[str, Any] | None:
    """What the printed coupon of spool ``i`` says; None without one."""
    prepared = inspection.prepared
    case, settings = prepared.case, prepared.lot.sheet.coupon
    rows = tuned.coupons.get(inspection.spools[i])
    if rows is None:
        return None
    found = coupon_check(
        prepared.lot,
        rows,
        i,
        case.evidence,
        case.goods,
        case.criteria,
        prepared.scale,
        prepared.tool.name,
        prepared.reference,
    )
    decided = found.decided
    name = f"{prepared.lot_code}/{inspection.spools[i]}"
    said = _coupon_said(found, settings, name, case.evidence.offset.n_pin_readings)
    by_route = {j.route: j for j in found.judgements}
    return {
        "machine": settings.machine,
        "wall": None if found.wall is None else _wall(found.wall, by_route.get("wall")),
        "mass": None if found.mass is None else _mass(found.mass, by_route.get("mass")),
        "diameter": None if found.diameter is None else _factor(found.diameter),
        "reference": _reference(
            found.reference, settings, None if decided is None else decided.route
        ),
        "word": None if decided is None else WORDS[decided.word],
        "by": None if decided is None else decided.route,
        "missing": list(found.missing),
        "text": " ".join(said),
    }


def _reference(
    reference: Reference | None, settings: CouponSettings, by: str | None = None
) -> dict[str, Any] | None:
    """The reference by the route ``by``, or by its sharpest where it was not found by that one."""
    if reference is None:
        return None
    kept, is_stated = reference.kept, settings.reference_u is not None
    if kept is None:
        route, source = reference.route, "lot sheet" if is_stated else "criteria"
    else:
        route, source = by if by in reference.factors else reference.route, "ledger"
    factor = reference.factor if route is None else reference.factors[route]
    return {
        "residual": factor.value,
        "residual_ci95": pair(*factor.interval()),
        "u": factor.u_rel,
        "u_tools": factor.u_common_rel,
        "u_stated": kept is None and is_stated,
        "u_source": source,
        "route": route,
        "tools": settings.reference_tools,
        "source": "lot sheet" if kept is None else "ledger",
        "named": kept is None or kept.is_named,
        "supplier": None if kept is None else kept.supplier,
        "lot": None if kept is None else kept.lot,
        "spool": None if kept is None else kept.spool,
        "date": None if kept is None else kept.day.isoformat(),
        "machine": settings.machine if kept is None else kept.machine,
        "verdict": None if kept is None else kept.verdict,
        "standing": None if kept is None else kept.standing,
        "passed_over": [] if kept is None else list(kept.passed_over),
    }


def _factor(factor: Factor) -> dict[str, Any]:
    return {"multiplier": factor.value, "multiplier_ci95": pair(*factor.interval())}


def _judged(factor: Factor, judged: Judgement | None) -> dict[str, Any]:
    if judged is None:
        return {**_factor(factor), "residual": None, "gap_pct": None, "word": None, "text": None}
    lo, hi = judged.gap.interval()
    return {
        **_factor(factor),
        "residual": judged.residual.value,
        "residual_ci95": pair(*judged.residual.interval()),
        "residual_u": judged.residual.u_rel,  # what differs from coupon to coupon
        "residual_u_tools": judged.residual.u_common_rel,
        "gap_pct": 100 * (judged.gap.value - 1),
        "gap_ci95_pct": pair(100 * (lo - 1), 100 * (hi - 1)),
        "against_reference": judged.has_reference,
        "word": WORDS[judged.word],
        "text": judged.sentence,
    }


def _wall(route: WallRoute, judged: Judgement | None) -> dict[str, Any]:
    wall = route.wall
    return {
        "target_mm": route.target_mm,
        "target_source": "lot sheet" if route.target_stated else "line width",
        "mean_mm": wall.mean_mm,
        "readings": wall.n_readings,
        "sides": wall.n_sides,
        "side_means_mm": list(wall.side_means_mm),
        "between_sides_sd_mm": wall.between_sides_sd_mm,
        "tools": list(route.tools),
        "offset_mm": route.offset_mm,
        **_judged(route.factor, judged),
    }


def _mass(route: MassRoute, judged: Judgement | None) -> dict[str, Any]:
    return {
        "mass_g": route.mass.mass_g,
        "mass_u_g": route.mass.u_g,
        "volume_mm3": route.volume_mm3,
        "density_g_cm3": route.density_g_cm3,
        "density_source": route.density_source,
        **_judged(route.factor, judged),
    }


def _coupon_said(
    found: CouponCheck, settings: CouponSettings, name: str, n_pin_readings: int
) -> list[str]:
    said = [*(j.sentence for j in found.judgements), *found.missing]
    decided = found.decided
    if decided is None:
        return said
    if len(found.judgements) > 1:
        said.append(f"The {decided.route} is the sharper of the two.")
    own = found.wall if decided.route == "wall" else found.mass
    if (
        decided.word == CANNOT_TELL
        and own is not None
        and found.diameter is not None
        and found.diameter.half_width() > own.factor.half_width()
    ):
        what = "read more places" if n_pin_readings else "read a pin with the tool"
        said.append(f"Most of the doubt lies in the diameter: {what}.")
    if not decided.has_reference and decided.word != CANNOT_TELL:
        machine = settings.machine
        which = f'the reference of machine "{machine}"' if machine else "the machine's reference"
        said.append(
            f'If this spool is known to be good, make it {which}: write reference = "{name}" under '
            "[coupon] in the lots to come or, where no ledger has this lot, reference_residual = "
            f"{decided.residual.value:.4f}, reference_u = {decided.residual.u_rel:.4f} and "
            f'reference_route = "{decided.route}".'
        )
    if found.reference is not None:
        said += _reference_said(found, decided, found.reference, settings, name)
    return said


def _reference_said(
    found: CouponCheck,
    decided: Judgement,
    reference: Reference,
    settings: CouponSettings,
    name: str,
) -> list[str]:
    kept = reference.kept
    if kept is None:
        return ["The reference is the one written in the lot sheet; none is looked up."]
    how = "named in the lot sheet"
    if not kept.is_named:
        how = f'the newest of machine "{kept.machine}" whose spool was firmly accepted'
    numbers = " and ".join(
        f"{factor.value:.4f} by the {route}" for route, factor in reference.factors.items()
    )
    said = [
        f"The reference is the coupon of {reference.name} in the ledger, {how}: its print over its "
        f"diameter was {numbers}."
    ]
    if kept.passed_over:
        said.append(
            "Newer ones are passed over, since they disagreed with a reference of their own: "
            f"{', '.join(kept.passed_over)}."
        )
    alone = [f"the {j.route}" for j in found.judgements if not j.has_reference]
    if alone:
        said.append(f"It says nothing of {' and '.join(alone)}.")
    if decided.has_reference and decided.word == CANNOT_TELL and settings.reference_tools is None:
        said.append(
            'If both coupons were read with the same tools, write reference_tools = "same" under '
            "[coupon]: their errors fall out."
        )
    if decided.has_reference and decided.word == NOT_DIAMETER:
        said.append(
            "If the machine was changed since, and this spool is known to be good, write "
            f'reference = "{name}" under [coupon] in the lots to come.'
        )
    return said
