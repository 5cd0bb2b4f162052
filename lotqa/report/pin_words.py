"""What a pin check means, in sentences."""

from collections.abc import Mapping
from typing import Any


def pin_sentences(block: Mapping[str, Any]) -> list[str]:
    """The findings on one instrument of a pin check document."""
    n, offset = block["pin_readings"], block["offset_mm"]
    way = "too much" if offset >= 0 else "too little"
    plural = "" if n == 1 else "s"
    texts = [
        f"{block['instrument']} reads {abs(offset):.4f} mm {way} on the pin ({n} reading{plural}, "
        f"standard uncertainty {block['offset_uncertainty_mm']:.4f} mm)"
        + (
            ", but moved: what was read in between cannot be corrected."
            if block["moved"]
            else ": that is taken off every reading."
        )
    ]
    texts.append(_shift(block))
    if block["moved"]:
        return texts
    mean = block["mean_of_places"]
    texts.append(
        f"What the pin buys: the mean of {mean['places']} places, {mean['directions']} directions "
        f"each, is known to ± {mean['with_pin_mm']:.3f} mm with it and to "
        f"± {mean['without_pin_mm']:.3f} mm without (k = 2, scatter "
        f"{block['scatter']['sd_mm']:.4f} mm, {block['scatter']['source']}); the "
        "filament's own spread comes on top of both."
    )
    ability = block["capability"]
    if ability is not None:
        texts.append(
            f"Against ± {ability['tolerance_mm']:g} mm the tool on the pin has Cg "
            f"{ability['cg']:.2f} and Cgk {_index(ability['cgk'])} (20 % of the band over six "
            f"standard deviations, from {ability['df']} degrees of freedom)."
        )
    return texts


def _index(value: float) -> str:
    """Two digits; what rounds to zero has no sign."""
    return f"{round(value, 2) + 0.0:.2f}"


def moved_message(file: str, block: Mapping[str, Any]) -> str:
    """Why an instrument that moved is refused, and what to do."""
    return (
        f"{file}: {block['instrument']} read the pin {block['shift_mm']:+.4f} mm differently after "
        f"the session, more than {block['shift_max_mm']:g} mm: what was read in between cannot be "
        "corrected, clean the jaws, set zero, read the pin and the filament again"
    )


def _shift(block: Mapping[str, Any]) -> str:
    if block["shift_mm"] is None:
        side, other = ("before", "after") if block["before"] else ("after", "before")
        return (
            f"The pin was read {side} the session only: read it {other} as well, or nobody knows "
            "whether the tool moved."
        )
    lo, hi = block["shift_ci95_mm"]
    text = (
        f"From before to after the session it moved {block['shift_mm']:+.4f} mm (95 %: "
        f"{lo:+.4f} to {hi:+.4f} mm)"
    )
    most = block["shift_max_mm"]
    if block["moved"]:
        return f"{text}, more than {most:g} mm."
    if hi > most or lo < -most:
        return f"{text}; up to {most:g} mm is accepted, but so few readings cannot rule out more."
    return f"{text}; up to {most:g} mm is accepted."
