"""Ovality d_max - d_min of the section, from readings in several directions at one place.

The width of a nearly round oval seen from direction theta is m + a cos(2 theta) + b sin(2 theta)
to first order in the ovality, which is 2 sqrt(a**2 + b**2).  Three or more distinct directions
(mod 180 degrees) give m, a, b at each place by least squares, however uneven they are.  Two
directions a known gap apart show only |d1 - d2|, 2/pi of it on average at 90 degrees; with random
phase the mean square [1]_ is

    E[(d1 - d2)**2] = ovality**2 sin(gap)**2 / 2 + (1/n1 + 1/n2) u**2

and for three or more E[4 (a**2 + b**2)] = ovality**2 + 4 (c_aa + c_bb) u**2, with c the inverse
normal matrix.  Scatter u of one reading is so taken out of the mean square over the places.
Invalid for lobed sections: an odd number of lobes reads round on any two-point tool [2]_, and
for readings always taken along the winding direction (phase not random).

.. [1] JCGM 100:2008 (GUM), 5.1.2, eq. (10): variances of uncorrelated inputs add.
.. [2] ISO 4292:1985, departure from roundness by two- and three-point methods.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from lotqa.errors import TooFewReadings
from lotqa.evidence.arrays import rows_of_equal_count
from lotqa.evidence.summary import student_quantile
from lotqa.model import BoolArray, FloatArray, IntArray

SAME_DIRECTION_DEG = 1e-6  # directions closer than this are one direction read twice


@dataclass(frozen=True, slots=True, eq=False)
class PlaceOvality:
    """What each place shows; arrays (p,).  NaN where one direction only."""

    mean_mm: FloatArray  # of the section: what an even set of directions would read
    mean_noise: FloatArray  # variance of mean_mm in units of u**2
    shown_mm: FloatArray  # ovality, nothing removed
    gain: FloatArray  # mean square shown = gain * ovality**2 + noise * u**2
    noise: FloatArray
    n_directions: IntArray  # distinct mod 180 degrees
    n_readings: IntArray  # with a known direction


@dataclass(frozen=True, slots=True, eq=False)
class Ovality:
    """Ovality of k spools with scatter removed; arrays (k,), NaN where it was not measured."""

    mean_mm: FloatArray  # root mean square over the places, the one that can be unbiased
    lo_mm: FloatArray
    hi_mm: FloatArray
    max_mm: FloatArray  # largest difference shown at a place, nothing removed
    n_places: IntArray
    n_directions: IntArray  # the most that any place has


def place_ovality(place: IntArray, theta_deg: FloatArray, d_mm: FloatArray) -> PlaceOvality:
    """Ovality shown at each place from readings (N,) sorted by ``place`` = 0 .. p - 1.

    A NaN direction is unknown and shows nothing.
    """
    known = np.isfinite(theta_deg)
    n_places = int(place[-1]) + 1 if len(place) else 0
    place, theta, d = place[known], theta_deg[known] % 180.0, d_mm[known]
    # 179.9999999 and 0 are one direction.
    theta = np.where(theta > 180.0 - SAME_DIRECTION_DEG, 0.0, theta)
    by_theta = np.lexsort((theta, place))
    place, theta, d = place[by_theta], theta[by_theta], d[by_theta]
    fresh = np.ones(len(place), dtype=bool)
    fresh[1:] = (np.diff(place) > 0) | (np.diff(theta) > SAME_DIRECTION_DEG)
    n_directions = np.bincount(place[fresh], minlength=n_places)

    mean, mean_noise, shown, gain, noise = (np.full(n_places, np.nan) for _ in range(5))
    n_readings = np.bincount(place, minlength=n_places)
    out = PlaceOvality(mean, mean_noise, shown, gain, noise, n_directions, n_readings)
    pick = n_directions[place] == 2
    if pick.any():
        _two_directions(place[pick], theta[pick], d[pick], fresh[pick], out)
    pick = n_directions[place] >= 3
    if pick.any():
        _least_squares(place[pick], theta[pick], d[pick], out)
    return out


def _two_directions(
    place: IntArray, theta: FloatArray, d: FloatArray, fresh: BoolArray, out: PlaceOvality
) -> None:
    """Fill the places that have two distinct directions, each read once or more."""
    run = np.cumsum(fresh) - 1  # two runs of equal direction a place, in turn
    size = np.bincount(run)
    mean = np.bincount(run, d) / size
    angle = np.deg2rad(theta[fresh])
    where = place[fresh][::2]
    out.mean_mm[where] = (mean[::2] + mean[1::2]) / 2
    out.shown_mm[where] = np.abs(mean[::2] - mean[1::2])
    out.gain[where] = np.sin(angle[1::2] - angle[::2]) ** 2 / 2
    out.noise[where] = 1 / size[::2] + 1 / size[1::2]
    out.mean_noise[where] = out.noise[where] / 4


def _least_squares(place: IntArray, theta: FloatArray, d: FloatArray, out: PlaceOvality) -> None:
    """Fill the places with three distinct directions or more: all normal equations at once."""
    where, index = np.unique(place, return_inverse=True)
    angle = 2 * np.deg2rad(theta)
    basis = (np.ones_like(d), np.cos(angle), np.sin(angle))
    centre = np.bincount(index, d) / np.bincount(index)
    residual = d - centre[index]  # a common diameter must not eat the digits
    normal = np.empty((len(where), 3, 3))
    right = np.empty((len(where), 3, 1))
    for i, first in enumerate(basis):
        right[:, i, 0] = np.bincount(index, first * residual)
        for j, second in enumerate(basis):
            normal[:, i, j] = np.bincount(index, first * second)
    inverse = np.linalg.inv(normal)
    m, a, b = np.moveaxis((inverse @ right)[..., 0], -1, 0)
    out.mean_mm[where] = centre + m
    out.mean_noise[where] = inverse[:, 0, 0]
    out.shown_mm[where] = 2 * np.hypot(a, b)
    out.gain[where] = 1.0
    out.noise[where] = 4 * (inverse[:, 1, 1] + inverse[:, 2, 2])


def from_directions(theta_deg: ArrayLike, d_mm: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """(mean_mm, ovality_mm) of each place from ``d_mm`` (p, m) read at ``theta_deg`` (m,).

    The mean is that of the section; the ovality is as shown, scatter not removed.  Raises
    TooFewReadings when the directions do not show ovality (one only, or 0 and 180).

    >>> m, o = from_directions([0, 60, 120], [[1.80, 1.725, 1.725]])
    >>> round(float(m[0]), 3), round(float(o[0]), 3)
    (1.75, 0.1)
    """
    theta = np.asarray(theta_deg, dtype=np.float64)
    readings = np.atleast_2d(np.asarray(d_mm, dtype=np.float64))
    p, m = readings.shape
    found = place_ovality(np.repeat(np.arange(p), m), np.tile(theta, p), readings.ravel())
    if p and found.n_directions[0] < 2:
        raise TooFewReadings(
            "ovality needs 2 directions that differ, got "
            + ", ".join(f"{t:g}" for t in theta)
            + ": read each place again at 90 degrees"
        )
    return found.mean_mm, found.shown_mm


def spool_ovality(
    shown_mm: ArrayLike,
    gain: ArrayLike,
    noise: ArrayLike,
    u_reading_mm: ArrayLike,
    confidence: float = 0.95,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(ovality, lo, hi) in mm of k spools from what their n places show, all (k, n).

    ``u_reading_mm`` is the scatter and rounding of one reading.  The interval is Student's for
    the mean square over the places, carried over; its lower end is 0 where scatter alone explains
    what was shown.  Few squares that happen to be small happen to be alike, too: the upper end is
    never below the largest ovality whose own spread of squares (random phase, scatter) explains
    what was shown, one-sided.  Unbounded above for one place.
    """
    shown, g, c = (np.atleast_2d(np.asarray(v, dtype=np.float64)) for v in (shown_mm, gain, noise))
    n = shown.shape[-1]
    u2 = np.asarray(u_reading_mm, dtype=np.float64) ** 2
    squares = (shown**2 - c * u2) / g
    square = squares.mean(axis=-1)
    if n > 1:
        se = squares.std(axis=-1, ddof=1) / np.sqrt(n)
        # Readings rounded alike show no scatter in the squares; that of pure scatter (variance of
        # a square: 2 * (noise u**2)**2) is the least that may be supposed.
        least = np.sqrt(2.0 * np.mean((c * u2 / g) ** 2, axis=-1) / n)
        half = student_quantile(n - 1.0, confidence) * np.maximum(se, least)
        score = _score_limit(np.maximum(square, 0.0), g, c * u2, n, confidence)
    else:
        half = np.full(square.shape, np.inf)
        score = half
    return (
        np.sqrt(np.maximum(square, 0.0)),
        np.sqrt(np.maximum(square - half, 0.0)),
        np.sqrt(np.maximum(np.maximum(square, 0.0) + half, score)),
    )


def _score_limit(
    square: FloatArray, gain: FloatArray, noise_mm2: FloatArray, n: int, confidence: float
) -> FloatArray:
    """Largest ovality**2 = h with h - square <= z sqrt(variance(h) / n); ``square`` (k,).

    variance(h) of one place's square, (shown**2 - noise) / gain, random phase: for two directions
    h**2 / 2 + 4 h noise / gain + 2 (noise / gain)**2, for three or more 2 h noise + noise**2.
    """
    two = gain < 1  # three or more directions show the ovality whatever its phase
    v = noise_mm2 / gain
    share = ndtri(confidence) ** 2 / n
    a = share * np.mean(np.where(two, 0.5, 0.0), axis=-1)
    b = share * np.mean(np.where(two, 4.0, 2.0) * v, axis=-1)
    c = share * np.mean(np.where(two, 2.0, 1.0) * v**2, axis=-1)
    # (h - square)**2 = a h**2 + b h + c, solved for its larger root; a < 1 from two places on
    half = square + b / 2
    return np.asarray((half + np.sqrt(half**2 - (1 - a) * (square**2 - c))) / (1 - a))


def ovality_evidence(
    spool_of_place: IntArray,
    n_spools: int,
    places: PlaceOvality,
    u_reading_mm: float,
    u_limits_mm: tuple[float, float] | None = None,
    confidence: float = 0.95,
) -> Ovality:
    """Ovality of every spool; ``spool_of_place`` (p,) is sorted.  NaN where not measured.

    ``u_limits_mm`` is the range of a ``u_reading_mm`` that is supposed: the interval then holds for
    every value in it, from the low end at most scatter to the high end at least.
    """
    mean, lo, hi, largest = (np.full(n_spools, np.nan) for _ in range(4))
    measured = np.flatnonzero(np.isfinite(places.shown_mm))
    owner = spool_of_place[measured]
    n_places = np.bincount(owner, minlength=n_spools)
    for spools, items in rows_of_equal_count(owner, n_spools):
        rows = measured[items]
        shown = (places.shown_mm[rows], places.gain[rows], places.noise[rows])
        mean[spools], lo[spools], hi[spools] = spool_ovality(*shown, u_reading_mm, confidence)
        if u_limits_mm is not None:
            hi[spools] = spool_ovality(*shown, u_limits_mm[0], confidence)[2]
            lo[spools] = spool_ovality(*shown, u_limits_mm[1], confidence)[1]
        largest[spools] = places.shown_mm[rows].max(axis=-1)
    n_directions = np.zeros(n_spools, dtype=np.int64)
    np.maximum.at(n_directions, spool_of_place, places.n_directions)
    return Ovality(mean, lo, hi, largest, n_places, n_directions)
