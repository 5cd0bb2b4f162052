"""What is drawn of a trace: bounded, and no extreme of any row is lost."""

import numpy as np
import pytest

from lotqa.evidence.traces import Envelope

RNG = np.random.default_rng(11)


def filled(position_m, mean_mm, columns=64, pieces=1):
    envelope = Envelope(columns)
    for x, y in zip(np.array_split(position_m, pieces), np.array_split(mean_mm, pieces),
                    strict=True):  # fmt: skip
        if len(x):
            envelope.add(x, y, y + 0.01, y - 0.02)
    return envelope.finish()


@pytest.mark.parametrize("start_m", [0.0, 0.37, 12.3])
@pytest.mark.parametrize("n", [1, 2, 63, 1000, 20_000])
def test_every_column_holds_the_extremes_of_its_rows(start_m, n):
    """Against the plain way: look at the rows of each column one after the other."""
    x = start_m + np.sort(RNG.uniform(0, n / 1000, n))
    y = 1.75 + 0.02 * RNG.standard_normal(n)
    strand = filled(x, y)
    assert 1 <= len(strand) <= 64
    edges = strand.from_m + strand.width_m * np.arange(len(strand) + 1)
    assert edges[0] <= x[0]
    assert x[-1] < edges[-1]
    for i in range(len(strand)):
        mine = y[(x >= edges[i]) & (x < edges[i + 1])]
        if len(mine):
            assert strand.high_mm[i] == mine.max() + 0.01
            assert strand.low_mm[i] == mine.min() - 0.02
            assert strand.mean_mm[i] == pytest.approx(mine.mean(), abs=1e-12)
        else:
            assert np.isnan(strand.high_mm[i])


def test_it_does_not_matter_how_the_rows_come():
    x = np.arange(30_000) / 1000
    y = 1.75 + 0.02 * RNG.standard_normal(30_000)
    whole, cut = filled(x, y), filled(x, y, pieces=97)
    assert (whole.from_m, whole.width_m) == (cut.from_m, cut.width_m)
    np.testing.assert_array_equal(whole.high_mm, cut.high_mm)
    np.testing.assert_array_equal(whole.low_mm, cut.low_mm)


def test_half_of_the_columns_are_in_use_at_least():
    for n in (200, 3_000, 50_000):
        strand = filled(np.arange(n) / 1000, np.full(n, 1.75))
        assert 32 <= len(strand) <= 64


def test_a_gap_stays_empty():
    x = np.concatenate([np.arange(100), 900 + np.arange(100)]) / 1000
    strand = filled(x, np.full(200, 1.75), columns=128)
    inside = (strand.middle_m > 0.11) & (strand.middle_m < 0.89)
    assert inside.sum() > 20
    assert np.isnan(strand.low_mm[inside]).all()
    assert np.isnan(strand.coarser(20).low_mm).sum() > 5


def test_a_coarser_strand_keeps_the_single_lump():
    y = np.full(60_000, 1.75)
    y[31_234] = 1.99
    strand = filled(np.arange(60_000) / 1000, y, columns=2048)
    coarse = strand.coarser(100)
    assert len(coarse) <= 100
    top = int(np.argmax(coarse.high_mm))
    assert coarse.high_mm[top] == pytest.approx(2.0)
    assert abs(coarse.middle_m[top] - 31.234) <= coarse.width_m
    assert strand.coarser(4096) is strand


def test_nothing_added_is_nothing_drawn():
    assert len(Envelope().finish()) == 0
