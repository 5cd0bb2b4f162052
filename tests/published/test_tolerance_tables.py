"""Tolerance factors against printed tables; sources stand at each table in tolerance_tables.json.

1. ISO 16269-6:2014, Annex F, two-sided, exact, printed rounded up at the fourth decimal.
2. Meeker, Hahn and Escobar, Statistical Intervals, 2nd ed. (2017), Table J.5b, two-sided, exact.
3. Berthouex and Brown, Statistics for Environmental Engineers (2002), Table 21.1, two-sided.
4. CMH-17-1G, A-basis factors, one-sided; Owen 1963, p. 47, one-sided.
5. Wilks 1941 (Annals of Mathematical Statistics 12, 91-96), distribution-free sample sizes.
CMH-17's B-basis column is left out: it was printed from an approximation, up to 0.0017 high.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.tolerance import (
    distribution_free_confidence,
    distribution_free_coverage,
    distribution_free_size,
    howe_factor,
    one_sided_factor,
    two_sided_factor,
)
from tests.published.source import agrees, load, one

TABLES = load("tolerance_tables.json")
ISO = [
    (table["coverage"], table["confidence"], int(n), k)
    for table in TABLES["iso_16269_6"]["tables"].values()
    for n, k in table["k"].items()
]
J5B = TABLES["meeker_hahn_escobar_j5b"]
ENVIRONMENT = TABLES["environmental_engineers_21_1"]
A_BASIS = TABLES["cmh_17_kA"]["k"]
WILKS = [
    (float(coverage), float(confidence), one_sided, two_sided)
    for coverage, row in TABLES["distribution_free"]["n"].items()
    for confidence, (one_sided, two_sided) in row.items()
]


@pytest.mark.parametrize(("coverage", "confidence", "n", "printed"), ISO)
def test_two_sided_factors_of_iso_16269_6(coverage, confidence, n, printed):
    k = one(two_sided_factor(n, coverage, confidence))
    # Rounded up: the exact factor lies in the last unit below the printed one.  The slack of
    # 1e-7 is for an exact factor that falls on a fourth decimal itself.
    assert -1e-7 <= float(printed) - k < 1e-4 + 1e-7


@pytest.mark.parametrize("n", [int(n) for n in J5B["k"]])
def test_two_sided_factors_of_meeker_hahn_and_escobar(n):
    row = zip(J5B["coverage"], J5B["confidence"], J5B["k"][str(n)], strict=True)
    wrong = [
        (coverage, confidence, printed)
        for coverage, confidence, printed in row
        if not agrees(two_sided_factor(n, coverage, confidence), printed)
    ]
    assert wrong == []


@pytest.mark.parametrize("n", [int(n) for n in ENVIRONMENT["k"]])
def test_two_sided_factors_of_the_environmental_engineers(n):
    for coverage, printed in zip(ENVIRONMENT["coverage"], ENVIRONMENT["k"][str(n)], strict=True):
        assert agrees(two_sided_factor(n, coverage, 0.95), printed)


@pytest.mark.parametrize("n", [10, 20])
def test_the_tables_tell_the_exact_factor_from_howes_approximation(n):
    """The planted fault: Howe's factor does not pass for the exact one."""
    approximate = one(howe_factor(n, 0.95, 0.95))
    printed = J5B["k"][str(n)][J5B["confidence"].index(0.95) + 5]
    assert agrees(two_sided_factor(n, 0.95, 0.95), printed)
    assert not agrees(approximate, printed)


@pytest.mark.parametrize("key", ["howe", "howe_guenther"])
def test_howes_approximation(key):
    for n, k in TABLES["howe"][key].items():
        got = howe_factor(int(n), 0.95, 0.95, guenther=key == "howe_guenther")
        assert one(got) == pytest.approx(k, abs=0.51e-4)  # stored with four decimals


@pytest.mark.parametrize("n", [int(n) for n in A_BASIS])
def test_one_sided_factors_of_cmh_17(n):
    assert agrees(one_sided_factor(n, 0.99, 0.95), A_BASIS[str(n)])


def test_one_sided_factor_of_owen():
    entry = TABLES["owen_1963"]
    got = one_sided_factor(entry["n"], entry["coverage"], entry["confidence"])
    assert agrees(got, entry["k"])


@pytest.mark.parametrize(("coverage", "confidence"), [(0.90, 0.95), (0.9973, 0.99)])
def test_factors_tend_to_the_normal_quantiles(coverage, confidence):
    """With everything known the factor is z; the excess falls as 1 / sqrt(n)."""
    n = 1_000_000
    assert one(one_sided_factor(n, coverage, confidence)) == pytest.approx(
        stats.norm.ppf(coverage), abs=10 / np.sqrt(n)
    )
    assert one(two_sided_factor(n, coverage, confidence)) == pytest.approx(
        stats.norm.ppf(0.5 + coverage / 2), abs=10 / np.sqrt(n)
    )


@pytest.mark.parametrize(("coverage", "confidence", "_one_sided", "n"), WILKS)
def test_smallest_sample_between_smallest_and_largest(coverage, confidence, _one_sided, n):
    assert distribution_free_size(coverage, confidence) == n
    assert one(distribution_free_confidence(n, coverage)) >= confidence
    assert one(distribution_free_confidence(n - 1, coverage)) < confidence


@pytest.mark.parametrize("n", [2, 5, 20, 93, 473])
def test_coverage_between_smallest_and_largest_is_a_beta_variable(n):
    """Wilks 1941: the share between the extremes of n values is Beta(n - 1, 2)."""
    coverage = one(distribution_free_coverage(n, 0.95))
    assert coverage == pytest.approx(stats.beta.ppf(0.05, n - 1, 2), rel=1e-8)
    assert one(distribution_free_confidence(n, coverage)) == pytest.approx(0.95, rel=1e-8)


def test_a_simulated_share_between_the_extremes():
    """Seeded: 40000 samples of 20 uniform values; the tolerance is four standard errors."""
    n_samples, n, coverage = 40_000, 20, 0.80
    x = np.random.default_rng(1941).uniform(size=(n_samples, n))
    share = np.mean(np.ptp(x, axis=1) >= coverage)
    expected = one(distribution_free_confidence(n, coverage))
    assert abs(share - expected) < 4 * np.sqrt(0.25 / n_samples)


def test_two_sided_factor_holds_what_it_promises():
    """Seeded simulation of the definition itself; tolerance four standard errors."""
    n_samples, n, coverage, confidence = 40_000, 8, 0.95, 0.90
    k = one(two_sided_factor(n, coverage, confidence))
    x = np.random.default_rng(16269).normal(size=(n_samples, n))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    held = stats.norm.cdf(mean + k * s) - stats.norm.cdf(mean - k * s) >= coverage
    assert abs(held.mean() - confidence) < 4 * np.sqrt(confidence * (1 - confidence) / n_samples)
