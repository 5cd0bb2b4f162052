"""What a report says beside its numbers: what was not given, and what can hurt."""

import numpy as np

from lotqa.evidence.spool import LotEvidence
from lotqa.model import LotInput


def missing(lot: LotInput, evidence: LotEvidence) -> list[str]:
    """What was not given, and what that costs."""
    sheet, readings = lot.sheet, lot.readings
    said = []
    if not sheet.supplier:
        said.append("No supplier is named: the lot cannot be compared with others of its maker.")
    if not sheet.material:
        said.append("No material is named: no volume, price per litre or moisture limit.")
    if sheet.received is None:
        said.append("No date of receipt: the lot has no place in time and no claim window.")
    elif sheet.claim_days is None:
        said.append("No claim window is stated: ask the seller how many days there are.")
    if sheet.spools_received is None:
        said.append("The number of spools received is not known: the lot is taken as inspected.")
    logged = any(log is not None for log in evidence.logs)
    if not len(readings) and not logged:
        said.append("No diameter was read.")
    elif len(readings):
        if not np.isfinite(readings.position_m).all():
            said.append("Positions are missing: drift along the spool can be seen in order only.")
        if not evidence.offset.n_pin_readings:
            said.append("No pin was read with the tool: its limit of error stays in every mean.")
        if evidence.scatter.supposed:
            said.append(
                f"The scatter of the hand was not stated: {evidence.scatter.sd_mm:.3f} mm is "
                "supposed. A gauge study of fifteen minutes finds yours."
            )
    if (len(readings) or logged) and (evidence.ovality.n_directions < 2).all():
        said.append("One direction only: ovality is not seen, and what there is counts as spread.")
    set_now = sheet.print_settings.multiplier
    # What a ledger remembers of the machine is never without an uncertainty.
    is_known = sheet.coupon.reference_residual is not None or evidence.section.u_residual_rel > 0
    if set_now not in (None, 1.0) and not is_known:
        said.append(
            f"How much of the multiplier {set_now:g} the machine itself needs is not known: all of "
            "it is counted as set for the filament. Print a coupon from a spool that is known to "
            "be good and write its residual under [coupon] as reference_residual."
        )
    if not lot.weigh_ins:
        said.append("No weigh-in: short weight cannot be seen.")
    elif {w.kind for w in lot.weigh_ins} & {"gross", "net"} and not lot.mass_checks:
        said.append(
            "No known mass was put on the scale: its limit of error stays in every mass. Weigh one "
            "before and after (mass_checks.csv)."
        )
    if lot.weigh_ins and sheet.label.net_g is None:
        said.append("The label's net mass is not stated: short weight cannot be seen.")
    if not any(f.name.casefold().startswith("findings") for f in lot.files):
        said.append("No findings file: winding, colour, dirt and bubbles were not judged.")
    return said


def cautions(lot: LotInput) -> list[str]:
    """What can hurt someone, or someone's standing, where this lot touches it."""
    said = [
        "Spot readings do not find lumps; a ring pull over tens of metres does. Wear glasses when "
        "cutting bands and at snap tests: wound filament whips.",
        "Printing gives off fumes and fine particles: ventilate. No statement here says that a "
        "filament or a print is fit for contact with food.",
        "Do not name a supplier in public as faulty on provisional readings; keep the raw values.",
    ]
    kinds = {w.kind for w in lot.weigh_ins}
    if kinds:
        said.append(
            "A kitchen scale may check goods; selling, refilling or stating net weight needs a "
            "verified scale and follows local law."
        )
    if kinds & {"in_air", "in_water"}:
        said.append("A piece that was under water is wet: do not print it.")
    if kinds & {"before_drying", "after_drying"}:
        said.append(
            "Dry in a dryer made for it, never in an oven used for food; stay near, keep below "
            "what the reel stands, and ventilate."
        )
    return said
