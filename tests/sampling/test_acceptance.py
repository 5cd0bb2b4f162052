"""What a sample says about a small lot: by drawing every possible sample, and by scipy.

The published plans and curves are checked among the published sources.
"""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.sampling.acceptance import (
    bad_upper_bound,
)
from lotqa.sampling.attributes import acceptance_probability, process_probability
from lotqa.sampling.plan import sample_size_for_lot


@pytest.mark.parametrize(
    ("n_lot", "n_bad", "n", "c"), [(8, 3, 3, 0), (8, 3, 3, 1), (7, 5, 4, 2), (6, 0, 2, 0)]
)
def test_by_drawing_every_sample_there_is(n_lot, n_bad, n, c):
    bad = set(range(n_bad))
    samples = list(combinations(range(n_lot), n))
    accepted = sum(len(bad & set(s)) <= c for s in samples)
    assert acceptance_probability(n_bad, n_lot, n, c) == pytest.approx(accepted / len(samples))


@given(st.integers(1, 60), st.data())
def test_as_scipy_has_it_and_falling_with_every_bad_spool(n_lot, data):
    n = data.draw(st.integers(0, n_lot))
    c = data.draw(st.integers(0, n))
    curve = acceptance_probability(np.arange(n_lot + 1), n_lot, n, c).tolist()
    assert curve == pytest.approx(stats.hypergeom.cdf(c, n_lot, np.arange(n_lot + 1), n), abs=1e-9)
    assert all(a >= b - 1e-12 for a, b in pairwise(curve))


@pytest.mark.parametrize("n_lot", [10, 25])
@pytest.mark.parametrize("share", [0.1, 0.4])
def test_upper_bound_holds_as_often_as_it_says(n_lot, share):
    """Exact: sum the probabilities of the samples whose bound would be too small."""
    n, n_bad = sample_size_for_lot(n_lot), round(share * n_lot)
    missed = sum(
        stats.hypergeom.pmf(x, n_lot, n_bad, n)
        for x in range(n + 1)
        if bad_upper_bound(n_lot, n, x, 0.95) < n_bad
    )
    assert missed <= 0.05


@given(st.integers(2, 40), st.data())
def test_bound_never_contradicts_what_was_seen(n_lot, data):
    n = data.draw(st.integers(1, n_lot))
    seen = data.draw(st.integers(0, n))
    bound = bad_upper_bound(n_lot, n, seen)
    assert seen <= bound <= n_lot - (n - seen)
    assert bad_upper_bound(n_lot, n, seen, 0.99) >= bound


@pytest.mark.parametrize(("n_bad", "n"), [(-1, 2), (11, 2), (2, 11), (2, -1)])
def test_numbers_that_cannot_be_are_refused(n_bad, n):
    with pytest.raises(
        ValueError, match=r"n is .*: a sample from a lot of 10|n_bad is .*write 0 to"
    ):
        acceptance_probability(n_bad, 10, n, 0)


def test_a_lot_without_end_is_binomial():
    got = [process_probability(p, 8, 1) for p in (0.0, 0.1, 0.5, 1.0)]
    assert got == pytest.approx(stats.binom.cdf(1, 8, [0.0, 0.1, 0.5, 1.0]), abs=1e-12)


@given(st.integers(1, 500_000))
def test_a_larger_lot_never_asks_for_fewer_spools(n_lot):
    assert 1 <= sample_size_for_lot(n_lot) <= n_lot
    assert sample_size_for_lot(n_lot + 1) >= sample_size_for_lot(n_lot)
