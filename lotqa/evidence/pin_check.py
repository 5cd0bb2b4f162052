"""A check with a pin of known size: where the tool stands, whether it moved, what that buys.

    shift = mean(after) - mean(before),  +/- t(n1 + n2 - 2) s sqrt(1/n1 + 1/n2)          [1]_
    u of a mean over n places, m readings each = sqrt(u_offset**2 + u_reading**2 / (n m)) [2]_

with s pooled within both sides, never below one rounding.  Without the pin u_offset is that of the
limit of error, whatever n is.  The filament's own spread comes on top in both cases and is left out
here.  Gauge capability (type 1 study) holds a share K of the band against 6 s [3]_.

.. [1] NIST/SEMATECH e-Handbook 1.3.5.3, two-sample t-test for equal means.
.. [2] JCGM 100:2008 (GUM), 5.1.2, eq. (10).
.. [3] ISO 22514-7:2021, bias and repeatability against a share of the tolerance; K = 20 % of the
   band against 6 s is common practice in engineering.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.gauge import Offset, Scatter, pin_offset, pooled_within, unchecked_offset
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.summary import student_quantile
from lotqa.model import BoolArray

COVERAGE = 2.0  # k of an expanded uncertainty
BAND_SHARE = 0.20  # K of a type 1 study


@dataclass(frozen=True, slots=True)
class PinEvidence:
    """What k readings of a pin say."""

    offset: Offset
    sd_mm: float | None  # pooled within before and within after; None for single readings
    df: int
    shift_ci_mm: tuple[float, float] | None  # None unless read before and after
    mean_with_mm: float  # expanded uncertainty of the mean of the places, pin read
    mean_without_mm: float  # the same with the limit of error only


def pin_evidence(
    reference_mm: ArrayLike,
    reading_mm: ArrayLike,
    after: BoolArray,
    *,
    scatter: Scatter,
    step_mm: float,
    limit_of_error_mm: float,
    n_places: int,
    n_directions: int,
    confidence: float = 0.95,
) -> PinEvidence:
    """Evidence from k readings (k,), ``after`` (k,) marking those taken after the session."""
    error = np.asarray(reading_mm, dtype=np.float64) - np.asarray(reference_mm, dtype=np.float64)
    offset = pin_offset(
        reference_mm,
        reading_mm,
        after,
        scatter_sd_mm=scatter.sd_mm,
        step_mm=step_mm,
        supposed_df=scatter.df if scatter.supposed else None,
    )
    variance, df = pooled_within(error, after.astype(np.int64))
    rounding = rounding_variance_mm2(step_mm)
    ci = None
    if offset.shift_mm is not None:
        s2, nu = max(variance, rounding), float(df)
        if not df:  # one reading a side shows no scatter of its own
            s2, nu = scatter.sd_mm**2 + rounding, scatter.df
        n_after = int(np.count_nonzero(after))
        n_each = 1 / n_after + 1 / (len(error) - n_after)
        half = float(student_quantile(min(nu, 1e9), confidence)) * (s2 * n_each) ** 0.5
        ci = (offset.shift_mm - half, offset.shift_mm + half)
    of_places = (scatter.sd_mm**2 + rounding) / (n_places * n_directions)
    without = unchecked_offset(limit_of_error_mm).u_mm
    return PinEvidence(
        offset=offset,
        sd_mm=variance**0.5 if df else None,
        df=df,
        shift_ci_mm=ci,
        mean_with_mm=COVERAGE * (offset.u_mm**2 + of_places) ** 0.5,
        mean_without_mm=COVERAGE * (without**2 + of_places) ** 0.5,
    )


def gauge_capability(
    offset_mm: float, sd_mm: float, tolerance_mm: float, share: float = BAND_SHARE
) -> tuple[float, float]:
    """(Cg, Cgk) of a type 1 study: ``share`` of the band over 6 s, and with the offset [3]_.

    ``tolerance_mm`` is the half width of the band; infinite where no scatter was seen.

    >>> [round(c, 3) for c in gauge_capability(0.001, 0.002, 0.05)]
    [1.667, 1.5]
    """
    if sd_mm <= 0:
        return float("inf"), float("inf")
    room = share * tolerance_mm  # to each side of the reference
    return room / (3 * sd_mm), (room - abs(offset_mm)) / (3 * sd_mm)
