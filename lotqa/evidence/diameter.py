"""The diameter of each spool along its length: mean, spread, and how sure.

A place mean of m evenly turned readings carries, beside the filament's own diameter there, 1/m of
the variance of one reading (scatter and rounding, independent).  Over n places, variance s**2:

    sd**2 = c s**2 - w (scatter**2 + q**2 / 12),  w = mean(1/m),  at most s**2
                                             c = df / chi-square median   interval: variances.py
    u_mean**2 = s**2 / n + u_offset**2 + u_rounding_left**2           [1]_
    half interval of the mean: sqrt((t u_sampling)**2 + (z u_fixed)**2)   [2]_

s**2 / n already holds the scatter; the offset of the tool does not average out.  The tolerance
interval is the exact normal one of the observed s, narrowed by what the removal of scatter takes
from the upper limit of s, and widened by the one-sided limit of the offset: an offset moves metres
out at one end only, and it does so in full.  With c the sd is as likely too large as too small;
s**2 less a constant would be too small more often, the more so the fewer the places [3]_.
Readings in one direction only leave ovality in the spread.  Where places repeat each other, n,
n - 1 and s**2 are those of the independent places they are worth: dependence.py.

.. [1] JCGM 100:2008 (GUM), 5.1.2 eq. (10).
.. [2] Limits recovered from those of both parts: Zou & Donner, Statistics in Medicine 27 (2008)
   1693.  Effective degrees of freedom (GUM G.4.1) cover too little when few places agree by luck.
.. [3] Median-unbiased estimation: Lehmann & Casella, Theory of Point Estimation (1998), 1.1.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lotqa.evidence.arrays import rows_of_equal_count
from lotqa.evidence.dependence import effective_places, process_variance
from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.ovality import PlaceOvality
from lotqa.evidence.resolution import rounding_variance_mm2, u_rounding_left_mm
from lotqa.evidence.rounding import Rounded, unresolved_quantile
from lotqa.evidence.summary import chi_square_factors, student_quantile, summarise
from lotqa.evidence.tolerance import two_sided_factor
from lotqa.evidence.variances import difference_interval, median_unbiased_variance
from lotqa.model import BoolArray, FloatArray, IntArray

COVERAGE = 0.95  # share of the metres that the tolerance interval speaks of
CONFIDENCE = 0.95
KNOWN = 1e9  # degrees of freedom of what is not estimated from the places
ONE_SIDED = float(ndtri(CONFIDENCE))


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Readings gathered by place, offset removed; arrays (p,), sorted by spool."""

    spool: IntArray
    position_m: FloatArray
    mean_mm: FloatArray
    low_mm: FloatArray
    high_mm: FloatArray
    n_readings: IntArray
    reading_weight: FloatArray  # variance of mean_mm in units of that of one reading
    along: IntArray  # place numbers of each spool in order along the filament, spool by spool


@dataclass(frozen=True, slots=True, eq=False)
class DiameterEvidence:
    """One element a spool; NaN where not known, infinite where not bounded."""

    n_places: IntArray
    n_readings: IntArray
    mean_mm: FloatArray
    mean_lo_mm: FloatArray
    mean_hi_mm: FloatArray
    u_mean_mm: FloatArray  # standard uncertainty, all of it
    u_sampling_mm: FloatArray  # of places and scatter; where not resolved, what the step hides
    s_observed_mm: FloatArray  # plain s of the place means
    sd_mm: FloatArray  # the filament's own
    sd_lo_mm: FloatArray
    sd_hi_mm: FloatArray
    reading_weight: FloatArray  # w above
    s_reading_mm: FloatArray  # spread of single readings, which dithers the rounding
    low_mm: FloatArray  # smallest and largest reading
    high_mm: FloatArray
    median_mm: FloatArray  # of the place means, as the quantiles
    q05_mm: FloatArray
    q95_mm: FloatArray
    tolerance_lo_mm: FloatArray
    tolerance_hi_mm: FloatArray
    n_effective: FloatArray  # independent places that the mean is worth
    df_spread: FloatArray  # degrees of freedom that the interval of sd rests on
    resolved: BoolArray  # False: all readings in one step or two, sd is bounded from above only
    # Of spools whose spread is of the size of the step (rounding.py); NaN for the others.
    ml_variance_mm2: FloatArray  # of single readings, rounding removed, scatter not
    ml_df: FloatArray
    ml_u_mean_mm: FloatArray  # not resolved: what the step hides of the mean
    sd_bound_mm: FloatArray  # upper bound where not resolved


def places_of(
    spool: IntArray,
    place: IntArray,
    position_m: FloatArray,
    diameter_mm: FloatArray,
    offset_mm: float,
    section: PlaceOvality,
) -> Places:
    """Gather readings (N,), sorted by ``place`` 0 .. p - 1, into places.

    The mean of a place is that of its section where the directions are known, so that an uneven
    set of them (0, 60, 90) does not read ovality as diameter; else the mean of its readings.
    """
    n = np.bincount(place)
    starts = np.cumsum(n) - n  # none where nothing was read
    centre = diameter_mm[starts]
    plain = centre + np.bincount(place, diameter_mm - centre[place]) / n
    known = np.isfinite(section.mean_mm) & (section.n_readings == n)
    owner, position = spool[starts], position_m[starts]
    typed = np.arange(len(starts))
    # Unknown positions keep the order typed: NaN would sort last but break ties by nothing.
    key = np.where(np.isfinite(position), position, typed)
    return Places(
        spool=owner,
        position_m=position,
        mean_mm=np.where(known, section.mean_mm, plain) - offset_mm,
        low_mm=np.minimum.reduceat(diameter_mm, starts) - offset_mm,
        high_mm=np.maximum.reduceat(diameter_mm, starts) - offset_mm,
        n_readings=n,
        reading_weight=np.where(known, section.mean_noise, 1.0 / n),
        along=np.lexsort((typed, key, owner)),
    )


def diameter_evidence(
    places: Places,
    n_spools: int,
    scatter: Scatter,
    offset: Offset,
    step_mm: float,
    coarse: Rounded | None = None,
) -> DiameterEvidence:
    """Evidence on the diameter of ``n_spools`` spools; a spool without places is all NaN.

    ``coarse`` (k,) is what maximum likelihood makes of the readings of spools whose spread is of
    the size of the step, NaN for the others: it takes the place of mean, s and their uncertainty.
    """
    columns = {
        name: np.full(n_spools, np.nan)
        for name in (
            "mean",
            "s",
            "low",
            "high",
            "median",
            "q05",
            "q95",
            "weight",
            "s_reading",
            "factor",
            "n_effective",
            "df",
        )
    }
    for spools, rows in rows_of_equal_count(places.spool, n_spools):
        x = places.mean_mm[rows]
        found = summarise(x)
        columns["mean"][spools] = found.mean
        columns["s"][spools] = found.s
        columns["median"][spools] = found.median
        columns["q05"][spools] = found.q05
        columns["q95"][spools] = found.q95
        columns["low"][spools] = places.low_mm[rows].min(axis=-1)
        columns["high"][spools] = places.high_mm[rows].max(axis=-1)
        columns["weight"][spools] = places.reading_weight[rows].mean(axis=-1)
        # The spread of single readings is what dithers the rounding; low to high of a place
        # stands in for it, being zero only if all its readings are equal.
        spread = np.hypot(found.s, (places.high_mm[rows] - places.low_mm[rows]).std(axis=-1))
        columns["s_reading"][spools] = spread
        ordered = places.along[rows]
        worth = effective_places(places.position_m[ordered], places.mean_mm[ordered])
        columns["n_effective"][spools] = worth.n_mean
        columns["df"][spools] = worth.df_spread
        n = x.shape[-1]
        columns["factor"][spools] = two_sided_factor(n, COVERAGE, CONFIDENCE) if n > 1 else np.inf
    n_places = np.bincount(places.spool, minlength=n_spools)
    n_readings = np.bincount(places.spool, places.n_readings, minlength=n_spools)
    _take_over(columns, coarse, offset.offset_mm)
    return _combine(columns, n_places, n_readings.astype(np.int64), scatter, offset, step_mm)


def _take_over(columns: dict[str, FloatArray], coarse: Rounded | None, offset_mm: float) -> None:
    """Write the coarse spools' numbers into the columns; NaN where a spool is not coarse."""
    n_spools = len(columns["mean"])
    nan = np.full(n_spools, np.nan)
    for name in ("ml_variance", "ml_df", "ml_u_mean", "sd_bound"):
        columns[name] = nan.copy()
    if coarse is None:
        return
    told, judged = coarse.resolved, np.isfinite(coarse.mean_mm)
    columns["mean"][judged] = coarse.mean_mm[judged] - offset_mm
    columns["ml_variance"][told] = coarse.sd_mm[told] ** 2
    columns["ml_df"][told] = coarse.df[told]
    columns["ml_u_mean"][judged] = coarse.se_mean_mm[judged]
    columns["sd_bound"] = np.where(told, np.nan, coarse.sd_upper_mm)


def _combine(
    columns: dict[str, FloatArray],
    n_places: IntArray,
    n_readings: IntArray,
    scatter: Scatter,
    offset: Offset,
    step_mm: float,
) -> DiameterEvidence:
    mean, s, weight = columns["mean"], columns["s"], columns["weight"]
    df, n_effective = columns["df"], columns["n_effective"]
    rounding = rounding_variance_mm2(step_mm)
    reading_variance = scatter.sd_mm**2 + rounding
    supposed = scatter.variance_limits_mm2(rounding)
    # Where likelihood took rounding out already, single readings were judged: their scatter counts
    # in full, and rounding no more.
    by_likelihood = np.isfinite(columns["ml_variance"])
    s2 = process_variance(s**2, n_places, n_effective)
    s2 = np.where(by_likelihood, columns["ml_variance"], s2)
    df = np.where(by_likelihood, np.minimum(columns["ml_df"], df), df)
    of_scatter = scatter.sd_mm**2 / reading_variance if reading_variance > 0 else 0.0
    share = np.where(by_likelihood, of_scatter, weight)
    # Readings much steadier than scatter and rounding alone would be are so by luck, or the scatter
    # is overstated: from there on steadier readings bound the filament no closer.
    alone = share * reading_variance
    _, by_luck = chi_square_factors(df, CONFIDENCE)
    _, variance_lo, variance_hi = difference_interval(
        s2,
        df,
        reading_variance,
        scatter.df,
        share,
        CONFIDENCE,
        v1_ceiling=alone / by_luck,
        v2_limits=supposed,
    )
    variance = median_unbiased_variance(s2, df, alone)
    # All readings in one step or two: any small sd explains them, and only a bound stands.
    bound = columns["sd_bound"]
    resolved = ~np.isfinite(bound)
    variance = np.where(resolved, variance, 0.0)
    variance_lo = np.where(resolved, variance_lo, 0.0)
    variance_hi = np.where(resolved, variance_hi, bound**2)

    u_sampling = np.sqrt(np.maximum(s2, 0.0) / n_effective)
    by_step = np.isfinite(columns["ml_u_mean"])  # rounding is in the likelihood's uncertainty
    u_sampling = np.where(by_step, columns["ml_u_mean"], u_sampling)
    left = np.where(by_step, 0.0, u_rounding_left_mm(columns["s_reading"], step_mm))
    u_fixed = np.hypot(offset.u_mm, left)
    u_mean = np.hypot(u_sampling, u_fixed)
    with np.errstate(divide="ignore", invalid="ignore"):
        # An unresolved mean has no spread to learn from: its interval is that of the likelihood.
        drawn_at = student_quantile(KNOWN)
        factor = student_quantile(np.where(resolved, df, KNOWN), CONFIDENCE)
        of_tool = student_quantile(min(offset.df, KNOWN))
        half = np.hypot(factor * u_sampling, np.hypot(of_tool * offset.u_mm, drawn_at * left))
        half = np.where(n_places > 1, half, np.inf)

        # One-sided upper limits, as the tolerance factor holds inside.
        _, one_sided = chi_square_factors(df, 2 * CONFIDENCE - 1)
        least = alone / one_sided
        _, _, removed_hi = difference_interval(
            s2,
            df,
            reading_variance,
            scatter.df,
            share,
            2 * CONFIDENCE - 1,
            v1_ceiling=least,
            v2_limits=supposed,
        )
        spread = np.sqrt(np.maximum(removed_hi, 0.0)) / one_sided  # s where nothing is taken out
        # The exact factor is that of n places; what fewer would widen it by is as in Howe's.
        _, of_all = chi_square_factors(n_places - 1.0, 2 * CONFIDENCE - 1)
        fewer = one_sided / of_all * np.sqrt((1 + 1 / n_effective) / (1 + 1 / n_places))
        fewer = np.where(n_effective < n_places, fewer, 1.0)
        reach = columns["factor"] * fewer * spread + ONE_SIDED * u_fixed
        # What the step hides is bounded by the bound of sd; and no metre is known better than the
        # mean is.
        hidden = np.hypot(drawn_at * bound, half)
        reach = np.maximum(np.where(resolved, reach, hidden), half)
        reach = np.where(n_places > 1, reach, np.inf)
    return DiameterEvidence(
        n_places=n_places,
        n_readings=n_readings,
        mean_mm=mean,
        mean_lo_mm=mean - half,
        mean_hi_mm=mean + half,
        u_mean_mm=np.where(n_places > 1, u_mean, np.nan),
        u_sampling_mm=u_sampling,
        s_observed_mm=s,
        sd_mm=np.sqrt(np.maximum(variance, 0.0)),
        sd_lo_mm=np.sqrt(np.maximum(variance_lo, 0.0)),
        sd_hi_mm=np.sqrt(variance_hi),
        reading_weight=weight,
        s_reading_mm=columns["s_reading"],
        low_mm=columns["low"],
        high_mm=columns["high"],
        median_mm=columns["median"],
        q05_mm=columns["q05"],
        q95_mm=columns["q95"],
        tolerance_lo_mm=mean - reach,
        tolerance_hi_mm=mean + reach,
        n_effective=n_effective,
        df_spread=df,
        resolved=resolved,
        ml_variance_mm2=columns["ml_variance"],
        ml_df=columns["ml_df"],
        ml_u_mean_mm=columns["ml_u_mean"],
        sd_bound_mm=bound,
    )


def project(
    evidence: DiameterEvidence,
    spool: int,
    n_places: IntArray,
    scatter: Scatter,
    offset: Offset,
    step_mm: float,
) -> DiameterEvidence:
    """Evidence on one spool as if ``n_places`` (m,) places had shown the same mean and s.

    Answers 'how many more places?'; one element for each number of places.
    """
    m = len(n_places)

    def same(values: FloatArray) -> FloatArray:
        return np.repeat(values[spool], m)

    d = evidence
    columns = {
        "mean": same(d.mean_mm),
        "s": same(d.s_observed_mm),
        "low": same(d.low_mm),
        "high": same(d.high_mm),
        "median": same(d.median_mm),
        "q05": same(d.q05_mm),
        "q95": same(d.q95_mm),
        "weight": same(d.reading_weight),
        "s_reading": same(d.s_reading_mm),
        # The tolerance interval decides nothing; its factor is not worth an integral a rung.
        "factor": np.full(m, np.nan),
        # Further places are worth as much as those read: the share stays.
        "n_effective": 1 + same((d.n_effective - 1) / (d.n_places - 1)) * (n_places - 1),
        "df": same(d.df_spread / (d.n_places - 1)) * (n_places - 1),
        "ml_variance": same(d.ml_variance_mm2),
        "ml_df": same(d.ml_df / (d.n_places - 1)) * (n_places - 1),
        # What the step hides of an unresolved mean, more places in the same steps hide as well.
        "ml_u_mean": same(d.ml_u_mean_mm)
        * (np.sqrt(d.n_places[spool] / n_places) if d.resolved[spool] else np.ones(m)),
        # More readings in the same one or two steps bound it closer.
        "sd_bound": same(d.sd_bound_mm)
        * (unresolved_quantile(d.n_places[spool]) / unresolved_quantile(n_places)),
    }
    a_place = d.n_readings[spool] / d.n_places[spool]
    n_readings = np.round(n_places * a_place).astype(np.int64)
    return _combine(columns, n_places, n_readings, scatter, offset, step_mm)
