"""Worth of dependent rows: against closed forms, statsmodels, and coverage of simulated traces."""

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.tsa.stattools import acf

from lotqa.evidence.traces.batches import Batches
from lotqa.evidence.traces.evidence import drift_of, mean_of
from tests.evidence.traces.logs import SETTINGS, evidence_of

STEP_M, SD_MM = 0.01, 0.01


def autoregressions(phi, n, k, seed):
    """(k, n) series of mean 0, variance 1 in their steady state."""
    shocks = np.random.default_rng(seed).standard_normal((k, n))
    shocks[:, 1:] *= np.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], shocks, axis=1)


def cells_of(y):
    batches = Batches()
    w = np.full(len(y), STEP_M)
    batches.add(np.stack((w, w * y, w * y * y, 0 * w, w * np.arange(len(y)) * STEP_M)))
    return batches.cells()


def coverage(series):
    """Percent of traces whose intervals hold mean 1.75, SD_MM and slope 0."""
    held = np.zeros(3)
    for row in series:
        cells = cells_of(SD_MM * row)
        m = mean_of(cells, len(row), SETTINGS, 1)
        slope = drift_of(cells, 1.75)
        held += (
            m.mean_lo_mm <= 1.75 <= m.mean_hi_mm,
            m.sd_lo_mm <= SD_MM <= m.sd_hi_mm,
            slope.lo_mm_per_100m <= 0 <= slope.hi_mm_per_100m,
        )
    return 100 * held / len(series)


# Standard error of 95 % of 600 traces is 0.9: 92 and 98 are more than three of them away.
@pytest.mark.parametrize(("phi", "n"), [(0.0, 2000), (0.9, 4000), (0.99, 20_000)])
def test_intervals_hold_what_they_say_on_dependent_rows(phi, n):
    held = coverage(autoregressions(phi, n, 600, seed=11))
    assert np.all((held > 92) & (held < 98)), held


def test_intervals_hold_what_they_say_on_a_wave_with_noise():
    n, k = 4000, 600
    phase = np.random.default_rng(12).uniform(0, 2 * np.pi, (k, 1))
    wave = np.sin(2 * np.pi * np.arange(n) / 21.3 + phase)  # variance 1/2
    held = coverage(wave + np.sqrt(0.5) * autoregressions(0.9, n, k, seed=13))
    assert np.all((held > 92) & (held < 98)), held


def test_rows_taken_for_independent_would_not_hold_it():
    """The check above can fail: s / sqrt(n) holds the mean far too seldom."""
    x = autoregressions(0.9, 4000, 600, seed=11)
    half = 1.96 * x.std(axis=1) / np.sqrt(x.shape[1])
    assert np.mean(np.abs(x.mean(axis=1)) <= half) < 0.5


@pytest.mark.parametrize("phi", [0.9, 0.99])
def test_effective_rows_are_those_of_theory_and_of_the_autocorrelation(phi):
    n = 400_000
    x = autoregressions(phi, n, 1, seed=14)[0]
    found = evidence_of(np.arange(n) * 0.001, 1.75 + SD_MM * x).diameter
    # Priestley, Spectral Analysis and Time Series (1981), 5.3: n / sum of all correlations
    theory = n * (1 - phi) / (1 + phi)
    lags = round(10 / (1 - phi))
    counted = n / (1 + 2 * acf(x, nlags=lags, fft=True)[1:].sum())
    # 31 degrees of freedom: a variance is known to sqrt(2 / 31) = 25 %, and two of those
    assert found.n_effective == pytest.approx(theory, rel=0.5)
    assert found.n_effective == pytest.approx(counted, rel=0.5)
    assert found.settled


def test_the_spread_is_worth_what_its_squared_correlations_say():
    phi, n = 0.9, 400_000
    x = autoregressions(phi, n, 1, seed=15)[0]
    found = evidence_of(np.arange(n) * 0.001, 1.75 + SD_MM * x).diameter
    # Bayley & Hammersley (1946): n / sum of all squared correlations
    assert found.df_spread == pytest.approx(n * (1 - phi**2) / (1 + phi**2), rel=0.5)


def test_a_drift_over_the_whole_trace_is_not_settled():
    n = 50_000
    d = 1.75 + 0.02 * np.linspace(-1, 1, n) + 0.001 * np.random.default_rng(1).standard_normal(n)
    found = evidence_of(np.arange(n) * 0.001, d).diameter
    assert not found.settled
    assert found.n_effective < 100


def test_rows_that_swing_about_their_mean_are_not_more_facts_than_rows():
    n = 20_000
    d = 1.75 + 0.01 * np.where(np.arange(n) % 2, 1, -1)
    found = evidence_of(np.arange(n) * 0.001, d).diameter
    assert found.n_effective == n
    assert found.mean_lo_mm <= 1.75 <= found.mean_hi_mm


def test_cells_hold_all_rows_however_many_and_however_cut():
    rng = np.random.default_rng(16)
    rows = rng.random((5, 70_001))
    whole, parts = Batches(), Batches()
    whole.add(rows)
    for part in np.array_split(rows, 13, axis=1):
        parts.add(part)
    assert whole.cells().shape[1] <= 4096
    np.testing.assert_allclose(whole.cells().sum(axis=1), rows.sum(axis=1))
    np.testing.assert_allclose(whole.cells(), parts.cells())
