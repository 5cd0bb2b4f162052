"""What is on the reel: net mass from weighings, and the length and volume it makes.

    net = gross - tare,  u**2 = u_gross**2 + u_tare**2,  u_scale**2 = (a**2 + q**2 / 4) / 3     [1]_
    V = m / rho,  L = V / (pi d**2 / 4),  g per m = rho pi d**2 / 4
    relative u: length**2 = (u_m/m)**2 + (u_rho/rho)**2 + (2 u_d/d)**2

a is the limit of error of the scale, q its step (each weighing rounds by up to q/2).  The limit
of error of one scale is common to gross and tare and taken as independent, which is cautious.
The tolerable negative error is the packer's duty; for a buyer it is a yardstick [2]_.

.. [1] JCGM 100:2008 (GUM), 4.3.7 and 5.1.2.
.. [2] Council Directive 76/211/EEC, Annex I, 2.4 (table); above 10 kg OIML R 87.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lotqa.model import FloatArray

# upper end of nominal g, error as share of nominal, error in g; one of both is 0 [2]_
_NEGATIVE_ERROR = np.array(
    [
        (50.0, 0.09, 0.0),
        (100.0, 0.0, 4.5),
        (200.0, 0.045, 0.0),
        (300.0, 0.0, 9.0),
        (500.0, 0.03, 0.0),
        (1000.0, 0.0, 15.0),
        (10000.0, 0.015, 0.0),
        (15000.0, 0.0, 150.0),
        (np.inf, 0.01, 0.0),
    ]
)


@dataclass(frozen=True, slots=True)
class NetMass:
    """Net mass with standard uncertainty, and the shortfall against the label if it has one."""

    net_g: float
    u_g: float
    shortfall_g: float | None


def tolerable_negative_error_g(nominal_g: ArrayLike) -> FloatArray:
    """Tolerable negative error of a pack [2]_, percentages rounded up to the next 0.1 g.

    >>> [float(v) for v in tolerable_negative_error_g([250.0, 750.0, 1000.0, 1001.0])]
    [9.0, 15.0, 15.0, 15.1]
    """
    nominal = np.asarray(nominal_g, dtype=np.float64)
    row = np.searchsorted(_NEGATIVE_ERROR[:, 0], nominal, side="left")
    share, fixed = _NEGATIVE_ERROR[row, 1], _NEGATIVE_ERROR[row, 2]
    # 0.09 * 50 is 4.5 and a hair: the hair must not round up.
    by_share = np.ceil(np.round(nominal * share * 10, 6)) / 10
    return np.asarray(np.where(share > 0, by_share, fixed))


def u_weighing_g(limit_of_error_g: float, step_g: float) -> float:
    """Standard uncertainty of one weighing: rectangular limit of error and rounding [1]_."""
    return float(np.sqrt((limit_of_error_g**2 + step_g**2 / 4) / 3))


def net_mass(
    gross_g: float, u_gross_g: float, tare_g: float, u_tare_g: float, label_g: float | None
) -> NetMass:
    """Net mass of one spool and its shortfall (positive when short).

    >>> net_mass(1190.0, 0.6, 220.0, 0.8, 1000.0)
    NetMass(net_g=970.0, u_g=1.0, shortfall_g=30.0)
    """
    net = gross_g - tare_g
    return NetMass(
        net_g=net,
        u_g=float(np.hypot(u_gross_g, u_tare_g)),
        shortfall_g=None if label_g is None else label_g - net,
    )


def interval(value: float, u: float, confidence: float = 0.95) -> tuple[float, float]:
    """Normal interval of a value with standard uncertainty u."""
    half = float(ndtri(0.5 + confidence / 2)) * u
    return value - half, value + half


def volume_ml(mass_g: ArrayLike, density_g_cm3: ArrayLike) -> FloatArray:
    """Volume; 1 cm3 is 1 ml.

    >>> round(float(volume_ml(1000.0, 1.24)), 1)
    806.5
    """
    return np.asarray(np.asarray(mass_g, dtype=np.float64) / np.asarray(density_g_cm3))


def linear_density_g_per_m(density_g_cm3: ArrayLike, diameter_mm: ArrayLike) -> FloatArray:
    """Mass of one metre of round filament: mm2 times m is ml.

    >>> round(float(linear_density_g_per_m(1.24, 1.75)), 2)
    2.98
    """
    section_mm2 = np.pi * np.asarray(diameter_mm, dtype=np.float64) ** 2 / 4
    return np.asarray(section_mm2 * np.asarray(density_g_cm3))


def length_m(mass_g: ArrayLike, density_g_cm3: ArrayLike, diameter_mm: ArrayLike) -> FloatArray:
    """Metres of filament in a mass.

    >>> round(float(length_m(1000.0, 1.24, 1.75)))
    335
    """
    return np.asarray(np.asarray(mass_g) / linear_density_g_per_m(density_g_cm3, diameter_mm))


def u_length_relative(
    mass_relative: ArrayLike, density_relative: ArrayLike, diameter_relative: ArrayLike
) -> FloatArray:
    """Relative standard uncertainty of a length [1]_; the diameter counts twice."""
    return np.asarray(
        np.sqrt(
            np.asarray(mass_relative) ** 2
            + np.asarray(density_relative) ** 2
            + (2 * np.asarray(diameter_relative)) ** 2
        )
    )


def apparent_density_g_cm3(
    mass_g: ArrayLike, cut_m: ArrayLike, diameter_mm: ArrayLike
) -> FloatArray:
    """Density from a weighed cut and its mean diameter; below the material's: voids.

    >>> round(float(apparent_density_g_cm3(5.965, 2.0, 1.75)), 3)
    1.24
    """
    section_mm2 = np.pi * np.asarray(diameter_mm, dtype=np.float64) ** 2 / 4
    return np.asarray(np.asarray(mass_g) / np.asarray(cut_m) / section_mm2)
