"""What the step leaves in a mean: exact Fourier sum and simulation, never understated.

Source of the exact value: the mean of a quantised Gaussian as a Fourier series in its phase,
Widrow and Kollar, Quantization Noise (2008), ch. 4; here by direct summation over the steps.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.resolution import rounding_variance_mm2, step_of, u_rounding_left_mm

STEP = 0.01


def exact_left_mm(sd_mm):
    """Root mean square, over all phases of the true value, of the error that stays in a mean."""
    phase = (np.arange(200) + 0.5) / 200 * STEP
    cells = np.arange(-40, 41) * STEP
    upper = stats.norm.cdf((cells + STEP / 2 - phase[:, None]) / max(sd_mm, 1e-12))
    lower = stats.norm.cdf((cells - STEP / 2 - phase[:, None]) / max(sd_mm, 1e-12))
    error = (cells * (upper - lower)).sum(axis=1) - phase
    return float(np.sqrt(np.mean(error**2)))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.8])
def test_what_stays_in_a_mean_is_never_understated(share):
    sd = share * STEP
    observed = np.hypot(sd, STEP / np.sqrt(12))
    claimed = float(u_rounding_left_mm(observed if share else 0.0, STEP))
    assert claimed >= exact_left_mm(sd) * (1 - 1e-3)
    assert claimed <= max(3 * exact_left_mm(sd), STEP / np.sqrt(12) * 1.001)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("n", [10, 40])
def test_it_covers_simulated_means_though_the_sd_is_only_observed(share, n):
    rng = np.random.default_rng(n)
    k = 4000
    true = rng.uniform(0, STEP, (k, 1))
    read = np.round((true + share * STEP * rng.standard_normal((k, n))) / STEP) * STEP
    u = u_rounding_left_mm(read.std(axis=1, ddof=1), STEP)
    assert np.sqrt(np.mean(u**2)) >= exact_left_mm(share * STEP) * 0.99


def test_scatter_of_a_step_or_more_leaves_nothing():
    assert float(u_rounding_left_mm(np.hypot(STEP, STEP / np.sqrt(12)), STEP)) < 1e-9


@given(st.floats(0, 0.05), st.floats(1e-4, 0.05))
def test_it_falls_with_the_scatter_and_never_exceeds_a_rectangular_error(sd, more):
    here, there = u_rounding_left_mm([sd, sd + more], STEP)
    assert 0 <= there <= here <= STEP / np.sqrt(12) * (1 + 1e-12)


def test_no_step_leaves_nothing():
    assert u_rounding_left_mm([0.0, 0.01], 0.0).tolist() == [0.0, 0.0]


def test_variance_of_a_rounding_by_simulation():
    error = np.random.default_rng(1).uniform(-STEP / 2, STEP / 2, 200_000)
    # Variance of the variance of a uniform error: kurtosis 1.8.
    slack = 4 * rounding_variance_mm2(STEP) * np.sqrt(0.8 / 200_000)
    assert np.mean(error**2) == pytest.approx(rounding_variance_mm2(STEP), abs=slack)


@pytest.mark.parametrize(("typed", "step"), [
    ([1.75, 1.76, 1.71], 0.01),
    ([1.75, 1.755], 0.005),
    ([1.752, 1.746], 0.002),
    ([1.751, 1.748], 0.001),
    ([1.7504, 1.7511], 0.0001),
    ([1.75, 1.80, 1.70], 0.05),
    ([1.712345], 0.0001),
])  # fmt: skip
def test_step_seen_in_readings(typed, step):
    assert step_of(typed) == step
