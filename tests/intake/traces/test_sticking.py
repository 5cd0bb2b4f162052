"""A few looks tell that nothing sticks: held against counting every run."""

from itertools import groupby

import numpy as np
import pytest

from lotqa.intake.traces import sticking
from lotqa.intake.traces.sticking import _may_stick, _run_ahead, _run_behind
from tests.intake.traces.reading import read
from tests.traces import Shape, simulated, table_bytes


def longest_run(values):
    return max(len(list(run)) for _, run in groupby(values.tolist()))


@pytest.mark.parametrize("least_rows", [2, 3, 5, 50])
def test_no_run_is_overlooked(least_rows):
    rng = np.random.default_rng(5)
    n_sure = 0
    for _ in range(2000):
        n = int(rng.integers(1, 300))
        values = np.repeat(rng.integers(0, 9, n), rng.geometric(rng.uniform(0.02, 1), n))[:n] * 1.0
        if longest_run(values) >= least_rows:
            assert _may_stick(values, least_rows)
        else:
            n_sure += not _may_stick(values, least_rows)
    assert least_rows < 5 or n_sure > 100  # it does tell


def test_runs_at_the_ends_are_counted_to_the_row():
    rng = np.random.default_rng(6)
    for _ in range(500):
        head, middle, tail = rng.integers(0, 700, 3)
        values = np.concatenate([np.zeros(head), np.ones(middle), np.full(tail, 2.0)])
        if not len(values):
            continue
        runs = [len(list(run)) for _, run in groupby(values.tolist())]
        assert (_run_ahead(values), _run_behind(values)) == (runs[0], runs[-1])


@pytest.mark.parametrize("block_bytes", [997, 5_003, 1 << 20])
def test_the_quick_look_changes_nothing(block_bytes, tmp_path, monkeypatch):
    monkeypatch.setattr("lotqa.intake.traces.blocks.BLOCK_BYTES", block_bytes)
    trace = simulated(9000, Shape(sd_mm=0.02, axis_angles_deg=(0.0, 90.0)))
    for k, n in enumerate(range(40, 160, 4)):
        trace.diameter_mm[k * 300 : k * 300 + n, k % 2] = 1.7
    quick = read(table_bytes(trace), tmp_path)
    monkeypatch.setattr(sticking, "_may_stick", lambda *_: True)
    whole = read(table_bytes(trace), tmp_path)
    assert quick.told == whole.told
    assert 0 < sum("sticks" in line for line in quick.told) < 30
    np.testing.assert_array_equal(quick.length_m, whole.length_m)
    np.testing.assert_array_equal(quick.diameter_mm, whole.diameter_mm)
