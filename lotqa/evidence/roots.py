"""Where a rising function passes 0."""

from collections.abc import Callable


def rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Bisection to the last bit; ``function`` rises through 0 between low and high.

    >>> rising_root(lambda x: x**2 - 2, 0.0, 2.0)
    1.414213562373095
    """
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
