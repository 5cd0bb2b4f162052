"""What the checks say of spools that have an in-line log.

The checks of diameter.py and bench.py judge places that a hand has read.  Of a spool that was
logged the same numbers stand in the evidence (evidence/logged.py), so most of them hold as they
are; here is what differs: how sure a single thick or thin row is, a log too short for its own
dependence, the gauge in the place of the hand's tool, and the sentences.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.logged import SpoolLog
from lotqa.evidence.spool import LotEvidence
from lotqa.model import BoolArray, FloatArray
from lotqa.verdict.bench import K
from lotqa.verdict.diameter import REACH
from lotqa.verdict.outcome import PASS, REJECT, Check, levels
from lotqa.verdict.words import against, counted, number

Sentence = Callable[[int, SpoolLog], str]


def told_of_logs(
    checks: Sequence[Check], evidence: LotEvidence, criteria: Criteria
) -> tuple[Check, ...]:
    """``checks`` of a lot with what its in-line logs change in them."""
    if not evidence.logs:
        return tuple(checks)
    decided = np.array([log is not None and log.decides for log in evidence.logs])
    by_hand = bool(len(evidence.places.spool))
    changes: dict[str, Callable[[Check], Check]] = {
        "diameter.spread": lambda c: _spread(c, evidence, decided),
        "feed.thick": lambda c: _thick(c, evidence),
        "feed.thin": lambda c: _thin(c, evidence),
        "readings.places": lambda c: _said(c, evidence, decided, _places(evidence, criteria)),
        "readings.positions": lambda c: _said(c, evidence, decided, _positions),
        "diameter.outliers": lambda c: replace(
            _said(c, evidence, decided, _outliers), checked=c.checked & ~decided
        ),
        "diameter.shape": lambda c: _shape(c, evidence, criteria, decided),
        "diameter.order": lambda c: _order(c, evidence, decided),
        "gauge.fit": lambda c: _fit(c, evidence, criteria, decided),
    }
    if by_hand:  # the pin is the hand tool's
        changes["gauge.pin"] = lambda c: replace(
            _said(c, evidence, decided, _own_gauge), checked=c.checked & ~decided
        )
        changes["gauge.shift"] = lambda c: _unmoved(c, evidence, decided)
    return tuple(changes[c.key](c) if c.key in changes else c for c in checks)


def _said(check: Check, evidence: LotEvidence, where: BoolArray, sentence: Sentence) -> Check:
    """``check`` with ``sentence`` for the spools ``where``."""

    def said(i: int) -> str:
        log = evidence.logs[i]
        return sentence(i, log) if where[i] and log is not None else check.sentence(i)

    return replace(check, sentence=said)


def _of_logs(evidence: LotEvidence, value: Callable[[SpoolLog], float]) -> FloatArray:
    """``value`` of each log, NaN for spools without; (k,)."""
    return np.array([np.nan if log is None else value(log) for log in evidence.logs])


def _spread(check: Check, evidence: LotEvidence, decided: BoolArray) -> Check:
    def sentence(i: int, log: SpoolLog) -> str:
        bound, top = against(evidence.diameter.sd_hi_mm[i], check.limit[i], 4)
        return (
            f"The spread along the filament is not resolvable with the gauge's step of "
            f"{log.step_mm:g} mm: it is at most {bound} mm; up to {top} mm is accepted."
        )

    coarse = decided & ~evidence.diameter.resolved & (evidence.diameter.n_places > 1)
    return _said(check, evidence, coarse, sentence)


def _thick(check: Check, evidence: LotEvidence) -> Check:
    high, limit = evidence.diameter.high_mm, check.limit
    logged = _of_logs(evidence, lambda log: log.found.high_mm) >= high
    reach = REACH * _of_logs(evidence, lambda log: log.u_row_mm)
    may_stick = np.zeros(len(high), bool) if check.undecided is None else check.undecided

    def sentence(i: int, log: SpoolLog) -> str:
        if not check.checked[i]:
            return check.sentence(i)
        value, top = against(high[i], limit[i], 3)
        head = (
            f"The thickest spot of the log is {value} mm, at {_metres(log.found.high_position_m)}"
        )
        if check.point[i] == REJECT:
            end = f"from {top} mm on filament sticks"
        elif may_stick[i]:
            end = f"it passes {top} mm, but pull that stretch through a ring of {top} mm to be sure"
        else:
            end = f"below {top} mm"
        return f"{head}; {end}. {_events(log)}"

    return _ends(
        _said(check, evidence, logged, sentence),
        logged,
        best=high - reach < limit,
        worst=(high + reach < limit) & ~may_stick,
    )


def _thin(check: Check, evidence: LotEvidence) -> Check:
    low, limit = evidence.diameter.low_mm, check.limit
    logged = _of_logs(evidence, lambda log: log.found.low_mm) <= low
    reach = REACH * _of_logs(evidence, lambda log: log.u_row_mm)

    def sentence(i: int, log: SpoolLog) -> str:
        if not check.checked[i]:
            return check.sentence(i)
        value, bottom = against(low[i], limit[i], 3)
        head = f"The thinnest spot of the log is {value} mm, at {_metres(log.found.low_position_m)}"
        if check.point[i] == REJECT:
            return f"{head}; from {bottom} mm down the drive slips."
        return f"{head}; above {bottom} mm where the drive slips."

    return _ends(
        _said(check, evidence, logged, sentence),
        logged,
        best=low + reach > limit,
        worst=low - reach > limit,
    )


def _ends(check: Check, where: BoolArray, *, best: BoolArray, worst: BoolArray) -> Check:
    return replace(
        check,
        best=np.where(where, levels(best, REJECT), check.best).astype(np.int8),
        worst=np.where(where, levels(worst, REJECT), check.worst).astype(np.int8),
    )


def _metres(position_m: float) -> str:
    return f"{number(position_m, 2)} m"


def _events(log: SpoolLog) -> str:
    e = log.found
    found = (
        f"{counted(e.n_lumps, 'lump')}, {counted(e.n_necks, 'neck')} and "
        f"{counted(e.n_splices, 'splice')}"
    )
    return (
        f"The log shows {found} over {number(e.length_m, 0)} m; a lump shorter than "
        f"{number(e.row_spacing_mm, 1)} mm may lie between two rows."
    )


def _places(evidence: LotEvidence, criteria: Criteria) -> Sentence:
    least = criteria["places.min"]

    def sentence(i: int, log: SpoolLog) -> str:
        e, n = log.found, int(evidence.diameter.n_places[i])
        rows = f"{e.n_rows:,} row{'' if e.n_rows == 1 else 's'}"
        head = (
            f"The log of {number(e.length_m, 1)} m has {rows} that repeat each other and counts as "
            f"{counted(n, 'independent place')}, at least {least:g} asked"
        )
        return f"{head}." if n >= least else f"{head}: log more metres, or read places by hand."

    return sentence


def _positions(_i: int, log: SpoolLog) -> str:
    spacing = number(log.found.row_spacing_mm, 1)
    return (
        f"A log, with a row every {spacing} mm, meets waves at every phase; lotqa trace looks for "
        "them: not checked."
    )


def _outliers(_i: int, log: SpoolLog) -> str:
    e = log.found
    spikes = counted(e.n_spikes, "row")
    return (
        f"Places out of line are the lumps, necks and splices of the log; they stay in every "
        f"number. {spikes} taken for the sensor's own {'is' if e.n_spikes == 1 else 'are'} left "
        "out: not checked."
    )


def _shape(check: Check, evidence: LotEvidence, criteria: Criteria, decided: BoolArray) -> Check:
    c, cp_min = evidence.capability, criteria["spread.cp_min"]
    judged = decided & evidence.diameter.resolved & np.isfinite(c.quantile_index)
    disagree = judged & ((c.quantile_index >= cp_min) != (c.cp >= cp_min))

    def sentence(i: int, _log: SpoolLog) -> str:
        if not judged[i]:
            return "The step is too coarse to judge the shape: not checked."
        text = (
            f"From the quantiles of the log the index is {number(c.quantile_index[i], 2)} (at "
            f"least {cp_min:g} asked)"
        )
        if disagree[i]:
            return f"{text}, which does not agree with Cp: the metres are not normal."
        return f"{text}, which agrees with Cp."

    return _settled(_said(check, evidence, decided, sentence), decided, judged, disagree)


def _order(check: Check, evidence: LotEvidence, decided: BoolArray) -> Check:
    rough = decided & ~_of_logs(evidence, lambda log: log.found.diameter.settled).astype(bool)

    def sentence(i: int, log: SpoolLog) -> str:
        drift = log.found.drift
        moved = (
            f"from {number(drift.first_tenth_mm, 3)} mm over its first tenth to "
            f"{number(drift.last_tenth_mm, 3)} mm over its last"
        )
        if rough[i]:
            return (
                "The log is too short for how far its rows repeat each other, or it drifts "
                f"({moved}): its intervals are rough. Log more metres."
            )
        return f"That rows repeat each other is in every interval; the log goes {moved}."

    return _settled(_said(check, evidence, decided, sentence), decided, decided, rough)


def _settled(check: Check, where: BoolArray, checked: BoolArray, is_open: BoolArray) -> Check:
    """A check to be settled whose question is ``is_open`` for the spools ``where``."""
    before = np.zeros(len(where), bool) if check.undecided is None else check.undecided
    question = np.where(where, is_open, before)
    return replace(
        check,
        checked=np.where(where, checked, check.checked),
        worst=levels(~question, REJECT),
        undecided=question,
        value=np.where(where, np.nan, check.value),
    )


def _fit(check: Check, evidence: LotEvidence, criteria: Criteria, decided: BoolArray) -> Check:
    tolerance, most = evidence.section.tolerance_mm, criteria["gauge.fit_max_ratio"]
    expanded = K * _of_logs(evidence, lambda log: log.u_offset_mm)
    unfit = decided & ~(expanded / tolerance <= most)

    def sentence(i: int, _log: SpoolLog) -> str:
        own, band = against(float(expanded[i]), tolerance, 3)
        if unfit[i]:
            return (
                f"The gauge of the log cannot judge +/- {band} mm: its own uncertainty is +/- "
                f"{own} mm however many metres are logged; a pin held in it would bring less."
            )
        return f"The gauge's own uncertainty of +/- {own} mm leaves room within +/- {band} mm."

    made = _settled(_said(check, evidence, decided, sentence), decided, decided, unfit)
    return replace(made, value=np.where(decided, expanded / tolerance, check.value))


def _own_gauge(_i: int, log: SpoolLog) -> str:
    return (
        "The log was read by a gauge of its own; the standard uncertainty of its offset is "
        f"{number(log.u_offset_mm, 4)} mm."
    )


def _unmoved(check: Check, evidence: LotEvidence, decided: BoolArray) -> Check:
    def sentence(_i: int, _log: SpoolLog) -> str:
        return "The pin was read with the tool of the hand, not with the gauge: not checked."

    said = _said(check, evidence, decided, sentence)
    quiet = np.zeros(len(decided), dtype=bool)
    return replace(
        _settled(said, decided, quiet, quiet),
        point=np.where(decided, PASS, check.point).astype(np.int8),
    )
