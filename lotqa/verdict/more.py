"""How many further places would make a provisional verdict firm, at the present estimates.

The same checks judge the same spool as if n places had been read, for a ladder of n: mean and s
stay, the intervals shrink.  What does not shrink (the offset of an unchecked tool, a ring pull
that was asked for) stays, so the answer may be that no number of places settles it.
"""

from dataclasses import fields, replace
from typing import TypeVar

import numpy as np

from lotqa.evidence.diameter import Places, project
from lotqa.evidence.ovality import Ovality
from lotqa.evidence.spool import (
    LotEvidence,
    OrderEvidence,
    capability_evidence,
    flow_evidence,
)
from lotqa.model import BoolArray, FloatArray, IntArray
from lotqa.verdict.goods import Goods
from lotqa.verdict.outcome import Judgement
from lotqa.verdict.spool import Case, judge_spools

Record = TypeVar("Record", OrderEvidence, Ovality)

MOST_PLACES = 400  # nobody reads more by hand
RUNGS = 60


def more_places(case: Case, judgement: Judgement, i: int) -> int | None:
    """Further places for a firm verdict on spool ``i``; 0 if it is firm, None if none suffice."""
    if judgement.firm[i]:
        return 0
    have = int(case.evidence.diameter.n_places[i])
    log = case.evidence.log_of(i)
    if have < 2 or (log is not None and log.decides):  # a log has no places to read more of
        return None
    ladder = _ladder(have)
    settled = _firm_at(case, i, ladder)
    if not settled.any():
        return None
    first = int(np.argmax(settled))
    low = have + 1 if first == 0 else int(ladder[first - 1]) + 1
    between = np.arange(low, int(ladder[first]) + 1)
    fine = _firm_at(case, i, between)
    return int(between[int(np.argmax(fine))]) - have


def _ladder(have: int) -> IntArray:
    top = max(MOST_PLACES, 2 * have)
    return np.unique(np.geomspace(have + 1, top, RUNGS).round().astype(np.int64))


def _firm_at(case: Case, i: int, n_places: IntArray) -> BoolArray:
    """Whether the verdict on spool ``i`` would be firm at each of ``n_places`` (m,)."""
    m = len(n_places)
    return judge_spools(_imagined(case, i, n_places, m)).firm


def _imagined(case: Case, i: int, n_places: IntArray, m: int) -> Case:
    evidence, goods = case.evidence, case.goods
    d = project(evidence.diameter, i, n_places, evidence.scatter, evidence.offset, evidence.step_mm)
    shrink = np.sqrt(evidence.diameter.n_places[i] / n_places)
    mine = np.flatnonzero(evidence.places.spool == i)
    log = evidence.log_of(i)
    imagined = LotEvidence(
        spools=(evidence.spools[i],) * m,
        section=evidence.section,
        scatter=evidence.scatter,
        offset=evidence.offset,
        step_mm=evidence.step_mm,
        places=_copied(evidence.places, mine, m),
        diameter=d,
        capability=capability_evidence(d, evidence.section, with_outside=False),
        order=_spread_out(evidence.order, i, n_places / evidence.diameter.n_places[i]),
        outlier=np.tile(evidence.outlier[mine], m),
        ovality=_narrowed(evidence.ovality, i, m, shrink),
        flow=flow_evidence(d, evidence.section),
        logs=() if log is None else (log,) * m,
    )
    return replace(
        case,
        evidence=imagined,
        goods=Goods(
            weights=[goods.weights[i]] * m,
            findings=[goods.findings[i]] * m,
            findings_given=goods.findings_given,
            label_net_g=goods.label_net_g,
            material=goods.material,
        ),
    )


def _copied(places: Places, rows: IntArray, m: int) -> Places:
    """The places ``rows`` of one spool as those of m spools: what is to be read again stays so."""
    arrays = {f.name: np.tile(getattr(places, f.name)[rows], m) for f in fields(places)}
    order = np.arange(len(rows) * m)  # nothing here looks along the filament
    return replace(places, **arrays | {"spool": order // len(rows), "along": order})


def _repeated(record: Record, i: int, m: int) -> Record:
    """A record of arrays (k,) with element ``i`` repeated m times."""
    arrays = {f.name: np.repeat(getattr(record, f.name)[i], m) for f in fields(record)}
    return replace(record, **arrays)


def _spread_out(order: OrderEvidence, i: int, growth: FloatArray) -> OrderEvidence:
    """Order of spool ``i``; further places are read unevenly and meet a wave at any phase."""
    same = _repeated(order, i, len(growth))
    return replace(same, window=same.window / growth)


def _narrowed(ovality: Ovality, i: int, m: int, shrink: FloatArray) -> Ovality:
    """Ovality of spool ``i`` with its interval shrunk about the estimate, in squares."""
    same = _repeated(ovality, i, m)
    square = same.mean_mm**2
    low = square - (square - same.lo_mm**2) * shrink
    high = square + (same.hi_mm**2 - square) * shrink
    return replace(same, lo_mm=np.sqrt(np.maximum(low, 0.0)), hi_mm=np.sqrt(high))
