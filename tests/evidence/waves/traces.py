"""Simulated traces for the tests of this folder."""

from itertools import pairwise

import numpy as np
from scipy.signal import lfilter

from lotqa.evidence.waves.spectrum import Spectrum, WaveEvidence
from lotqa.model import TraceChunk

STEP_M = 0.0025


def red_noise(rng, shape, phi, sd_mm):
    """First-order autoregressive noise about 1.75 mm, stationary from its first value."""
    white = rng.normal(0.0, 1.0, shape)
    white[..., 0] /= np.sqrt(1 - phi**2)
    return 1.75 + sd_mm * np.sqrt(1 - phi**2) * lfilter([1.0], [1.0, -phi], white, axis=-1)


def look(length_m, x, *, size=250_000, sections=(), false_alarm=0.01) -> WaveEvidence:
    """Waves of a trace handed over in chunks; ``sections`` are rows before which it restarted."""
    spectrum = Spectrum()
    axes = x[:, None] if x.ndim == 1 else x
    edges = sorted({*range(0, len(x), size), *sections, len(x)})
    for begin, end in pairwise(edges):
        spectrum.add(
            TraceChunk(length_m[begin:end], axes[begin:end], begin, begin in set(sections))
        )
    return spectrum.finish(false_alarm)
