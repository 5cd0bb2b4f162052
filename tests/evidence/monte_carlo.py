"""Propagation of distributions beside the linear propagation of a module (JCGM 101:2008, clause 8).

The draws carry their own tolerance: four standard errors of what they estimate.  Linear
propagation of a power p leaves out a relative second order; for p = -1, the worst one used here,
it is 4 R**2 of the standard uncertainty and z**2 R of it at the ends, R the relative uncertainty
of the result (JCGM 100:2008, note to 5.1.2, worked out for 1 / x and a normal x).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

N_DRAWS = 200_000
SHARE = 0.95
_Z = stats.norm.ppf(0.5 + SHARE / 2)


def normal(
    rng: np.random.Generator, mean: float, u: float, n: int = N_DRAWS
) -> NDArray[np.float64]:
    return mean + u * rng.standard_normal(n)


def within(
    rng: np.random.Generator, mean: float, half: float, n: int = N_DRAWS
) -> NDArray[np.float64]:
    """Rectangular: anything up to ``half`` to either side."""
    return mean + half * rng.uniform(-1, 1, n)


def problems(draws: NDArray[np.float64], value: float, u: float) -> list[str]:
    """What the draws of a nearly normal result say against its value and standard uncertainty."""
    n, sd = len(draws), float(np.std(draws))
    relative = abs(u / value)
    found = []
    slack = 4 / np.sqrt(2 * n) + 4 * relative**2
    if abs(sd / u - 1) > slack:
        found.append(f"u is {u:g}, {sd:g} by draws")
    # Standard error of a quantile: sqrt(p q / n) / density.
    p = (1 - SHARE) / 2
    slack = (4 * np.sqrt(p * (1 - p) / n) / stats.norm.pdf(_Z) + _Z**2 * relative) * u
    for end, drawn in zip((-_Z, _Z), np.quantile(draws, (p, 1 - p)), strict=True):
        if abs(value + end * u - drawn) > slack:
            found.append(f"an end is {value + end * u:g}, {drawn:g} by draws")
    covered = float(np.mean(np.abs(draws - value) <= _Z * u))
    if abs(covered - SHARE) > four_errors(n) + relative**2:
        found.append(f"covers {covered:.4f}")
    return found


def four_errors(n: int, share: float = SHARE) -> float:
    """Four standard errors of a share counted in n draws."""
    return float(4 * np.sqrt(share * (1 - share) / n))
