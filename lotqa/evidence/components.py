"""Variance components by restricted maximum likelihood (REML): how much lies at which stage.

One way, and nested (readings in places in spools):

    y = mean + b(group) + w + e,      w and b with variances ``within`` and ``between``
    y = mean + s(spool) + p(place in spool) + r(reading)

The variance of e is known value by value (0 if nothing is known) and no part of ``within``.
The components are those at which the likelihood of all contrasts free of the mean is highest,
none below 0; for groups of equal size, where analysis of variance (nested_anova.py) gives no
negative estimate, it gives the same [1]_.  The log likelihood carries all its constants; it is
infinite where the values that should tell the last stage are all equal.

Normal values are supposed.  With two or three groups ``between`` is hardly more than a guess;
intervals for it: lot_model.py.

.. [1] Patterson & Thompson, Biometrika 58 (1971) 545; Searle, Casella & McCulloch, Variance
   Components (1992), 3.8 and 6.6 (both from memory).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from lotqa.errors import TooFewReadings
from lotqa.evidence.cell_likelihood import Cells, Point, checked_values, highest, likelihood, summed
from lotqa.evidence.nested_anova import NestedAnova, anova_nested, stages
from lotqa.model import FloatArray, IntArray

__all__ = ["Nested", "NestedAnova", "OneWay", "anova_nested", "reml_nested", "reml_oneway"]
FLOOR = 1e-20  # of the variance of all values: what no likelihood of a component may go below
# The same where known variances differ, of the largest of them: one value known exactly beside
# others would, as ``within`` goes to 0, weigh so much that rounding leaves nothing of the others.
FLOOR_OF_UNLIKE = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class OneWay:
    """Variances of one-way data, the mean with its standard uncertainty, and each group's shift."""

    mean: float
    u_mean: float
    between: float
    within: float
    log_likelihood: float
    shifts: FloatArray  # (a,) best linear prediction of a group less the mean, groups as sorted
    converged: bool


@dataclass(frozen=True, slots=True)
class Nested:
    """Variances of readings in places in spools, and the mean with its standard uncertainty."""

    mean: float
    u_mean: float
    spool: float
    place: float
    reading: float
    log_likelihood: float
    converged: bool


def reml_oneway(values: ArrayLike, group: ArrayLike, known_variance: ArrayLike = 0.0) -> OneWay:
    """REML variances between and within groups of any sizes [1]_.

    ``values`` (N,), ``group`` (N,) labels, ``known_variance`` of each value, (N,) or one for all.
    Raises TooFewReadings below two groups or without a group that has two values; ValueError
    for a value that is not finite or a variance below 0.

    >>> found = reml_oneway([1.0, 3.0, 5.0, 7.0], [0, 0, 1, 1])    # MSB 16, MSW 2
    >>> round(found.between, 6), round(found.within, 6), round(found.mean, 6)
    (7.0, 2.0, 4.0)
    >>> reml_oneway([1.0, 3.0, 1.0, 3.0], [0, 0, 1, 1]).between    # MSB 0 is less than MSW
    0.0
    """
    y, (index,) = checked_values(values, group)
    known = np.broadcast_to(np.asarray(known_variance, dtype=np.float64), y.shape)
    if not np.all((known >= 0) & np.isfinite(known)):
        raise ValueError(
            f"known variances from {known.min():g} to {known.max():g}: give 0 or more, or leave out"
        )
    n_groups = int(index.max(initial=-1)) + 1
    if n_groups < 2 or len(y) == n_groups:
        raise TooFewReadings(
            "components need 2 groups and a group of 2 values, "
            f"got {n_groups} groups and {len(y)} values: measure more"
        )
    centre = float(y[0])  # a large common part must not eat the digits
    y = y - centre
    levels, level = np.unique(known, return_inverse=True)
    _, of_cell, cell = np.unique(
        index * len(levels) + level, return_index=True, return_inverse=True
    )
    n, mean, squares = summed(y, cell, rounding_of=centre)
    if not known.any() and not squares.any():
        return _without_within(centre, mean)
    unit = float(np.var(y, ddof=1)) + float(known.mean())
    cells = Cells(
        group=index[of_cell],
        n=n.astype(np.float64),
        mean=mean / np.sqrt(unit),
        squares=squares / unit,
        known_value=known[of_cell] / unit,
        known_mean=known[of_cell] / unit / n,
        slope_value=np.ones((1, len(n))),
        slope_mean=1.0 / n[None, :],
    )
    floor = FLOOR_OF_UNLIKE * levels[-1] / unit if len(levels) > 1 else FLOOR
    least = np.array([0.0, floor if levels[0] <= floor * unit else 0.0])
    even = len(cells.n) == n_groups and bool((cells.n == cells.n[0]).all())
    top = _even(cells, least) if even and len(levels) == 1 else highest(cells, least)
    between, within = np.where(top.components > least, top.components, 0.0) * unit
    return OneWay(
        mean=centre + top.mean * float(np.sqrt(unit)),
        u_mean=float(np.sqrt(unit / top.information)),
        between=float(between),
        within=float(within),
        log_likelihood=top.value - (len(y) - 1) / 2 * float(np.log(unit)),
        shifts=top.shifts * np.sqrt(unit),
        converged=top.converged,
    )


def _even(cells: Cells, least: FloatArray) -> Point:
    """The top for groups of one size, all values known alike: where it must lie, in closed form.

    Inside, REML is the analysis of variance; where that would go below a bound, the likelihood has
    one top along the bound: it is that of chi-square variables, whose squares are the two sums.
    """
    size, k = float(cells.n[0]), len(cells.n)
    known, rest = float(cells.known_value[0]), float(cells.squares.sum())
    of_groups = size * float(np.var(cells.mean, ddof=1))
    of_rest = rest / (k * (size - 1))
    together = (rest + (k - 1) * of_groups) / (k * size - 1)
    tops = (
        ((of_groups - of_rest) / size, of_rest - known),
        (0.0, together - known),
        ((of_groups - known - least[1]) / size, least[1]),
        tuple(least),
    )
    points = [likelihood(cells, np.maximum(t, least)) for t in tops]
    return replace(max(points, key=lambda at: at.value), converged=True)


def _without_within(centre: float, means: FloatArray) -> OneWay:
    """Equal values within every group: the likelihood has no bound as ``within`` goes to 0."""
    mean, between = float(np.mean(means)), float(np.var(means, ddof=1))
    return OneWay(
        mean=centre + mean,
        u_mean=float(np.sqrt(between / len(means))),
        between=between,
        within=0.0,
        log_likelihood=float(np.inf),
        shifts=means - mean,
        converged=True,
    )


def reml_nested(values: ArrayLike, spool: ArrayLike, place: ArrayLike) -> Nested:
    """REML variances of spools, places within spools and readings within places, any sizes [1]_.

    ``values``, ``spool``, ``place`` (N,); a place is known by its spool and its own label, so that
    places may be numbered within spools or across them.  Raises TooFewReadings below two spools,
    without a spool of two places or a place of two readings; ValueError for a value not finite.

    >>> y = [1.0, 3.0, 5.0, 7.0, 11.0, 13.0, 15.0, 17.0]    # mean squares 200, 16 and 2
    >>> found = reml_nested(y, [0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1, 0, 0, 1, 1])
    >>> round(found.spool, 5), round(found.place, 5), round(found.reading, 5)
    (46.0, 7.0, 2.0)
    """
    y, spool_of, cell = stages(values, spool, place)
    centre = float(y[0])
    y = y - centre
    n, mean, squares = summed(y, cell, rounding_of=centre)
    if not squares.any():
        return _without_reading(centre, mean, spool_of)
    unit = float(np.var(y, ddof=1))
    ones, zeros = np.ones(len(n)), np.zeros(len(n))
    cells = Cells(
        group=spool_of,
        n=n.astype(np.float64),
        mean=mean / np.sqrt(unit),
        squares=squares / unit,
        known_value=zeros,
        known_mean=zeros,
        slope_value=np.array([zeros, ones]),
        slope_mean=np.array([ones, 1.0 / n]),
    )
    top = highest(cells, np.array([0.0, 0.0, FLOOR]))
    of_spool, of_place, of_reading = (float(v) for v in top.components * unit)
    return Nested(
        mean=centre + top.mean * float(np.sqrt(unit)),
        u_mean=float(np.sqrt(unit / top.information)),
        spool=of_spool,
        place=of_place,
        reading=of_reading,
        log_likelihood=top.value - (len(y) - 1) / 2 * float(np.log(unit)),
        converged=top.converged,
    )


def _without_reading(centre: float, means: FloatArray, spool: IntArray) -> Nested:
    """Equal readings at every place: the means of the places tell the other two."""
    found = reml_oneway(means, spool)
    return Nested(
        mean=centre + found.mean,
        u_mean=found.u_mean,
        spool=found.between,
        place=found.within,
        reading=0.0,
        log_likelihood=float(np.inf),
        converged=found.converged,
    )
