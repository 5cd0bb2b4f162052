"""What to do with a lot now, in a sentence or two."""

import numpy as np

from lotqa.verdict.lot_groups import Group, told
from lotqa.verdict.outcome import REJECT, TUNE, Judgement

FLOW_KEYS = frozenset({"diameter.flow", "diameter.centring"})


def what_to_do(
    judgement: Judgement,
    point: int,
    firm: bool,
    groups: tuple[Group, ...],
    short: int,
    claim_until: str | None,
    pin_read: bool,
    by_lot: bool = False,
) -> str:
    """``short`` is how many more spools the plan asks for; ``by_lot``: no spool was rejected, but
    what they say together of the lot."""
    until = f" by {claim_until}" if claim_until else " within the claim window"
    if point == REJECT:
        what = f"Do not print; claim{until}."
        if by_lot:
            what = f"The spools together speak against the lot: return it{until}."
        if not firm:
            what += f" Make the case firm before you send it: {next_step(pin_read)}"
        return what
    if point == TUNE:
        steps = ["Dry the wet spools first."] if _tuned_by(judgement, {"moisture.loss"}) else []
        number = told(groups)
        if _tuned_by(judgement, FLOW_KEYS) and number:
            steps.append(f"Tune before printing: {number}.")
        what = " ".join(steps)
    else:
        what = "Accept and shelve; print as it is."
    if short:
        what += f" Inspect {short} more of the lot to be firm."
    elif not firm:
        what += f" Not sure yet: {next_step(pin_read)}"
    return what


def _tuned_by(judgement: Judgement, keys: set[str] | frozenset[str]) -> bool:
    return any(
        c.key in keys and bool(np.any((c.point == TUNE) & c.checked)) for c in judgement.checks
    )


def next_step(pin_read: bool) -> str:
    """What helps most against doubt, for the price of some minutes."""
    if not pin_read:
        return "read a pin of known size three times before and after measuring."
    return "read more places where it says how many, or find out your scatter (lotqa gauge study)."
