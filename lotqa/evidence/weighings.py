"""The weigh-ins of a lot's spools, put together: net mass, length, density, moisture.

Weighings of one kind of one spool are averaged and corrected by what the scale showed for a known
mass, except drying, where the first before and the last after count.  The empty reel: reel_tare.py.
A density that was weighed in water goes before that of the material.  Formulas: weight.py,
cut_length.py, immersion.py, moisture.py.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from lotqa.evidence import weight
from lotqa.evidence.bench_scale import Scale, Weighed, weighed
from lotqa.evidence.moisture import DryingSeries, Moisture, drying_loss
from lotqa.evidence.pieces import Cut, Filament, Immersion, cut_of, immersion
from lotqa.evidence.reel_tare import Tare, lot_tare, range_tare
from lotqa.evidence.remaining import linear_density
from lotqa.model import WeighIn

__all__ = [
    "Filament",
    "Scale",
    "SpoolWeight",
    "Tare",
    "lot_tare",
    "mean_net_g",
    "range_tare",
    "spool_weight",
]


@dataclass(frozen=True, slots=True)
class SpoolWeight:
    """What the weighings of one spool say; None where they do not."""

    gross_g: float | None  # as read
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
    u_volume_ml: float | None = None
    g_per_m: float | None = None  # from density and diameter
    u_g_per_m: float | None = None
    thin_gain_m: float | None = None  # metres more than at the nominal diameter
    u_thin_gain_m: float | None = None
    weighed: Weighed | None = None  # gross, or the net weighing where there is no gross
    cut: Cut | None = None
    immersion: Immersion | None = None
    filament: Filament | None = None  # what turned mass into metres


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
    u_cut_length_m: float = 0.0,
) -> SpoolWeight:
    """Put the weighings of one spool together; ``u_cut_length_m`` is that of one cut piece.

    A reel that weighs as much as the whole leaves no net mass: one of the two is another's.
    """
    by_kind: dict[str, list[WeighIn]] = defaultdict(list)
    for w in weigh_ins:
        by_kind[w.kind].append(w)
    gross, own_tare, net_only = (
        weighed(by_kind.get(kind, []), scale) for kind in ("gross", "tare", "net")
    )
    tare: Tare | None = None
    net_g = u_net = None
    if gross is not None:
        tare = other_tare
        if own_tare is not None:
            tare = Tare(own_tare.mass_g, own_tare.u_g, "itself", "this reel weighed empty")
        found = weight.net_mass(gross.mass_g, gross.u_g, tare.mass_g, tare.u_g, None)
        if found.net_g > 0:
            net_g, u_net = found.net_g, found.u_g
    elif net_only is not None:
        net_g, u_net = net_only.mass_g, net_only.u_g
    in_water = immersion([*by_kind.get("in_air", []), *by_kind.get("in_water", [])], scale)
    if in_water is not None:
        filament = _measured(filament, in_water)
    metres = _metres(net_g, u_net, filament)
    cut = cut_of(by_kind.get("cut", []), scale, filament, u_cut_length_m)
    apparent, u_apparent = _apparent(cut, filament)
    moisture, hours, temperature = _drying(by_kind, scale, net_g, label_net_g)
    return SpoolWeight(
        gross_g=None if gross is None else gross.reading_g,
        tare=tare,
        net_g=net_g,
        u_net_g=u_net,
        shortfall_g=None if net_g is None or label_net_g is None else label_net_g - net_g,
        length_m=metres.length_m,
        u_length_m=metres.u_length_m,
        volume_ml=metres.volume_ml,
        linear_density_g_per_m=None if cut is None else cut.found.linear_density_g_per_m,
        apparent_density_g_cm3=apparent,
        u_apparent_density_g_cm3=u_apparent,
        moisture=moisture,
        drying_hours=hours,
        drying_temperature_c=temperature,
        u_volume_ml=metres.u_volume_ml,
        g_per_m=metres.g_per_m,
        u_g_per_m=metres.u_g_per_m,
        thin_gain_m=metres.thin_gain_m,
        u_thin_gain_m=metres.u_thin_gain_m,
        weighed=net_only if gross is None else gross,
        cut=cut,
        immersion=in_water,
        filament=filament,
    )


def _measured(filament: Filament, found: Immersion) -> Filament:
    return Filament(
        found.density_g_cm3,
        found.u_density_g_cm3,
        filament.diameter_mm,
        filament.u_diameter_mm,
        filament.spread_mm,
        filament.nominal_mm,
        "weighed in water",
        measured=True,
    )


@dataclass(frozen=True, slots=True)
class _Metres:
    """What a net mass makes; None where density, diameter or mass is not known."""

    volume_ml: float | None = None
    u_volume_ml: float | None = None
    length_m: float | None = None
    u_length_m: float | None = None
    g_per_m: float | None = None
    u_g_per_m: float | None = None
    thin_gain_m: float | None = None
    u_thin_gain_m: float | None = None


def _metres(net_g: float | None, u_net_g: float | None, filament: Filament) -> _Metres:
    density, d = filament.density_g_cm3, filament.diameter_mm
    if not density:
        return _Metres()
    u_density = filament.u_density_g_cm3
    g_per_m = u_g_per_m = None
    if d:
        g_per_m, u_g_per_m = linear_density(density, u_density, d, filament.u_diameter_mm)
    if net_g is None or u_net_g is None:
        return _Metres(g_per_m=g_per_m, u_g_per_m=u_g_per_m)
    volume = float(weight.volume_ml(net_g, density))
    u_volume = volume * float(np.hypot(u_net_g / net_g, u_density / density))
    length = u_length = gain = u_gain = None
    if d:
        length = float(weight.length_m(net_g, density, d))
        u_length = length * float(
            weight.u_length_relative(
                u_net_g / net_g, u_density / density, filament.u_diameter_mm / d
            )
        )
        if filament.nominal_mm:
            # Mass and density scale both lengths alike; what is not known is the diameter.
            gain = length - float(weight.length_m(net_g, density, filament.nominal_mm))
            u_gain = length * 2 * filament.u_diameter_mm / d
    return _Metres(volume, u_volume, length, u_length, g_per_m, u_g_per_m, gain, u_gain)


def _apparent(cut: Cut | None, filament: Filament) -> tuple[float | None, float | None]:
    """Density by cut and calliper, and its uncertainty; the diameter counts twice."""
    d = filament.diameter_mm
    if cut is None or not d:
        return None, None
    density = float(weight.apparent_density_g_cm3(cut.mass_g, cut.length_m, d))
    linear = cut.found.u_linear_density_g_per_m / cut.found.linear_density_g_per_m
    u_d = float(np.hypot(filament.u_diameter_mm, filament.spread_mm))
    return density, density * float(np.hypot(linear, 2 * u_d / d))


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
    series = DryingSeries(
        before_g=first.mass_g,
        after_g=tuple(w.mass_g for w in after),
        hours=tuple(w.hours for w in after),
        net_g=base,
        u_weighing_g=weight.u_weighing_g(0.0, max(steps)),
        step_g=max(steps),
    )
    return drying_loss(series), last.hours, last.temperature_c
