"""Pieces of one spool: a weighed length, and a piece weighed in air and in water.

Several lengths are put together as one, total mass over total length.  The length speaks for its
own metres; where it is to say something of the whole spool, the spread s of the diameter along the
spool counts as an uncertainty of its grams per metre, relative 2 s / d [1]_, which is cautious: a
piece of metres has averaged some of it away.  Formulas: cut_length.py, immersion.py.

.. [1] JCGM 100:2008 (GUM), 5.1.2; the section goes with the square of the diameter.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lotqa.evidence.bench_scale import Scale
from lotqa.evidence.cut_length import Agreement, CutLength, agreement, cut_length
from lotqa.evidence.hung_pieces import pairs
from lotqa.evidence.immersion import immersion_density
from lotqa.model import WeighIn


@dataclass(frozen=True, slots=True)
class Filament:
    """What turns mass into metres; unknown parts are None."""

    density_g_cm3: float | None
    u_density_g_cm3: float
    diameter_mm: float | None
    u_diameter_mm: float
    spread_mm: float = 0.0  # of the diameter along the spool
    nominal_mm: float | None = None
    density_source: str | None = None  # in words, for the report
    measured: bool = False  # the density, in water, of this spool: its voids are counted in


@dataclass(frozen=True, slots=True)
class Immersion:
    """Density of a spool's filament, voids included, from pieces weighed in air and in water."""

    density_g_cm3: float
    u_density_g_cm3: float
    n_pieces: int


@dataclass(frozen=True, slots=True)
class Cut:
    """A weighed length of one spool beside its calliper mean."""

    length_m: float
    mass_g: float
    found: CutLength
    agreement: Agreement | None  # None without density or diameter
    u_spool_g_per_m: float  # of its grams per metre, if it is to speak for the whole spool


def immersion(weigh_ins: Sequence[WeighIn], scale: Scale) -> Immersion | None:
    """Mean density of the pieces of one spool; the errors of one scale do not average out."""
    found = []
    for air, water in pairs(weigh_ins):
        if water.temperature_c is None:
            continue
        masses = [scale.of_step(w.scale_step_g, fine=True).weighed(w.mass_g) for w in (air, water)]
        (air_g, u_air), (water_g, u_water) = masses
        found.append(immersion_density(air_g, water_g, water.temperature_c, u_air, u_water))
    if not found:
        return None
    density, u = (np.array(v) for v in zip(*found, strict=True))
    between = float(np.var(density, ddof=1)) / len(density) if len(density) > 1 else 0.0
    u_mean = float(np.sqrt(np.mean(u**2) + between))
    return Immersion(float(np.mean(density)), u_mean, len(density))


def density_of_lot(found: Sequence[Immersion]) -> tuple[float, float]:
    """(density, standard uncertainty) for a spool of the lot that was not weighed in water itself.

    One spool says nothing about how spools differ; with several, their scatter counts in full.
    """
    density = np.array([f.density_g_cm3 for f in found])
    u2 = float(np.mean([f.u_density_g_cm3**2 for f in found]))
    if len(found) > 1:
        u2 += float(np.var(density, ddof=1)) * (1 + 1 / len(found))
    return float(np.mean(density)), float(np.sqrt(u2))


def cut_of(
    cuts: Sequence[WeighIn], scale: Scale, filament: Filament, u_length_m: float
) -> Cut | None:
    """The weighed lengths of one spool put together; ``u_length_m`` is that of one of them."""
    usable = [c for c in cuts if c.length_m]
    if not usable:
        return None
    # A cut is weighed on a finer scale than a reel: see Scale.of_step.
    masses = [scale.of_step(c.scale_step_g, fine=True).weighed(c.mass_g) for c in usable]
    mass, length = sum(m for m, _ in masses), sum(c.length_m or 0.0 for c in usable)
    u_mass = float(np.sqrt(sum(u**2 for _, u in masses)))
    u_length = u_length_m * float(np.sqrt(len(usable)))
    found = cut_length(
        mass, u_mass, length, u_length, filament.density_g_cm3, filament.u_density_g_cm3
    )
    along = 0.0
    if filament.diameter_mm:
        along = 2 * filament.spread_mm / filament.diameter_mm * found.linear_density_g_per_m
    u_spool = float(np.hypot(found.u_linear_density_g_per_m, along))
    of_spool = replace(found, u_linear_density_g_per_m=u_spool)
    return Cut(length, mass, found, _agreement(of_spool, filament), u_spool)


def _agreement(of_spool: CutLength, filament: Filament) -> Agreement | None:
    """Of the calliper mean of the spool and its cut; None where one of them is not known."""
    if not filament.diameter_mm or not filament.density_g_cm3 or not filament.u_diameter_mm > 0:
        return None
    return agreement(
        filament.diameter_mm,
        filament.u_diameter_mm,
        of_spool,
        filament.density_g_cm3,
        filament.u_density_g_cm3,
    )
