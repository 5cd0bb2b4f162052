"""The jobs that are about the tool and not about a lot: a gauge study, and a pin check.

Both read a file, compute, and give a document; a study is also kept in the ledger and drawn.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lotqa import __version__
from lotqa.criteria import Criteria
from lotqa.errors import TooFewReadings, UnusableInput
from lotqa.evidence.gauge import Scatter, supposed_scatter
from lotqa.evidence.gauge_study import gauge_study
from lotqa.evidence.pin_check import PinEvidence, gauge_capability, pin_evidence
from lotqa.evidence.resolution import step_of
from lotqa.intake.pin_file import read_pin_file
from lotqa.intake.study import read_study
from lotqa.intake.study_cells import StudyTable
from lotqa.ledger import Ledger, ledger_exists
from lotqa.model import Instrument, LotSheet, PinCheck
from lotqa.report import write_page
from lotqa.report.gauge_document import finite, study_document
from lotqa.report.pin_words import pin_sentences
from lotqa.weighed import SCALE_KINDS

PIN_SCHEMA = "lotqa.pin_check.v1"
PLACES, DIRECTIONS = 20, 2  # what a spool is usually read in; the pin check is told by that


def _silently(_text: str) -> None:
    """Nobody watches this run."""


@dataclass(frozen=True, slots=True)
class StudyDone:
    """What a study left behind."""

    document: dict[str, Any]
    page: Path | None = None


def run_study(
    path: Path,
    criteria: Criteria,
    *,
    now: datetime,
    instrument: str | None = None,
    tolerance_mm: float | None = None,
    ledger: str | None = None,
    report_folder: Path | None = None,
    step: Callable[[str], None] = _silently,
) -> StudyDone:
    """Evaluate the study in the file ``path``; enter it into ``ledger`` and draw it, where given.

    A study whose tool has no name is not entered.  Without ``tolerance_mm`` the shares are those
    of the band of the stock that the readings are nearest to.
    """
    step("reading")
    table = read_study(path)
    step("taking the scatter apart")
    document = studied(table, criteria, now=now, instrument=instrument, tolerance_mm=tolerance_mm)
    if ledger is not None and document["instrument"]:
        step("entering into the ledger")
        with Ledger.open(ledger) as book:
            entry = book.record_study(document, table.file, now=now)
        document["ledger"] = {
            "ledger": entry.location,
            "study": entry.study,
            "new": entry.new,
        }
    page = None
    if report_folder is not None:
        step("drawing the page")
        page = write_page(_page(document, table), report_folder, _page_name(document, now))
    return StudyDone(document, page)


def studied(
    table: StudyTable,
    criteria: Criteria,
    *,
    now: datetime,
    instrument: str | None = None,
    tolerance_mm: float | None = None,
) -> dict[str, Any]:
    """The document of a study that was read; UnusableInput if there is too little of it."""
    name = instrument or table.instrument
    if tolerance_mm is None:
        stock = criteria.stock_for(float(np.mean(table.value_mm)))
        tolerance_mm = None if stock is None else stock.tolerance_mm
    alpha = criteria["gauge.interaction_alpha"]
    try:
        study = gauge_study(
            table.place,
            table.operator,
            table.value_mm,
            interaction_alpha=alpha,
            tolerance_mm=tolerance_mm,
            step_mm=min(step_of(table.value_mm), criteria.tools[0].step_mm),
        )
    except TooFewReadings as error:
        raise UnusableInput(f"{table.file.name}: {error}", table.problems) from None
    return study_document(
        study,
        study.scatter("gauge study"),
        now=now,
        program_version=__version__,
        instrument=name,
        operators=table.operators,
        file=table.file,
        problems=table.problems,
        tolerance_mm=tolerance_mm,
        share_max_pct=criteria["gauge.share_max_pct"],
        interaction_alpha=alpha,
    )


def _page(document: dict[str, Any], table: StudyTable) -> str:
    from lotqa.report.gauge_view import StudyReadings, gauge_view
    from lotqa.report.page import render

    readings = StudyReadings(
        table.place, table.operator, table.value_mm, table.places, table.operators
    )
    return render("gauge.html.jinja", view=gauge_view(document, readings))


def _page_name(document: dict[str, Any], now: datetime) -> str:
    return "_".join(
        ["gauge", document["instrument"] or document["file"]["name"], f"{now:%Y-%m-%d}"]
    )


def run_check(
    path: Path,
    criteria: Criteria,
    *,
    instrument: str | None = None,
    tolerance_mm: float | None = None,
    ledger: str | None = None,
) -> dict[str, Any]:
    """The document of the pin checks at ``path``, one block an instrument.

    ``moved`` of a block says that the tool moved more than it may.  Raises UnusableInput where
    there is no pin reading, or none of ``instrument``.
    """
    found = read_pin_file(path)
    groups: dict[str, list[PinCheck]] = {}
    for check in found.checks:
        groups.setdefault(_key(check.instrument), []).append(check)
    if instrument is not None:
        if _key(instrument) not in groups:
            there = " and ".join(checks[0].instrument for checks in groups.values())
            raise UnusableInput(
                f'{path}: no pin reading is of "{instrument}": there are readings of {there}'
            )
        groups = {_key(instrument): groups[_key(instrument)]}
    if tolerance_mm is None:
        tolerance_mm = found.sheet.label.tolerance_mm
    return {
        "schema": PIN_SCHEMA,
        "program_version": __version__,
        "file": found.checks[0].file,
        "rows_read": found.rows_read,
        "rows_used": len(found.checks),
        "instruments": [
            _checked(checks, found.sheet, criteria, tolerance_mm, ledger)
            for checks in groups.values()
        ],
        "problems": [
            {k: v for k, v in asdict(p).items() if k != "row_used"} for p in found.problems
        ],
    }


def _checked(
    checks: Sequence[PinCheck],
    sheet: LotSheet,
    criteria: Criteria,
    tolerance_mm: float | None,
    ledger: str | None,
) -> dict[str, Any]:
    tool = _tool(checks[0].instrument, sheet, criteria)
    usual = criteria.tool_for(tool.kind)
    step = usual.step_mm if tool.resolution_mm is None else tool.resolution_mm
    limit = usual.limit_of_error_mm if tool.limit_of_error_mm is None else tool.limit_of_error_mm
    scatter = _scatter(tool, criteria, ledger)
    error = np.array([c.reading_mm - c.reference_mm for c in checks])
    after = np.array([c.when == "after" for c in checks])
    evidence = pin_evidence(
        [c.reference_mm for c in checks],
        [c.reading_mm for c in checks],
        after,
        scatter=scatter,
        step_mm=step,
        limit_of_error_mm=limit,
        n_places=PLACES,
        n_directions=DIRECTIONS,
    )
    most = criteria["gauge.pin_shift_max_mm"]
    shift = evidence.offset.shift_mm
    block: dict[str, Any] = {
        "instrument": tool.name,
        "kind": tool.kind,
        "step_mm": step,
        "limit_of_error_mm": limit,
        "scatter": {"sd_mm": scatter.sd_mm, "df": finite(scatter.df), "source": scatter.source},
        "pin_readings": len(checks),
        "references_mm": sorted({c.reference_mm for c in checks}),
        "before": _side(error[~after]),
        "after": _side(error[after]),
        "sd_mm": evidence.sd_mm,
        "offset_mm": evidence.offset.offset_mm,
        "offset_uncertainty_mm": evidence.offset.u_mm,
        "shift_mm": shift,
        "shift_ci95_mm": None if evidence.shift_ci_mm is None else list(evidence.shift_ci_mm),
        "shift_max_mm": most,
        "moved": None if shift is None else not abs(shift) <= most,
        "mean_of_places": {
            "places": PLACES,
            "directions": DIRECTIONS,
            "with_pin_mm": evidence.mean_with_mm,
            "without_pin_mm": evidence.mean_without_mm,
        },
        "capability": _capability(evidence, tolerance_mm),
    }
    block["texts"] = pin_sentences(block)
    return block


def _side(error_mm: "np.ndarray[Any, np.dtype[np.float64]]") -> dict[str, Any] | None:
    if not len(error_mm):
        return None
    return {"readings": len(error_mm), "mean_error_mm": float(np.mean(error_mm))}


def _capability(evidence: PinEvidence, tolerance_mm: float | None) -> dict[str, Any] | None:
    """Cg and Cgk; None without a band, or where repeats show no scatter to hold against it."""
    if tolerance_mm is None or not evidence.sd_mm:
        return None
    cg, cgk = gauge_capability(evidence.offset.offset_mm, evidence.sd_mm, tolerance_mm)
    return {"tolerance_mm": tolerance_mm, "cg": cg, "cgk": cgk, "df": evidence.df}


def _tool(name: str, sheet: LotSheet, criteria: Criteria) -> Instrument:
    """The instrument of the lot sheet that pin checks were made with.

    A sheet that names one tool for diameters means that one, however its name was typed.
    """
    gauges = [i for i in sheet.instruments if i.kind not in SCALE_KINDS]
    same = [i for i in gauges if _key(i.name) == _key(name)]
    if same or len(gauges) == 1:
        return (same or gauges)[0]
    return Instrument(kind=criteria.tools[0].kind, name=name)


def _scatter(tool: Instrument, criteria: Criteria, ledger: str | None) -> Scatter:
    """From a study in the ledger, else the lot sheet, else what is usual for the kind of tool."""
    if ledger is not None and ledger_exists(ledger):
        with Ledger.open(ledger, create=False) as book:
            known = book.scatter_for(tool.name)
        if known is not None:
            return Scatter(known.sd_mm, known.df, f"gauge study of {known.when:%Y-%m-%d}")
    if tool.repeatability_sd_mm is not None:
        return Scatter(tool.repeatability_sd_mm, float("inf"), "stated in the lot sheet")
    usual = criteria.tool_for(tool.kind)
    return supposed_scatter(usual.scatter_sd_mm, usual.scatter_relative_uncertainty)


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()
