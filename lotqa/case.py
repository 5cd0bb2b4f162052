"""From what was given about a lot to the case that is judged: label, tool, scale, evidence.

Where the lot sheet is silent the criteria's defaults step in, and ``sources`` says so for every
figure, so that a report can tell what the label promised from what was supposed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from lotqa.contradictions import (
    more_than_received,
    not_drawn,
    unlike_goods,
    unlike_logs,
    unlike_repeats,
    unlike_weighings,
    unnamed,
)
from lotqa.criteria import Criteria, Stock, Tool
from lotqa.errors import UnusableInput
from lotqa.evidence.gauge import (
    Offset,
    Scatter,
    pin_offset,
    pooled_within,
    scatter_of,
    unchecked_offset,
)
from lotqa.evidence.logged import with_logs
from lotqa.evidence.resolution import INCH_STEPS_MM, step_of
from lotqa.evidence.spool import LotEvidence, Section, lot_evidence
from lotqa.evidence.tares import TareRecord
from lotqa.evidence.weighings import Scale
from lotqa.logged import (
    GAUGE_KIND,
    LogGauge,
    Logged,
    first_diameter_mm,
    is_log_gauge,
    log_gauge,
    logged,
)
from lotqa.materials import Material, material_for
from lotqa.model import CouponReference, Instrument, LotInput, PinCheck, Problem, Readings
from lotqa.printed import Reference, reference_of
from lotqa.verdict.spool import Case
from lotqa.weighed import SCALE_KINDS, goods_of, scale_of


@dataclass(frozen=True, slots=True)
class ToolInUse:
    """The tool that read the diameters, completed from the criteria where the sheet is silent."""

    kind: str
    name: str
    step_mm: float
    limit_of_error_mm: float
    stated: bool  # False: nothing in the lot sheet named a tool


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A case with what a report tells about how it came to be."""

    case: Case
    lot: LotInput  # with every spool that anything is known of
    tool: ToolInUse
    scale: Scale
    sources: Mapping[str, str]  # field of the label -> where the figure comes from
    lot_code: str
    lot_self_assigned: bool
    claim_until: date | None
    problems: tuple[Problem, ...]  # met here, beside those of the intake
    log_gauge: LogGauge | None = None  # that the in-line logs were read with; None without a log
    reference: Reference | None = None  # that the machine and its coupons are held against


def prepare(
    lot: LotInput,
    criteria: Criteria,
    materials: Mapping[str, Material],
    study: Scatter | None = None,
    name: str | None = None,
    record: TareRecord | None = None,
    coupon_reference: CouponReference | Problem | None = None,
) -> Prepared:
    """Build the case of one lot; ``study`` is what a gauge study found for its tool.

    ``record`` is what the supplier's reels of this kind weighed so far when they were empty.
    ``name`` is what the lot is called by when nothing in it tells: its folder's name.
    ``coupon_reference`` is the past coupon that the ledger gave, or why it has none by the name in
    the lot sheet; a residual that the lot sheet states wins.

    Raises UnusableInput when nothing was read, or the nominal diameter can be told from nothing.
    """
    kept, no_reference = _kept_reference(lot, coupon_reference)
    stock, section, sources = section_of(lot, criteria, kept)
    gauge = log_gauge(lot, criteria)
    found = logged(lot, section, stock, gauge)
    lot = _with_all_spools(
        replace(
            lot, files=found.files, traces=tuple(t for t in lot.traces if t.spool in found.logs)
        )
    )
    if not lot.readings.spools:
        # A lot of unusable logs alone says the first thing that is wrong with them.
        left_out = next((p for p in found.problems if not p.row_used and p.line is None), None)
        what = "no reading, weigh-in or finding was used: see the problems listed"
        if left_out is not None:
            what = f"{left_out.file}: {left_out.message}"
        raise UnusableInput(what, found.problems)
    tool, own_pins, problems = _tool(lot, criteria, gauge, found)
    evidence = _evidence(lot, criteria, tool, own_pins, section, study)
    evidence = with_logs(evidence, [found.logs.get(spool) for spool in evidence.spools])
    scale, on_scale = scale_of(lot, criteria)
    material = material_for(lot.sheet.material, dict(materials))
    ovality_limit = lot.sheet.label.ovality_mm
    sources["ovality_mm"] = "lot sheet"
    if ovality_limit is None:
        ovality_limit = stock.ovality_max_mm if stock else None
        sources["ovality_mm"] = "criteria"
    case = Case(
        evidence=evidence,
        goods=goods_of(lot, criteria, evidence, scale, material, record),
        criteria=criteria,
        stock=stock,
        ovality_limit_mm=ovality_limit,
    )
    code, assigned = lot_code_of(lot, name)
    sheet = lot.sheet
    until = _claim_until(sheet.received, sheet.claim_days)
    unlike = (
        *unlike_repeats(lot.readings, evidence.scatter),
        *unlike_logs(evidence),
        *not_drawn(sheet, evidence),
        *more_than_received(sheet, len(evidence.spools)),
        *unlike_weighings(lot.weigh_ins, scale),
        *unlike_goods(lot, evidence.spools, case.goods.weights, scale, material),
        *unnamed(lot, materials),
    )
    problems = (*found.problems, *no_reference, *problems, *on_scale, *unlike)
    own_gauge = gauge if found.logs else None
    reference = reference_of(sheet.coupon, criteria, kept)
    return Prepared(
        case, lot, tool, scale, sources, code, assigned, until, problems, own_gauge, reference
    )


def _kept_reference(
    lot: LotInput, given: CouponReference | Problem | None
) -> tuple[CouponReference | None, tuple[Problem, ...]]:
    """What the ledger gave, as far as it counts, and what is wrong with what was named."""
    settings = lot.sheet.coupon
    if settings.reference_residual is not None:
        return None, ()
    if isinstance(given, Problem):
        return None, (given,)
    if given is None and settings.reference is not None:
        message = (
            f'reference is "{settings.reference}", and no ledger was there to look it up in: no '
            "reference is used; name the ledger that has it (--ledger), or write reference_residual"
        )
        return None, (Problem("lot.toml", None, "reference", settings.reference, message),)
    return given, ()


def _claim_until(received: date | None, claim_days: int | None) -> date | None:
    if received is None or claim_days is None:
        return None
    # A day beyond the calendar (received 9999-12-31, a slip for another year) has no successor.
    if claim_days > (date.max - received).days:
        return None
    return received + timedelta(days=claim_days)


def _with_all_spools(lot: LotInput) -> LotInput:
    """Spools that were only logged, weighed or looked at stand behind those that were read."""
    names = dict.fromkeys(lot.readings.spools)
    names |= dict.fromkeys(t.spool for t in lot.traces)
    # An empty reel or a printed coupon by itself is no spool.
    names |= dict.fromkeys(w.spool for w in lot.weigh_ins if w.kind not in ("tare", "coupon"))
    names |= dict.fromkeys(f.spool for f in lot.findings)
    if len(names) == len(lot.readings.spools):
        return lot
    return replace(lot, readings=replace(lot.readings, spools=tuple(names)))


def section_of(
    lot: LotInput, criteria: Criteria, kept: CouponReference | None = None
) -> tuple[Stock | None, Section, dict[str, str]]:
    """Stock, limits and where each was taken from: the lot sheet, the readings or the criteria.

    ``kept`` is the coupon in the ledger that tells what the machine itself needs.
    """
    label, sources = lot.sheet.label, {"nominal_mm": "lot sheet", "tolerance_mm": "lot sheet"}
    nominal = label.nominal_mm
    if nominal is None:
        if len(lot.readings):
            middle = float(np.median(lot.readings.diameter_mm))
            nominal = min((s.nominal_mm for s in criteria.stocks), key=lambda n: abs(n - middle))
            sources["nominal_mm"] = "inferred from the readings"
        elif (first := first_diameter_mm(lot)) is not None:
            nominal = min((s.nominal_mm for s in criteria.stocks), key=lambda n: abs(n - first))
            sources["nominal_mm"] = "inferred from the in-line log"
        else:
            nominal = criteria.stocks[0].nominal_mm
            sources["nominal_mm"] = "criteria"
    stock = criteria.stock_for(nominal)
    tolerance = label.tolerance_mm
    if tolerance is None:
        if stock is None:
            raise UnusableInput(
                f"no tolerance is known for {nominal:g} mm: write label.tolerance_mm in lot.toml"
            )
        tolerance, sources["tolerance_mm"] = stock.tolerance_mm, "criteria"
    settings, reference = lot.sheet.print_settings, reference_of(lot.sheet.coupon, criteria, kept)
    section = Section(
        nominal,
        tolerance,
        set_diameter_mm=nominal if settings.set_diameter_mm is None else settings.set_diameter_mm,
        multiplier=1.0 if settings.multiplier is None else settings.multiplier,
        machine_residual=1.0 if reference is None else reference.factor.value,
        u_residual_rel=0.0 if reference is None else reference.u_rel,
    )
    return stock, section, sources


def _tool(
    lot: LotInput, criteria: Criteria, gauge: LogGauge, found: Logged
) -> tuple[ToolInUse, tuple[PinCheck, ...], tuple[Problem, ...]]:
    """The tool that read the diameters, its own pin checks, and pin checks of other tools.

    Of a lot that was logged and not read by hand it is the gauge of the logs.
    """
    if found.logs and not len(lot.readings):
        in_use = ToolInUse(
            kind=GAUGE_KIND,
            name=gauge.name,
            step_mm=max(log.step_mm for log in found.logs.values()),
            limit_of_error_mm=gauge.limit_of_error_mm,
            stated=gauge.limit_stated,
        )
        others = tuple(p for p in lot.pin_checks if p not in gauge.pins)
        return in_use, gauge.pins, _idle_pins(others, gauge.name)
    gauges = _hand_tools(lot)
    pinned = {_key(p.instrument) for p in lot.pin_checks if p not in gauge.pins}
    chosen = next((g for g in gauges if _key(g.name) in pinned), gauges[0] if gauges else None)
    if chosen is None:
        own = lot.pin_checks if len(pinned) <= 1 else ()
        name = own[0].instrument if own else "not named"
        chosen = Instrument(kind=criteria.tools[0].kind, name=name)
    own = tuple(p for p in lot.pin_checks if _key(p.instrument) == _key(chosen.name))
    if not own and len(pinned) == 1 and len(gauges) <= 1:
        own = lot.pin_checks  # one tool, one set of pin checks: a name typed two ways
    idle = tuple(p for p in lot.pin_checks if p not in own and p not in gauge.pins)
    problems = _idle_pins(idle, chosen.name)
    usual = criteria.tool_for(chosen.kind)
    step = chosen.resolution_mm
    if step is None:
        seen = step_of(lot.readings.diameter_mm) if len(lot.readings) else usual.step_mm
        step = seen if seen in INCH_STEPS_MM else min(seen, usual.step_mm)
    limit = chosen.limit_of_error_mm
    return (
        ToolInUse(
            kind=chosen.kind,
            name=chosen.name,
            step_mm=step,
            limit_of_error_mm=usual.limit_of_error_mm if limit is None else limit,
            stated=bool(gauges),
        ),
        own,
        problems,
    )


def _idle_pins(pins: tuple[PinCheck, ...], tool: str) -> tuple[Problem, ...]:
    return tuple(
        Problem(
            p.file,
            p.line,
            "instrument",
            p.instrument,
            f'instrument is "{p.instrument}", but the diameters were read with "{tool}": '
            "this pin check is not used; name the tool as in lot.toml",
        )
        for p in pins
    )


def _hand_tools(lot: LotInput) -> list[Instrument]:
    return [
        i for i in lot.sheet.instruments if i.kind not in SCALE_KINDS and not is_log_gauge(i.kind)
    ]


def tool_names(lot: LotInput) -> tuple[str, ...]:
    """Names of the tools that may have read the diameters, the likeliest first."""
    gauges = [i.name for i in _hand_tools(lot)]
    pinned = {_key(p.instrument) for p in lot.pin_checks}
    return tuple(sorted(gauges, key=lambda name: _key(name) not in pinned))


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _evidence(
    lot: LotInput,
    criteria: Criteria,
    tool: ToolInUse,
    pins: tuple[PinCheck, ...],
    section: Section,
    study: Scatter | None,
) -> LotEvidence:
    stated = next(
        (i.repeatability_sd_mm for i in lot.sheet.instruments if _key(i.name) == _key(tool.name)),
        None,
    )
    scatter = study
    if scatter is None:
        scatter = _scatter(lot.readings, stated, criteria.tool_for(tool.kind), tool.step_mm, pins)
    return lot_evidence(
        lot.readings,
        section,
        scatter,
        _offset(pins, tool, scatter),
        tool.step_mm,
        criteria["outliers.alpha"],
    )


def _scatter(
    readings: Readings,
    stated: float | None,
    usual: Tool,
    step_mm: float,
    pins: tuple[PinCheck, ...],
) -> Scatter:
    repeats, repeats_df = _repeats(readings)
    directions, directions_df = pooled_within(readings.diameter_mm, readings.place)
    on_pin, pin_df = pooled_within(
        np.array([p.reading_mm - p.reference_mm for p in pins]),
        np.array([p.when == "after" for p in pins], dtype=np.int64),
    )
    return scatter_of(
        stated_sd_mm=stated,
        repeats_variance_mm2=repeats,
        repeats_df=repeats_df,
        directions_variance_mm2=directions,
        directions_df=directions_df,
        default_sd_mm=usual.scatter_sd_mm,
        default_relative_uncertainty=usual.scatter_relative_uncertainty,
        step_mm=step_mm,
        pin_variance_mm2=on_pin,
        pin_df=pin_df,
    )


def _repeats(readings: Readings) -> tuple[float, int]:
    """(variance, degrees of freedom) within trials of the same place and direction.

    Without a direction, two readings of a place may differ by ovality: they are no repeats.
    """
    known = np.isfinite(readings.direction_deg)
    again = (readings.trial > 1) & known
    if not again.any():
        return float("nan"), 0
    # Only places with a repeat are grouped: in an archive of millions they are few.
    rows = known & np.isin(readings.place, readings.place[again])
    keys = np.stack([readings.place[rows], readings.direction_deg[rows]])
    _, group = np.unique(keys, axis=1, return_inverse=True)
    return pooled_within(readings.diameter_mm[rows], group.ravel())


def _offset(pins: tuple[PinCheck, ...], tool: ToolInUse, scatter: Scatter) -> Offset:
    if not pins:
        return unchecked_offset(tool.limit_of_error_mm)
    return pin_offset(
        [p.reference_mm for p in pins],
        [p.reading_mm for p in pins],
        np.array([p.when == "after" for p in pins]),
        scatter_sd_mm=scatter.sd_mm,
        step_mm=tool.step_mm,
        supposed_df=scatter.df if scatter.supposed else None,
    )


def lot_code_of(lot: LotInput, name: str | None = None) -> tuple[str, bool]:
    """The maker's lot code, or one of our own: arrival, colour, ``name``, or that of the file."""
    sheet = lot.sheet
    if sheet.lot:
        return sheet.lot, False
    parts = [
        "self",
        None if sheet.received is None else sheet.received.isoformat(),
        sheet.product,
        sheet.colour,
    ]
    if not any(parts[1:]):
        stem = lot.readings.file or (lot.files[0].name if lot.files else "lot")
        parts.append(name or stem.rsplit(".", 1)[0])
    return "-".join(p.replace(" ", "_") for p in parts if p), True
