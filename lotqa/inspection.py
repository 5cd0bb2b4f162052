"""The main job: a lot goes in, a verdict, a page and a ledger entry come out.

:func:`inspect_lot` computes and touches nothing outside; :func:`run` is the shell around it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lotqa.case import Prepared, lot_code_of, prepare, section_of, tool_names
from lotqa.contradictions import off_the_draw
from lotqa.criteria import Criteria, read_criteria
from lotqa.errors import UnusableCriteria
from lotqa.evidence.conformity import Prior
from lotqa.evidence.gauge import Scatter
from lotqa.evidence.logged import SpoolLog
from lotqa.evidence.tares import TareRecord
from lotqa.findings import read_catalogue
from lotqa.history import Course, Past, course, outcome_of, past_of
from lotqa.intake import ReadOptions, read_lot
from lotqa.ledger import Ledger, ledger_exists
from lotqa.ledger.coupons import NoReference
from lotqa.materials import Material, read_materials
from lotqa.model import CouponReference, LotInput, LotSheet, Problem
from lotqa.report import Strip, write_lot_pages
from lotqa.report.document import inspection_document
from lotqa.suppliers.prior import spool_prior
from lotqa.verdict.lot import Asked, LotVerdict, judge_lot
from lotqa.verdict.net_content import NetContent, net_content
from lotqa.verdict.outcome import Judgement
from lotqa.verdict.spool import judge_spools

LOG_COLUMNS = 200  # stretches of an in-line log in the drawing of its spool


@dataclass(frozen=True, slots=True, eq=False)
class Inspection:
    """One lot, judged."""

    prepared: Prepared
    judgement: Judgement
    lot: LotVerdict
    prior: Prior | None = None  # what earlier lots of the supplier say, where there are any
    net: NetContent | None = None  # None: not looked at

    @property
    def spools(self) -> tuple[str, ...]:
        """Names of the spools, in the order of all arrays."""
        return self.prepared.case.evidence.spools


@dataclass(frozen=True, slots=True)
class Sources:
    """Text of the files that a user may give beside the lot; None means the shipped ones."""

    criteria_text: str | None = None
    criteria_name: str = "criteria"
    materials_text: str | None = None
    materials_name: str = "materials"
    use: str | None = None
    lot_name: str | None = None  # what to call a lot that nothing in it names


@dataclass(frozen=True, slots=True)
class Memory:
    """What the ledger knows that bears on a lot before it is judged."""

    prior: Prior | None = None  # of a spool's mean, from earlier lots of the supplier
    study: Scatter | None = None  # of one reading, from a gauge study of the tool
    tare: TareRecord | None = None  # of the supplier's empty reels of this kind
    past: Past | None = None  # the lots before of this supplier and material
    # A coupon of an earlier lot, or why the one that the lot sheet names is none.
    coupon_reference: CouponReference | Problem | None = None


def inspect_lot(
    lot: LotInput, sources: Sources = Sources(), memory: Memory = Memory()
) -> Inspection:
    """Judge one lot: prepare the case, judge its spools, judge the lot.

    Raises UnusableInput or UnusableCriteria, which name what is wrong and what would be right.
    """
    criteria = _criteria(lot.sheet, sources)
    prepared = prepare(
        lot,
        criteria,
        _materials(sources),
        memory.study,
        sources.lot_name,
        memory.tare,
        memory.coupon_reference,
    )
    judgement = judge_spools(prepared.case)
    until = prepared.claim_until
    net = net_content(
        prepared.case.goods, criteria, lot.sheet.spools_received, prepared.scale.step_g
    )
    off = off_the_draw(lot.sheet, prepared.case.evidence)
    verdict = judge_lot(
        prepared.case.evidence,
        judgement,
        criteria,
        lot.sheet.spools_received,
        None if until is None else until.isoformat(),
        net,
        prepared.case.goods,
        Asked()
        if memory.past is None
        else Asked(memory.past.before.state, memory.past.before.is_due),
        None if off is None else not any(off),
    )
    return Inspection(prepared, judgement, verdict, memory.prior, net)


def _silently(_text: str) -> None:
    """Nobody watches this run."""


@dataclass(frozen=True, slots=True)
class Done:
    """What one run left behind."""

    document: dict[str, Any]
    page: Path | None = None
    inspection: Inspection | None = None
    cards: Path | None = None  # None: no page was written, or no spool is to be tuned


def run(
    path: Path,
    *,
    now: datetime,
    options: ReadOptions = ReadOptions(),
    stated: LotSheet = LotSheet(),
    sources: Sources = Sources(),
    ledger: str | None = None,
    report_folder: Path | None = None,
    step: Callable[[str], None] = _silently,
) -> Done:
    """Inspect the lot at ``path``; enter it into ``ledger`` and write its page, where given.

    ``stated`` fills what the lot sheet leaves out or overrides it.  ``step`` is told what goes on.
    """
    step("reading")
    if sources.criteria_text is not None and options.catalogue is None:
        own = read_catalogue(sources.criteria_text, sources.criteria_name)
        options = replace(options, catalogue=own)
    lot = read_lot(path, options)
    sources = replace(sources, lot_name=name_of(path))
    lot = replace(lot, sheet=completed(lot.sheet, stated))
    step("judging")
    memory = remembered(ledger, lot, sources)
    inspection = inspect_lot(lot, sources, memory)
    left = what_it_leaves(inspection, memory, now)
    document = inspection_document(inspection, now, left)
    if ledger is not None:
        step("entering into the ledger")
        with Ledger.open(ledger) as book:
            entry = book.record(
                inspection.prepared.lot,
                document,
                now=now,
                criteria_text=inspection.prepared.case.criteria.text,
                effort=None if left is None else left.change,
            )
        document["ledger"] = {
            "ledger": entry.location,
            "inspection": entry.inspection,
            "lot_id": entry.lot_id,
            "new": entry.new,
            "earlier_inspections": entry.earlier_inspections,
        }
    page, cards = None, None
    if report_folder is not None:
        step("drawing the page")
        page, cards = write_lot_pages(
            document, strips(inspection), report_folder, page_name(document)
        )
    return Done(document, page, inspection, cards)


def name_of(path: Path) -> str:
    """A name for what lies at ``path``: the folder, or the folder and the file in it."""
    whole = path.resolve()
    return whole.name if path.is_dir() else f"{whole.parent.name}-{whole.stem}"


def remembered(location: str | None, lot: LotInput, sources: Sources = Sources()) -> Memory:
    """What the ledger at ``location`` knows of the supplier and the tool of ``lot``.

    A ledger that is not there yet knows nothing, and is not made here: nothing may be written
    before the lot is judged.
    """
    if location is None:
        return Memory()
    sheet = lot.sheet
    code, _ = lot_code_of(lot, sources.lot_name)
    criteria = _criteria(sheet, sources)
    if not ledger_exists(location):
        return Memory(past=_past(None, sheet, code, criteria))
    with Ledger.open(location, create=False) as book:
        study = tool_study(book, lot)
        tare = reel_record(book, sheet)
        past = _past(book, sheet, code, criteria)
        coupon = machine_reference(book, sheet, code)
        if not sheet.supplier or not sheet.material:
            return Memory(study=study, tare=tare, past=past, coupon_reference=coupon)
        earlier = [
            row
            for row in book.lots(supplier=sheet.supplier, material=sheet.material)
            if row.lot != code and (sheet.received is None or row.lot_date < sheet.received)
        ]
    # The nominal may be told from the readings only; other stock says nothing of this one.
    _, section, _ = section_of(lot, criteria)
    same = [r for r in earlier if r.nominal_mm == section.nominal_mm]
    prior = spool_prior(
        [r.mean_mm for r in same if r.mean_mm is not None],
        [r.between_spool_sd_mm for r in same if r.between_spool_sd_mm is not None],
    )
    return Memory(prior, study, tare, past, coupon)


def _past(book: Ledger | None, sheet: LotSheet, code: str, criteria: Criteria) -> Past:
    return past_of(
        book,
        sheet.supplier,
        sheet.material,
        sheet.received,
        code,
        criteria,
        product=sheet.product,
        colour=sheet.colour,
    )


def what_it_leaves(inspection: Inspection, memory: Memory, now: datetime) -> Course | None:
    """How closely the next lot will be looked at; None where no ledger remembers."""
    if memory.past is None:
        return None
    return course(memory.past, outcome_of(inspection, now.date()))


def reel_record(book: Ledger, sheet: LotSheet) -> TareRecord | None:
    """What the supplier's reels of this kind weighed; of reels that nobody describes, nothing."""
    reel = sheet.reel
    if reel.kind is None and reel.material is None:
        return None
    return book.tare_record(sheet.supplier, reel.kind, reel.material)


def machine_reference(book: Ledger, sheet: LotSheet, code: str) -> CouponReference | Problem | None:
    """The coupon that the lot sheet names, else the newest of its machine, in the ledger.

    None where the lot sheet states the residual itself; what is wrong, where it names a wrong one.
    """
    coupon = sheet.coupon
    if coupon.reference_residual is not None:
        return None
    own = {f: getattr(sheet, f) for f in ("supplier", "product", "material", "colour")}
    try:
        return book.coupon_reference(
            {**own, "lot": code},
            sheet.received,
            named=coupon.reference,
            machine=coupon.machine,
            route=coupon.reference_route,
        )
    except NoReference as error:
        return Problem("lot.toml", None, "reference", coupon.reference, str(error))


def tool_study(book: Ledger, lot: LotInput) -> Scatter | None:
    """The scatter that a gauge study in the ledger found for the tool of this lot."""
    for name in tool_names(lot):
        found = book.scatter_for(name)
        if found is not None:
            return Scatter(found.sd_mm, found.df, f"gauge study of {found.when:%Y-%m-%d}")
    return None


def completed(sheet: LotSheet, stated: LotSheet) -> LotSheet:
    """``sheet`` with every field that ``stated`` knows laid over it."""
    label, reel = (
        {f: getattr(part, f) for f in part.__slots__ if getattr(part, f) is not None}
        for part in (stated.label, stated.reel)
    )
    fields: dict[str, Any] = {
        f: getattr(stated, f)
        for f in LotSheet.__slots__
        if f not in ("label", "instruments", "print_settings", "reel", "coupon", "logs")
        and getattr(stated, f) is not None
    }
    return replace(
        sheet,
        label=replace(sheet.label, **label),
        reel=replace(sheet.reel, **reel),
        **fields,
    )


def page_name(document: Mapping[str, Any]) -> str:
    """Name of a lot's page: supplier, material and lot, made safe by the writer."""
    lot = document["lot"]
    parts = [lot["supplier"], lot["material"], lot["colour"], lot["lot"]]
    return "_".join(str(p) for p in parts if p)


def strips(inspection: Inspection) -> list[Strip]:
    """The places of every spool that was read, for drawing."""
    evidence = inspection.prepared.case.evidence
    places, d = evidence.places, evidence.diameter
    bounds = np.searchsorted(places.spool, np.arange(len(evidence.spools) + 1))
    drawn = []
    for i, spool in enumerate(evidence.spools):
        log = evidence.log_of(i)
        if log is not None and log.decides:
            drawn.append(_log_strip(inspection, i, log))
            continue
        rows = places.along[bounds[i] : bounds[i + 1]]
        if not len(rows):
            continue
        position = places.position_m[rows]
        known = bool(np.isfinite(position).all())
        drawn.append(
            Strip(
                spool=spool,
                position_m=position if known else np.arange(1.0, len(rows) + 1),
                position_known=known,
                low_mm=places.low_mm[rows],
                high_mm=places.high_mm[rows],
                mean_mm=places.mean_mm[rows],
                verdict=inspection.judgement.verdict(i),
                standing=inspection.judgement.standing(i),
                mean_ci95_mm=(float(d.mean_lo_mm[i]), float(d.mean_hi_mm[i])),
            )
        )
    return drawn


def _log_strip(inspection: Inspection, i: int, log: SpoolLog) -> Strip:
    d = inspection.prepared.case.evidence.diameter
    strand = log.strand.coarser(LOG_COLUMNS)
    seen = np.isfinite(strand.mean_mm)  # a gap in the log is a gap in the drawing
    return Strip(
        spool=inspection.spools[i],
        position_m=strand.middle_m[seen],
        position_known=True,
        low_mm=strand.low_mm[seen],
        high_mm=strand.high_mm[seen],
        mean_mm=strand.mean_mm[seen],
        verdict=inspection.judgement.verdict(i),
        standing=inspection.judgement.standing(i),
        mean_ci95_mm=(float(d.mean_lo_mm[i]), float(d.mean_hi_mm[i])),
        from_log=True,
    )


def text_of(path: Path | None) -> tuple[str | None, str]:
    """(text, name) of a criteria or materials file; (None, '') without one."""
    if path is None:
        return None, ""
    try:
        return path.read_text(encoding="utf-8-sig"), path.name
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise UnusableCriteria(f"{path}: cannot be read ({why}): give a TOML file") from None


def _criteria(sheet: LotSheet, sources: Sources) -> Criteria:
    return read_criteria(
        sources.criteria_text,
        name=sources.criteria_name,
        material=sheet.material,
        supplier=sheet.supplier,
        use=sources.use,
    )


def _materials(sources: Sources) -> dict[str, Material]:
    return read_materials(sources.materials_text, name=sources.materials_name)
