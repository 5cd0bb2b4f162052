"""A check of the scale with a known mass, and how well one weighing is known with and without it.

    offset = mean(reading - reference), the middle of both means when read before and after
    u_check**2 = s**2 / n + q**2 / 12 + r**2 / 3 + shift**2 / 12                       [1]_
    u_mass**2 = u_check**2 + s**2 + q**2 / 12 + (a |m - R| / R)**2 / 3      near the known mass R
    u_mass**2 = (a**2 + q**2 / 4) / 3                                       elsewhere, unchecked

q is the step, a the limit of error, r the limit of the known mass.  A scale set to zero errs mostly
by its span, so its error at m differs from that at R by a |m - R| / R at most; beyond half of R the
check says nothing.  s is the scatter of one weighing.  Few readings do not show it: then never less
than a quarter of the limit, as weighings of one load may differ by the whole limit [2]_.  With four
degrees of freedom it is their own, stretched so that the normal interval is Student's.

.. [1] JCGM 100:2008 (GUM), 4.3.7 and 5.1.2.
.. [2] OIML R 76-1:2006, 3.6.1, repeatability (from memory).
.. [3] OIML R 111-1:2004, table 1: class M3, 0.5 g in a kilogram (from memory).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.gauge import pooled_within
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.tares import TareRecord, tare_from_record
from lotqa.evidence.weight import u_weighing_g
from lotqa.model import BoolArray, FloatArray

REFERENCE_LIMIT_SHARE = 5e-4  # of a known mass: class M3 [3]_, and a worn one is no better
NEAR_SHARE = 0.5  # of the known mass, to each side; common practice, no source
LIMIT_PER_SCATTER = 4.0  # readings of one load differ by the limit, two scatters to each side
ENOUGH_DF = 4  # five readings on one side: from here they tell their scatter themselves
COVERAGE = 2.0  # k of an expanded uncertainty
_SCALES = (  # step, limit of error, checked; kitchen and parcel scales, common practice, no source
    (1.0, 1.0, False),
    (1.0, 2.0, False),
    (5.0, 5.0, False),
    (1.0, 2.0, True),
)


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """Where the scale stands at one known mass."""

    n_readings: int
    offset_g: float
    u_g: float  # of the offset
    shift_g: float | None  # mean after less mean before; None unless read on both sides
    reference_g: float
    scatter_g: float  # standard deviation of one weighing
    beyond_limit: bool  # surely off by more than the limit of error: scale or mass is not as said


def scale_check(
    reference_g: ArrayLike,
    reading_g: ArrayLike,
    after: BoolArray,
    *,
    step_g: float,
    limit_of_error_g: float,
    reference_limit_share: float = REFERENCE_LIMIT_SHARE,
) -> ScaleCheck:
    """Check from n >= 1 readings (n,) of one known mass, ``after`` (n,) those after the session.

    >>> check = scale_check([1000.0, 1000.0], [1001.0, 1001.0], np.array([False, True]),
    ...                     step_g=1.0, limit_of_error_g=2.0)
    >>> check.offset_g, check.shift_g, round(check.u_g, 2)    # 0.5**2/2 + 1/12 + 0.5**2/3, root
    (1.0, 0.0, 0.54)
    """
    error = np.asarray(reading_g, dtype=np.float64) - np.asarray(reference_g, dtype=np.float64)
    late = np.asarray(after, dtype=np.bool_)
    n = len(error)
    known_g = float(np.mean(np.asarray(reference_g, dtype=np.float64)))
    variance, df = pooled_within(error, late.astype(np.int64))
    scatter = variance**0.5 if df else 0.0
    if df < ENOUGH_DF:
        scatter = max(scatter, limit_of_error_g / LIMIT_PER_SCATTER)
    else:
        scatter *= float(student_quantile(float(df)) / student_quantile(np.inf))
    n_after = int(np.count_nonzero(late))
    shift = None
    offset, share = float(np.mean(error)), 1 / n
    if 0 < n_after < n:
        before_g, after_g = float(np.mean(error[~late])), float(np.mean(error[late]))
        shift = after_g - before_g
        offset, share = (before_g + after_g) / 2, (1 / n_after + 1 / (n - n_after)) / 4
    # A weighing of the session may sit anywhere on the way of the shift.
    u = float(
        np.sqrt(
            scatter**2 * share
            + step_g**2 / 12
            + (reference_limit_share * known_g) ** 2 / 3
            + (shift or 0.0) ** 2 / 12
        )
    )
    beyond = abs(offset) - float(student_quantile(np.inf)) * u > limit_of_error_g
    return ScaleCheck(n, offset, u, shift, known_g, scatter, beyond)


def scale_checks(
    reference_g: ArrayLike,
    reading_g: ArrayLike,
    after: BoolArray,
    *,
    step_g: float,
    limit_of_error_g: float,
) -> tuple[ScaleCheck, ...]:
    """One check per known mass, from readings (n,) of one scale; lightest first."""
    known = np.asarray(reference_g, dtype=np.float64)
    read, late = np.asarray(reading_g, dtype=np.float64), np.asarray(after, dtype=np.bool_)
    return tuple(
        scale_check(known[at], read[at], late[at], step_g=step_g, limit_of_error_g=limit_of_error_g)
        for at in (known == g for g in np.unique(known))
    )


def nearest_check(checks: Iterable[ScaleCheck], mass_g: float) -> ScaleCheck | None:
    """The check whose known mass is nearest to ``mass_g``; None without any."""
    return min(checks, key=lambda c: abs(mass_g - c.reference_g), default=None)


def speaks_for(check: ScaleCheck | None, mass_g: float) -> bool:
    """Whether the known mass is close enough to ``mass_g`` to say how the scale errs there."""
    return check is not None and abs(mass_g - check.reference_g) <= NEAR_SHARE * check.reference_g


def corrected_g(check: ScaleCheck | None, mass_g: float) -> float:
    """The reading without the offset found at the known mass, where that is near.

    >>> check = ScaleCheck(2, 1.5, 0.5, 0.0, 1000.0, 0.5, False)
    >>> corrected_g(check, 1200.0), corrected_g(check, 220.0)
    (1198.5, 220.0)
    """
    return mass_g - check.offset_g if check is not None and speaks_for(check, mass_g) else mass_g


def u_mass_g(
    step_g: float, limit_of_error_g: float, check: ScaleCheck | None, mass_g: float
) -> float:
    """Standard uncertainty of one weighing near ``mass_g``, as corrected by ``corrected_g``.

    >>> round(u_mass_g(1.0, 2.0, None, 1000.0), 2)
    1.19
    >>> round(u_mass_g(1.0, 2.0, ScaleCheck(2, 1.0, 0.5, 0.0, 1000.0, 0.5, False), 1000.0), 2)
    0.76
    """
    if check is None:
        return u_weighing_g(limit_of_error_g, step_g)
    # A scale caught outside its limit is held to that limit nowhere.
    limit_g = max(limit_of_error_g, abs(check.offset_g))
    if not speaks_for(check, mass_g):
        return u_weighing_g(limit_g, step_g)
    away_g = limit_g * abs(mass_g - check.reference_g) / check.reference_g
    return float(np.sqrt(check.u_g**2 + check.scatter_g**2 + step_g**2 / 12 + away_g**2 / 3))


@dataclass(frozen=True, slots=True, eq=False)
class NetMassTable:
    """How well a net mass is known, by the scale and by what is known of the reel."""

    scales: tuple[str, ...]
    reels: tuple[str, ...]
    expanded_g: FloatArray  # (scales, reels), k = 2


def net_mass_table(
    *,
    like_sd_g: float,
    default_half_width_g: float,
    material_half_width_g: Mapping[str, float],
    known_sd_g: Sequence[float] = (3.0, 5.0, 8.0),
    n_reels: int = 10,
    gross_g: float = 1220.0,
    tare_g: float = 220.0,
    reference_g: float = 1000.0,
) -> NetMassTable:
    """Expanded uncertainty of the net mass of a kilogram spool.

    ``like_sd_g`` is the supposed scatter when one like reel is known, the half widths those of the
    default tares (by reel material, and broad); ``n_reels`` >= 5 like reels show ``known_sd_g``.

    >>> table = net_mass_table(like_sd_g=8.0, default_half_width_g=70.0, material_half_width_g={})
    >>> table.reels[0], round(float(table.expanded_g[1, 0]), 1)    # 2 sqrt(2) 1.19
    ('this reel weighed empty', 3.4)
    """
    records = {f"{n_reels} like reels, s {s:g} g": (s, n_reels) for s in known_sd_g}
    records["1 like reel"] = (like_sd_g, 1)
    supposed = {f"{m} reel, supposed": half for m, half in material_half_width_g.items()}
    supposed["reel unknown"] = default_half_width_g
    names, rows = [], []
    for step, limit, checked in _SCALES:
        name, check = f"step {step:g} g, off by up to {limit:g} g", None
        if checked:
            name += ", checked with a known mass"
            known = np.full(2, reference_g)
            before_and_after = np.array([False, True])
            check = scale_check(known, known, before_and_after, step_g=step, limit_of_error_g=limit)
        u_gross, u_empty = (u_mass_g(step, limit, check, g) for g in (gross_g, tare_g))
        u_reels = [u_empty]
        for sd, n in records.values():
            record = TareRecord(mean_g=tare_g, sd_g=sd, n=n, first=None, last=None, kind=None)
            u_reels.append(tare_from_record(record, u_empty, like_sd_g)[1])
        u_reels += [half / 3**0.5 for half in supposed.values()]
        names.append(name)
        rows.append(COVERAGE * np.hypot(u_gross, u_reels))
    reels = ("this reel weighed empty", *records, *supposed)
    return NetMassTable(tuple(names), reels, np.array(rows))
