"""In-line logs of the spools of a lot: the gauge they were read with, and what each says.

Every log passes once, chunk by chunk, as in ``lotqa trace``: nothing of its rows is kept but sums
and what is drawn, in a bounded number of columns.  A log that turns out unusable on the way is a
problem, and its spool is as if it had none.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lotqa.criteria import Criteria, Stock
from lotqa.errors import UnusableInput
from lotqa.evidence.diameter import KNOWN
from lotqa.evidence.gauge import Offset, pin_offset, unchecked_offset
from lotqa.evidence.logged import SpoolLog, Z
from lotqa.evidence.resolution import rounding_variance_mm2, step_of
from lotqa.evidence.spool import Section
from lotqa.evidence.summary import student_quantile
from lotqa.model import LotInput, PinCheck, Problem, SourceFile, SpoolTrace

if TYPE_CHECKING:
    from lotqa.evidence.traces import Strand, TraceEvidence, TraceSettings

GAUGE_KIND = "in-line gauge"
STEP_ROWS = 10_000  # of the beginning, to see the step of a display
FEW_ROWS = 100  # fewer may all be multiples of a step by chance


@dataclass(frozen=True, slots=True)
class LogGauge:
    """The gauge that the filament ran through, completed from the criteria."""

    name: str
    step_mm: float | None  # None: as the rows show it
    usual_step_mm: float
    limit_of_error_mm: float
    limit_stated: bool
    scatter_mm: float | None  # of one row, where stated
    row_sd_mm: float  # the same, or what is usual
    offset: Offset
    pins: tuple[PinCheck, ...] = ()

    @property
    def is_known(self) -> bool:
        """Whether somebody said how far off the gauge may be, or looked with a pin."""
        return self.limit_stated or bool(self.pins)

    @property
    def u_offset_mm(self) -> float:
        """Standard uncertainty of the offset, widened where few pin readings tell it."""
        factor = student_quantile(min(self.offset.df, KNOWN))
        return float(self.offset.u_mm * factor / Z)

    @property
    def text(self) -> str:
        """Where its uncertainty comes from, in a sentence."""
        if self.pins:
            return (
                f"The gauge read {self.offset.offset_mm:+.4f} mm on the pin, taken off every row "
                f"(standard uncertainty {self.offset.u_mm:.4f} mm)."
            )
        if self.limit_stated:
            return f"The lot sheet states a limit of error of {self.limit_of_error_mm:g} mm."
        return (
            f"No limit of error of the gauge is stated: {self.limit_of_error_mm:g} mm is supposed. "
            f'Write it into lot.toml: [[instrument]] kind = "{GAUGE_KIND}".'
        )


@dataclass(frozen=True, slots=True, eq=False)
class Logged:
    """What the logs of a lot gave."""

    logs: Mapping[str, SpoolLog]  # by spool
    files: tuple[SourceFile, ...]  # of the lot, with the rows of the logs counted
    problems: tuple[Problem, ...]


def is_log_gauge(kind: str) -> bool:
    """Whether an instrument of this kind reads filament that runs through it.

    >>> is_log_gauge("In-line gauge"), is_log_gauge("inline gauge"), is_log_gauge("calliper")
    (True, True, False)
    """
    return _plain(kind) == _plain(GAUGE_KIND)


def _plain(kind: str) -> str:
    return "".join(c for c in kind.casefold() if c.isalnum())


def log_gauge(lot: LotInput, criteria: Criteria) -> LogGauge:
    """The first in-line gauge of the lot sheet; what it does not state is taken as usual."""
    named = next((i for i in lot.sheet.instruments if is_log_gauge(i.kind)), None)
    usual = criteria.tool_for(GAUGE_KIND)
    step = None if named is None else named.resolution_mm
    limit = None if named is None else named.limit_of_error_mm
    scatter = None if named is None else named.repeatability_sd_mm
    row_sd = usual.scatter_sd_mm if scatter is None else scatter
    pins: tuple[PinCheck, ...] = ()
    if named is not None:
        pins = tuple(p for p in lot.pin_checks if _plain(p.instrument) == _plain(named.name))
    offset = unchecked_offset(usual.limit_of_error_mm if limit is None else limit)
    if pins:
        offset = pin_offset(
            [p.reference_mm for p in pins],
            [p.reading_mm for p in pins],
            np.array([p.when == "after" for p in pins]),
            scatter_sd_mm=row_sd,
            step_mm=usual.step_mm if step is None else step,
        )
    return LogGauge(
        name="not named" if named is None else named.name,
        step_mm=step,
        usual_step_mm=usual.step_mm,
        limit_of_error_mm=usual.limit_of_error_mm if limit is None else limit,
        limit_stated=limit is not None,
        scatter_mm=scatter,
        row_sd_mm=row_sd,
        offset=offset,
        pins=pins,
    )


def first_diameter_mm(lot: LotInput) -> float | None:
    """Middle of the first rows of the first log that has any; tells which stock it is."""
    for trace in lot.traces:
        try:
            chunk = next(iter(trace.log), None)
        except UnusableInput:
            continue  # told when the logs pass
        if chunk is not None:
            return float(np.median(chunk.diameter_mm))
    return None


def logged(lot: LotInput, section: Section, stock: Stock | None, gauge: LogGauge) -> Logged:
    """Every log of ``lot`` read once and held against ``section`` and the feed of ``stock``."""
    logs: dict[str, SpoolLog] = {}
    problems: list[Problem] = []
    rows: dict[str, tuple[int, int, int]] = {}
    for trace in lot.traces:
        try:
            logs[trace.spool] = _passed(trace, section, stock, gauge)
            problems += trace.log.problems
        except UnusableInput as error:
            problems += [p for p in error.problems if isinstance(p, Problem)]
            what = str(error).removeprefix(f"{trace.file}: ")
            message = f"{what}; the log is left out"
            problems.append(Problem(trace.file, None, None, None, message, row_used=False))
        rows[trace.kept_as] = trace.log.rows
    if lot.traces and not gauge.is_known:
        problems.append(Problem("lot.toml", None, "instrument", None, _ask(gauge)))
    return Logged(logs, tuple(_counted(f, rows.get(f.name)) for f in lot.files), tuple(problems))


def _ask(gauge: LogGauge) -> str:
    return (
        f"the lot has in-line logs and no limit of error of the gauge: "
        f"{gauge.limit_of_error_mm:g} mm is supposed; write [[instrument]] with "
        f'kind = "{GAUGE_KIND}" and limit_of_error_mm, from its sheet or a pin held in it'
    )


def _counted(file: SourceFile, rows: tuple[int, int, int] | None) -> SourceFile:
    if rows is None:
        return file
    n_read, n_used, n_reported = rows
    return replace(file, rows_read=n_read, rows_used=n_used, rows_reported=n_reported)


def _passed(trace: SpoolTrace, section: Section, stock: Stock | None, gauge: LogGauge) -> SpoolLog:
    from lotqa.evidence.traces import TraceSettings  # most lots have no log

    u_offset = gauge.u_offset_mm
    settings = TraceSettings(
        nominal_mm=section.nominal_mm,
        tolerance_mm=section.tolerance_mm,
        set_diameter_mm=section.set_diameter_mm,
        thick_reject_mm=np.inf if stock is None else stock.thick_reject_mm,
        thin_reject_mm=0.0 if stock is None else stock.thin_reject_mm,
        offset_mm=gauge.offset.offset_mm,
        u_offset_mm=u_offset,
        scatter_mm=gauge.scatter_mm or 0.0,
        directions_deg=trace.log.angles_deg,
    )
    found, strand, seen_mm = _one_pass(trace, settings)
    step = gauge.step_mm
    if step is None:
        step = seen_mm if found.n_rows >= FEW_ROWS else min(seen_mm, gauge.usual_step_mm)
    of_row = gauge.row_sd_mm**2 + rounding_variance_mm2(step)
    return SpoolLog(
        file=trace.file,
        length_source=trace.log.length_source,
        found=found,
        strand=strand,
        step_mm=step,
        u_offset_mm=u_offset,
        u_row_mm=float(np.sqrt(of_row + u_offset**2)),
    )


def _one_pass(
    trace: SpoolTrace, settings: "TraceSettings"
) -> "tuple[TraceEvidence, Strand, float]":
    """What the rows say, how they are drawn, and the step that the first of them show."""
    from lotqa.evidence.traces import Envelope, TraceStatistics

    envelope = Envelope()
    statistics = TraceStatistics(settings, envelope)
    step = 0.0
    for n, chunk in enumerate(trace.log):
        if n == 0:
            step = step_of(chunk.diameter_mm[:STEP_ROWS])
        statistics.add(chunk)
    return statistics.finish(), envelope.finish(), step
