"""What the step of the display adds to a reading.

A reading is rounded to a multiple of the step q.  Where the true scatter is at least about half
a step, rounding acts like an independent error of variance q**2 / 12 (Sheppard's correction [1]_)
and averages out.  Where it is smaller, readings fall in one or two steps, and the mean keeps an
error that does not average out; its size falls off as exp(-2 pi**2 sigma**2 / q**2), the first
harmonic of the rounding error [2]_:

    u_left = q / sqrt(12) * exp(-2 pi**2 sigma**2 / q**2)

.. [1] Sheppard, Proc. London Math. Soc. 29 (1898) 353; JCGM 100:2008 (GUM), F.2.2.1 for q**2/12.
.. [2] Widrow & Kollar, Quantization Noise (2008), ch. 4: moments of a quantised Gaussian.
"""

import numpy as np
from numpy.typing import ArrayLike

from lotqa.model import FloatArray

INCH_STEPS_MM = (0.0127, 0.00254, 0.00127)  # 0.0005, 0.0001 and 0.00005 inch
# Displays as sold.  A value of an inch display fits no millimetre step down to 0.001, but by
# chance a finer one: the inch steps stand before those.
STEPS_MM = (0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, *INCH_STEPS_MM, 0.0005, 0.0002, 0.0001)


def rounding_variance_mm2(step_mm: float) -> float:
    """Variance of one rounding, q**2 / 12 [1]_."""
    return step_mm**2 / 12


def u_rounding_left_mm(sd_reading_mm: ArrayLike, step_mm: float) -> FloatArray:
    """Standard uncertainty of a mean from rounding that does not average out [2]_.

    ``sd_reading_mm`` is the observed sd of single readings, rounding included.

    >>> [round(float(u), 4) for u in u_rounding_left_mm([0.0, 0.004, 0.01], 0.01)]
    [0.0029, 0.0006, 0.0]
    """
    observed = np.asarray(sd_reading_mm, dtype=np.float64)
    if step_mm <= 0:
        return np.zeros(observed.shape)
    true_variance = np.maximum(observed**2 - rounding_variance_mm2(step_mm), 0.0)
    decay = np.exp(-2 * np.pi**2 * true_variance / step_mm**2)
    return np.asarray(step_mm / np.sqrt(12) * decay)


def step_of(values_mm: ArrayLike) -> float:
    """Largest usual step of which all values are multiples; the finest one if none fits.

    >>> step_of([1.75, 1.74, 1.76]), step_of([0.0690 * 25.4, 0.0685 * 25.4])
    (0.01, 0.0127)
    """
    values = np.asarray(values_mm, dtype=np.float64)
    # A step of 0.05 needs readings that could have shown 0.01; a handful cannot tell.
    for step in STEPS_MM:
        ratio = values / step
        if np.all(np.abs(ratio - np.round(ratio)) < 1e-6):
            return step
    return STEPS_MM[-1]
