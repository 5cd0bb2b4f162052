"""Worst stretches against every stretch tried one by one."""

from dataclasses import replace

import numpy as np
import pytest

from tests.evidence.traces.logs import SETTINGS, evidence_of

STEP_M = 0.01
SMALL = replace(SETTINGS, block_rows=300)


def drifting(n, seed):
    rng = np.random.default_rng(seed)
    return 1.75 + np.cumsum(0.001 * rng.standard_normal(n)) + 0.004 * rng.standard_normal(n)


@pytest.mark.parametrize("length_m", [1.0, 10.0])
def test_the_worst_of_all_stretches_is_found_across_borders(length_m):
    d = drifting(5000, 2)
    found = evidence_of(np.arange(5000) * STEP_M, d, SMALL, cut=171)
    told = next(s for s in found.stretches if s.length_m == length_m)
    every = np.lib.stride_tricks.sliding_window_view(d, round(length_m / STEP_M))
    error = 100 * ((every**2).mean(axis=1) / 1.75**2 - 1)
    at = int(np.argmax(np.abs(error)))
    assert told.by_flow.flow_error_pct == pytest.approx(error[at])
    assert told.by_flow.position_m == pytest.approx(at * STEP_M)
    assert told.by_flow.mean_mm == pytest.approx(every[at].mean())
    spread = every.std(axis=1)
    at = int(np.argmax(spread))
    assert told.by_spread.sd_mm == pytest.approx(spread[at])
    assert told.by_spread.position_m == pytest.approx(at * STEP_M)


def test_dense_rows_give_the_worst_stretch_to_a_cell():
    n = 60_000
    d = 1.75 + 0.02 * np.sin(2 * np.pi * np.arange(n) * 0.0002 / 7)
    found = evidence_of(np.arange(n) * 0.0002, d, SMALL).stretches[0]
    every = np.convolve(d**2, np.full(5000, 1 / 5000), mode="valid")
    # Flat at its worst place: half a cell off changes less than a thousandth
    assert abs(found.by_flow.flow_error_pct) == pytest.approx(
        100 * np.abs(every / 1.75**2 - 1).max(), rel=1e-3
    )


def test_a_stretch_never_crosses_the_border_of_a_section():
    x = np.arange(2000) * STEP_M
    d = np.where(x < x[1000], 1.73, 1.77)
    joined = evidence_of(x, d, SMALL).stretches[0]
    apart = evidence_of(x, d, SMALL, sections=(1000,)).stretches[0]
    assert joined.by_spread.sd_mm == pytest.approx(0.02)
    assert apart.by_spread.sd_mm == pytest.approx(0.0, abs=1e-7)


def test_sections_shorter_than_the_stretch_have_none():
    x = np.arange(60) * STEP_M
    found = evidence_of(x, drifting(60, 3), SMALL).stretches[0]
    assert found.by_flow is None
    assert found.by_spread is None
