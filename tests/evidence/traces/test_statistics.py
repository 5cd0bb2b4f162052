"""Statistics of a trace against numpy on the whole column, and against geometry."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from lotqa.errors import TooFewReadings
from lotqa.evidence.traces import TraceStatistics
from lotqa.model import TraceChunk
from tests.evidence.traces.logs import SETTINGS, evidence_of
from tests.traces import Shape, chunks, simulated

SMALL = replace(SETTINGS, block_rows=1000)  # many borders in a short trace
TWO_AXES = Shape(
    sd_mm=0.01,
    waves=((0.2, 0.01),),
    ovality_mm=0.03,
    axis_angles_deg=(0.0, 90.0),
    noise_sd_mm=0.001,
    lumps=((3.0, 10.0, 0.15), (7.0, 10.0, -0.12)),
    splices=((9.0, 0.06),),
)


def a_trace(n=12_000, shape=TWO_AXES, step_mm=1.0, seed=4):
    trace = simulated(n, shape, step_mm=step_mm, seed=seed)
    return trace.length_m, trace.diameter_mm


def test_plain_statistics_are_those_of_the_whole_column():
    x, d = a_trace()
    found = evidence_of(x, d, SMALL)
    mean = d.mean(axis=1)
    assert found.n_rows == len(d)
    assert found.length_m == pytest.approx(x[-1] - x[0])
    assert found.row_spacing_mm == pytest.approx(1.0)
    assert found.diameter.mean_mm == pytest.approx(mean.mean(), abs=1e-12)
    # E s**2 of dependent rows is less than the variance by that of the mean, which is given back.
    given_back = found.diameter.u_rows_mm**2
    assert found.diameter.s_observed_mm**2 == pytest.approx(mean.var() + given_back, rel=1e-9)
    assert (found.low_mm, found.high_mm) == pytest.approx((d.min(), d.max()), abs=1e-12)
    assert found.high_position_m == x[d.max(axis=1).argmax()]
    assert found.low_position_m == x[d.min(axis=1).argmin()]


def test_quantiles_are_exact_for_rows_in_steps_of_the_display():
    x, d = a_trace()
    found = evidence_of(x, d, SMALL)
    shares = (0.025, 0.05, 0.5, 0.95, 0.975)
    expected = np.quantile(d.mean(axis=1), shares, method="inverted_cdf")
    told = (found.q025_mm, found.q05_mm, found.median_mm, found.q95_mm, found.q975_mm)
    assert told == pytest.approx(tuple(expected), abs=1e-9)


def test_metres_outside_are_counted_against_mean_and_axes():
    x, d = a_trace()
    found = evidence_of(x, d, SMALL)
    off = np.abs(d.mean(axis=1) - 1.75)
    assert [o.tolerance_mm for o in found.outside] == [0.02, 0.03, 0.05, 0.10]
    for o in found.outside:
        assert o.outside_pct == pytest.approx(100 * np.mean(off > o.tolerance_mm + 1e-9))
    assert found.outside[0].outside_pct > found.outside[-1].outside_pct > 0
    assert found.thick_pct == pytest.approx(100 * np.mean(d.max(axis=1) >= 1.90 - 1e-9))


def test_a_row_just_on_the_tolerance_is_inside():
    found = evidence_of([0.0, 0.001, 0.002], [1.80, 1.70, 1.75])
    assert [o.outside_pct for o in found.outside if o.tolerance_mm == 0.05] == [0.0]


def test_uneven_steps_count_with_the_metres_they_stand_for():
    rng = np.random.default_rng(8)
    step = rng.uniform(0.0005, 0.02, 2500)
    x = np.cumsum(step)
    d = 1.75 + step + 0.001 * rng.standard_normal(len(x))  # thick where rows stand wide
    found = evidence_of(x, d, SMALL)
    # Another road: at a million even places, the diameter of the row nearest to each.
    places = np.linspace(x[0], x[-1], 1_000_001)
    nearest = np.searchsorted(0.5 * (x[1:] + x[:-1]), places)
    # The outer rows stand for one step, not half of one: 0.02 mm * 20 mm / 25 m
    assert found.diameter.mean_mm == pytest.approx(d[nearest].mean(), abs=4e-5)
    assert abs(d.mean() - d[nearest].mean()) > 4e-5


@pytest.mark.parametrize("cut", [1, 7, 999, 1000, 1001, 5000])
def test_the_cut_into_chunks_changes_nothing_to_the_last_bit(cut):
    x, d = a_trace(6000 if cut > 1 else 2500)
    assert repr(evidence_of(x, d, SMALL, cut=cut)) == repr(evidence_of(x, d, SMALL))


def test_the_cut_changes_nothing_in_uneven_sections_either():
    rng = np.random.default_rng(9)
    x = np.concatenate([np.cumsum(rng.exponential(0.003, 4000)) for _ in range(3)])
    d = 1.75 + 0.01 * rng.standard_normal((len(x), 3))
    told = [repr(evidence_of(x, d, SMALL, sections=(4000, 8000), cut=c)) for c in (331, 12_000)]
    assert told[0] == told[1]


def test_a_block_border_within_a_chunk_changes_no_statistic():
    x, d = a_trace()
    some, other = evidence_of(x, d, SMALL), evidence_of(x, d, replace(SMALL, block_rows=777))
    assert some.diameter.mean_mm == pytest.approx(other.diameter.mean_mm, abs=1e-13)
    assert some.stretches[0].by_spread.sd_mm == pytest.approx(other.stretches[0].by_spread.sd_mm)
    assert some.events == other.events


def test_a_restarted_length_is_laid_behind_what_was_passed():
    x = np.arange(2000) * 0.01
    d = np.where(np.arange(4000) < 2000, 1.74, 1.76)
    found = evidence_of(np.concatenate((x, x)), d, sections=(2000,))
    assert found.n_sections == 2
    assert found.length_m == pytest.approx(2 * x[-1])
    assert found.drift.first_tenth_mm == pytest.approx(1.74)
    assert found.drift.last_tenth_mm == pytest.approx(1.76)
    assert found.n_splices == 0  # neighbours across the border do not touch


def test_offset_of_the_gauge_is_subtracted_and_widens_only_the_mean():
    x, d = a_trace()
    plain = evidence_of(x, d)
    moved = evidence_of(x, d + 0.02, replace(SETTINGS, offset_mm=0.02, u_offset_mm=0.01))
    assert moved.diameter.mean_mm == pytest.approx(plain.diameter.mean_mm)
    assert moved.diameter.sd_hi_mm == pytest.approx(plain.diameter.sd_hi_mm)
    assert moved.diameter.mean_hi_mm - moved.diameter.mean_mm > 1.95 * 0.01
    assert moved.high_mm == pytest.approx(plain.high_mm)


def test_stated_scatter_is_taken_out_of_the_spread():
    rng = np.random.default_rng(5)
    n, own, scatter = 100_000, 0.006, 0.008
    d = 1.75 + own * rng.standard_normal((n, 1)) + scatter * rng.standard_normal((n, 2))
    found = evidence_of(np.arange(n) * 0.01, d, replace(SETTINGS, scatter_mm=scatter))
    # standard error of a variance: v sqrt(2 / n), three of them, over 2 sd
    v = own**2 + scatter**2 / 2
    assert found.diameter.sd_mm == pytest.approx(own, abs=3 * v * np.sqrt(2 / n) / (2 * own))


@pytest.mark.parametrize("angles", [(0.0, 90.0), (0.0, 60.0, 120.0), (10.0, 70.0, 100.0)])
def test_ovality_of_a_turning_ellipse_is_found_through_noise_that_swings_between_axes(angles):
    rng = np.random.default_rng(6)
    n, largest, smallest = 60_000, 1.77, 1.73
    x = np.arange(n) * 0.001
    turn = 2 * np.pi * x / 2.7
    theta = np.deg2rad(angles)[None] - turn[:, None]
    # Width of an ellipse from angle theta: its support function, exact at any ovality.
    width = np.hypot(largest * np.cos(theta), smallest * np.sin(theta))
    swing = 0.004 * rng.standard_normal((n, 1)) * np.array([1, -1, 0.5])[: len(angles)]
    found = evidence_of(x, width + swing, replace(SETTINGS, directions_deg=angles))
    # Noise of the mean square: known to 1 % from 60,000 rows, and 1/32 of it is left in first order
    assert found.ovality.mean_mm == pytest.approx(largest - smallest, rel=0.01)
    assert found.ovality.noise_mm > 0.004
    assert found.ovality.n_directions == len(angles)
    if angles != (10.0, 70.0, 100.0):
        assert found.directions_deg == evidence_of(x[:5], width[:5]).directions_deg


def test_one_axis_shows_no_ovality():
    assert np.isnan(evidence_of([0.0, 0.1, 0.2], [1.7, 1.8, 1.7]).ovality.mean_mm)


def test_drift_is_the_line_of_least_squares():
    x, d = a_trace(4000, Shape(sd_mm=0.004, drift_mm_per_m=0.002))
    found = evidence_of(x, d, SMALL).drift
    slope, _ = np.polyfit(x, d[:, 0], 1)
    assert found.slope_mm_per_100m == pytest.approx(100 * slope, rel=1e-9)
    assert found.lo_mm_per_100m < 0.2 < found.hi_mm_per_100m
    assert found.first_tenth_mm == pytest.approx(d[:400].mean(), abs=1e-12)
    assert found.last_tenth_mm == pytest.approx(d[-400:].mean(), abs=1e-12)


def test_flow_and_indices_agree_with_numbers_worked_by_hand():
    n = 40_000
    d = 1.71 + 0.01 * np.where(np.arange(n) % 2, 1.0, -1.0)
    found = evidence_of(np.arange(n) * 0.01, d)
    # (1.71**2 + 0.01**2) / 1.75**2 = 2.9242 / 3.0625; 0.05 / 0.03; (1.71 - 1.70) / 0.03
    assert found.flow.error_pct == pytest.approx(-4.516, abs=0.001)
    assert found.flow.multiplier == pytest.approx(1.0473, abs=1e-4)
    assert found.capability.cp == pytest.approx(1.667, abs=0.001)
    assert found.capability.cpk == pytest.approx(0.333, abs=0.001)
    # from 1.70 to 1.72: (1.72**2 - 1.70**2) / 1.75**2
    assert found.flow.swing_as_read_pct == pytest.approx(2.233, abs=0.001)


def test_a_constant_trace_is_no_puzzle():
    found = evidence_of(np.arange(5000) * 0.001, np.full(5000, 1.7333))
    assert found.diameter.mean_mm == pytest.approx(1.7333)
    assert (found.diameter.sd_mm, found.diameter.sd_hi_mm) == (0.0, 0.0)
    assert found.diameter.n_effective == 1.0  # one value over and over is one fact
    assert found.events == ()
    assert found.drift.slope_mm_per_100m == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("n", [1, 2, 3, 7, 20])
def test_few_rows_bound_nothing_they_do_not_know(n):
    rng = np.random.default_rng(n)
    d = 1.75 + 0.01 * rng.standard_normal(n)
    found = evidence_of(np.arange(n) * 0.01, d)
    assert found.diameter.mean_mm == pytest.approx(d.mean())
    assert not found.diameter.settled
    if n == 1:
        assert found.diameter.mean_hi_mm == np.inf
        assert found.diameter.sd_hi_mm == np.inf
        assert np.isnan(found.diameter.sd_mm)


def test_rows_logged_at_one_length_still_count():
    found = evidence_of(np.zeros(50), np.linspace(1.70, 1.80, 50))
    assert found.diameter.mean_mm == pytest.approx(1.75)
    assert found.length_m == 0.0


def test_nothing_read_is_told():
    with pytest.raises(TooFewReadings) as caught:
        TraceStatistics(SETTINGS).finish()
    assert str(caught.value) == "a trace needs 1 row, got 0: choose the columns of the log"


def test_directions_must_be_as_many_as_the_axes():
    with pytest.raises(ValueError) as caught:
        evidence_of([0.0], [[1.75, 1.75]], replace(SETTINGS, directions_deg=(0.0,)))
    assert str(caught.value) == "2 axes need 2 directions, got 1: give each one"


def test_memory_does_not_grow_with_the_rows():
    trace = simulated(200_000, TWO_AXES, seed=3)
    parts = list(chunks(trace, 50_000))

    def peak(rounds):
        statistics = TraceStatistics(SETTINGS)
        tracemalloc.start()
        for i in range(rounds):
            for part in parts:
                at = part.length_m + 200.0 * i
                statistics.add(TraceChunk(at, part.diameter_mm, part.first_row + 200_000 * i))
        statistics.finish()
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    assert peak(6) < 1.1 * peak(3)  # 600,000 more rows of two axes would be 14 MB
