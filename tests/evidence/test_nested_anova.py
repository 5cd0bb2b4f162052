"""Nested mean squares and what they are expected to be, in rational arithmetic.

A mean square is y'Ay / df with A a difference of projections; its expectation under
V = spool S + place Q + reading I is tr(AV) / df, whatever the distribution.  Searle, Casella and
McCulloch, Variance Components (1992), appendix S.5 (from memory).
"""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from lotqa.evidence.components import anova_nested

PLACES = {  # readings at each place of each spool
    "equal": [[2, 2], [2, 2], [2, 2]],
    "unequal": [[2, 3], [1, 1, 4], [5], [2, 2, 1]],
    "one pair": [[2, 1], [1]],
}


def labels(places):
    rows = [(s, p) for s, row in enumerate(places) for p, n in enumerate(row) for _ in range(n)]
    return [s for s, _ in rows], [p for _, p in rows], rows


def onto_means(label):
    """The projection that puts the mean of all with the same label in place of each value."""
    return [[Fraction(int(a == b), sum(a == c for c in label)) for b in label] for a in label]


def less(A, B):
    return [[a - b for a, b in zip(x, y, strict=True)] for x, y in zip(A, B, strict=True)]


def squares_of(places):
    """A of spools, of places and of readings, and the freedom of each (the trace of A)."""
    spool, _, cell = labels(places)
    levels = [onto_means([0] * len(spool)), onto_means(spool), onto_means(cell)]
    levels.append(onto_means(list(range(len(spool)))))
    forms = [less(b, a) for a, b in pairwise(levels)]
    return forms, [sum(A[i][i] for i in range(len(spool))) for A in forms]


def quadratic(A, y):
    return sum(a * v * w for row, v in zip(A, y, strict=True) for a, w in zip(row, y, strict=True))


def expectation(A, label):
    """tr(A Z Z'), Z the columns of the label."""
    n = range(len(label))
    return sum(A[i][j] for i in n for j in n if label[i] == label[j])


@pytest.mark.parametrize("places", PLACES.values(), ids=PLACES)
def test_coefficients_are_the_exact_expectations(places):
    spool, place, cell = labels(places)
    (of_spool, of_place, of_reading), df = squares_of(places)
    got = anova_nested(np.arange(len(spool), dtype=float), spool, place)
    k1 = expectation(of_place, cell) / df[1]
    k2, k3 = expectation(of_spool, cell) / df[0], expectation(of_spool, spool) / df[0]
    assert got.df == tuple(df)
    assert got.coefficients == pytest.approx([float(k) for k in (k1, k2, k3)], rel=1e-13)
    # What the layout of the equations rests on: nothing of a higher stage in a lower one.
    assert expectation(of_place, spool) == 0
    assert expectation(of_reading, spool) == expectation(of_reading, cell) == 0


@pytest.mark.parametrize("places", PLACES.values(), ids=PLACES)
@pytest.mark.parametrize("seed", range(3))
def test_mean_squares_and_estimates_solve_the_exact_equations(places, seed):
    spool, place, cell = labels(places)
    forms, df = squares_of(places)
    y = [Fraction(int(v)) for v in np.random.default_rng(seed).integers(-50, 50, len(spool))]
    ms = [quadratic(A, y) / f for A, f in zip(forms, df, strict=True)]
    k1 = expectation(forms[1], cell) / df[1]
    k2, k3 = expectation(forms[0], cell) / df[0], expectation(forms[0], spool) / df[0]
    of_place = (ms[1] - ms[2]) / k1
    of_spool = (ms[0] - ms[2] - k2 * of_place) / k3
    got = anova_nested([float(v) for v in y], spool, place)
    assert got.mean_squares == pytest.approx([float(m) for m in ms], rel=1e-12, abs=1e-12)
    expected = [float(v) for v in (of_spool, of_place, ms[2])]
    assert [got.spool, got.place, got.reading] == pytest.approx(expected, rel=1e-10, abs=1e-9)


def test_estimates_are_right_on_average_whatever_the_distribution():
    """Seeded, 4000 lots of exponential shifts; tolerance four standard errors of the lots."""
    spool, place, cell = labels(PLACES["unequal"])
    index = np.array([sorted(set(cell)).index(c) for c in cell])
    rng = np.random.default_rng(1992)
    found = []
    for _ in range(4000):
        shift = 2.0 * rng.exponential(size=4)[spool] + rng.exponential(size=index[-1] + 1)[index]
        got = anova_nested(shift + 0.5 * rng.exponential(size=len(index)), spool, place)
        found.append((got.spool, got.place, got.reading))
    error = np.std(found, axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(np.mean(found, axis=0) - [4.0, 1.0, 0.25]) < 4 * error)


def test_an_estimate_may_be_negative():
    """Places with means 0 and 0 in two spools: nothing between anywhere but the readings."""
    y = [-1.0, 1.0] * 4
    got = anova_nested(y, [0] * 4 + [1] * 4, [0, 0, 1, 1] * 2)
    assert (got.mean_squares, got.reading) == ((0.0, 0.0, 2.0), 2.0)
    assert (got.place, got.spool) == (-1.0, 0.0)


@pytest.mark.parametrize("seed", range(5))
def test_invariances(seed):
    spool, place, cell = (np.array(x) for x in labels(PLACES["unequal"]))
    rng = np.random.default_rng(seed)
    y = rng.normal(size=len(spool))
    base = anova_nested(y, spool, place)
    order = rng.permutation(len(y))
    across = 10 * cell[:, 0] + cell[:, 1]
    for other, scale in (
        (anova_nested(y[order], 7 - spool[order], place[order].astype(str)), 1.0),
        (anova_nested(y, spool, across), 1.0),
        (anova_nested(1000.0 + 3.0 * y, spool, place), 9.0),
    ):
        got = [other.spool, other.place, other.reading, *other.mean_squares]
        expected = [base.spool, base.place, base.reading, *base.mean_squares]
        assert got == pytest.approx([scale * v for v in expected], rel=1e-9)
        assert (other.df, other.coefficients) == (base.df, pytest.approx(base.coefficients))
