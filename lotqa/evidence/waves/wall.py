"""The surface of a wall printed from filament with waves, for a drawing under raking light.

Layer j at the share u along its path meets the filament at s = (j + u) x filament per layer, seen
through the melt zone as a running mean.  With the flow error there the stadium bead has the width

    w = A (1 + error) / h + h - pi h / 4                      A = (w0 - h) h + pi h**2 / 4

Half of the change of width stands out on either side of a single wall.  Geometry; that the melt
zone averages evenly is common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.bead import bead_width_mm
from lotqa.evidence.waves.bands import MELT_M, melt_share
from lotqa.model import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Wall:
    """A wall layer by layer; arrays (layers,) for one spot, (layers, spots) for a face."""

    height_mm: FloatArray  # (layers,) middle of each layer
    flow_error_pct: FloatArray  # against the flow that was asked for
    line_width_mm: FloatArray


def wall_of_waves(
    waves: tuple[tuple[float, float], ...],
    *,
    filament_mm_per_layer: float,
    height_mm: float,
    line_width_mm: float,
    layer_height_mm: float,
    diameter_mm: float,
    set_diameter_mm: float,
    phases_rad: ArrayLike = 0.0,
    multiplier: float = 1.0,
    path_share: ArrayLike = 0.0,
    melt_m: float = MELT_M,
) -> Wall:
    """A wall printed from ``waves`` of (period_m, amplitude_mm) about ``diameter_mm``.

    ``path_share`` is where on the path of a layer one looks, 0 to 1: a number for a spot, an array
    (spots,) for a face.
    """
    layers = np.arange(max(1, int(height_mm / layer_height_mm + 1e-9)))
    share = np.asarray(path_share, dtype=np.float64)
    at = layers.reshape(-1, *([1] * share.ndim)) + share
    position_m = at * filament_mm_per_layer / 1000
    phases = np.broadcast_to(np.asarray(phases_rad, dtype=np.float64), (len(waves),))
    diameter = np.full(position_m.shape, float(diameter_mm))
    for (period_m, amplitude_mm), phase in zip(waves, phases, strict=True):
        left = amplitude_mm * float(melt_share(period_m, melt_m))
        diameter += left * np.sin(2 * np.pi * position_m / period_m + phase)
    return _wall(layers, diameter, line_width_mm, layer_height_mm, set_diameter_mm, multiplier)


def wall_of_trace(
    position_m: ArrayLike,
    diameter_mm: ArrayLike,
    *,
    filament_mm_per_layer: float,
    height_mm: float,
    line_width_mm: float,
    layer_height_mm: float,
    set_diameter_mm: float,
    from_m: float = 0.0,
    multiplier: float = 1.0,
    path_share: ArrayLike = 0.0,
    melt_m: float = MELT_M,
) -> Wall:
    """A wall printed from diameters (n,) as logged at rising ``position_m`` (n,), from ``from_m``.

    As many layers as the log has filament for, at most up to ``height_mm``.
    """
    position = np.asarray(position_m, dtype=np.float64)
    diameter = np.asarray(diameter_mm, dtype=np.float64)
    # Running mean over the melt zone by the integral of the diameter, exact for a broken line.
    pieces = np.diff(position) * (diameter[1:] + diameter[:-1]) / 2
    integral = np.concatenate([[0.0], np.cumsum(pieces)])
    most = (position[-1] - from_m) * 1000 / filament_mm_per_layer
    layers = np.arange(max(1, int(min(height_mm / layer_height_mm, most) + 1e-9)))
    share = np.asarray(path_share, dtype=np.float64)
    at = from_m + (layers.reshape(-1, *([1] * share.ndim)) + share) * filament_mm_per_layer / 1000
    lo = np.clip(at - melt_m / 2, position[0], position[-1])
    hi = np.clip(at + melt_m / 2, position[0], position[-1])
    wide = hi > lo
    mean = (np.interp(hi, position, integral) - np.interp(lo, position, integral)) / np.where(
        wide, hi - lo, 1.0
    )
    seen = np.where(wide, mean, np.interp(at, position, diameter))
    return _wall(layers, seen, line_width_mm, layer_height_mm, set_diameter_mm, multiplier)


def _wall(
    layers: ArrayLike,
    diameter_mm: FloatArray,
    line_width_mm: float,
    layer_height_mm: float,
    set_diameter_mm: float,
    multiplier: float,
) -> Wall:
    flow = multiplier * diameter_mm**2 / set_diameter_mm**2
    return Wall(
        (np.asarray(layers, dtype=np.float64) + 0.5) * layer_height_mm,
        100 * (flow - 1),
        bead_width_mm(line_width_mm, layer_height_mm, 100 * (flow - 1)),
    )
