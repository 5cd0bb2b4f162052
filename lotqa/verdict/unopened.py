"""What the sample says about the spools that were not inspected, and what to do with them.

Two answers.  Counting alone, exact whatever the spools are like: how many bad ones the sample does
not exclude (sampling/acceptance.py).  By the diameters, which say far more: the chance that an
unopened spool would be accepted, tuned or rejected, from the lot's mean and its spread between and
within spools, with their uncertainty (evidence/lot_model.py).  The second knows nothing of lumps,
bubbles or a spool from another box.
"""

from dataclasses import dataclass, replace

import numpy as np

from lotqa.criteria import Criteria
from lotqa.evidence.lot_model import FateEstimate, LotDraws, SpoolMeans, fate, lot_draws
from lotqa.evidence.spool import LotEvidence
from lotqa.model import FloatArray
from lotqa.sampling.acceptance import bad_upper_bound
from lotqa.verdict.lot_groups import Group
from lotqa.verdict.lot_numbers import LotNumbers
from lotqa.verdict.outcome import REJECT, TUNE, Reason
from lotqa.verdict.words import counted, number

FEWER_DRAWS = 4000  # to ask how many more spools would do, a percent of chance is enough
DRAW = {
    None: "drawn at random as is supposed",
    True: "drawn at random",
    False: "not those that were drawn, yet taken for a random draw",
}
LEAST_EXPECTED = 0.05  # fewer bad spools than that are none to a person
MOST_MORE = 12  # more than so many further spools is 'measure each'


@dataclass(frozen=True, slots=True)
class ByDiameter:
    """Chances of one unopened spool by its diameter, printed as ``multiplier`` says."""

    multiplier: float | None  # the one of the whole lot; None: as the machine is set now
    fate: FateEstimate
    expected_bad: float  # of all spools not opened
    expected_bad_ci95: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Unopened:
    """What is known of the spools that were not inspected."""

    spools: int
    bad_upper: int
    text: str
    by_diameter: ByDiameter | None = None
    more_spools: int | None = None  # further ones that would settle it; None: nothing to settle
    action: str = ""


def unopened_of(
    received: int,
    n: int,
    rejected: int,
    short: int,
    point: int,
    groups: tuple[Group, ...],
    evidence: LotEvidence,
    numbers: LotNumbers,
    means: SpoolMeans | None,
    draws: LotDraws | None,
    criteria: Criteria,
    as_drawn: bool | None = None,
) -> Unopened | None:
    """All that can be said of the rest; None where every spool was inspected.

    ``short`` is how many spools the plan still asks for, ``point`` the lot's verdict.
    """
    rest = received - n
    if rest <= 0:
        return None
    confidence = criteria["lot.confidence"]
    bad = bad_upper_bound(received, n, rejected, confidence) - rejected
    few = "none" if bad == 0 else f"at most {bad}"
    of = counted(received, "spool")
    text = (
        f"{n} of {of} inspected, {DRAW[as_drawn]}; of the {rest} not opened "
        f"{few} would be rejected ({100 * confidence:g} % sure)."
    )
    one = groups[0] if len(groups) == 1 and not groups[0].as_it_is and point == TUNE else None
    found = None
    if means is not None and draws is not None:
        chances = _fate(draws, one, evidence, numbers, criteria)
        lo, hi = chances.reject_ci
        found = ByDiameter(
            None if one is None else one.multiplier,
            chances,
            rest * chances.reject,
            (rest * lo, rest * hi),
        )
        text = f"{text} {_told(found, rest)}"
    more = None
    if found is not None and means is not None and point != REJECT:
        more = _more(found.fate, means, rest, one, evidence, numbers, criteria)
    done = Unopened(rest, bad, text, found, more)
    return replace(done, action=_action(done, point, short, groups, one, criteria))


def _fate(
    draws: LotDraws,
    one: Group | None,
    evidence: LotEvidence,
    numbers: LotNumbers,
    criteria: Criteria,
) -> FateEstimate:
    section = evidence.section
    sd = numbers.within_spool_sd_mm or 0.0
    laid_for = section.laid_for_mm
    if one is not None:  # what the machine is then set for
        laid_for /= float(np.sqrt(one.multiplier / section.multiplier))
    share = criteria["flow.error_max_pct"] / 100
    lo, hi = (
        float(np.sqrt(max(laid_for**2 * (1 + sign * share) - sd**2, 0.0))) for sign in (-1, 1)
    )
    if one is None:
        edge = 3 * criteria["centring.cpk_min"] * sd
        lo, hi = max(lo, section.lsl_mm + edge), min(hi, section.usl_mm - edge)
    lo, hi = max(lo, section.lsl_mm), min(hi, section.usl_mm)
    cp_min = criteria["spread.cp_min"]
    sd_max = section.tolerance_mm / (3 * cp_min) if cp_min > 0 else np.inf
    return fate(draws, lo, max(lo, hi), section.lsl_mm, section.usl_mm, sd_max)


def _more(
    now: FateEstimate,
    means: SpoolMeans,
    rest: int,
    one: Group | None,
    evidence: LotEvidence,
    numbers: LotNumbers,
    criteria: Criteria,
) -> int | None:
    """Fewest further spools after which, at the present estimates, the chance is sure enough.

    0: it is now; None: no number does, or more than are worth a name.
    """
    wanted = criteria["lot.fit_min"]
    if now.accept_ci[0] >= wanted:
        return 0
    if now.accept < wanted:
        return None
    for more in range(1, min(rest, MOST_MORE) + 1):
        draws = lot_draws(_as_if(means, more), n_draws=FEWER_DRAWS)
        if _fate(draws, one, evidence, numbers, criteria).accept_ci[0] >= wanted:
            return more
    return None


def _as_if(means: SpoolMeans, more: int) -> SpoolMeans:
    """The same mean and standard deviations, from ``more`` spools more of as many places."""
    old = len(means.mean_mm)
    spots = np.linspace(-1.0, 1.0, old + more)
    scale = float(np.std(means.mean_mm, ddof=1)) / float(np.std(spots, ddof=1))
    places = float(np.mean(means.n_places))
    values: FloatArray = float(np.mean(means.mean_mm)) + scale * spots
    return replace(
        means,
        mean_mm=values,
        n_places=np.full(old + more, places),
        df=means.df * (old + more) / old,
    )


def _told(found: ByDiameter, rest: int) -> str:
    f = found.fate
    how = "as set now" if found.multiplier is None else "with the lot's multiplier"
    one = "one of them" if rest > 1 else "it"
    return (
        f"By the diameters {one} prints {how} within the limits in {_share(f.accept)} of 100 cases "
        f"({_ends(f.accept_ci)}) and would be rejected in {_share(f.reject)} "
        f"({_ends(f.reject_ci)}){_expected(found, rest)}; lumps, dirt or wet are not in this."
    )


def _expected(found: ByDiameter, rest: int) -> str:
    """How many bad ones that makes, where there are several and it is worth telling."""
    if rest < 2 or found.expected_bad < LEAST_EXPECTED:
        return ""
    lo, hi = (number(v, 1) for v in found.expected_bad_ci95)
    return f", {number(found.expected_bad, 1)} of the {rest} ({lo} to {hi})"


def _share(p: float) -> str:
    """A chance in hundredths; a sample never says none, nor all.

    >>> [_share(p) for p in (0.0, 0.0004, 0.031, 0.5, 0.9996)]
    ['under 1', 'under 1', '3', '50', 'over 99']
    """
    hundredths = 100 * p
    if hundredths < 1:
        return "under 1"
    return "over 99" if hundredths > 99 else number(hundredths, 0)


def _ends(ci: tuple[float, float]) -> str:
    low, high = (_share(end) for end in ci)
    return f"95 %: {low}" if low == high else f"95 %: {low} to {high}"


def _action(
    found: Unopened,
    point: int,
    short: int,
    groups: tuple[Group, ...],
    one: Group | None,
    criteria: Criteria,
) -> str:
    """What to do with each spool not opened."""
    each = f"each of the {found.spools} not opened" if found.spools > 1 else "the one not opened"
    if point == REJECT:
        return f"Leave {each} closed: it goes back with the rest."
    if short:
        return f"Measure {short} more before you open the others."
    if len(groups) > 1:
        return f"Measure {each} before use: the spools of this lot do not share one number."
    what = f"use the multiplier {number(one.multiplier, 3)}" if one is not None else "print as set"
    if found.by_diameter is None:
        return f"For {each}: {what}; two or more measured spools would say how sure that is."
    if found.more_spools == 0:
        return f"For {each}: {what}."
    if found.more_spools is not None:
        return (
            f"Measure {found.more_spools} more; then, if they are like these, {what} for all "
            "the others."
        )
    if found.by_diameter.fate.accept < criteria["lot.fit_min"]:
        return f"Measure {each} before use: too many of them would not be like these."
    return f"For {each}: {what}, and look at the first print: few spools tell little of the rest."


def reason(unopened: Unopened) -> Reason:
    """The line about the spools not opened."""
    return Reason(
        check="lot.unopened",
        outcome="undecided" if unopened.bad_upper else "pass",
        value=float(unopened.bad_upper),
        limit=None,
        unit="spools",
        text=unopened.text,
        standing="provisional" if unopened.bad_upper else "firm",
    )
