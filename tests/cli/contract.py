"""The machine output that other programs rely on: which keys must be there, and no NaN.

``BASE`` is the agreed list, typed from the agreement and not taken from the program.  A document
may hold more; it may never hold less.
"""

import math
from collections.abc import Iterator
from typing import Any

Shape = Any  # dict: keys; list of one: a list of such; PAIR: two bounds; None: any value


class Optional:
    """A block that may be null as a whole."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape


PAIR = object()
VERDICTS = ("accept", "tune", "reject")
STANDINGS = ("firm", "provisional")
OUTCOMES = ("pass", "tune", "reject", "undecided", "not_checked")


def _keys(text: str) -> dict[str, Shape]:
    return dict.fromkeys(text.split())


REASON = {**_keys("check value limit unit text"), "outcome": OUTCOMES, "standing": STANDINGS}
DIAMETER = {
    **_keys("places readings mean_mm sd_observed_mm sd_mm min_mm max_mm cp cpk"),
    **_keys("uncertainty_mean_mm"),
    **dict.fromkeys(
        ("mean_ci95_mm", "sd_ci95_mm", "cp_ci95", "cpk_ci95", "tolerance_interval_mm"), PAIR
    ),
}
SPOOL = {
    **_keys("spool more_places"),
    "verdict": VERDICTS,
    "standing": STANDINGS,
    "reasons": [REASON],
    "diameter": DIAMETER,
    "ovality": Optional({**_keys("mean_mm method"), "mean_ci95_mm": PAIR}),
    "flow": {
        **_keys("error_pct swing_pct multiplier set_diameter_mm"),
        "error_ci95_pct": PAIR,
    },
    "waves": Optional(
        {
            **_keys("found period_m amplitude_mm significance swing_pct aliases_m cannot text"),
            "bands": [_keys("part pitch_mm swing_pct visibility text")],
        }
    ),
    "weight": Optional(
        _keys(
            "net_g uncertainty_g shortfall_g length_m linear_density_g_per_m apparent_density_g_cm3"
        )
    ),
    "findings": Optional({}),
}
BASE: Shape = {
    "schema": ("lotqa.inspection.v1",),
    "lot": {
        **_keys("supplier product material lot received spools_received spools_inspected"),
        **_keys("mean_mm between_spool_sd_mm within_spool_sd_mm"),
        "verdict": VERDICTS,
        "standing": STANDINGS,
        "reasons": [REASON],
    },
    "spools": [SPOOL],
    "problems": [_keys("file line column value message")],
}


def breaches(value: Any, shape: Shape = BASE, where: str = "document") -> Iterator[str]:
    """What the contract asks for and the document does not give."""
    if isinstance(shape, Optional):
        if value is not None:
            yield from breaches(value, shape.shape, where)
    elif isinstance(shape, dict):
        if not isinstance(value, dict):
            yield f"{where} is {value!r}, not an object"
            return
        for key, inner in shape.items():
            if key in value:
                yield from breaches(value[key], inner, f"{where}.{key}")
            else:
                yield f"{where}.{key} is missing"
    elif isinstance(shape, list):
        if not isinstance(value, list):
            yield f"{where} is {value!r}, not a list"
            return
        for number, item in enumerate(value):
            yield from breaches(item, shape[0], f"{where}[{number}]")
    elif isinstance(shape, tuple):
        if value not in shape:
            yield f"{where} is {value!r}, not one of {', '.join(shape)}"
    elif shape is PAIR:
        is_pair = isinstance(value, list) and len(value) == 2
        if not is_pair or not all(v is None or isinstance(v, int | float) for v in value):
            yield f"{where} is {value!r}, not two bounds"


def not_finite(value: Any, where: str = "document") -> Iterator[str]:
    """Places of NaN and infinite numbers."""
    if isinstance(value, float) and not math.isfinite(value):
        yield where
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from not_finite(item, f"{where}.{key}")
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from not_finite(item, f"{where}[{number}]")
