"""What a few spools say of the whole lot, of the metres in it and of the next spool.

Place j of spool i reads y = mu + b_i + w_ij, b with variance ``between``, w with that observed
within spools, n_i places; all normal.  The means of the spools are the units, unweighted [1]_:

    S**2 = var(means) ~ (between + within / n_h) chi2(k-1) / (k-1),   n_h the harmonic mean of n_i

and of what is not known, generalised pivots [2]_, [3]_ draw what is compatible with the readings:

    within  = variance df / chi2(df)
    between = max(0, (k-1) S**2 / chi2(k-1) - within / n_h)
    mu      = mean + z sqrt((between + within / n_h) / k) + u_offset t

Reading scatter is then taken off ``within``: metres differ by filament alone.  The draws are no
random numbers (spread_points.py).  With two or three spools every answer is wide: rightly so.

.. [1] Thomas & Hultquist, Ann. Statist. 6 (1978) 582 (from memory).
.. [2] Weerahandi, JASA 88 (1993) 899, generalised confidence intervals (from memory).
.. [3] Krishnamoorthy & Mathew, Technometrics 46 (2004) 44, tolerance limits in a random model
   (from memory).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri

from lotqa.errors import TooFewReadings
from lotqa.evidence.spread_points import chi_square_at, normal_scores
from lotqa.model import FloatArray

N_DRAWS = 20_000
BETWEEN, WITHIN, MEAN, OFFSET, OFFSET_DF, READING, NEXT = range(7)  # dimensions of the points
MUCH_DF = 1e6  # of the offset; beyond, Student is normal
FAR = 8.0  # standard deviations that a centre may lie off before only one tail is left
NODES = 2049  # on 0 .. FAR; half-widths between them are right to 6 digits


@dataclass(frozen=True, slots=True, eq=False)
class SpoolMeans:
    """What was read of k spools: their means, and how place means differ within them."""

    mean_mm: FloatArray  # (k,)
    n_places: FloatArray  # (k,)
    variance_mm2: float  # of place means within a spool, as observed, pooled
    df: float  # of that variance
    reading_variance_mm2: float  # the part of it that is reading and rounding, not filament
    u_offset_mm: float  # of the tool, common to all
    offset_df: float  # may be infinite
    reading_limits_mm2: tuple[float, float] | None = None  # of a reading part that is supposed


@dataclass(frozen=True, slots=True, eq=False)
class LotDraws:
    """Lots that are compatible with what was read, (m,) each."""

    mu_mm: FloatArray  # mean of the lot
    between_sd_mm: FloatArray  # of true spool means
    within_sd_mm: FloatArray  # of filament alone, along a spool


@dataclass(frozen=True, slots=True)
class FateEstimate:
    """Chances of a spool not opened, each with its interval; the three chances sum to 1."""

    accept: float
    accept_ci: tuple[float, float]
    tune: float
    tune_ci: tuple[float, float]
    reject: float
    reject_ci: tuple[float, float]


def lot_draws(means: SpoolMeans, n_draws: int = N_DRAWS) -> LotDraws:
    """Draw ``n_draws`` lots from the pivots [1]_, [2]_; the same ones at every call.

    Raises TooFewReadings below two spools or one degree of freedom; ValueError for a value that
    cannot be.

    >>> few = SpoolMeans(np.array([1.74, 1.76]), np.array([10.0, 10.0]), 1e-4, 18, 0.0, 0.0, np.inf)
    >>> lots = lot_draws(few, 1000)
    >>> round(float(np.median(lots.mu_mm)), 3), round(float(np.median(lots.within_sd_mm)), 3)
    (1.75, 0.01)
    """
    _check(means)
    k = len(means.mean_mm)
    scores = normal_scores(NEXT + 1, n_draws)
    within = means.variance_mm2 * means.df / chi_square_at(scores[WITHIN], means.df)
    of_places = within * float(np.mean(1 / means.n_places))
    s2 = float(np.var(means.mean_mm, ddof=1))
    of_means = (k - 1) * s2 / chi_square_at(scores[BETWEEN], k - 1.0)
    between = np.maximum(of_means - of_places, 0.0)
    u_mean = np.sqrt((between + of_places) / k)
    mu = float(np.mean(means.mean_mm)) + scores[MEAN] * u_mean
    if means.u_offset_mm > 0:
        t = scores[OFFSET]
        if means.offset_df < MUCH_DF:
            t = t / np.sqrt(chi_square_at(scores[OFFSET_DF], means.offset_df) / means.offset_df)
        mu = mu + means.u_offset_mm * t
    reading: FloatArray | float = means.reading_variance_mm2
    if means.reading_limits_mm2 is not None:
        least, most = means.reading_limits_mm2
        reading = least + (most - least) * ndtr(scores[READING])
    return LotDraws(
        mu_mm=mu,
        between_sd_mm=np.sqrt(between),
        within_sd_mm=np.sqrt(np.maximum(within - reading, 0.0)),
    )


def _check(means: SpoolMeans) -> None:
    k = len(means.mean_mm)
    if k < 2 or not means.df >= 1:
        raise TooFewReadings(
            f"a lot needs 2 spools and a spool of 2 places, got {k} spools and {means.df:g} "
            "degrees of freedom within them: measure more"
        )
    if not np.isfinite(means.mean_mm).all():
        raise ValueError(f"spool means are {means.mean_mm}: leave out those that are not known")
    if len(means.n_places) != k or not np.all(means.n_places >= 1):
        raise ValueError(f"places are {means.n_places} of {k} spools: give 1 or more for each")
    named = {
        "variance_mm2": means.variance_mm2,
        "reading_variance_mm2": means.reading_variance_mm2,
        "u_offset_mm": means.u_offset_mm,
    }
    for name, value in named.items():
        if not 0 <= value < np.inf:
            raise ValueError(f"{name} is {value:g}: give 0 or more")
    if not means.offset_df > 0:
        raise ValueError(f"offset_df is {means.offset_df:g}: give a number above 0, or infinity")
    if means.reading_limits_mm2 is not None:
        least, most = means.reading_limits_mm2
        if not 0 <= least <= most < np.inf:
            raise ValueError(
                f"reading_limits_mm2 are {least:g} and {most:g}: give 0 <= low <= high"
            )


def _tails(confidence: float) -> tuple[float, float]:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence:g}: give a number between 0 and 1")
    return (1 - confidence) / 2, (1 + confidence) / 2


def _interval(values: FloatArray, confidence: float) -> tuple[float, float]:
    lo, hi = (float(v) for v in np.quantile(values, _tails(confidence)))
    return lo, hi


def between_sd_interval(draws: LotDraws, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the standard deviation between true spool means, in mm."""
    return _interval(draws.between_sd_mm, confidence)


def tolerance_interval(
    means: SpoolMeans, draws: LotDraws, content: float = 0.95, confidence: float = 0.95
) -> tuple[float, float]:
    """Ends in mm that hold ``content`` of all metres of the lot, opened or not [3]_.

    Symmetric about the mean of the spool means; the half-width is enough in ``confidence`` of
    the draws.
    """
    _tails(confidence)
    _tails(content)
    centre = float(np.mean(means.mean_mm))
    sd = np.hypot(draws.between_sd_mm, draws.within_sd_mm)
    off = np.abs(draws.mu_mm - centre)
    nodes, beyond = _beyond_centre(content)
    with np.errstate(divide="ignore", invalid="ignore"):  # metres all alike: only the centre is off
        shift = np.where(sd > 0, off / sd, 0.0)
    half = off + sd * np.interp(shift, nodes, beyond)
    enough = float(np.quantile(half, confidence))
    return centre - enough, centre + enough


@lru_cache(maxsize=8)
def _beyond_centre(content: float) -> tuple[FloatArray, FloatArray]:
    """``r - a`` at nodes a in 0 .. FAR, with Phi(a + r) - Phi(a - r) = content."""
    a = np.linspace(0.0, FAR, NODES)
    r = a + ndtri(0.5 + content / 2)  # holds at least ``content``, so Newton only falls
    for _ in range(60):
        slope = (np.exp(-((a + r) ** 2) / 2) + np.exp(-((a - r) ** 2) / 2)) / np.sqrt(2 * np.pi)
        step = (ndtr(a + r) - ndtr(a - r) - content) / slope
        r = r - step
        if np.max(np.abs(step)) < 1e-13:
            break
    return a, r - a


def predicted_spool(
    means: SpoolMeans, draws: LotDraws, confidence: float = 0.95
) -> tuple[float, float]:
    """Ends in mm between which the true mean of one spool not opened lies, by prediction."""
    _tails(confidence)
    centre = float(np.mean(means.mean_mm))
    score = normal_scores(NEXT + 1, len(draws.mu_mm))[NEXT]
    off = np.abs(draws.mu_mm + score * draws.between_sd_mm - centre)
    half = float(np.quantile(off, confidence))
    return centre - half, centre + half


def fate(
    draws: LotDraws,
    accept_lo_mm: float,
    accept_hi_mm: float,
    lsl_mm: float,
    usl_mm: float,
    within_sd_max_mm: float,
    confidence: float = 0.95,
) -> FateEstimate:
    """Chances that a spool not opened is accepted, tuned or rejected by its diameter.

    Its true mean is accepted between the accepted ends, rejected outside the label's, tuned in
    between; where the filament varies more than ``within_sd_max_mm`` (may be infinite) every
    spool is rejected.  Each chance is the average of the draws, its interval holds ``confidence``
    of them.  Raises ValueError for ends that are the wrong way round.

    >>> one = LotDraws(np.array([1.75]), np.array([0.01]), np.array([0.005]))
    >>> found = fate(one, 1.74, 1.76, 1.70, 1.80, 0.0125)
    >>> round(found.accept, 4), round(found.tune, 4), round(found.reject, 4)
    (0.6827, 0.3173, 0.0)
    """
    if not (accept_lo_mm <= accept_hi_mm and lsl_mm <= usl_mm):
        raise ValueError(
            f"accepted from {accept_lo_mm:g} to {accept_hi_mm:g} mm, label from {lsl_mm:g} to "
            f"{usl_mm:g} mm: give the lower end first"
        )
    steady = draws.within_sd_mm <= within_sd_max_mm
    labelled = np.where(steady, _between(draws, lsl_mm, usl_mm), 0.0)
    lo, hi = max(accept_lo_mm, lsl_mm), min(accept_hi_mm, usl_mm)
    accept = np.where(steady, _between(draws, lo, hi), 0.0)
    accept = np.minimum(accept, labelled)  # the last digit
    tune, reject = labelled - accept, 1 - labelled
    return FateEstimate(
        accept=float(accept.mean()),
        accept_ci=_interval(accept, confidence),
        tune=float(tune.mean()),
        tune_ci=_interval(tune, confidence),
        reject=float(reject.mean()),
        reject_ci=_interval(reject, confidence),
    )


def _between(draws: LotDraws, lo_mm: float, hi_mm: float) -> FloatArray:
    """Chance, draw by draw, of a true spool mean from ``lo_mm`` to ``hi_mm``, both included."""
    mu, sd = draws.mu_mm, draws.between_sd_mm
    alike = (mu >= lo_mm) & (mu <= hi_mm)  # spools that do not differ: in or out
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = ndtr((hi_mm - mu) / sd) - ndtr((lo_mm - mu) / sd)
    return np.asarray(np.where(sd > 0, np.maximum(chance, 0.0), alike))
