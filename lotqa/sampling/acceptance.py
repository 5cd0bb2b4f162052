"""What a sample of spools says about the ones not opened: exact, for small lots.

Of N spools D are bad; a random sample of n holds X bad ones, hypergeometric [1]_.  The upper
limit on D is the largest D for which seeing so few is not rarer than 1 - confidence.

.. [1] ISO 2859-2 (isolated lots) uses the same distribution; scipy.stats.hypergeom as check.
"""

from math import comb

import numpy as np
from scipy.special import bdtr


def probability_accept(
    lot_size: int, n_bad: int, n_sampled: int, acceptance_number: int = 0
) -> float:
    """P(at most ``acceptance_number`` bad spools in the sample) [1]_.

    >>> round(probability_accept(10, 1, 3), 2)
    0.7
    """
    if not 0 <= n_bad <= lot_size or not 0 <= n_sampled <= lot_size:
        raise ValueError(
            f"{n_bad} bad and {n_sampled} sampled of {lot_size}: both lie between 0 and the lot"
        )
    ways = sum(
        comb(n_bad, x) * comb(lot_size - n_bad, n_sampled - x)
        for x in range(min(acceptance_number, n_bad, n_sampled) + 1)
    )
    return ways / comb(lot_size, n_sampled)


def bad_upper_bound(
    lot_size: int, n_sampled: int, n_bad_seen: int, confidence: float = 0.95
) -> int:
    """Largest number of bad spools in the whole lot that the sample does not exclude.

    >>> bad_upper_bound(10, 3, 0, 0.95)
    5
    """
    most = lot_size - (n_sampled - n_bad_seen)  # those seen good are good
    for n_bad in range(most, n_bad_seen, -1):
        if probability_accept(lot_size, n_bad, n_sampled, n_bad_seen) > 1 - confidence:
            return n_bad
    return n_bad_seen


def binomial_probability_accept(p: float, n: int, c: int) -> float:
    """P(at most c bad of n) when each is bad with probability p: a lot without end.

    >>> round(binomial_probability_accept(0.1, 2, 0), 2)
    0.81
    """
    return float(bdtr(float(min(c, n)), n, np.float64(p)))
