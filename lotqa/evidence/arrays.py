"""Shapes of the arrays that the evidence modules share."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike

from lotqa.errors import TooFewReadings
from lotqa.model import FloatArray, IntArray


def as_matrix(x: ArrayLike, *, least: int = 1, what: str = "this statistic") -> FloatArray:
    """Return ``x`` as float64 of shape (k, n); a 1-d ``x`` is one spool.

    Raises TooFewReadings when n is below ``least``.

    >>> as_matrix([1.0, 2.0]).shape
    (1, 2)
    """
    matrix = np.atleast_2d(np.asarray(x, dtype=np.float64))
    n = matrix.shape[-1]
    if n < least:
        raise TooFewReadings(f"{what} needs {least} places, got {n}: measure {least - n} more")
    return matrix


def rows_of_equal_count(owner: IntArray, n_owners: int) -> Iterator[tuple[IntArray, IntArray]]:
    """Group the owners by how many items each has, so that ragged data become dense blocks.

    ``owner`` (N,) must be sorted.  Yields ``(owners (k,), items (k, n))``: item numbers of the
    k owners that have exactly n items each.  Owners without any item are not met.

    >>> [(o.tolist(), i.tolist()) for o, i in rows_of_equal_count(np.array([0, 0, 1, 2, 2]), 3)]
    [([1], [[2]]), ([0, 2], [[0, 1], [3, 4]])]
    """
    counts = np.bincount(owner, minlength=n_owners)
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    for n in np.unique(counts[counts > 0]):
        owners = np.flatnonzero(counts == n)
        yield owners, starts[owners][:, None] + np.arange(n)
