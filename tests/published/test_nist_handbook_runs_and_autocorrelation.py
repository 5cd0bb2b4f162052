"""Runs test and autocorrelation on the beam deflection data (LEW), NIST/SEMATECH e-Handbook.

1.3.5.12 autocorrelation: values printed with two decimals, read as quoted elsewhere.
1.3.5.13 runs test: counts and Z from memory; the counts are recounted here by hand, the moments
are those of Wald and Wolfowitz 1940 (Annals of Mathematical Statistics 11, 147-162).
"""

import itertools
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.order import autocorrelation, lag1, runs_test
from tests.published.source import agrees, load, one

LEW = np.array(load("strd_univariate.json")["sets"]["Lew"]["values"], dtype=float)
ACF = load("nist_handbook.json")["lew_acf"]["r"]
RUNS = load("nist_handbook.json")["lew_runs"]


@pytest.mark.parametrize("lag", range(len(ACF)))
def test_autocorrelation_as_printed(lag):
    assert agrees(np.asarray(autocorrelation(LEW, len(ACF) - 1))[0, lag], ACF[lag])


def test_lag_1_lies_outside_the_95_percent_band_of_the_handbook():
    """The band of 1.3.5.12 is z / sqrt(n) = 0.139; r1 is -0.31."""
    r1, p = lag1(LEW)
    assert one(r1) < -1.96 / np.sqrt(200)
    assert one(p) < 0.05


def test_digits_of_pi_show_no_autocorrelation():
    lines = load("strd_univariate.json")["sets"]["PiDigits"]["digits"]
    _, p = lag1(np.array([float(digit) for digit in "".join(lines)]))
    assert one(p) > 0.5  # |r1| = 0.0036 is a quarter of its standard error 1 / sqrt(5000)


@pytest.mark.parametrize("n", [8, 20, 200])
def test_significance_of_lag_1_uses_the_exact_moments(n):
    """Mean and variance of r1 for unordered normal values (Moran 1948, Biometrika 35, 255-260).

    Here by matrices: r1 is x'Ax / x'Mx with M the centring matrix, the ratio is independent of its
    denominator, so E[r1] = tr A / (n - 1), E[r1**2] = (tr(A)**2 + 2 tr(A A)) / ((n - 1)(n + 1)).
    """
    centring = np.eye(n) - 1 / n
    a = centring @ (np.eye(n, k=1) + np.eye(n, k=-1)) / 2 @ centring
    mean = np.trace(a) / (n - 1)
    square = (np.trace(a) ** 2 + 2 * np.trace(a @ a)) / ((n - 1) * (n + 1))
    r1, p = lag1(np.random.default_rng(n).normal(1.75, 0.01, (6, n)))
    z = (np.asarray(r1) - mean) / np.sqrt(square - mean**2)
    assert np.asarray(p) == pytest.approx(2 * stats.norm.sf(np.abs(z)), rel=1e-8)


def test_runs_as_printed():
    got = runs_test(LEW)
    assert one(got.n_runs) == RUNS["n_runs"]
    assert one(got.n_above) == RUNS["n_above"]
    assert one(got.n_below) == RUNS["n_below"]
    assert agrees(got.z, RUNS["z"])
    assert one(got.p) == pytest.approx(2 * stats.norm.sf(float(RUNS["z"])), abs=1e-5)


def test_runs_counted_by_hand():
    above = [value >= np.median(LEW) for value in LEW]
    groups = [key for key, _ in itertools.groupby(above)]
    got = runs_test(LEW)
    assert one(got.n_runs) == len(groups) == RUNS["n_runs"]
    assert one(got.n_above) == sum(above)


@pytest.mark.parametrize(("n_above", "n_below"), [(3, 3), (4, 3), (4, 4)])
def test_z_uses_the_exact_moments_of_all_arrangements(n_above, n_below):
    """Every arrangement of the signs is listed, so mean and variance of the runs are exact."""
    n = n_above + n_below
    counts, first = [], None
    for places in itertools.combinations(range(n), n_above):
        signs = [i in places for i in range(n)]
        counts.append(sum(1 for _ in itertools.groupby(signs)))
        first = first or signs
    mean = Fraction(sum(counts), len(counts))
    variance = Fraction(sum(c * c for c in counts), len(counts)) - mean**2
    # Distinct values, so that the median parts them as wanted (>= counts as above).
    low, high = iter(range(1, n)), iter(range(100, 100 + n))
    x = np.array([next(high) if sign else next(low) for sign in first], dtype=float)
    got = runs_test(x)
    assert (one(got.n_above), one(got.n_below), one(got.n_runs)) == (n_above, n_below, 2)
    assert one(got.z) == pytest.approx(float(2 - mean) / float(variance) ** 0.5, rel=1e-12)


def test_a_value_on_the_median_counts_as_above():
    got = runs_test(np.array([1.0, 2.0, 2.0, 3.0, 1.0]))
    assert (one(got.n_above), one(got.n_below), one(got.n_runs)) == (3, 2, 3)
