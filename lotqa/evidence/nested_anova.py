"""Variance components of readings in places in spools by analysis of variance.

With n readings at a place, N of a spool, N_all in all, the mean squares of unequal numbers are
expected to be [1]_

    MS(reading) = reading
    MS(place)   = reading + k1 place,               k1 = (N_all - A) / df(place)
    MS(spool)   = reading + k2 place + k3 spool,    k2 = (A - B) / df(spool),
                                                    k3 = (N_all - C) / df(spool)

with A = sum over spools of sum(n**2) / N, B = sum(n**2) / N_all and C = sum(N**2) / N_all.
Solved for the variances; an estimate may come out negative and is kept so.  Unbiased, whatever
the distribution; REML (components.py) is the better one for very unequal numbers.

.. [1] Searle, Casella & McCulloch, Variance Components (1992), appendix F.2, two-way nested
   classification (from memory; the coefficients are checked against exact expectations).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.errors import TooFewReadings
from lotqa.evidence.cell_likelihood import checked_values, summed
from lotqa.model import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class NestedAnova:
    """Variances, each of which may be negative, and what they were solved from."""

    spool: float
    place: float
    reading: float
    df: tuple[int, int, int]  # of spool, place, reading
    mean_squares: tuple[float, float, float]
    coefficients: tuple[float, float, float]  # k1, k2, k3


def anova_nested(values: ArrayLike, spool: ArrayLike, place: ArrayLike) -> NestedAnova:
    """Variances of spools, places and readings from their mean squares [1]_; any numbers.

    ``values``, ``spool``, ``place`` (N,); a place is known by its spool and its own label.
    Raises TooFewReadings below two spools, without a spool of two places or a place of two
    readings; ValueError for a value that is not finite.

    >>> y = [1.0, 3.0, 5.0, 7.0, 11.0, 13.0, 15.0, 17.0]
    >>> found = anova_nested(y, [0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1, 0, 0, 1, 1])
    >>> found.mean_squares, found.coefficients, (found.spool, found.place, found.reading)
    ((200.0, 16.0, 2.0), (2.0, 2.0, 4.0), (46.0, 7.0, 2.0))
    """
    y, spool_of, cell = stages(values, spool, place)
    n, means, squares = summed(y - y[0], cell, rounding_of=float(y[0]))
    N = np.bincount(spool_of, n)
    of_spool = np.bincount(spool_of, n * means) / N
    n_all, n_cells, n_spools = len(y), len(n), len(N)
    df = (n_spools - 1, n_cells - n_spools, n_all - n_cells)
    grand = float(np.sum(N * of_spool)) / n_all
    ms = (
        float(np.sum(N * (of_spool - grand) ** 2)) / df[0],
        float(np.sum(n * (means - of_spool[spool_of]) ** 2)) / df[1],
        float(np.sum(squares)) / df[2],
    )
    A = float(np.sum(np.bincount(spool_of, n.astype(np.float64) ** 2) / N))
    B, C = float(np.sum(n.astype(np.float64) ** 2)) / n_all, float(np.sum(N**2)) / n_all
    k1, k2, k3 = (n_all - A) / df[1], (A - B) / df[0], (n_all - C) / df[0]
    of_place = (ms[1] - ms[2]) / k1
    return NestedAnova(
        spool=(ms[0] - ms[2] - k2 * of_place) / k3,
        place=of_place,
        reading=ms[2],
        df=df,
        mean_squares=ms,
        coefficients=(k1, k2, k3),
    )


def stages(
    values: ArrayLike, spool: ArrayLike, place: ArrayLike
) -> tuple[FloatArray, IntArray, IntArray]:
    """Values (N,), the spool of each place (c,), and the place of each value (N,).

    Raises TooFewReadings, naming what is missing, where a stage cannot be told from the next.

    >>> [x.tolist() for x in stages([1.0, 2.0, 3.0, 4.0], [0, 0, 0, 1], [1, 1, 2, 1])]
    [[1.0, 2.0, 3.0, 4.0], [0, 0, 1], [0, 0, 1, 2]]
    """
    y, (spools, places) = checked_values(values, spool, place)
    pairs = spools * (int(places.max(initial=0)) + 1) + places
    _, first, cell = np.unique(pairs, return_index=True, return_inverse=True)
    spool_of = spools[first]
    missing = []
    if len(np.unique(spools)) < 2:
        missing.append("2 spools")
    if np.bincount(spool_of).max(initial=0) < 2:
        missing.append("a spool with 2 places")
    if np.bincount(cell).max(initial=0) < 2:
        missing.append("a place with 2 readings")
    if missing:
        raise TooFewReadings(
            f"components of spool, place and reading need {' and '.join(missing)}, "
            f"got {y.size} readings at {first.size} places: measure more"
        )
    return y, spool_of, cell
