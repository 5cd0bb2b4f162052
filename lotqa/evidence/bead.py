"""The printed line as a stadium: a rectangle between two half circles.

    A = (w - h) h + pi h**2 / 4          w = A / h + h - pi h / 4          dw = dA / h

Geometry, supposing that the layer height stays as set; that squeezed flanks are half circles is
common practice, no source.  A line narrower than high is no stadium.
"""

import numpy as np
from numpy.typing import ArrayLike

from lotqa.model import FloatArray


def bead_area_mm2(line_width_mm: ArrayLike, layer_height_mm: ArrayLike) -> FloatArray:
    """Section of a line.

    >>> round(float(bead_area_mm2(0.45, 0.20)), 4)
    0.0814
    """
    w = np.asarray(line_width_mm, dtype=np.float64)
    h = np.asarray(layer_height_mm, dtype=np.float64)
    return np.asarray((w - h) * h + np.pi * h**2 / 4)


def bead_width_mm(
    line_width_mm: ArrayLike, layer_height_mm: ArrayLike, flow_error_pct: ArrayLike
) -> FloatArray:
    """Width of a line set to ``line_width_mm`` when the flow is off.

    >>> round(float(bead_width_mm(0.45, 0.20, 1.0)), 4)
    0.4541
    """
    area = bead_area_mm2(line_width_mm, layer_height_mm)
    more = area * np.asarray(flow_error_pct) / 100 / np.asarray(layer_height_mm)
    return np.asarray(np.asarray(line_width_mm) + more)
