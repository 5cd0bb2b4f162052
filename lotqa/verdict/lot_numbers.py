"""The diameter of a lot in numbers: mean, spread between its spools and within them.

The lot is its spools: their means are the units, the offset of the tool is common to all.  The
components are told by analysis of variance (which may say 'less than nothing' and is then 0) and
by restricted likelihood, which weighs spools of unequal length as they deserve
(evidence/components.py); their intervals, and all that is said of spools not opened, come from
the same pivots (evidence/lot_model.py).
"""

from dataclasses import dataclass

import numpy as np

from lotqa.errors import TooFewReadings
from lotqa.evidence.components import reml_oneway
from lotqa.evidence.lot_model import (
    LotDraws,
    SpoolMeans,
    between_sd_interval,
    lot_draws,
    predicted_spool,
    tolerance_interval,
)
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.summary import chi_square_factors, mean_and_s, student_quantile
from lotqa.evidence.variances import difference_interval, oneway
from lotqa.model import BoolArray

COMPONENTS_SPOOLS = 2000  # beyond, the likelihood adds nothing that the analysis does not tell


@dataclass(frozen=True, slots=True)
class Components:
    """Standard deviations by restricted likelihood; those of reading are the tool's, taken off."""

    between_sd_mm: float
    within_sd_mm: float
    reading_sd_mm: float  # of a place mean
    between_ci95_mm: tuple[float, float] | None  # None: the pivots had too little


@dataclass(frozen=True, slots=True)
class LotNumbers:
    """Diameter of the lot; None where too little was measured."""

    mean_mm: float | None = None
    mean_ci95_mm: tuple[float, float] | None = None
    between_spool_sd_mm: float | None = None
    within_spool_sd_mm: float | None = None
    within_spool_sd_ci95_mm: tuple[float, float] | None = None
    components: Components | None = None
    # Holds 95 % of the metres of the whole lot, opened or not, with 95 % confidence.
    tolerance_interval_mm: tuple[float, float] | None = None
    next_spool_mean_mm: tuple[float, float] | None = None  # 95 % prediction


def spool_means(evidence: LotEvidence, chosen: BoolArray | None = None) -> SpoolMeans | None:
    """What the pivots need of the measured spools (of those ``chosen``); None below two of them.

    Also None where no spool has two places: nothing then tells spools from places.
    """
    d = evidence.diameter
    read = (d.n_places > 0) & np.isfinite(d.mean_mm)
    if chosen is not None:
        read &= chosen
    spread = read & (d.n_places > 1) & np.isfinite(d.s_observed_mm)
    df = float(np.sum(d.n_places[spread] - 1))
    if np.count_nonzero(read) < 2 or df < 1:
        return None
    weights = d.n_places[spread] - 1
    reading = evidence.scatter.sd_mm**2 + rounding_variance_mm2(evidence.step_mm)
    share = float(np.average(d.reading_weight[spread], weights=weights))
    # Readings that all show one step hide what varies below it: no less than the rounding itself.
    observed = max(
        float(np.average(d.s_observed_mm[spread] ** 2, weights=weights)),
        share * rounding_variance_mm2(evidence.step_mm),
    )
    limits = None
    if evidence.scatter.limits_mm is not None:
        rounding = rounding_variance_mm2(evidence.step_mm)
        least, most = (share * (sd**2 + rounding) for sd in evidence.scatter.limits_mm)
        limits = (least, most)
    return SpoolMeans(
        mean_mm=d.mean_mm[read],
        n_places=d.n_places[read].astype(np.float64),
        variance_mm2=observed,
        df=df,
        reading_variance_mm2=share * reading,
        u_offset_mm=evidence.offset.u_mm,
        offset_df=float(evidence.offset.df),
        reading_limits_mm2=limits,
    )


def lot_numbers(
    evidence: LotEvidence, means: SpoolMeans | None = None, draws: LotDraws | None = None
) -> LotNumbers:
    """Mean of the lot with its interval, and the spread between and within spools.

    ``means`` and ``draws`` are those of the same evidence, where they are there already.
    """
    d = evidence.diameter
    measured = np.flatnonzero(d.n_places > 0)
    if not len(measured):
        return LotNumbers()
    within, within_ci = _pooled_spread(evidence)
    values = d.mean_mm[measured]
    k = len(values)
    if k == 1:
        only = measured[0]
        bounds = (float(d.mean_lo_mm[only]), float(d.mean_hi_mm[only]))
        known = np.isfinite(bounds).all()
        return LotNumbers(float(values[0]), bounds if known else None, None, within, within_ci)
    mean, s = (float(v[0]) for v in mean_and_s(values[None, :]))
    # Spools are the units of a lot; the offset of the tool is common to all of them.
    half = float(
        np.hypot(
            float(student_quantile(k - 1.0)) * s / np.sqrt(k),
            float(student_quantile(min(evidence.offset.df, 1e9))) * evidence.offset.u_mm,
        )
    )
    means = spool_means(evidence) if means is None else means
    if means is not None and draws is None:
        draws = lot_draws(means)
    return LotNumbers(
        mean_mm=mean,
        mean_ci95_mm=(mean - half, mean + half),
        between_spool_sd_mm=_between(evidence),
        within_spool_sd_mm=within,
        within_spool_sd_ci95_mm=within_ci,
        components=_components(evidence, draws),
        tolerance_interval_mm=None
        if means is None or draws is None
        else tolerance_interval(means, draws),
        next_spool_mean_mm=None
        if means is None or draws is None
        else predicted_spool(means, draws),
    )


def _between(evidence: LotEvidence) -> float | None:
    try:
        found = oneway(evidence.places.mean_mm, evidence.places.spool)
    except TooFewReadings:  # one place a spool: nothing to take the spools apart from
        return None
    return float(np.sqrt(max(found.between, 0.0)))


def _components(evidence: LotEvidence, draws: LotDraws | None) -> Components | None:
    places = evidence.places
    if not 2 <= len(evidence.spools) <= COMPONENTS_SPOOLS:
        return None
    of_reading = evidence.scatter.sd_mm**2 + rounding_variance_mm2(evidence.step_mm)
    known = places.reading_weight * of_reading
    try:
        found = reml_oneway(places.mean_mm, places.spool, known)
    except TooFewReadings:
        return None
    return Components(
        between_sd_mm=float(np.sqrt(found.between)),
        within_sd_mm=float(np.sqrt(found.within)),
        reading_sd_mm=float(np.sqrt(known.mean())),
        between_ci95_mm=None if draws is None else between_sd_interval(draws),
    )


def _pooled_spread(
    evidence: LotEvidence,
) -> tuple[float | None, tuple[float, float] | None]:
    """Spread within spools from all of them together, scatter and rounding removed.

    Spools whose spread the step does not resolve tell no figure; (None, None) if all are such.
    """
    d = evidence.diameter
    usable = (d.n_places > 1) & d.resolved
    if not usable.any():
        return None, None
    df = d.df_spread[usable]
    rounding = rounding_variance_mm2(evidence.step_mm)
    reading = evidence.scatter.sd_mm**2 + rounding
    # Likelihood (rounding.py) gives the variance of single readings, s that of place means.
    told = np.isfinite(d.ml_variance_mm2[usable])
    observed = np.where(told, d.ml_variance_mm2[usable], d.s_observed_mm[usable] ** 2)
    taken = np.where(told, evidence.scatter.sd_mm**2, d.reading_weight[usable] * reading)
    # The scatter is common to all spools: its range, in units of what is taken, does not pool away.
    limits = None
    if evidence.scatter.limits_mm is not None:
        shares = np.where(told, 1.0, d.reading_weight[usable])
        kept = np.where(told, 0.0, d.reading_weight[usable] * rounding)
        least, most = (
            np.average(shares * sd**2 + kept, weights=df) for sd in evidence.scatter.limits_mm
        )
        limits = (float(least), float(most))
    variance, lo, hi = (
        float(v)
        for v in difference_interval(
            np.average(observed, weights=df),
            df.sum(),
            np.average(taken, weights=df),
            evidence.scatter.df,
            v2_limits=limits,
            v1_ceiling=np.average(taken, weights=df) / float(chi_square_factors(df.sum())[1]),
        )
    )
    sd, sd_lo, sd_hi = (float(np.sqrt(max(v, 0.0))) for v in (variance, lo, hi))
    return sd, (sd_lo, sd_hi)
