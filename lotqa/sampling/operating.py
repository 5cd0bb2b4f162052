"""Operating characteristic of a plan: how often a lot is taken, by the share of bad spools.

Four answers, since 'so many bad' can mean four things:

    in_lot       just so many of the spools of this lot are bad and each bad one that is measured
                 is seen to be: hypergeometric, exact.  A share that is no whole number of spools
                 is that mixture of the two next to it which has the share on average
    process      the maker turns out so many: binomial, a lot without end
    means        the spool means are normal and so many lie beyond one limit of the label; judged
                 together by variables, sd unknown: noncentral t, exact
    procedure    the same lots, judged by all that is measured of them (lot_risk.py)
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.model import FloatArray
from lotqa.sampling.attributes import acceptance_probability, process_probability
from lotqa.sampling.lot_risk import LEAST_SPOOLS, Lots, Procedure, probability_accept_lot
from lotqa.sampling.variables import accept_probability_one_limit


@dataclass(frozen=True, slots=True, eq=False)
class Operating:
    """Chances that a lot is taken; arrays (m,), None where nothing can be said."""

    bad_fraction: FloatArray
    in_lot: FloatArray
    process: FloatArray
    means: FloatArray | None
    procedure: FloatArray


def operating(
    bad_fraction: ArrayLike, lot_size: int, procedure: Procedure, lots: Lots, k: float | None
) -> Operating:
    """The four answers at each share (m,); ``k`` of the plan by variables, None without one."""
    bad = np.asarray(bad_fraction, dtype=np.float64)
    n, c = procedure.n_spools, procedure.rejected_max
    if n == 0:
        ones = np.ones(bad.shape)
        return Operating(bad, ones, ones, None, ones)
    together = k is not None and n >= LEAST_SPOOLS
    return Operating(
        bad_fraction=bad,
        in_lot=in_lot(bad, lot_size, n, c),
        process=process_probability(bad, n, c),
        means=accept_probability_one_limit(bad, n, k) if together and k is not None else None,
        procedure=probability_accept_lot(bad, procedure, lots),
    )


def in_lot(bad_fraction: ArrayLike, lot_size: int, n: int, c: int) -> FloatArray:
    """Chance (m,) of at most ``c`` bad of ``n`` when the lot has just this share of bad spools.

    >>> in_lot([0.1, 0.05], 10, 3, 0).round(6).tolist()    # one of ten; one of ten or none
    [0.7, 0.85]
    """
    wanted = np.asarray(bad_fraction, dtype=np.float64) * lot_size
    # A share typed in decimals may miss its whole number by the last digit.
    wanted = np.where(np.abs(wanted - np.round(wanted)) < 1e-9, np.round(wanted), wanted)
    below = np.floor(wanted)
    above = np.minimum(below + 1, lot_size)
    share = wanted - below
    fewer, more = (
        acceptance_probability(d.astype(np.int64), lot_size, n, c) for d in (below, above)
    )
    return np.asarray((1 - share) * fewer + share * more)
