"""Analysis of variance of readings in equal, fully crossed cells: place x operator x trial.

Sums of squares of a balanced two-way layout with repeats [1]_; with all effects random, places and
operators are tested against the interaction, and the interaction against the repeats [1]_.  With
the interaction pooled into the repeats, both are tested against those.

.. [1] Searle, Casella & McCulloch, Variance Components (1992), 4.3, table 4.9; NIST/SEMATECH
   e-Handbook 7.4.3.7, two-way crossed analysis of variance.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from lotqa.model import FloatArray

PLACE, OPERATOR, INTERACTION, REPEAT = "place", "operator", "operator x place", "repeats"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an analysis of variance; F and p None where nothing is tested."""

    source: str
    df: int
    ss_mm2: float
    ms_mm2: float
    f: float | None = None
    p: float | None = None


def anova(cube: FloatArray) -> tuple[Line, ...]:
    """Lines for places, operators, interaction, repeats; one operator: places and repeats.

    ``cube`` (places, operators, trials), at least two places and two trials.

    >>> [(line.source, line.df, line.ss_mm2) for line in anova(np.array([[[1.0, 3]], [[5, 7]]]))]
    [('place', 1, 16.0), ('repeats', 2, 4.0)]
    """
    p, o, r = cube.shape
    centred = cube - np.mean(cube)  # a large common part must not eat the digits
    centred = centred - np.mean(centred)
    cell = centred.mean(axis=2)
    of_place, of_operator = cell.mean(axis=1), cell.mean(axis=0)
    rest = cell - of_place[:, None] - of_operator[None, :]
    ss = {
        PLACE: (p - 1, o * r * float(np.sum(of_place**2))),
        OPERATOR: (o - 1, p * r * float(np.sum(of_operator**2))),
        INTERACTION: ((p - 1) * (o - 1), r * float(np.sum(rest**2))),
        REPEAT: (p * o * (r - 1), float(np.sum((centred - cell[:, :, None]) ** 2))),
    }
    if o == 1:
        ss = {name: ss[name] for name in (PLACE, REPEAT)}
    return _tested(ss)


def pooled(lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """The same with the interaction counted among the repeats."""
    ss = {line.source: (line.df, line.ss_mm2) for line in lines if line.source != INTERACTION}
    interaction, repeats = lines[2], lines[3]
    ss[REPEAT] = (repeats.df + interaction.df, repeats.ss_mm2 + interaction.ss_mm2)
    return _tested(ss)


def _tested(ss: Mapping[str, tuple[int, float]]) -> tuple[Line, ...]:
    ms = {name: total / df for name, (df, total) in ss.items()}
    against = INTERACTION if INTERACTION in ss else REPEAT
    lines = []
    for name, (df, total) in ss.items():
        below = REPEAT if name == INTERACTION else against
        f = p = None
        if name != REPEAT and ms[below] > 0:
            f = ms[name] / ms[below]
            p = float(fdtrc(df, ss[below][0], f))
        lines.append(Line(name, df, total, ms[name], f, p))
    return tuple(lines)
