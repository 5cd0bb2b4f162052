"""What is left on a spool in the middle of use, from its gross mass.

    net = gross - tare,  L = net / lam,  u_L**2 = (u_net / lam)**2 + (L u_lam / lam)**2   [1]_

The reel's share of u_net does not shrink with the filament: near the end the reel is all of the
uncertainty, and a reel that is only supposed says nothing about the last hundred metres.  lam may
come from a weighed length, which is best, or from density and diameter.

.. [1] JCGM 100:2008 (GUM), 5.1.2, eq. (10); the absolute form holds down to an empty reel.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lotqa.evidence.weight import linear_density_g_per_m


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is left; below 0 when the reel is taken heavier than the whole."""

    net_g: float
    u_net_g: float
    length_m: float | None  # None without grams per metre
    u_length_m: float | None


def linear_density(
    density_g_cm3: float, u_density_g_cm3: float, diameter_mm: float, u_diameter_mm: float
) -> tuple[float, float]:
    """(grams per metre, standard uncertainty) from density and diameter, which counts twice.

    >>> [round(v, 3) for v in linear_density(1.24, 0.0124, 1.75, 0.005)]
    [2.983, 0.034]
    """
    lam = float(linear_density_g_per_m(density_g_cm3, diameter_mm))
    relative = np.hypot(u_density_g_cm3 / density_g_cm3, 2 * u_diameter_mm / diameter_mm)
    return lam, lam * float(relative)


def remaining(
    gross_now_g: float,
    u_gross_g: float,
    tare_g: float,
    u_tare_g: float,
    g_per_m: float | None,
    u_g_per_m: float = 0.0,
) -> Remaining:
    """What is left on the reel, in grams and, where ``g_per_m`` is known, in metres.

    >>> left = remaining(520.0, 0.6, 220.0, 0.8, 3.0, 0.03)
    >>> left.net_g, left.u_net_g, left.length_m, round(left.u_length_m, 2)
    (300.0, 1.0, 100.0, 1.05)
    """
    net = gross_now_g - tare_g
    u_net = float(np.hypot(u_gross_g, u_tare_g))
    if g_per_m is None:
        return Remaining(net, u_net, None, None)
    metres = net / g_per_m
    u_metres = float(np.hypot(u_net, metres * u_g_per_m) / g_per_m)
    return Remaining(net, u_net, metres, u_metres)


def surely_left(left: Remaining, confidence: float = 0.95) -> tuple[float, float | None]:
    """(grams, metres) that are there with ``confidence``; one-sided, never below 0.

    >>> surely_left(Remaining(300.0, 10.0, None, None))[0] == 300 - 10 * float(ndtri(0.95))
    True
    """
    z = float(ndtri(confidence))
    metres = None
    if left.length_m is not None and left.u_length_m is not None:
        metres = max(left.length_m - z * left.u_length_m, 0.0)
    return max(left.net_g - z * left.u_net_g, 0.0), metres
