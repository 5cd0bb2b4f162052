"""Spools with known truth, measured as a person would measure them; k spools at once.

The filament's own mean diameter at x metres from the free end is

    d(x) = mean + drift (x - stretch / 2) + A sin(2 pi x / period + phase) + sd * z(x)

z has mean 0, variance 1 and correlation exp(-|dx| / correlation_m): neighbours are alike over
centimetres only.  The section is an ellipse [1]_ whose long axis lies anywhere at each place,
since the filament turns freely.  A reading is the width in one direction plus the tool's offset
plus the scatter of the hand, rounded to the display's step; a weighing likewise.  The width
averaged over all directions exceeds d by o**2 / (16 d), 0.1 um at an ovality o of 0.05 mm.

Sizes to use (common practice, no source): sd 0.002 to 0.006 mm for good 1.75 mm stock, 0.013 to
0.017 mm for banded stock, waves of 10 to 36 cm, scatter of a calliper reading 0.008 mm.

.. [1] Support function of an ellipse with semi-axes a, b: h(t)**2 = (a cos t)**2 + (b sin t)**2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
PerSpool = float | FloatArray  # one number for all spools, or an array (k,)

STRETCH_M = 25.0  # what a person unrolls at most before the spool is used


@dataclass(frozen=True, slots=True, eq=False)
class Filament:
    """The true shape; any field may be an array (k,) when the spools differ."""

    mean_mm: PerSpool = 1.75  # over the stretch
    sd_mm: PerSpool = 0.005  # the irregular part only; see true_sd_mm
    ovality_mm: PerSpool = 0.0  # d_max - d_min
    drift_mm_per_m: PerSpool = 0.0
    wave_period_m: PerSpool = 0.12
    wave_amplitude_mm: PerSpool = 0.0
    correlation_m: PerSpool = 0.03


@dataclass(frozen=True, slots=True)
class Tool:
    """A calliper by default: what it and the hand add to the true width."""

    scatter_sd_mm: float = 0.008
    offset_mm: float = 0.0
    step_mm: float = 0.01  # 0: nothing is rounded


@dataclass(frozen=True, slots=True, eq=False)
class Lumps:
    """Places where the filament is suddenly thicker; a height of 0 spares a spool."""

    n_places: int = 1  # per spool, drawn without replacement
    height_mm: PerSpool = 0.17


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of 1 g step by default."""

    step_g: float = 1.0
    offset_g: float = 0.0
    scatter_sd_g: float = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Truth and readings of k spools at n places in m directions."""

    position_m: FloatArray  # (k, n)
    direction_deg: FloatArray  # (m,)
    place_mm: FloatArray  # (k, n) the filament's own mean diameter, lumps included
    long_axis_deg: FloatArray  # (k, n) in 0..180
    width_mm: FloatArray  # (k, n, m) true width in each direction
    diameter_mm: FloatArray  # (k, n, m) as read
    lump: BoolArray  # (k, n)


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Truth and weighings of k spools, in grams; arrays (k,)."""

    net_g: FloatArray
    reel_g: FloatArray
    gross_read_g: FloatArray
    tare_read_g: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Dried:
    """Weighings of k spools with reel at h moments in the dryer."""

    hours: FloatArray  # (h,)
    true_g: FloatArray  # (k, h)
    read_g: FloatArray  # (k, h)


def rounded(value: FloatArray, step: float) -> FloatArray:
    """To the nearest multiple of a display's step; 0 leaves the value alone.

    >>> [round(float(v), 2) for v in rounded(np.array([1.7549, 1.7551]), 0.01)]
    [1.75, 1.76]
    """
    return value if step == 0 else np.round(value / step) * step


def true_sd_mm(filament: Filament, stretch_m: float = STRETCH_M) -> FloatArray:
    """Sd along the stretch of the filament's own diameter: irregular part, wave and drift.

    >>> round(float(true_sd_mm(Filament(sd_mm=0.003, wave_amplitude_mm=0.004 * 2**0.5))), 6)
    0.005
    """
    drift_variance = (np.asarray(filament.drift_mm_per_m) * stretch_m) ** 2 / 12
    wave_variance = np.asarray(filament.wave_amplitude_mm) ** 2 / 2
    return np.sqrt(np.asarray(filament.sd_mm) ** 2 + wave_variance + drift_variance)


def uneven_positions_m(
    rng: np.random.Generator,
    n_spools: int,
    n_places: int,
    stretch_m: float = STRETCH_M,
    step_m: float = 0.01,
) -> FloatArray:
    """Rising positions (k, n): one drawn evenly in each n-th of the stretch, read to ``step_m``."""
    share = (np.arange(n_places) + rng.uniform(size=(n_spools, n_places))) / n_places
    return rounded(share * stretch_m, step_m)


def irregular_part(
    position_m: FloatArray, correlation_m: PerSpool, rng: np.random.Generator
) -> FloatArray:
    """z(x) of the module text at rising positions (k, n): mean 0, variance 1."""
    z = rng.standard_normal(position_m.shape)
    length_m = np.broadcast_to(np.asarray(correlation_m, dtype=np.float64), position_m.shape[:1])
    rho = np.exp(-np.diff(position_m, axis=1) / length_m[:, np.newaxis])
    for i in range(1, position_m.shape[1]):
        z[:, i] = rho[:, i - 1] * z[:, i - 1] + np.sqrt(1 - rho[:, i - 1] ** 2) * z[:, i]
    return z


def ellipse_width_mm(d_mm: FloatArray, ovality_mm: PerSpool, angle_rad: FloatArray) -> FloatArray:
    """Width of an ellipse seen at an angle from its long axis [1]_; exact at any ovality."""
    half = np.asarray(ovality_mm) / 2
    return np.hypot((d_mm + half) * np.cos(angle_rad), (d_mm - half) * np.sin(angle_rad))


def read(true_mm: FloatArray, tool: Tool, rng: np.random.Generator) -> FloatArray:
    """What the display shows for true widths of any shape (a pin's, too)."""
    scatter = tool.scatter_sd_mm * rng.standard_normal(true_mm.shape)
    return rounded(true_mm + tool.offset_mm + scatter, tool.step_mm)


def measure(
    filament: Filament,
    rng: np.random.Generator,
    *,
    n_spools: int = 1,
    n_places: int = 20,
    directions_deg: Sequence[float] = (0.0, 90.0),
    stretch_m: float = STRETCH_M,
    position_m: FloatArray | None = None,
    tool: Tool = Tool(),
    lumps: Lumps | None = None,
) -> Measured:
    """Measure ``n_spools`` spools at uneven places, or at given rising positions (k, n).

    A direction named twice is the same width read twice.
    """
    if position_m is None:
        position_m = uneven_positions_m(rng, n_spools, n_places, stretch_m)
    shape = position_m.shape

    def column(value: PerSpool) -> FloatArray:
        wide: FloatArray = np.broadcast_to(np.asarray(value, dtype=np.float64), shape[:1])
        return wide[:, np.newaxis]

    phase = rng.uniform(0, 2 * np.pi, (shape[0], 1))
    wave = np.sin(2 * np.pi * position_m / column(filament.wave_period_m) + phase)
    place_mm: FloatArray = (
        column(filament.mean_mm)
        + column(filament.drift_mm_per_m) * (position_m - stretch_m / 2)
        + column(filament.wave_amplitude_mm) * wave
        + column(filament.sd_mm) * irregular_part(position_m, filament.correlation_m, rng)
    )
    lump = np.zeros(shape, dtype=bool)
    if lumps is not None:
        order = np.argsort(rng.uniform(size=shape), axis=1)
        np.put_along_axis(lump, order[:, : lumps.n_places], True, axis=1)
        lump &= column(lumps.height_mm) != 0
        place_mm = place_mm + column(lumps.height_mm) * lump
    long_axis_deg = rng.uniform(0, 180, shape)
    direction = np.asarray(directions_deg, dtype=np.float64)
    angle = np.deg2rad(direction - long_axis_deg[..., np.newaxis])
    ovality_mm = column(filament.ovality_mm)[..., np.newaxis]
    width_mm = ellipse_width_mm(place_mm[..., np.newaxis], ovality_mm, angle)
    return Measured(
        position_m=position_m,
        direction_deg=direction,
        place_mm=place_mm,
        long_axis_deg=long_axis_deg,
        width_mm=width_mm,
        diameter_mm=read(width_mm, tool, rng),
        lump=lump,
    )


def weigh(mass_g: FloatArray, scale: Scale, rng: np.random.Generator) -> FloatArray:
    """What the scale shows for masses of any shape."""
    scatter = scale.scatter_sd_g * rng.standard_normal(mass_g.shape)
    return rounded(mass_g + scale.offset_g + scatter, scale.step_g)


def weigh_spools(
    net_g: FloatArray,
    rng: np.random.Generator,
    *,
    reel_g: float = 220.0,
    reel_sd_g: float = 3.0,
    scale: Scale = Scale(),
) -> Weighed:
    """Gross and empty-reel weighings of spools with known net mass (k,)."""
    reel = reel_g + reel_sd_g * rng.standard_normal(net_g.shape)
    return Weighed(
        net_g=net_g,
        reel_g=reel,
        gross_read_g=weigh(net_g + reel, scale, rng),
        tare_read_g=weigh(reel, scale, rng),
    )


def dry(
    gross_g: FloatArray,
    water_g: FloatArray,
    hours: Sequence[float],
    rng: np.random.Generator,
    *,
    time_constant_h: float = 3.0,
    scale: Scale = Scale(),
) -> Dried:
    """Weigh spools (k,) after some hours in the dryer; the water leaves exponentially."""
    moments = np.asarray(hours, dtype=np.float64)
    gone = 1 - np.exp(-moments / time_constant_h)
    true_g = gross_g[:, np.newaxis] - water_g[:, np.newaxis] * gone
    return Dried(hours=moments, true_g=true_g, read_g=weigh(true_g, scale, rng))


def cut_mass_g(
    mean_square_mm2: FloatArray,
    length_m: float,
    density_g_cm3: float,
    scale: Scale,
    rng: np.random.Generator,
) -> FloatArray:
    """Weigh cuts of a known length whose mean of d**2 is ``mean_square_mm2`` (k,)."""
    return weigh(np.pi / 4 * mean_square_mm2 * length_m * density_g_cm3, scale, rng)
