"""From what was weighed to the goods that are judged: the scales, the empty reel, each spool.

Where the lot sheet is silent the criteria's defaults step in.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.bench_scale import Scale
from lotqa.evidence.pieces import Filament, Immersion, density_of_lot, immersion
from lotqa.evidence.reel_tare import Tare, lot_tare, range_tare
from lotqa.evidence.scale import ScaleCheck, scale_checks
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.tares import TareRecord
from lotqa.evidence.weighings import SpoolWeight, spool_weight
from lotqa.materials import Material
from lotqa.model import Finding, Instrument, LotInput, MassCheck, Problem, WeighIn
from lotqa.verdict.goods import Goods

SCALE_KINDS = ("scale", "balance")


def scale_of(lot: LotInput, criteria: Criteria) -> tuple[Scale, tuple[Problem, ...]]:
    """The scales of the bench with their mass checks, and what is wrong with the checks.

    The first one named weighs the spools; further ones are known by their step.
    """
    named = [i for i in lot.sheet.instruments if i.kind in SCALE_KINDS]
    checked = {_key(c.instrument) for c in lot.mass_checks}
    main = named[0] if named else Instrument(kind="scale", name="the scale")
    scales, used, problems = [], set[MassCheck](), list[Problem]()
    for tool in named or [main]:
        own = [c for c in lot.mass_checks if _key(c.instrument) == _key(tool.name)]
        if not own and len(checked) == 1 and len(named) <= 1:
            own = list(lot.mass_checks)  # one scale, one set of checks: a name typed two ways
        used.update(own)
        step = criteria["scale.step_g"] if tool.resolution_g is None else tool.resolution_g
        limit = tool.limit_of_error_g
        limit = criteria["scale.limit_of_error_g"] if limit is None else limit
        checks = _checks(own, step, limit)
        problems += _beyond(tool, limit, own, checks)
        if tool is main or tool.resolution_g is not None:
            scales.append(Scale(step, limit, checks))
    problems += [
        Problem(
            c.file,
            c.line,
            "instrument",
            c.instrument,
            f'instrument is "{c.instrument}", but the spools were weighed on "{main.name}": this '
            "mass check is not used; name the scale as in lot.toml",
        )
        for c in lot.mass_checks
        if c not in used
    ]
    return replace(scales[0], others=tuple(scales[1:])), tuple(problems)


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _checks(own: Sequence[MassCheck], step_g: float, limit_g: float) -> tuple[ScaleCheck, ...]:
    if not own:
        return ()
    return scale_checks(
        [c.reference_g for c in own],
        [c.reading_g for c in own],
        np.array([c.when == "after" for c in own]),
        step_g=step_g,
        limit_of_error_g=limit_g,
    )


def _beyond(
    tool: Instrument, limit_g: float, own: Sequence[MassCheck], checks: Sequence[ScaleCheck]
) -> list[Problem]:
    """Checks that are surely off by more than the scale may be."""
    found = []
    for check in checks:
        if not check.beyond_limit:
            continue
        first = next(c for c in own if c.reference_g == check.reference_g)
        way = "much" if check.offset_g > 0 else "little"
        message = (
            f'"{tool.name}" shows {abs(check.offset_g):.3g} g too {way} at '
            f"{check.reference_g:g} g, beyond its limit of error of {limit_g:g} g: adjust it, or "
            "check the known mass; the offset is taken off"
        )
        typed = f"{first.reading_g:g}"
        found.append(Problem(first.file, first.line, "reading_g", typed, message))
    return found


def default_tare(lot: LotInput, criteria: Criteria) -> Tare:
    """A reel of which nothing was weighed: by its material where that is stated, else by none."""
    reel = criteria.reel_for(lot.sheet.reel.material)
    if reel is None:
        middle, half = criteria["weight.tare_default_g"], criteria["weight.tare_half_width_g"]
        return range_tare(middle - half, middle + half, "supposed, none like it was weighed empty")
    lo, hi = reel.tare_lo_g, reel.tare_hi_g
    what = f"an empty {reel.material} reel for 1 kg weighs"
    if reel.material == "none":
        what = "what is left of a coil without a reel weighs"
    return range_tare(lo, hi, f"supposed, {what} {lo:g} to {hi:g} g")


def goods_of(
    lot: LotInput,
    criteria: Criteria,
    evidence: LotEvidence,
    scale: Scale,
    material: Material | None,
    record: TareRecord | None,
) -> Goods:
    """The weighings and findings of every spool, put together."""
    like_sd_g = criteria["weight.tare_like_sd_g"]
    tare = lot_tare(lot.weigh_ins, scale, default_tare(lot, criteria), like_sd_g, record)
    weigh_ins: dict[str, list[WeighIn]] = defaultdict(list)
    findings: dict[str, list[Finding]] = defaultdict(list)
    for w in lot.weigh_ins:
        weigh_ins[w.spool].append(w)
    for f in lot.findings:
        findings[f.spool].append(f)
    in_water = [found for rows in weigh_ins.values() if (found := immersion(rows, scale))]
    weights: list[SpoolWeight | None] = [
        spool_weight(
            weigh_ins[spool],
            scale,
            tare,
            lot.sheet.label.net_g,
            _filament(evidence, i, material, in_water),
            # Rectangular, as any limit of error.
            criteria["weight.cut_length_error_mm"] / 1000 / 3**0.5,
        )
        if spool in weigh_ins
        else None
        for i, spool in enumerate(evidence.spools)
    ]
    return Goods(
        weights=weights,
        findings=[findings.get(s, []) for s in evidence.spools],
        findings_given=any(f.name.casefold().startswith("findings") for f in lot.files)
        or bool(lot.findings),
        label_net_g=lot.sheet.label.net_g,
        material=material,
        reel=lot.sheet.reel,
    )


def _filament(
    evidence: LotEvidence, i: int, material: Material | None, in_water: Sequence[Immersion]
) -> Filament:
    """What turns the mass of spool ``i`` into metres."""
    d = evidence.diameter
    mean, u_mean = float(d.mean_mm[i]), float(d.u_mean_mm[i])
    spread = [float(v[i]) for v in (d.sd_mm, d.s_observed_mm) if np.isfinite(v[i])]
    density, u_density, source = None, 0.0, None
    if in_water:
        density, u_density = density_of_lot(in_water)
        source = "weighed in water, of other spools of this lot"
    elif material is not None:
        density, u_density = material.density_g_cm3, material.u_density_g_cm3
        source = f"that of {material.name} ({material.density_source})"
    return Filament(
        density_g_cm3=density,
        u_density_g_cm3=u_density,
        # A mean without an uncertainty (one place) gives no length that one could vouch for.
        diameter_mm=mean if np.isfinite(u_mean) else None,
        u_diameter_mm=u_mean,
        spread_mm=spread[0] if spread else 0.0,
        nominal_mm=evidence.section.nominal_mm,
        density_source=source,
    )
