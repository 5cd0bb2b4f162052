"""A spool's diameter from its in-line log, in the columns of a lot's evidence.

A log of a million rows does not tell a million facts: its mean and spread rest on what its rows are
worth, found from the means of long batches (traces/batches.py).  Its places are these:

    places = min(n_effective, 1 + degrees of freedom of the spread), rounded down, at least 1

so that whatever counts places (are there enough, pooling over the lot, the share outside) counts
independent ones.  The scatter of the hand is not in a log: its share in the spread is 0.  A display
of step q that the rows spread little against (COARSE) bounds the spread from above only, by what is
seen and q / 2, since no rounding error is larger; and it leaves an error of the mean that no row
averages out (resolution.py).

Where a spool was read by hand at two places or more, the readings decide.  The feed path asks for
the thickest and the thinnest spot, and there every spot counts, whoever met it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from lotqa.evidence.diameter import KNOWN, DiameterEvidence
from lotqa.evidence.ovality import Ovality
from lotqa.evidence.resolution import u_rounding_left_mm
from lotqa.evidence.spool import (
    COARSE,
    CapabilityEvidence,
    LotEvidence,
    OrderEvidence,
    Section,
    capability_evidence,
    flow_evidence,
)
from lotqa.evidence.summary import student_quantile
from lotqa.model import IntArray

if TYPE_CHECKING:  # most lots have no log, and do without what reads one
    from lotqa.evidence.traces import Strand, TraceEvidence

MIN_READ = 2  # places by hand that show a spread
Z = float(student_quantile(KNOWN))

Record = TypeVar("Record", DiameterEvidence, CapabilityEvidence, OrderEvidence, Ovality)


@dataclass(frozen=True, slots=True, eq=False)
class SpoolLog:
    """What the log of one spool says."""

    file: str
    length_source: str  # where its metres come from, in words
    found: "TraceEvidence"
    strand: "Strand"  # as it is drawn
    step_mm: float  # of the gauge's display
    u_offset_mm: float  # standard uncertainty of the gauge's offset
    u_row_mm: float  # of one row: scatter, step and offset
    decides: bool = True  # False: the spool was read by hand, and the log stands beside

    @property
    def n_places(self) -> int:
        """Independent places that the log is worth, in mean and spread."""
        d = self.found.diameter
        least = 2 if self.is_coarse and self.found.n_rows > 1 else 1  # the step bounds the spread
        return max(int(min(d.n_effective, 1 + d.df_spread)), least)

    @property
    def is_coarse(self) -> bool:
        """Whether the display is too coarse to tell the spread."""
        return self.found.diameter.s_observed_mm < COARSE * self.step_mm

    @property
    def u_left_mm(self) -> float:
        """What the step of the display leaves in the mean."""
        return float(u_rounding_left_mm(self.found.diameter.s_observed_mm, self.step_mm))


def with_logs(evidence: LotEvidence, logs: Sequence[SpoolLog | None]) -> LotEvidence:
    """``evidence`` of k spools with those that have a log in ``logs`` (k,) taken from it."""
    decides = evidence.diameter.n_places < MIN_READ
    told = tuple(
        None if log is None else replace(log, decides=bool(decides[i]))
        for i, log in enumerate(logs)
    )
    known = [(i, log) for i, log in enumerate(told) if log is not None]
    if not known:
        return evidence
    rows = np.array([i for i, log in known if log.decides], dtype=np.int64)
    chosen = [log for _, log in known if log.decides]
    every, all_logs = np.array([i for i, _ in known]), [log for _, log in known]
    diameter = _put(evidence.diameter, rows, [_diameter(log) for log in chosen])
    low, high = evidence.diameter.low_mm.copy(), evidence.diameter.high_mm.copy()
    low[every] = np.fmin(low[every], [log.found.low_mm for log in all_logs])
    high[every] = np.fmax(high[every], [log.found.high_mm for log in all_logs])
    diameter = replace(diameter, low_mm=low, high_mm=high)
    some = capability_evidence(_taken(diameter, rows), evidence.section, with_outside=False)
    indices = [
        {f.name: getattr(some, f.name)[n] for f in fields(some)}
        | {"outside": _outside(log, evidence.section)}
        for n, log in enumerate(chosen)
    ]
    return replace(
        evidence,
        diameter=diameter,
        capability=_put(evidence.capability, rows, indices),
        order=_put(evidence.order, rows, [_order(log) for log in chosen]),
        ovality=_put(evidence.ovality, rows, [_ovality(log) for log in chosen]),
        flow=flow_evidence(diameter, evidence.section),
        logs=told,
    )


def _put(record: Record, rows: IntArray, values: Sequence[dict[str, Any]]) -> Record:
    """``record`` with element ``rows[n]`` of every array taken from ``values[n]``."""
    if not len(rows):
        return record
    columns = {}
    for f in fields(record):
        column = getattr(record, f.name).copy()
        column[rows] = [v[f.name] for v in values]
        columns[f.name] = column
    return replace(record, **columns)


def _taken(record: Record, rows: IntArray) -> Record:
    return replace(record, **{f.name: getattr(record, f.name)[rows] for f in fields(record)})


def _diameter(log: SpoolLog) -> dict[str, Any]:
    e, d, nan, n = log.found, log.found.diameter, float("nan"), log.n_places
    left, coarse = log.u_left_mm, log.is_coarse
    bound = d.sd_hi_mm + log.step_mm / 2
    half = float(np.hypot(d.mean_hi_mm - d.mean_mm, Z * left))
    return {
        "n_places": n,
        "n_readings": e.n_rows * e.n_axes,
        "mean_mm": d.mean_mm,
        "mean_lo_mm": d.mean_mm - half,
        "mean_hi_mm": d.mean_mm + half,
        "u_mean_mm": float(np.hypot(d.u_mean_mm, left)) if n > 1 else nan,
        "u_sampling_mm": d.u_rows_mm,
        "s_observed_mm": d.s_observed_mm,
        "sd_mm": nan if n < 2 else 0.0 if coarse else d.sd_mm,
        "sd_lo_mm": 0.0 if coarse else d.sd_lo_mm,
        "sd_hi_mm": bound if coarse else d.sd_hi_mm,
        "reading_weight": 0.0,
        "s_reading_mm": d.s_observed_mm,
        "low_mm": e.low_mm,
        "high_mm": e.high_mm,
        "median_mm": e.median_mm,
        "q05_mm": e.q05_mm,
        "q95_mm": e.q95_mm,
        "tolerance_lo_mm": d.tolerance_lo_mm,
        "tolerance_hi_mm": d.tolerance_hi_mm,
        "n_effective": d.n_effective,
        "df_spread": d.df_spread,
        "resolved": not coarse,
        "ml_variance_mm2": nan,
        "ml_df": nan,
        "ml_u_mean_mm": nan,
        "sd_bound_mm": bound if coarse else nan,
    }


def _outside(log: SpoolLog, section: Section) -> float:
    """Share of the metres beyond the label's tolerance, as logged."""
    pct = {o.tolerance_mm: o.outside_pct for o in log.found.outside}
    return pct[section.tolerance_mm] / 100


def _order(log: SpoolLog) -> dict[str, Any]:
    """Drift in metres; the tests of independent places are none of a log, whose rows never are."""
    names = (f.name for f in fields(OrderEvidence))
    drift = log.found.drift
    return dict.fromkeys(names, float("nan")) | {
        "shape_resolved": False,
        "positions_known": True,
        "trend_per_m": drift.slope_mm_per_100m / 100,
        "trend_lo": drift.lo_mm_per_100m / 100,
        "trend_hi": drift.hi_mm_per_100m / 100,
    }


def _ovality(log: SpoolLog) -> dict[str, Any]:
    o = log.found.ovality
    return {
        "mean_mm": o.mean_mm,
        "lo_mm": o.lo_mm,
        "hi_mm": o.hi_mm,
        "max_mm": o.max_mm,
        "n_places": log.n_places,
        "n_directions": o.n_directions,
    }
