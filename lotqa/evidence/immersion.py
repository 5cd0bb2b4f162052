"""Density of a piece weighed in air and hung in water.

    rho = m_air (rho_w - rho_a) / (m_air - m_water) + rho_a                       [1]_ [2]_
    u**2 = (rho m_water / (m_air D) u_air)**2 + (rho / D u_water)**2 + (rho / rho_w u_rho_w)**2
    rho_w = a5 (1 - (t + a1)**2 (t + a2) / (a3 (t + a4))),  0 to 40 C             [3]_

D = m_air - m_water.  rho_a, the buoyancy in air, is left out by default: a piece of 1.24 then reads
0.0003 high, with air of 0.0012 g/cm3.  A piece that floats is held down by a sinker whose own
weight in water is subtracted: m_water is then below 0.  Bubbles that cling make the piece read
light, 0.1 % for one of 2 mm on 2 m of 1.75 mm: wet it with a drop of detergent and wipe them off.
Voids inside count as part of the piece: the value is that of the filament, not of its plastic.

.. [1] ISO 1183-1:2019, method A, 5.1 (clause from memory); u by JCGM 100:2008 (GUM), 5.1.2.
.. [2] Air buoyancy as in the manuals of density sets for balances.
.. [3] M. Tanaka et al., Metrologia 38 (2001) 301, eq. (1): air-free water of mean ocean isotopes at
   101 325 Pa.  Tap water differs by some 0.01 to 0.05 % (common practice, no source).
"""

import numpy as np
from numpy.typing import ArrayLike

from lotqa.errors import UnusableInput
from lotqa.model import FloatArray

_A1, _A2, _A3, _A4, _A5 = -3.983035, 301.797, 522528.9, 69.34881, 0.999974950  # [3]_, g/cm3
LOWEST_C, HIGHEST_C = 0.0, 40.0  # where the formula holds [3]_
TAP_WATER_SHARE = 3e-4  # standard uncertainty of its density, relative [3]_
U_TEMPERATURE_C = 1.0  # of a kitchen thermometer; common practice, no source


def water_density_g_cm3(temperature_c: ArrayLike) -> FloatArray:
    """Density of water; NaN outside 0 to 40 C, where the formula was not fitted.

    >>> [round(float(v), 5) for v in water_density_g_cm3([4.0, 20.0, 25.0])]
    [0.99997, 0.99821, 0.99705]
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    density = _A5 * (1 - (t + _A1) ** 2 * (t + _A2) / (_A3 * (t + _A4)))
    return np.where((t >= LOWEST_C) & (t <= HIGHEST_C), density, np.nan)


def density_from_immersion_g_cm3(
    in_air_g: ArrayLike,
    in_water_g: ArrayLike,
    liquid_g_cm3: ArrayLike,
    air_g_cm3: ArrayLike = 0.0,
) -> FloatArray:
    """Density of a piece from its readings in air and in a liquid of known density [1]_ [2]_.

    >>> float(density_from_immersion_g_cm3(6.0, 1.0, 1.0))
    1.2
    """
    air, reading = np.asarray(air_g_cm3), np.asarray(in_air_g, dtype=np.float64)
    buoyancy_g = reading - np.asarray(in_water_g, dtype=np.float64)
    return np.asarray(reading * (np.asarray(liquid_g_cm3) - air) / buoyancy_g + air)


def u_water_density_g_cm3(
    temperature_c: ArrayLike,
    u_temperature_c: ArrayLike = U_TEMPERATURE_C,
    share: float = TAP_WATER_SHARE,
) -> FloatArray:
    """Standard uncertainty of the water's density: thermometer, and tap water's salts and air."""
    t = np.clip(np.asarray(temperature_c, dtype=np.float64), LOWEST_C, HIGHEST_C)
    half_c = 0.5
    up, down = np.minimum(t + half_c, HIGHEST_C), np.maximum(t - half_c, LOWEST_C)
    slope = (water_density_g_cm3(up) - water_density_g_cm3(down)) / (up - down)
    by_salts = share * water_density_g_cm3(temperature_c)
    return np.asarray(np.hypot(slope * np.asarray(u_temperature_c), by_salts))


def immersion_density(
    in_air_g: float,
    in_water_g: float,
    temperature_c: float,
    u_in_air_g: float,
    u_in_water_g: float,
    u_temperature_c: float = U_TEMPERATURE_C,
    air_g_cm3: float = 0.0,
) -> tuple[float, float]:
    """(density, its standard uncertainty) in g/cm3 of one piece; ``temperature_c`` of the water.

    Raises UnusableInput when the piece is not lighter in water, or the water is not 0 to 40 C.

    >>> density, u = immersion_density(6.0, 1.16, 23.0, 0.006, 0.006)
    >>> round(density, 3), round(u, 4)
    (1.237, 0.0016)
    """
    if not in_air_g > 0 or not in_air_g > in_water_g:
        raise UnusableInput(
            f"a piece of {in_air_g:g} g in air reads {in_water_g:g} g in water: "
            "it must read less in water, weigh it again"
        )
    if not LOWEST_C <= temperature_c <= HIGHEST_C:
        raise UnusableInput(
            f"water of {temperature_c:g} C: its density is known from {LOWEST_C:g} to "
            f"{HIGHEST_C:g} C, write the temperature of the water in degrees Celsius"
        )
    water = float(water_density_g_cm3(temperature_c))
    u_water = float(u_water_density_g_cm3(temperature_c, u_temperature_c))
    density = float(density_from_immersion_g_cm3(in_air_g, in_water_g, water, air_g_cm3))
    buoyancy_g = in_air_g - in_water_g
    relative = np.sqrt(
        (in_water_g / in_air_g * u_in_air_g / buoyancy_g) ** 2
        + (u_in_water_g / buoyancy_g) ** 2
        + (u_water / water) ** 2
    )
    return density, density * float(relative)
