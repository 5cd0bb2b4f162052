"""What earlier lots say of a spool to come: prediction from simulated suppliers."""

import numpy as np
import pytest
from scipy import stats

from lotqa.suppliers.prior import MIN_LOTS, spool_prior


@pytest.mark.parametrize("n", range(MIN_LOTS))
def test_too_few_lots_say_nothing(n):
    assert spool_prior([1.74, 1.76, 1.75][:n], [0.003] * n) is None


def test_lots_and_spools_that_never_differ_say_nothing():
    assert spool_prior([1.75] * 5, [0.0] * 5) is None
    assert spool_prior([1.75] * 5, []) is None


def test_lots_that_are_alike_with_spools_that_differ():
    prior = spool_prior([1.75] * 5, [0.003, 0.005])
    assert prior is not None
    assert prior.sd_mm == pytest.approx(np.sqrt((0.003**2 + 0.005**2) / 2), rel=1e-12)


def test_without_a_spread_between_spools_only_lots_count():
    means = [1.744, 1.751, 1.749, 1.756]
    alone, beside = spool_prior(means, []), spool_prior(means, [0.004])
    assert alone is not None
    assert beside is not None
    assert (alone.n_lots, beside.n_lots) == (4, 4)
    assert beside.mean_mm == alone.mean_mm == pytest.approx(1.75, abs=1e-12)
    assert beside.sd_mm**2 - alone.sd_mm**2 == pytest.approx(0.004**2, rel=1e-9)


def test_a_shift_moves_the_mean_and_a_scale_both():
    means, sds = np.array([1.744, 1.751, 1.749, 1.756]), np.array([0.003, 0.005])
    base = spool_prior(list(means), list(sds))
    moved = spool_prior(list(means + 0.02), list(sds))
    scaled = spool_prior(list(1000 * means), list(1000 * sds))
    assert base is not None
    assert moved is not None
    assert scaled is not None
    assert moved.mean_mm == pytest.approx(base.mean_mm + 0.02, abs=1e-12)
    assert moved.sd_mm == pytest.approx(base.sd_mm, rel=1e-9)
    assert scaled.sd_mm == pytest.approx(1000 * base.sd_mm, rel=1e-9)


@pytest.mark.parametrize("n_lots", [3, 5, 10, 30])
def test_the_variance_is_that_of_a_prediction(n_lots):
    """Variance of Student's law about the mean of n lots, (n + 1) / (n - 1) of it scale.

    Over many suppliers the mean square of (next spool - prior mean) / prior sd must stay near 1:
    above it the prior would be too sure.  With lots only, the ratio is t with n - 1 degrees of
    freedom times sqrt((n - 1) / n), so that shares within one and two sd follow from scipy.
    """
    k, rng = 5_000, np.random.default_rng(n_lots)
    lot_means = 1.75 + 0.006 * rng.standard_normal((k, n_lots))
    coming = 1.75 + 0.006 * rng.standard_normal(k)
    ratio = np.empty(k)
    for i in range(k):
        prior = spool_prior(list(lot_means[i]), [])
        assert prior is not None
        ratio[i] = (coming[i] - prior.mean_mm) / prior.sd_mm
    for reach in (1.0, 2.0):
        law = stats.t(n_lots - 1)
        share = 2 * law.cdf(reach * np.sqrt(n_lots / (n_lots - 1))) - 1
        assert np.mean(np.abs(ratio) <= reach) == pytest.approx(
            share, abs=4 * np.sqrt(share * (1 - share) / k)
        )
