"""Sums over all rows: mean, spread, quantiles, metres outside limits, extremes.  Bounded memory.

Every row counts with the metres it stands for.  Deviations from nominal are summed, so that a large
common part does not eat the digits.  Quantiles come from a histogram of BIN_MM wide bins, centred
on multiples of it: exact for rows in steps of a display, else within half a bin.  Limits of the
label hold for the mean of the axes, those of the feed path for the widest and the narrowest axis.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lotqa.evidence.traces.settings import TraceSettings
from lotqa.model import FloatArray

BIN_MM = 1e-4
BINS_A_MM = round(1 / BIN_MM)
TOP_MM = 6  # no filament is thicker; what is beyond counts in the last bin
SAME_MM = 1e-9  # 1.80 - 1.75 exceeds 0.05 by binary digits only


@dataclass(slots=True)
class Extreme:
    """The largest value of something met so far, and where."""

    value: float = -np.inf
    position_m: float = float("nan")

    def meet(self, values: FloatArray, position_m: FloatArray) -> None:
        """Take over the largest of ``values`` if it is larger; the first of equals stays."""
        at = int(np.argmax(values))
        if values[at] > self.value:
            self.value, self.position_m = float(values[at]), float(position_m[at])


@dataclass(slots=True)
class Totals:
    """Sums of all rows met; ``add`` block by block."""

    settings: TraceSettings
    n_rows: int = 0
    length_m: float = 0.0  # from the first row of each section to its last
    weight_m: float = 0.0
    high: Extreme = field(default_factory=Extreme)
    low: Extreme = field(default_factory=Extreme)  # of the negative
    high_as_read: Extreme = field(default_factory=Extreme)
    low_as_read: Extreme = field(default_factory=Extreme)
    histogram: FloatArray = field(default_factory=lambda: np.zeros(TOP_MM * BINS_A_MM + 1))
    outside_m: FloatArray = field(init=False)  # metres beyond each of ``tolerances_mm``
    thick_m: float = 0.0
    thin_m: float = 0.0
    tolerances_mm: tuple[float, ...] = field(init=False)

    def __post_init__(self) -> None:
        own = {self.settings.tolerance_mm, *self.settings.more_tolerances_mm}
        self.tolerances_mm = tuple(sorted(own))
        self.outside_m = np.zeros(len(self.tolerances_mm))

    def add(
        self,
        position_m: FloatArray,
        weight_m: FloatArray,
        mean_mm: FloatArray,
        widest_mm: FloatArray,
        narrowest_mm: FloatArray,
    ) -> None:
        """Rows (n,), offset removed, spikes replaced; ``mean_mm`` is that of the axes."""
        self.n_rows += len(mean_mm)
        self.weight_m += float(weight_m.sum())
        self._count(mean_mm, weight_m)
        self.high.meet(widest_mm, position_m)
        self.low.meet(-narrowest_mm, position_m)
        off = np.abs(mean_mm - self.settings.nominal_mm)
        furthest = float(off.max())
        for i, tolerance in enumerate(self.tolerances_mm):
            if furthest <= tolerance + SAME_MM:
                break  # they rise
            self.outside_m[i] += float(weight_m[off > tolerance + SAME_MM].sum())
        thick, thin = self.settings.thick_reject_mm, self.settings.thin_reject_mm
        if self.high.value >= thick - SAME_MM:
            self.thick_m += float(weight_m[widest_mm >= thick - SAME_MM].sum())
        if -self.low.value <= thin + SAME_MM:
            self.thin_m += float(weight_m[narrowest_mm <= thin + SAME_MM].sum())

    def _count(self, mean_mm: FloatArray, weight_m: FloatArray) -> None:
        """Into the histogram: of the stretch of bins that the block touches."""
        bins: NDArray[np.int64] = np.rint(mean_mm * BINS_A_MM).astype(np.int64)
        np.clip(bins, 0, len(self.histogram) - 1, out=bins)
        first = int(bins.min())
        counts = np.bincount(bins - first, weight_m)
        self.histogram[first : first + len(counts)] += counts

    def quantiles_mm(self, shares: tuple[float, ...]) -> tuple[float, ...]:
        """Diameters that the given shares of the metres do not exceed."""
        reached = np.cumsum(self.histogram)
        # Half a nanometre of slack: a share met exactly is met in spite of the digits of sums.
        wanted = np.asarray(shares) * reached[-1] * (1 - 1e-12)
        return tuple(float(i) / BINS_A_MM for i in np.searchsorted(reached, wanted))
