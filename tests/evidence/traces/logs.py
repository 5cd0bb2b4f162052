"""Small logs for these tests, and the way through the accumulators."""

from itertools import pairwise

import numpy as np

from lotqa.evidence.traces import TraceSettings, TraceStatistics
from lotqa.model import TraceChunk

SETTINGS = TraceSettings(
    nominal_mm=1.75,
    tolerance_mm=0.05,
    set_diameter_mm=1.75,
    thick_reject_mm=1.90,
    thin_reject_mm=1.60,
)


def evidence_of(length_m, diameter_mm, settings=SETTINGS, sections=(), cut=100_000):
    """Evidence of rows (n,) and (n,) or (n, a); a section starts at each row of ``sections``."""
    d = np.asarray(diameter_mm, dtype=float)
    d = d[:, None] if d.ndim == 1 else d
    x = np.asarray(length_m, dtype=float)
    statistics = TraceStatistics(settings)
    cuts = sorted({0, len(x), *range(0, len(x), cut), *sections})
    for first, last in pairwise(cuts):
        statistics.add(TraceChunk(x[first:last], d[first:last], first, first in sections))
    return statistics.finish()
