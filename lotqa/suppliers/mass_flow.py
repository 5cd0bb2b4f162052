"""Grams per metre of whole lots, from the lengths that were cut and weighed of their spools.

    mean = mean of the k cuts,   u**2 = u_c**2 + u_s**2 / k                            [1]_
    change % = 100 (mean_b / mean_a - 1)                                               cut_length.py

u_c is what scale and rule add: common to the cuts of a session, so that it does not average out.
u_s is the larger of two: what the metres of one spool differ by among themselves, and the standard
deviation s of the cuts, stretched by Student's factor of so few.  One cut has no s: the spools'
own differences by the calliper stand in, where they are known.
A machine that feeds by length lays down the mass of a metre.  Between lots of one product, material
and colour the density cancels, and no density need be known; a maker who changes the recipe changes
the mass of a metre, too, and only a piece in water tells the two apart.

.. [1] JCGM 100:2008 (GUM), 4.2 and 5.1.2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lotqa.evidence.cut_length import CutLength, mass_flow_change_pct
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.weight import interval
from lotqa.suppliers import words
from lotqa.suppliers.intervals import pair
from lotqa.suppliers.records import LotRecord


@dataclass(frozen=True, slots=True)
class SpoolCut:
    """The weighed lengths of one spool put together, in grams per metre."""

    g_per_m: float
    u_cut: float  # of the weighed metres
    u_spool: float  # if they are to speak for the whole spool


def lot_grams_per_m(
    cuts: Sequence[SpoolCut], between_relative: float = 0.0
) -> tuple[float, float] | None:
    """(mean, standard uncertainty) of a lot's grams per metre; None without a cut.

    ``between_relative``: standard deviation between spools as a share of the mean, for one cut.

    >>> mean, u = lot_grams_per_m([SpoolCut(3.0, 0.003, 0.005)], 0.001)
    >>> mean, round(u, 4)          # 0.003**2 + 0.004**2 + 0.003**2, root
    (3.0, 0.0058)
    """
    if not cuts:
        return None
    values, u_cut, u_spool = (
        np.array([getattr(c, name) for c in cuts]) for name in ("g_per_m", "u_cut", "u_spool")
    )
    n, mean = len(cuts), float(np.mean(values))
    common2 = float(np.mean(u_cut**2))
    along2 = max(float(np.mean(u_spool**2)) - common2, 0.0)
    if n == 1:
        return mean, float(np.sqrt(common2 + along2 + (between_relative * mean) ** 2))
    student = float(student_quantile(n - 1.0) / student_quantile(np.inf))
    scatter2 = float(np.var(values, ddof=1)) * student**2
    return mean, float(np.sqrt(common2 + max(scatter2, along2) / n))


def described(record: LotRecord, earlier: Sequence[LotRecord]) -> dict[str, Any]:
    """Grams per metre of a lot, and the change from the last lot like it that was weighed so."""
    g_per_m, u = record.g_per_m, record.u_g_per_m
    if g_per_m is None or u is None:
        return {"grams_per_m": None, "grams_per_m_ci95": None, "cuts": 0, "mass_flow": None}
    return {
        "grams_per_m": g_per_m,
        "grams_per_m_ci95": pair(*interval(g_per_m, u)),
        "cuts": record.n_cuts,
        "mass_flow": _change(record, earlier),
    }


def _change(record: LotRecord, earlier: Sequence[LotRecord]) -> dict[str, Any] | None:
    before = next(
        (r for r in reversed(earlier) if r.g_per_m is not None and _like(r) == _like(record)), None
    )
    if before is None:
        return None
    found = mass_flow_change_pct(_cut(before), _cut(record))
    row = {
        "against": before.lot,
        "change_pct": found.change_pct,
        "ci95_pct": pair(found.lo_pct, found.hi_pct),
        "changed": found.changed,
    }
    return {**row, "text": words.mass_flow(row)}


def _like(record: LotRecord) -> tuple[str, ...]:
    """Lots of one recipe: by its names."""
    return tuple(words.folded(v) for v in (record.product, record.material, record.colour))


def _cut(record: LotRecord) -> CutLength:
    return CutLength(record.g_per_m or np.nan, record.u_g_per_m or 0.0, None, None)
