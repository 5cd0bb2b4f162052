"""What a sample of spools says about the ones not opened: exact, for small lots.

Of N spools D are bad; a random sample of n holds X bad ones, hypergeometric [1]_.  The upper
limit on D is the largest D for which seeing so few is not rarer than 1 - confidence.

.. [1] ISO 2859-2 (isolated lots) uses the same distribution; scipy.stats.hypergeom as check.
"""

from lotqa.sampling.attributes import acceptance_probability


def bad_upper_bound(
    lot_size: int, n_sampled: int, n_bad_seen: int, confidence: float = 0.95
) -> int:
    """Largest number of bad spools in the whole lot that the sample does not exclude.

    >>> bad_upper_bound(10, 3, 0, 0.95)
    5
    """
    most = lot_size - (n_sampled - n_bad_seen)  # those seen good are good
    low, high = n_bad_seen, most  # the more bad ones, the rarer so few are seen: halve
    while low < high:
        middle = (low + high + 1) // 2
        chance = acceptance_probability(middle, lot_size, n_sampled, n_bad_seen)
        low, high = (middle, high) if float(chance) > 1 - confidence else (low, middle - 1)
    return low
