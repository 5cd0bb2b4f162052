"""Slope and bend of the restricted likelihood, against traces of whole matrices.

Searle, Casella and McCulloch, Variance Components (1992), 6.6: dL/dk = (y'P Vk P y - tr(P Vk)) / 2,
its expected and observed second derivatives by the same matrices (from memory).
"""

import numpy as np
import pytest

from lotqa.evidence.cell_likelihood import Cells, bend, likelihood
from tests.evidence.dense_likelihood import PLACES, alike, dense, nested_data


def cells_of(y, spool, cell):
    """Values summed up by place, without the means of the module under test."""
    groups = [y[cell == c] for c in range(cell[-1] + 1)]
    n = np.array([len(g) for g in groups], dtype=float)
    return Cells(
        group=np.array([spool[cell == c][0] for c in range(len(n))]),
        n=n,
        mean=np.array([g.mean() for g in groups]),
        squares=np.array([np.sum((g - g.mean()) ** 2) for g in groups]),
        known_value=np.full(len(n), 0.2),
        known_mean=0.2 / n,
        slope_value=np.array([np.zeros(len(n)), np.ones(len(n))]),
        slope_mean=np.array([np.ones(len(n)), 1 / n]),
    )


@pytest.mark.parametrize("at", [[0.7, 0.4, 1.1], [0.0, 0.2, 0.5], [3.0, 0.0, 0.8]])
def test_slope_and_bend_are_the_derivatives_of_the_dense_likelihood(at):
    """By traces of whole matrices: dL/dk = -(tr P Vk - y'P Vk P y) / 2 and so on."""
    y, spool, _, cell = nested_data(PLACES["unequal"], 8)
    parts = [alike(spool), alike(cell), np.eye(len(y))]
    V = sum(t * p for t, p in zip(at, parts, strict=True)) + 0.2 * np.eye(len(y))
    inverse = np.linalg.inv(V)
    P = inverse - np.outer(inverse.sum(1), inverse.sum(1)) / inverse.sum()
    slope = [(y @ P @ p @ P @ y - np.trace(P @ p)) / 2 for p in parts]
    expected = [[np.trace(P @ p @ P @ r) / 2 for r in parts] for p in parts]
    observed = [[y @ P @ p @ P @ r @ P @ y for r in parts] for p in parts]
    cells = cells_of(y, spool, cell)
    here = likelihood(cells, np.array(at))
    assert here.value == pytest.approx(dense(y, V)[0], rel=1e-12)
    got = bend(cells, here)
    assert got.slope == pytest.approx(np.array(slope), rel=1e-9, abs=1e-10)
    assert got.expected == pytest.approx(np.array(expected), rel=1e-9)
    assert got.observed == pytest.approx(np.array(observed) - np.array(expected), rel=1e-9)
