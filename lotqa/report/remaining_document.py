"""The document on what is left on a spool in use, lotqa.remaining.v1."""

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from lotqa.evidence.remaining import Remaining, remaining, surely_left
from lotqa.evidence.weight import interval as normal_interval
from lotqa.report.spool_document import pair
from lotqa.verdict.words import interval, number

SCHEMA: Final = "lotqa.remaining.v1"
MOST_DIGITS: Final = 6
CONFIDENCE: Final = 0.95  # one-sided, of what is surely left
CARDBOARD: Final = (
    "A cardboard reel holds water: in another season or after drying it weighs some grams more or "
    "less."
)
ON_SCALE: Final = "The same things must be on the scale as when the reel was weighed."

Covered = Literal["surely", "surely not", "cannot be told"]


@dataclass(frozen=True, slots=True)
class Known:
    """A quantity with its standard uncertainty and where it is from, in words."""

    value: float
    u: float
    source: str


@dataclass(frozen=True, slots=True)
class InUse:
    """One spool in the middle of use, with what its lot's inspection and the ledger say."""

    ledger: str
    lot_id: int
    inspection: int
    supplier: str
    lot: str
    spool: str
    gross: Known  # now
    first_gross_g: float | None  # as it came
    tare: Known
    tare_known: str  # itself, alike, record, supposed
    reel_material: str | None
    g_per_m: Known | None
    density_g_cm3: Known | None


def remaining_document(spool: InUse, needed_m: float | None) -> dict[str, Any]:
    """Grams, metres and millilitres left, and whether a print is covered."""
    g_per_m = spool.g_per_m
    left = remaining(
        spool.gross.value,
        spool.gross.u,
        spool.tare.value,
        spool.tare.u,
        None if g_per_m is None else g_per_m.value,
        0.0 if g_per_m is None else g_per_m.u,
    )
    net_ci = _ends(left.net_g, left.u_net_g)
    length_ci = _ends(left.length_m, left.u_length_m)
    volume, volume_ci = _volume(left, spool.density_g_cm3)
    surely_g, surely_m = surely_left(left, CONFIDENCE)
    first = spool.first_gross_g
    return {
        "schema": SCHEMA,
        "ledger": spool.ledger,
        "lot_id": spool.lot_id,
        "inspection": spool.inspection,
        "supplier": spool.supplier,
        "lot": spool.lot,
        "spool": spool.spool,
        "gross_g": spool.gross.value,
        "gross_uncertainty_g": 2 * spool.gross.u,
        "gross_text": spool.gross.source,
        "first_gross_g": first,
        "used_g": None if first is None else first - spool.gross.value,
        "tare_g": spool.tare.value,
        "tare_uncertainty_g": 2 * spool.tare.u,
        "tare_known": spool.tare_known,
        "tare_source": spool.tare.source,
        "grams_per_m": None if g_per_m is None else g_per_m.value,
        "grams_per_m_ci95": [None, None] if g_per_m is None else _ends(g_per_m.value, g_per_m.u),
        "grams_per_m_by": None if g_per_m is None else g_per_m.source,
        "density_g_cm3": None if spool.density_g_cm3 is None else spool.density_g_cm3.value,
        "net_g": left.net_g,
        "net_ci95_g": net_ci,
        "length_m": left.length_m,
        "length_ci95_m": length_ci,
        "volume_ml": volume,
        "volume_ci95_ml": volume_ci,
        "surely_left": {"confidence": CONFIDENCE, "net_g": surely_g, "length_m": surely_m},
        "needed": None if needed_m is None else _needed(needed_m, left, surely_m),
        "text": _text(spool, left, volume, volume_ci),
        "surely_text": _surely_text(surely_g, surely_m),
        "reel_text": f"Reel {number(spool.tare.value, 0)} g, known to "
        f"{number(2 * spool.tare.u, 1)} g: {spool.tare.source}.",
        "metre_text": _metre_text(g_per_m),
        "cautions": [ON_SCALE, *([CARDBOARD] if spool.reel_material == "cardboard" else [])],
    }


def _ends(value: float | None, u: float | None) -> list[float | None]:
    """95 % interval; what is left is never less than nothing."""
    if value is None or u is None:
        return [None, None]
    lo, hi = normal_interval(value, u)
    return pair(max(lo, 0.0), max(hi, 0.0))


def _volume(left: Remaining, density: Known | None) -> tuple[float | None, list[float | None]]:
    if density is None:
        return None, [None, None]
    volume = left.net_g / density.value
    u = float(np.hypot(left.u_net_g, volume * density.u) / density.value)
    return volume, _ends(volume, u)


def _needed(needed_m: float, left: Remaining, surely_m: float | None) -> dict[str, Any]:
    """Whether a print of ``needed_m`` is covered, each way with the stated confidence."""
    answer: Covered = "cannot be told"
    if surely_m is None or left.length_m is None or left.u_length_m is None:
        said = f"Whether {needed_m:g} m are left cannot be told: grams per metre are not known."
        return {"length_m": needed_m, "covered": answer, "text": said}
    # The mirror of what is surely left: what is surely not exceeded.
    mirrored = Remaining(0.0, 0.0, needed_m, left.u_length_m)
    if needed_m <= surely_m:
        answer = "surely"
        there = _at_least(surely_m, needed_m)
        said = f"{needed_m:g} m are surely covered: {there} m are there in 19 of 20 such cases."
    elif (surely_left(mirrored, CONFIDENCE)[1] or 0.0) > left.length_m:
        answer = "surely not"
        said = f"{needed_m:g} m are surely not there: about {_about(left.length_m)} m are left."
    else:
        said = (
            f"Whether {needed_m:g} m are left cannot be told: {_at_least(surely_m)} m are there in "
            f"19 of 20 such cases, about {_about(left.length_m)} m are likely."
        )
    return {"length_m": needed_m, "covered": answer, "text": said}


def _at_least(surely: float, needed: float = 0.0) -> str:
    """Cut, not rounded: what is surely there must not be more than it is.

    >>> _at_least(151.88), _at_least(151.88, 151.5)
    ('151', '151.8')
    """
    for digits in range(MOST_DIGITS):
        cut = float(np.floor(surely * 10**digits) / 10**digits)
        if cut >= needed:
            return f"{cut:.{digits}f}"
    return f"{surely:.{MOST_DIGITS}f}"


def _about(metres: float) -> str:
    return number(max(metres, 0.0), 0)


def _text(
    spool: InUse, left: Remaining, volume: float | None, volume_ci: list[float | None]
) -> str:
    lo, hi = _ends(left.net_g, left.u_net_g)
    said = (
        f"Spool {spool.spool} of lot {spool.lot} ({spool.supplier}): "
        f"{number(max(left.net_g, 0.0), 0)} g left ({interval(lo or 0.0, hi or 0.0, 0)} g)"
    )
    if left.length_m is not None:
        lo, hi = _ends(left.length_m, left.u_length_m)
        said += f", {_about(left.length_m)} m ({interval(lo or 0.0, hi or 0.0, 0)} m)"
    if volume is not None:
        lo, hi = volume_ci
        said += f", {_about(volume)} ml ({interval(lo or 0.0, hi or 0.0, 0)} ml)"
    return f"{said}."


def _surely_text(surely_g: float, surely_m: float | None) -> str:
    metres = "" if surely_m is None else f", {_at_least(surely_m)} m"
    return f"Surely left (19 of 20 such cases): {_at_least(surely_g)} g{metres}."


def _metre_text(g_per_m: Known | None) -> str:
    if g_per_m is None:
        return (
            "Grams per metre are not known: cut and weigh 2 m, or name the material and read the "
            "diameter."
        )
    return (
        f"{number(g_per_m.value, 3)} g a metre, known to {number(2 * g_per_m.u, 3)} g: by "
        f"{g_per_m.source}."
    )
