"""Where along the filament to read, and which spools: drawn, so that no habit decides.

The stretch is cut into n equal parts and one place drawn in each: no part goes unread, and no wave
meets all places at one phase.  Of several such draws the first is taken whose spectral window [1]_
stays below WINDOW_MAX at every length from 5 cm to the stretch; at that bound the readings still
show 60 % of a wave.  From 10 places on over up to 50 m one is found; fewer places, or a longer
stretch, leave some wave badly seen wherever they lie, and the best draw is taken.

.. [1] evidence/window.py, with its sources.  One place drawn in each part: stratified sampling,
   Cochran, Sampling Techniques (1977), 5.1; for means along a line, 8.3.
"""

import numpy as np

from lotqa.evidence.window import largest_window
from lotqa.model import FloatArray

STEP_M = 0.01  # what a tape shows
LEAST_GAP_M = 0.10  # nearer places are awkward to hold and tell the same
LEAST_PART_M = 0.25  # a part must leave the place room to move: LEAST_GAP_M and 15 cm
WINDOW_MAX = 0.80  # below what criteria.toml lets pass, with room for a tape misread
DRAWS = 200  # of 10 places over 25 m two draws in five will do


def most_places(stretch_m: float) -> int:
    """Places that ``stretch_m`` holds.

    >>> most_places(25.0)
    100
    """
    return round(stretch_m / STEP_M) // round(LEAST_PART_M / STEP_M)


def uneven_positions(n: int, stretch_m: float, seed: int) -> FloatArray:
    """Rising positions (n,) in metres, whole centimetres, LEAST_GAP_M apart or more.

    The same seed gives the same list.  Raises ValueError where the stretch does not hold n places.

    >>> uneven_positions(5, 5.0, seed=1).tolist()
    [0.87, 1.72, 2.68, 3.68, 4.3]
    """
    if not 1 <= n <= most_places(stretch_m):
        raise ValueError(
            f"{n} places on {stretch_m:g} m: a stretch holds 1 to {most_places(stretch_m)} of them"
        )
    rng = np.random.default_rng(seed)
    whole_cm = round(stretch_m / STEP_M)
    starts_cm = np.arange(n) * whole_cm // n
    room_cm = whole_cm // n - round(LEAST_GAP_M / STEP_M)
    best, lowest = np.empty(0), np.inf
    for _ in range(DRAWS):
        tried = (starts_cm + rng.integers(0, room_cm + 1, n)) / round(1 / STEP_M)
        window = largest_window(tried) if n > 1 else 0.0
        if window < lowest:
            best, lowest = tried, window
        if lowest <= WINDOW_MAX:
            break
    return best


def drawn_spools(lot_size: int, n: int, seed: int) -> list[int]:
    """Numbers of ``n`` spools of 1 .. ``lot_size``, rising; each set is as likely as any other.

    >>> drawn_spools(3, 3, seed=1)
    [1, 2, 3]
    """
    rng = np.random.default_rng([seed, lot_size])  # not the numbers that moved the places
    return [int(v) for v in np.sort(rng.choice(lot_size, size=n, replace=False) + 1)]
