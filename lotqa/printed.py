"""From what is set and what was printed to the tuning of each spool and the check of its coupon.

Where the lot sheet states no line, the criteria's default steps in.  The multiplier and the
diameter set in the machine, and what its reference spool showed, are in the evidence's section.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from lotqa.criteria import Criteria
from lotqa.errors import TooFewReadings
from lotqa.evidence import coupon
from lotqa.evidence.bench_scale import Scale, Weighed, weighed
from lotqa.evidence.coupon import Factor, Judgement, Wall
from lotqa.evidence.spool import LotEvidence, limits_as_laid_mm
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.tuning import LabelAllows, Tuning, label_allows, tune
from lotqa.model import (
    CouponReference,
    CouponSettings,
    Instrument,
    LotInput,
    WallReading,
    WeighIn,
)
from lotqa.verdict.goods import Goods


@dataclass(frozen=True, slots=True)
class Line:
    """The printed line that a change of flow is told for."""

    width_mm: float
    height_mm: float
    supposed: bool  # one of the two, or both, not stated


@dataclass(frozen=True, slots=True)
class CouponRows:
    """What was read and weighed of the coupon of one spool."""

    walls: list[WallReading] = field(default_factory=list)
    weigh_ins: list[WeighIn] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Reference:
    """What the reference spool showed on the same machine: print over diameter."""

    factors: Mapping[str, Factor]  # by route, those that it was found by
    route: str | None  # of the sharpest, or as stated; None: not stated which
    kept: CouponReference | None = None  # None: the lot sheet states the residual

    @property
    def factor(self) -> Factor:
        """By the sharpest route: what the machine itself needs."""
        return min(self.factors.values(), key=Factor.half_width)

    @property
    def u_rel(self) -> float:
        """Its standard uncertainty, all of it; widened where few readings tell it.

        What the tools did to the reference they need not do to the filament that is judged by it,
        so that counts, too, where it would fall out between two coupons.
        """
        if self.kept is None:
            return self.factor.u_rel
        return self.factor.half_width() / float(student_quantile(np.inf))

    @property
    def name(self) -> str | None:
        """As it is told to people; None where nobody named it."""
        if self.kept is None:
            return None
        return f"spool {self.kept.spool} of lot {self.kept.lot} ({self.kept.day})"


def reference_of(
    settings: CouponSettings, criteria: Criteria, kept: CouponReference | None = None
) -> Reference | None:
    """The reference that the lot sheet states, else the one that was ``kept``; None without."""
    stated, route = settings.reference_residual, settings.reference_route
    if stated is not None:
        u = settings.reference_u
        u_rel = criteria["coupon.reference_u_pct"] / 100 if u is None else u
        factor = Factor(stated, u_rel, np.inf)
        return Reference({r: factor for r in ("wall", "mass") if route in (None, r)}, route)
    if kept is None:
        return None
    factors = {
        r.route: coupon.factor_as_kept(r.residual, r.lo, r.hi, u_rel=r.u, u_common_rel=r.u_tools)
        for r in kept.residuals
    }
    return Reference(factors, min(factors, key=lambda r: factors[r].half_width()), kept)


@dataclass(frozen=True, slots=True, eq=False)
class LotTuning:
    """Tuning cards of all spools of a lot, and the rows of their coupons by spool."""

    line: Line
    card: Tuning
    label: LabelAllows
    multiplier_limits: tuple[float, float]
    coupons: Mapping[str, CouponRows]


@dataclass(frozen=True, slots=True)
class WallRoute:
    """What the walls of a coupon say."""

    target_mm: float
    target_stated: bool  # False: the line width is taken
    wall: Wall
    tools: tuple[str, ...]
    offset_mm: float  # of the tool, taken off
    factor: Factor


@dataclass(frozen=True, slots=True)
class MassRoute:
    """What the mass of a coupon says."""

    mass: Weighed
    volume_mm3: float  # asked for, without the multiplier
    density_g_cm3: float
    density_source: str
    factor: Factor


@dataclass(frozen=True, slots=True)
class CouponCheck:
    """The coupon of one spool; a route that was not gone, or could not be, is None."""

    wall: WallRoute | None
    mass: MassRoute | None
    diameter: Factor | None
    reference: Reference | None
    judgements: tuple[Judgement, ...]
    missing: tuple[str, ...]

    @property
    def decided(self) -> Judgement | None:
        """What the sharpest route says."""
        return min(self.judgements, key=lambda j: j.gap.half_width(), default=None)


def line_of(lot: LotInput, criteria: Criteria) -> Line:
    """The line of the lot sheet, completed from the criteria."""
    settings = lot.sheet.print_settings
    width, height = settings.line_width_mm, settings.layer_height_mm
    return Line(
        criteria["tuning.line_width_mm"] if width is None else width,
        criteria["tuning.layer_height_mm"] if height is None else height,
        supposed=width is None or height is None,
    )


def lot_tuning(lot: LotInput, evidence: LotEvidence, criteria: Criteria) -> LotTuning:
    """Tuning cards of all spools, in the order of the evidence."""
    section, d, line = evidence.section, evidence.diameter, line_of(lot, criteria)
    lo_mm, hi_mm = limits_as_laid_mm(d, section)
    limits = criteria["tuning.multiplier_min"], criteria["tuning.multiplier_max"]
    card = tune(
        d.mean_mm,
        lo_mm,
        hi_mm,
        d.sd_mm,
        set_diameter_mm=section.set_diameter_mm,
        line_width_mm=line.width_mm,
        layer_height_mm=line.height_mm,
        multiplier_limits=limits,
        multiplier=section.multiplier,
        machine_residual=section.machine_residual,
    )
    label = label_allows(
        section.nominal_mm,
        section.tolerance_mm,
        line_width_mm=line.width_mm,
        layer_height_mm=line.height_mm,
    )
    return LotTuning(line, card, label, limits, _coupons(lot))


def _coupons(lot: LotInput) -> dict[str, CouponRows]:
    rows: dict[str, CouponRows] = {}
    for wall in lot.wall_readings:
        rows.setdefault(wall.spool, CouponRows()).walls.append(wall)
    for w in lot.weigh_ins:
        if w.kind == "coupon":
            rows.setdefault(w.spool, CouponRows()).weigh_ins.append(w)
    return rows


def coupon_check(
    lot: LotInput,
    rows: CouponRows,
    i: int,
    evidence: LotEvidence,
    goods: Goods,
    criteria: Criteria,
    scale: Scale,
    tool_name: str,
    reference: Reference | None = None,
) -> CouponCheck:
    """The coupon of spool ``i``, of which ``rows`` tell.

    ``tool_name`` is the tool that read the diameters; walls that name none were read with it.
    A route is compared with the ``reference`` by the same route.
    """
    walls, weigh_ins = rows.walls, rows.weigh_ins
    missing: list[str] = []
    wall = _wall(lot, walls, evidence, criteria, tool_name, missing) if walls else None
    on_scale = weighed(weigh_ins, scale)
    mass = None if on_scale is None else _mass(lot, i, on_scale, evidence, goods, missing)
    diameter = _diameter(evidence, i)
    if diameter is None:
        missing.append(
            "The mean diameter of the spool is not known well enough to compare the print with it: "
            "read two places at least."
        )
    routes = (("wall", wall), ("mass", mass))
    judgements = tuple(
        coupon.judge(
            name,
            route.factor,
            diameter,
            gap_max_pct=criteria["coupon.gap_max_pct"],
            reference=None if reference is None else reference.factors.get(name),
            same_tools=lot.sheet.coupon.reference_tools == "same",
        )
        for name, route in routes
        if route is not None and diameter is not None
    )
    return CouponCheck(wall, mass, diameter, reference, judgements, tuple(missing))


def _diameter(evidence: LotEvidence, i: int) -> Factor | None:
    d = evidence.diameter
    mean, lo, hi = (float(v[i]) for v in (d.mean_mm, d.mean_lo_mm, d.mean_hi_mm))
    if not np.isfinite([mean, lo, hi]).all():
        return None
    return coupon.diameter_factor(
        mean,
        lo,
        hi,
        float(d.sd_mm[i]),
        set_diameter_mm=evidence.section.set_diameter_mm,
        u_common_mm=evidence.offset.u_mm,
    )


def _wall(
    lot: LotInput,
    walls: list[WallReading],
    evidence: LotEvidence,
    criteria: Criteria,
    tool_name: str,
    missing: list[str],
) -> WallRoute | None:
    line, stated_mm = line_of(lot, criteria), lot.sheet.coupon.wall_target_mm
    target_mm = stated_mm or lot.sheet.print_settings.line_width_mm
    if target_mm is None:
        missing.append("The wall that was asked for is not known: write wall_target_mm.")
        return None
    if target_mm <= line.height_mm:
        missing.append(
            f"A wall of {target_mm:g} mm is not wider than the layer of {line.height_mm:g} mm is "
            "high: correct wall_target_mm or layer_height_mm."
        )
        return None
    names = tuple(dict.fromkeys(w.instrument or tool_name for w in walls))
    tools = {name: _tool(lot, name, evidence, criteria, tool_name) for name in names}
    # Several tools on one coupon: the worst of them stands for all.
    step, limit, scatter = (max(t[n] for t in tools.values()) for n in range(3))
    offset = [tools[w.instrument or tool_name][3] for w in walls]
    try:
        wall = coupon.wall_thickness(
            [w.wall_mm - o for w, o in zip(walls, offset, strict=True)],
            [int(w.side) for w in walls],
            step_mm=step,
            limit_of_error_mm=limit,
            scatter_sd_mm=scatter,
        )
    except TooFewReadings:
        missing.append("The wall was read on one side only: read three places on each of four.")
        return None
    factor = coupon.wall_factor(
        wall,
        line_width_mm=target_mm,
        layer_height_mm=line.height_mm,
        multiplier=evidence.section.multiplier,
    )
    mean_offset = float(np.mean(offset))
    return WallRoute(target_mm, stated_mm is not None, wall, names, mean_offset, factor)


def _tool(
    lot: LotInput, name: str, evidence: LotEvidence, criteria: Criteria, tool_name: str
) -> tuple[float, float, float, float]:
    """(step, limit of error, scatter, offset) of a tool that read walls, in mm."""
    if name == tool_name:
        # What a pin left unknown of the offset stands as its limit of error.
        known = evidence.offset
        limit = known.u_mm * float(np.sqrt(3))
        return evidence.step_mm, limit, evidence.scatter.sd_mm, known.offset_mm
    named = next((x for x in lot.sheet.instruments if x.name == name), None)
    tool = Instrument(kind=name, name=name) if named is None else named
    usual = criteria.tool_for(tool.kind)
    stated = (tool.resolution_mm, tool.limit_of_error_mm, tool.repeatability_sd_mm)
    supposed = (usual.step_mm, usual.limit_of_error_mm, usual.scatter_sd_mm)
    step, limit, scatter = (
        s if known is None else known for known, s in zip(stated, supposed, strict=True)
    )
    return step, limit, scatter, 0.0


def volume_mm3(settings: CouponSettings, set_diameter_mm: float, multiplier: float) -> float | None:
    """Volume asked for: as stated, or of the filament fed, in which the multiplier is."""
    if settings.commanded_volume_mm3 is not None or settings.commanded_mm is None:
        return settings.commanded_volume_mm3
    return settings.commanded_mm * float(np.pi) * set_diameter_mm**2 / 4 / multiplier


def _mass(
    lot: LotInput,
    i: int,
    on_scale: Weighed,
    evidence: LotEvidence,
    goods: Goods,
    missing: list[str],
) -> MassRoute | None:
    section = evidence.section
    volume = volume_mm3(lot.sheet.coupon, section.set_diameter_mm, section.multiplier)
    weight = goods.weights[i]
    filament = None if weight is None else weight.filament
    if volume is None:
        missing.append("What the machine was told to feed is not known: write commanded_mm.")
        return None
    if filament is None or filament.density_g_cm3 is None:
        missing.append("The density is not known: name the material, or weigh a piece in water.")
        return None
    # The part of the scale that is not its step.
    other_g = np.sqrt(max(on_scale.u_g**2 - on_scale.step_g**2 / 12, 0.0))
    factor = coupon.mass_factor(
        on_scale.mass_g,
        volume_mm3=volume,
        density_g_per_cm3=filament.density_g_cm3,
        multiplier=section.multiplier,
        step_g=on_scale.step_g,
        limit_of_error_g=float(np.sqrt(3) * other_g),
        u_density_rel=filament.u_density_g_cm3 / filament.density_g_cm3,
    )
    source = filament.density_source or "not stated"
    return MassRoute(on_scale, volume, filament.density_g_cm3, source, factor)
