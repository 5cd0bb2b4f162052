"""Evidence of a trace: what the sums of its accumulators say, with intervals.

The mean and the spread rest on the rows' worth (batches.py), not on their number; flow, capability
and tolerance interval are those of readings, with that mean and spread.  The offset of the gauge
does not average out: half interval of the mean sqrt((t u_rows)**2 + (z u_offset)**2) [1]_.  Drift
is the least-squares line through the cells, its interval from what long batches deviate from it:
rows that repeat each other do not make a slope certain.  A stated scatter of the gauge is taken out
of the variance, divided by the number of axes; noise not stated stays in, which is on the safe
side.

.. [1] Zou & Donner, Statistics in Medicine 27 (2008) 1693: limits recovered from both parts.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.evidence import capability, flow
from lotqa.evidence.diameter import CONFIDENCE, KNOWN, ONE_SIDED
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.traces.batches import Worth, worth
from lotqa.evidence.traces.settings import TraceSettings
from lotqa.model import FloatArray

SAME_MM2 = 1e-14  # a tenth of a nanometre: one value all along, but for digits
LEAST_EFFECTIVE = 30.0  # below, the 95 % intervals were found to hold 88 to 92 % (simulated)
Z = float(student_quantile(KNOWN, CONFIDENCE))


@dataclass(frozen=True, slots=True)
class Mean:
    """Mean and spread of the trace, of the mean of the axes; infinite where not bounded."""

    mean_mm: float
    mean_lo_mm: float
    mean_hi_mm: float
    u_mean_mm: float  # standard uncertainty, that of the gauge included
    u_rows_mm: float
    sd_mm: float
    sd_lo_mm: float
    sd_hi_mm: float
    s_observed_mm: float  # scatter of the gauge still in it
    tolerance_lo_mm: float  # 95 % of the metres, 95 % sure, were the metres normal
    tolerance_hi_mm: float
    n_effective: float  # independent places that the mean is worth
    df_spread: float  # degrees of freedom that the spread is worth
    settled: bool  # False: too short for its own dependence, or it drifts; intervals are rough


@dataclass(frozen=True, slots=True)
class Drift:
    """Change of the diameter along the trace."""

    slope_mm_per_100m: float
    lo_mm_per_100m: float
    hi_mm_per_100m: float
    first_tenth_mm: float
    last_tenth_mm: float


@dataclass(frozen=True, slots=True)
class TraceOvality:
    """Ovality of the trace; root mean square over the metres."""

    mean_mm: float
    lo_mm: float
    hi_mm: float
    max_mm: float  # largest shown by a row, nothing removed
    noise_mm: float  # root mean square of what is new in every row and was removed
    n_directions: int


@dataclass(frozen=True, slots=True)
class TraceFlow:
    """Flow against the diameter set in the machine."""

    error_pct: float
    error_lo_pct: float
    error_hi_pct: float
    swing_pct: float
    swing_lo_pct: float
    swing_hi_pct: float
    swing_as_read_pct: float  # between the 2.5 % and 97.5 % quantiles, whatever the shape
    multiplier: float
    set_diameter_mm: float  # the diameter to enter instead of the multiplier


@dataclass(frozen=True, slots=True)
class TraceCapability:
    """Indices against the label's tolerance."""

    cp: float
    cp_lo: float
    cp_hi: float
    cpk: float
    cpk_lo: float
    cpk_hi: float


def mean_of(cells: FloatArray, n_rows: int, settings: TraceSettings, n_axes: int) -> Mean:
    """Mean and spread from ``cells`` (SUMS, c) of deviations from nominal."""
    weight, wy, wyy = cells[0], cells[1], cells[2]
    total = float(weight.sum())
    y = float(wy.sum()) / total
    of_mean = worth(wy - y * weight, weight)
    squares = wyy - 2 * y * wy + y**2 * weight
    variance = max(float(squares.sum()) / total, 0.0)
    if variance < SAME_MM2:
        variance, squares = 0.0, np.zeros_like(squares)
        of_mean = Worth(0.0, of_mean.df, settled=of_mean.df > 0)
    mean = settings.nominal_mm + y
    t = float(student_quantile(of_mean.df, CONFIDENCE))
    half = float(np.hypot(t * of_mean.u, Z * settings.u_offset_mm)) if of_mean.df else np.inf
    # The mean was taken from the same rows: E s**2 = variance - V.
    observed = variance + min(of_mean.u**2, variance) if of_mean.df else np.nan
    of_square = worth(squares - variance * weight, weight)
    low, high, upper, df = _variance_limits(observed, variance, of_square)
    noise = settings.scatter_mm**2 / n_axes
    own = max(observed - noise, 0.0)
    sd_upper = np.sqrt(max(upper - noise, 0.0))
    n_effective = _n_effective(variance, of_mean, n_rows)
    least = LEAST_EFFECTIVE if variance > 0 else 0.0
    reach = Z * np.sqrt(1 + 1 / n_effective) * sd_upper + ONE_SIDED * settings.u_offset_mm
    return Mean(
        mean_mm=mean,
        mean_lo_mm=mean - half,
        mean_hi_mm=mean + half,
        u_mean_mm=float(np.hypot(of_mean.u, settings.u_offset_mm)),
        u_rows_mm=of_mean.u,
        sd_mm=float(np.sqrt(own)) if n_rows > 1 else np.nan,
        sd_lo_mm=float(np.sqrt(max(low - noise, 0.0))),
        sd_hi_mm=float(np.sqrt(max(high - noise, 0.0))),
        s_observed_mm=float(np.sqrt(observed)),
        tolerance_lo_mm=float(mean - max(reach, half)),
        tolerance_hi_mm=float(mean + max(reach, half)),
        n_effective=n_effective,
        df_spread=df,
        settled=of_mean.settled and of_square.settled and n_effective >= least,
    )


def _n_effective(variance: float, of_mean: Worth, n_rows: int) -> float:
    if variance == 0.0 or not np.isfinite(of_mean.u):
        return 1.0  # rows that are all one value, or too few, tell one fact
    if of_mean.u == 0.0:
        return float(n_rows)
    return float(np.clip(variance / of_mean.u**2, 1.0, n_rows))


def _variance_limits(
    observed: float, variance: float, of_square: Worth
) -> tuple[float, float, float, float]:
    """(low, high, one-sided upper limit, degrees of freedom) of the variance."""
    if not of_square.df:
        return 0.0, np.inf, np.inf, 0.0
    if variance == 0.0:
        return 0.0, 0.0, 0.0, of_square.df
    relative = of_square.u / variance
    two, one = (
        float(student_quantile(of_square.df, c)) * relative
        for c in (CONFIDENCE, 2 * CONFIDENCE - 1)
    )
    df = 2 / relative**2 if relative > 0 else np.inf
    with np.errstate(over="ignore"):
        low, high, upper = observed * np.exp([-two, two, one])
    return float(low), float(high), float(upper), float(df)


def drift_of(cells: FloatArray, nominal_mm: float) -> Drift:
    """Slope and ends of the trace from ``cells`` (SUMS, c)."""
    weight, wy, _, _, wx = cells
    total = float(weight.sum())
    nan = float("nan")
    x = wx / weight
    along = x - float(wx.sum()) / total
    y = float(wy.sum()) / total
    sxx = float(np.sum(weight * along**2))
    first, last = _tenth(cells), _tenth(cells[:, ::-1])
    ends = (nominal_mm + first, nominal_mm + last)
    if len(x) < 3 or sxx <= 0:
        return Drift(nan, -np.inf, np.inf, *ends)
    slope = float(np.sum(along * (wy - y * weight))) / sxx
    residual = wy - y * weight - slope * along * weight
    # Deviations of long batches from the line, in the place of independent residuals [worth].
    found = worth(residual, weight)
    u = found.u * np.sqrt(total / sxx)
    with np.errstate(invalid="ignore"):
        half = float(student_quantile(found.df - 1.0, CONFIDENCE)) * u
    half = np.inf if np.isnan(half) else half
    return Drift(100 * slope, float(100 * (slope - half)), float(100 * (slope + half)), *ends)


def _tenth(cells: FloatArray) -> float:
    """Mean deviation over the first tenth of the metres; a cell astride counts in part."""
    weight = cells[0]
    wanted = 0.1 * float(weight.sum())
    before = np.cumsum(weight) - weight
    share = np.clip((wanted - before) / weight, 0.0, 1.0)
    return float(np.sum(share * cells[1]) / wanted)


def ovality_of(
    cells: FloatArray, gain: float, noise_mm2: float, largest_mm: float, n_directions: int
) -> TraceOvality:
    """Ovality from the cells' sums of shown**2; NaN where one axis only."""
    if not gain > 0:
        nan = float("nan")
        return TraceOvality(nan, nan, nan, nan, nan, n_directions)
    weight, shown = cells[0], cells[3]
    square = float(shown.sum() / weight.sum())
    found = worth(shown - square * weight, weight)
    half = float(student_quantile(found.df, CONFIDENCE)) * found.u if found.df else np.inf
    low, mean, high = (
        max(v - noise_mm2, 0.0) / gain for v in (square - half, square, square + half)
    )
    return TraceOvality(
        mean_mm=float(np.sqrt(mean)),
        lo_mm=float(np.sqrt(low)),
        hi_mm=float(np.sqrt(high)),
        max_mm=largest_mm,
        noise_mm=float(np.sqrt(noise_mm2)),
        n_directions=n_directions,
    )


def flow_of(mean: Mean, q_low_mm: float, q_high_mm: float, set_mm: float) -> TraceFlow:
    """Flow of the trace; its interval is that of the mean, as for readings."""
    sd = 0.0 if np.isnan(mean.sd_mm) else mean.sd_mm
    error, low, high = (
        float(flow.error_pct(max(m, 0.0), sd, set_mm)) if np.isfinite(m) else float(100 * m)
        for m in (mean.mean_mm, mean.mean_lo_mm, mean.mean_hi_mm)
    )
    swing = [
        float(flow.swing_pct(mean.mean_mm, s, set_mm)) for s in (sd, mean.sd_lo_mm, mean.sd_hi_mm)
    ]
    return TraceFlow(
        error_pct=error,
        error_lo_pct=low,
        error_hi_pct=high,
        swing_pct=swing[0],
        swing_lo_pct=swing[1],
        swing_hi_pct=swing[2],
        swing_as_read_pct=100 * (q_high_mm**2 - q_low_mm**2) / set_mm**2,
        multiplier=float(flow.multiplier(error)),
        set_diameter_mm=float(flow.diameter_to_enter_mm(mean.mean_mm, sd)),
    )


def capability_of(mean: Mean, settings: TraceSettings) -> TraceCapability:
    """Indices against nominal and the label's tolerance."""
    lsl, usl = (settings.nominal_mm + s * settings.tolerance_mm for s in (-1, 1))
    low, high = capability.cpk_interval(
        mean.mean_mm,
        mean.mean_hi_mm - mean.mean_mm,
        mean.sd_mm,
        mean.sd_lo_mm,
        mean.sd_hi_mm,
        lsl,
        usl,
    )
    return TraceCapability(
        cp=float(capability.cp(mean.sd_mm, lsl, usl)),
        cp_lo=float(capability.cp(mean.sd_hi_mm, lsl, usl)),
        cp_hi=float(capability.cp(mean.sd_lo_mm, lsl, usl)),
        cpk=float(capability.cpk(mean.mean_mm, mean.sd_mm, lsl, usl)),
        cpk_lo=float(low),
        cpk_hi=float(high),
    )
