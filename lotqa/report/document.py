"""The inspection document, ``lotqa.inspection.v1``: what ``inspect --json`` prints.

Keys may be added, never renamed.  Unknown numbers are None, never NaN; an interval without an
end has None there.  Numbers are not rounded.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import lotqa
from lotqa.evidence.weighings import mean_net_g
from lotqa.model import Problem
from lotqa.printed import LotTuning
from lotqa.report import (
    lot_document,
    lot_sample_document,
    spool_document,
    spool_log,
    tuning_document,
    wave_document,
    weight_document,
)
from lotqa.report.notes import cautions, missing
from lotqa.report.spool_document import pair
from lotqa.verdict.more import more_places
from lotqa.verdict.outcome import Reason
from lotqa.verdict.spool import action

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.history import Course
    from lotqa.inspection import Inspection

SCHEMA = "lotqa.inspection.v1"
MORE_PLACES_SPOOLS = 200  # an archive of thousands of spools is not measured on at the bench


def inspection_document(
    inspection: "Inspection", now: datetime, course: "Course | None" = None
) -> dict[str, Any]:
    """The document of one inspection; ``now`` is when it was made.

    ``course`` is what the lot leaves to the next of its supplier and material, where that is known.
    """
    prepared = inspection.prepared
    lot, case = prepared.lot, prepared.case
    tuned = tuning_document.cards_of(inspection)
    return {
        "schema": SCHEMA,
        "program_version": lotqa.__version__,
        "inspected_at": now.isoformat(timespec="seconds"),
        "lot": _lot(inspection, now, course),
        "label": {
            "nominal_mm": case.evidence.section.nominal_mm,
            "tolerance_mm": case.evidence.section.tolerance_mm,
            "net_g": lot.sheet.label.net_g,
            "ovality_mm": case.ovality_limit_mm,
            "sources": dict(prepared.sources),
        },
        "print": {
            "line_width_mm": lot.sheet.print_settings.line_width_mm,
            "layer_height_mm": lot.sheet.print_settings.layer_height_mm,
            "set_diameter_mm": case.evidence.section.set_diameter_mm,
            "multiplier": lot.sheet.print_settings.multiplier,
        },
        "criteria": {
            "name": case.criteria.name,
            "sha256": case.criteria.sha256,
            "text": case.criteria.text,
            "limits": [
                {"key": x.key, "value": x.value, "unit": x.unit, "why": x.why}
                for x in case.criteria.limits()
            ],
            "feed": None
            if case.stock is None
            else {
                "thick_reject_mm": case.stock.thick_reject_mm,
                "thick_warn_mm": case.stock.thick_warn_mm,
                "thin_reject_mm": case.stock.thin_reject_mm,
            },
        },
        "instruments": _instruments(inspection),
        "spools": [_spool(inspection, tuned, i, now) for i in range(len(inspection.spools))],
        "files": [
            {
                "name": f.name,
                "sha256": f.sha256,
                "bytes": len(f.content),
                "rows_read": f.rows_read,
                "rows_used": f.rows_used,
                "rows_reported": f.rows_reported,
            }
            for f in lot.files
        ],
        "missing": missing(lot, case.evidence),
        "cautions": cautions(lot),
        "problems": [_problem(p) for p in (*lot.problems, *prepared.problems)],
        "ledger": None,
    }


def _lot(inspection: "Inspection", now: datetime, course: "Course | None") -> dict[str, Any]:
    prepared, verdict = inspection.prepared, inspection.lot
    sheet = prepared.lot.sheet
    until = prepared.claim_until
    net = mean_net_g(prepared.case.goods.weights)
    money = lot_document.money(inspection)
    return {
        "supplier": sheet.supplier,
        "product": sheet.product,
        "material": sheet.material,
        "colour": sheet.colour,
        "lot": prepared.lot_code,
        "lot_self_assigned": prepared.lot_self_assigned,
        "ordered": None if sheet.ordered is None else sheet.ordered.isoformat(),
        "received": None if sheet.received is None else sheet.received.isoformat(),
        "claim_days": sheet.claim_days,
        "claim_until": None if until is None else until.isoformat(),
        "price": sheet.price,
        "currency": sheet.currency,
        "verdict": verdict.verdict,
        "standing": verdict.standing,
        "reasons": [_reason(r) for r in verdict.reasons],
        "action": _on_that_day(verdict.action, until, now),
        "spools_received": sheet.spools_received,
        "spools_inspected": verdict.inspected,
        "accepted": verdict.accepted,
        "tuned": verdict.tuned,
        "rejected": verdict.rejected,
        "mean_mm": verdict.numbers.mean_mm,
        "mean_ci95_mm": pair(*(verdict.numbers.mean_ci95_mm or (None, None))),
        "between_spool_sd_mm": verdict.numbers.between_spool_sd_mm,
        "within_spool_sd_mm": verdict.numbers.within_spool_sd_mm,
        "within_spool_sd_ci95_mm": pair(*(verdict.numbers.within_spool_sd_ci95_mm or (None, None))),
        "components": lot_sample_document.components(verdict),
        "multiplier": verdict.multiplier,
        "set_diameter_mm": verdict.set_diameter_mm,
        "groups": lot_sample_document.groups(verdict),
        "net_g": net,
        "price_per_litre": money["per_litre"],
        "net_content": lot_document.net_content(inspection),
        "money": money,
        "unopened": lot_sample_document.unopened(verdict.unopened),
        "effort": lot_sample_document.effort(verdict, course),
    }


def _spool(inspection: "Inspection", tuned: LotTuning, i: int, now: datetime) -> dict[str, Any]:
    prepared, judgement = inspection.prepared, inspection.judgement
    case = prepared.case
    until = prepared.claim_until
    few = len(inspection.spools) <= MORE_PLACES_SPOOLS
    return {
        "spool": inspection.spools[i],
        "verdict": judgement.verdict(i),
        "standing": judgement.standing(i),
        "more_places": more_places(case, judgement, i) if few else None,
        "action": _on_that_day(
            action(case, judgement, i, None if until is None else until.isoformat()), until, now
        ),
        "reasons": [_reason(r) for r in judgement.reasons(i)],
        "conformity": spool_document.conforming(inspection, i),
        "claim": spool_document.claimable(inspection, i),
        "diameter": spool_document.diameter(case.evidence, prepared.lot, i),
        "ovality": spool_document.ovality(case.evidence, i),
        "flow": spool_document.flow(case.evidence, i),
        "waves": wave_document.waves(inspection, tuned, i) if few else None,
        "trace": spool_log.trace(inspection, i),
        "tuning": tuning_document.tuning(inspection, tuned, i),
        "coupon": tuning_document.coupon(inspection, tuned, i),
        "weight": weight_document.weight(inspection, i),
        "moisture": spool_document.moisture(inspection, i),
        "findings": spool_document.findings(inspection, i),
    }


def _on_that_day(action_text: str, until: date | None, now: datetime) -> str:
    """What to do, with a claim window that has closed by ``now`` told as closed."""
    if until is None or now.date() <= until:
        return action_text
    day = until.isoformat()
    return action_text.replace(f"by {day}", f"(the window closed on {day})")


def _instruments(inspection: "Inspection") -> list[dict[str, Any]]:
    prepared = inspection.prepared
    tool, scale = prepared.tool, prepared.scale
    offset, scatter = prepared.case.evidence.offset, prepared.case.evidence.scatter
    if offset.n_pin_readings:
        text = (
            f"read {offset.offset_mm:+.4f} mm on the pin, taken off every reading "
            f"(standard uncertainty {offset.u_mm:.4f} mm)"
        )
    else:
        text = "no pin was read: the limit of error stays in every mean in full"
    rows = [
        {
            "kind": tool.kind,
            "name": tool.name,
            "resolution_mm": tool.step_mm,
            "limit_of_error_mm": tool.limit_of_error_mm,
            "repeatability_sd_mm": scatter.sd_mm,
            "repeatability_source": scatter.source,
            "offset_mm": offset.offset_mm if offset.n_pin_readings else None,
            "offset_uncertainty_mm": offset.u_mm,
            "pin_readings": offset.n_pin_readings,
            "shift_mm": offset.shift_mm,
            "text": text,
        }
    ]
    of_logs = spool_log.gauge_row(inspection)
    if of_logs is not None:
        rows.append(of_logs)
    if prepared.lot.weigh_ins:
        named = next(
            (x for x in prepared.lot.sheet.instruments if x.kind in ("scale", "balance")), None
        )
        rows.append(
            {
                "kind": "scale",
                "name": "not named" if named is None else named.name,
                "resolution_g": scale.step_g,
                "limit_of_error_g": scale.limit_of_error_g,
                "checks": [weight_document.check_document(c) for c in scale.checks],
                "text": "not verified for trade: good to check goods, not to sell by",
            }
        )
    return rows


def _problem(p: Problem) -> dict[str, Any]:
    return {
        "file": p.file,
        "line": p.line,
        "column": p.column,
        "value": p.value,
        "message": p.message,
        "row_used": p.row_used,
    }


def _reason(r: Reason) -> dict[str, Any]:
    return {
        "check": r.check,
        "outcome": r.outcome,
        "value": r.value,
        "limit": r.limit,
        "unit": r.unit,
        "text": r.text,
        "standing": r.standing,
    }


def plain(document: Mapping[str, Any]) -> str:
    """The document as JSON text; NaN is refused, since it must never be there."""
    import json

    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
