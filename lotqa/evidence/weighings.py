"""The weigh-ins of a lot's spools, put together: net mass, length, apparent density, moisture.

Best tare first: this reel weighed empty; reels of this lot weighed empty (their mean, with the
scatter between reels); the stated broad default.  Weighings of one kind of one spool are averaged,
except drying, where the first before and the last after count.  Formulas: weight.py, moisture.py.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lotqa.evidence import weight
from lotqa.evidence.moisture import Moisture, loss_on_drying
from lotqa.evidence.summary import student_quantile
from lotqa.model import WeighIn


@dataclass(frozen=True, slots=True)
class Scale:
    """The scale of the bench."""

    step_g: float
    limit_of_error_g: float


@dataclass(frozen=True, slots=True)
class Tare:
    """What an empty reel is taken to weigh."""

    mass_g: float
    u_g: float
    known: Literal["itself", "alike", "supposed"]
    source: str  # in words, for the report


@dataclass(frozen=True, slots=True)
class Filament:
    """What turns mass into metres; unknown parts are None."""

    density_g_cm3: float | None
    u_density_g_cm3: float
    diameter_mm: float | None
    u_diameter_mm: float


@dataclass(frozen=True, slots=True)
class SpoolWeight:
    """What the weighings of one spool say; None where they do not."""

    gross_g: float | None
    tare: Tare | None
    net_g: float | None
    u_net_g: float | None
    shortfall_g: float | None
    length_m: float | None
    u_length_m: float | None
    volume_ml: float | None
    linear_density_g_per_m: float | None  # of the weighed cut
    apparent_density_g_cm3: float | None
    u_apparent_density_g_cm3: float | None
    moisture: Moisture | None
    drying_hours: float | None
    drying_temperature_c: float | None


def lot_tare(weigh_ins: Iterable[WeighIn], scale: Scale, default: Tare, like_sd_g: float) -> Tare:
    """Tare for a reel that was not weighed empty itself, from the others of the lot."""
    by_spool: dict[str, list[float]] = defaultdict(list)
    for w in weigh_ins:
        if w.kind == "tare":
            by_spool[w.spool].append(w.mass_g)
    if not by_spool:
        return default
    tares = np.array([np.mean(v) for v in by_spool.values()])
    n = len(tares)
    # Two or three reels say little about their scatter: never less than reels are known to differ
    # until there are enough.
    s = like_sd_g
    if n >= 5:
        # Stretched, so that the normal interval of the mass is Student's of so few reels.
        student = float(student_quantile(n - 1.0) / student_quantile(np.inf))
        s = float(np.std(tares, ddof=1)) * student
    u_scale = weight.u_weighing_g(scale.limit_of_error_g, scale.step_g)
    u = float(np.sqrt(s**2 * (1 + 1 / n) + u_scale**2))
    reels = "1 other reel" if n == 1 else f"{n} other reels"
    return Tare(float(np.mean(tares)), u, "alike", f"{reels} of this lot weighed empty")


def mean_net_g(weights: Iterable[SpoolWeight | None]) -> float | None:
    """Mean net mass of the spools whose reel is known; a supposed reel would be most of it."""
    known = [
        w.net_g
        for w in weights
        if w is not None and w.net_g is not None and (w.tare is None or w.tare.known != "supposed")
    ]
    return float(np.mean(known)) if known else None


def spool_weight(
    weigh_ins: Iterable[WeighIn],
    scale: Scale,
    other_tare: Tare,
    label_net_g: float | None,
    filament: Filament,
) -> SpoolWeight:
    """Put the weighings of one spool together."""
    by_kind: dict[str, list[WeighIn]] = defaultdict(list)
    for w in weigh_ins:
        by_kind[w.kind].append(w)

    def mass(kind: str) -> tuple[float, float] | None:
        """Mean mass and its uncertainty; repeating does not shrink the limit of error."""
        rows = by_kind.get(kind)
        if not rows:
            return None
        step = max(r.scale_step_g if r.scale_step_g is not None else scale.step_g for r in rows)
        u = weight.u_weighing_g(scale.limit_of_error_g, step)
        return float(np.mean([r.mass_g for r in rows])), u

    gross, own_tare, net_only = mass("gross"), mass("tare"), mass("net")
    tare: Tare | None = None
    net_g = u_net = None
    if gross is not None:
        tare = (
            other_tare if own_tare is None else Tare(*own_tare, "itself", "this reel weighed empty")
        )
        found = weight.net_mass(*gross, tare.mass_g, tare.u_g, None)
        net_g, u_net = found.net_g, found.u_g
    elif net_only is not None:
        net_g, u_net = net_only
    shortfall = None if net_g is None or label_net_g is None else label_net_g - net_g

    length = u_length = volume = None
    if net_g is not None and net_g > 0 and u_net is not None and filament.density_g_cm3:
        volume = float(weight.volume_ml(net_g, filament.density_g_cm3))
        if filament.diameter_mm:
            length = float(weight.length_m(net_g, filament.density_g_cm3, filament.diameter_mm))
            u_length = length * float(
                weight.u_length_relative(
                    u_net / net_g,
                    filament.u_density_g_cm3 / filament.density_g_cm3,
                    filament.u_diameter_mm / filament.diameter_mm,
                )
            )
    linear, apparent, u_apparent = _cut(by_kind.get("cut", []), scale, filament)
    moisture, hours, temperature = _drying(by_kind, scale, net_g, label_net_g)
    return SpoolWeight(
        gross_g=None if gross is None else gross[0],
        tare=tare,
        net_g=net_g,
        u_net_g=u_net,
        shortfall_g=shortfall,
        length_m=length,
        u_length_m=u_length,
        volume_ml=volume,
        linear_density_g_per_m=linear,
        apparent_density_g_cm3=apparent,
        u_apparent_density_g_cm3=u_apparent,
        moisture=moisture,
        drying_hours=hours,
        drying_temperature_c=temperature,
    )


def _cut(
    cuts: list[WeighIn], scale: Scale, filament: Filament
) -> tuple[float | None, float | None, float | None]:
    """Grams per metre of the weighed cuts, apparent density and its uncertainty."""
    usable = [c for c in cuts if c.length_m]
    if not usable:
        return None, None, None
    total_g = sum(c.mass_g for c in usable)
    total_m = sum(c.length_m or 0.0 for c in usable)
    linear = total_g / total_m
    if not filament.diameter_mm:
        return linear, None, None
    apparent = float(weight.apparent_density_g_cm3(total_g, total_m, filament.diameter_mm))
    # A cut is weighed on a finer scale than a reel: its own step is taken, and the limit of error
    # as two steps when the cut names its step, else that of the reel scale.
    u_mass = float(
        np.sqrt(
            sum(
                weight.u_weighing_g(2 * c.scale_step_g, c.scale_step_g) ** 2
                if c.scale_step_g is not None
                else weight.u_weighing_g(scale.limit_of_error_g, scale.step_g) ** 2
                for c in usable
            )
        )
    )
    relative = np.hypot(u_mass / total_g, 2 * filament.u_diameter_mm / filament.diameter_mm)
    return linear, apparent, float(apparent * relative)


def _drying(
    by_kind: dict[str, list[WeighIn]],
    scale: Scale,
    net_g: float | None,
    label_net_g: float | None,
) -> tuple[Moisture | None, float | None, float | None]:
    before, after = by_kind.get("before_drying"), by_kind.get("after_drying")
    base = net_g if net_g is not None and net_g > 0 else label_net_g
    if not before or not after or not base:
        return None, None, None
    first, last = before[0], after[-1]
    steps = [w.scale_step_g if w.scale_step_g is not None else scale.step_g for w in (first, last)]
    u = weight.u_weighing_g(0.0, max(steps))
    moisture = loss_on_drying(first.mass_g, last.mass_g, base, u)
    return moisture, last.hours, last.temperature_c
