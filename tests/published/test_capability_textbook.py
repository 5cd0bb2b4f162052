"""Capability indices and their intervals against textbooks and exact theory.

1. D. C. Montgomery, Introduction to Statistical Quality Control: interval for Cp (USL 62, LSL 38,
   n 20, s 1.75; inputs seen, printed interval from memory, recomputed) and for Cpk (1.33, n 20;
   from memory, recomputed).
2. A. F. Bissell, How reliable is your capability index?, Applied Statistics 39 (1990) 331-340.
3. G. Y. Zou and A. Donner, Construction of confidence limits about effect measures,
   Statistics in Medicine 27 (2008) 1693-1702: limits from the limits of mean and sd.
4. R. A. Boyles, The Taguchi capability index, J. Quality Technology 23 (1991) 17-26.
5. Exact reference where only one limit counts: 3 Cpk sqrt(n) is noncentral t (Kane 1986,
   J. Quality Technology 18, 41-52); where the mean is on target, n tau**2 / sigma**2 is chi-square.
"""

import numpy as np
import pytest
from scipy import optimize, stats

from lotqa.evidence.capability import (
    bissell_interval,
    cp,
    cp_interval,
    cpk,
    cpk_interval,
    cpm,
    cpm_interval,
    fraction_outside,
    quantile_index,
)
from lotqa.evidence.summary import mean_interval, sd_interval
from lotqa.evidence.tolerance import one_sided_factor
from tests.published.source import agrees, load, one

FAR = 1e9  # a limit so far away that it plays no part
TABLE = load("tolerance_tables.json")
BISSELL_133 = {  # Cpk 1.33, by the formula in NIST's public help text; worked out by another hand
    25: (0.931705, 1.728295),
    30: (0.967529, 1.692471),
    50: (1.050939, 1.609061),
    100: (1.133564, 1.526436),
    125: (1.154460, 1.505540),
}
CP_133 = {  # Cp 1.33, chi-square interval of the same text, likewise
    25: (0.956042, 1.703319),
    30: (0.989351, 1.670001),
    50: (1.067301, 1.592178),
    100: (1.144898, 1.514795),
    125: (1.164562, 1.495185),
}


def mover(mean, s, n, lsl, usl, confidence=0.95):
    """cpk_interval with Student's interval of the mean and the chi-square interval of sd."""
    lo, hi = mean_interval(mean, s, n, confidence)
    sd_lo, sd_hi = sd_interval(s, n - 1, confidence)
    return cpk_interval(mean, (hi - lo) / 2, s, sd_lo, sd_hi, lsl, usl)


def exact_one_limit(index, n, confidence=0.95):
    """Limits of Cpl by inverting the noncentral t distribution."""
    t, tail = 3 * index * np.sqrt(n), (1 - confidence) / 2
    low = optimize.brentq(lambda d: stats.nct.sf(t, n - 1, d) - tail, 0.0, 200.0)
    high = optimize.brentq(lambda d: stats.nct.cdf(t, n - 1, d) - tail, 0.0, 200.0)
    return low / (3 * np.sqrt(n)), high / (3 * np.sqrt(n))


def test_montgomery_interval_of_cp():
    value = cp(1.75, 38.0, 62.0)
    assert agrees(value, "2.29")
    lo, hi = cp_interval(value, 19)
    # The book multiplies the rounded 2.29, hence 1.57 and 3.01; the unrounded index gives less.
    rounded_lo, rounded_hi = cp_interval(2.29, 19)
    assert agrees(rounded_lo, "1.57")
    assert agrees(rounded_hi, "3.01")
    assert one(lo) == pytest.approx(1.564945005, rel=1e-8)
    assert one(hi) == pytest.approx(3.00557943, rel=1e-8)


def test_montgomery_interval_of_cpk_by_bissell():
    lo, hi = bissell_interval(1.33, 20)
    assert agrees(lo, "0.88")
    assert agrees(hi, "1.78")


@pytest.mark.parametrize("n", BISSELL_133)
def test_bissell_at_other_sample_sizes(n):
    lo, hi = bissell_interval(1.33, n)
    assert one(lo) == pytest.approx(BISSELL_133[n][0], abs=0.6e-6)
    assert one(hi) == pytest.approx(BISSELL_133[n][1], abs=0.6e-6)


@pytest.mark.parametrize("n", CP_133)
def test_interval_of_cp_at_other_sample_sizes(n):
    lo, hi = cp_interval(1.33, n - 1)
    assert one(lo) == pytest.approx(CP_133[n][0], abs=0.6e-6)
    assert one(hi) == pytest.approx(CP_133[n][1], abs=0.6e-6)


def test_montgomery_interval_of_cpk_by_recovered_limits():
    lo, hi = mover(3.99, 1.0, 20, 0.0, FAR)
    assert one(lo) == pytest.approx(0.88, abs=0.015)  # 0.01 between methods, 0.005 of print
    assert one(hi) == pytest.approx(1.78, abs=0.015)


@pytest.mark.parametrize("n", [20, 30, 50, 100])
def test_recovered_limits_agree_with_bissell_to_a_hundredth(n):
    got, approximate = mover(3.99, 1.0, n, 0.0, FAR), bissell_interval(1.33, n)
    for mine, theirs in zip(got, approximate, strict=True):
        assert one(mine) == pytest.approx(one(theirs), abs=0.01)


@pytest.mark.parametrize(("index", "n"), [(0.67, 20), (1.33, 20), (1.33, 50), (2.0, 100)])
def test_recovered_limits_are_near_the_exact_ones(index, n):
    """Within a tenth of the half width of the exact interval."""
    exact_lo, exact_hi = exact_one_limit(index, n)
    lo, hi = mover(3 * index, 1.0, n, 0.0, FAR)
    slack = 0.1 * (exact_hi - exact_lo) / 2
    assert one(lo) == pytest.approx(exact_lo, abs=slack)
    assert one(hi) == pytest.approx(exact_hi, abs=slack)


def test_with_the_mean_known_only_the_interval_of_sd_counts():
    lo, hi = cpk_interval(1.75, 0.0, 0.01, 0.008, 0.014, 1.70, FAR)
    assert one(lo) == pytest.approx(0.05 / (3 * 0.014), rel=1e-9)
    assert one(hi) == pytest.approx(0.05 / (3 * 0.008), rel=1e-9)


def test_with_sd_known_only_the_interval_of_the_mean_counts():
    lo, hi = cpk_interval(1.75, 0.004, 0.01, 0.01, 0.01, 1.70, FAR)
    assert one(lo) == pytest.approx(0.046 / 0.03, rel=1e-9)
    assert one(hi) == pytest.approx(0.054 / 0.03, rel=1e-9)


@pytest.mark.parametrize("mean", [1.72, 1.74, 1.75, 1.77, 1.81])
def test_recovered_limits_enclose_the_estimate_and_follow_the_mirror(mean):
    lo, hi = mover(mean, 0.01, 20, 1.70, 1.80)
    assert one(lo) < one(cpk(mean, 0.01, 1.70, 1.80)) < one(hi)
    mirrored = mover(3.50 - mean, 0.01, 20, 1.70, 1.80)
    assert [one(v) for v in mirrored] == pytest.approx([one(lo), one(hi)], rel=1e-6)


@pytest.mark.parametrize(("true_mean", "n"), [(1.73, 10), (1.73, 20), (1.745, 20)])
def test_recovered_limits_cover_as_promised(true_mean, n):
    """Seeded, 20000 spools: the promised 95 %, less one point for the approximation and 4 sigma."""
    n_spools, sd, lsl, usl = 20_000, 0.01, 1.70, 1.80
    x = np.random.default_rng(2008).normal(true_mean, sd, (n_spools, n))
    lo, hi = mover(x.mean(axis=1), x.std(axis=1, ddof=1), n, lsl, usl)
    true = min(true_mean - lsl, usl - true_mean) / (3 * sd)
    covered = np.mean((np.asarray(lo) <= true) & (true <= np.asarray(hi)))
    noise = 4 * np.sqrt(0.95 * 0.05 / n_spools)
    assert covered > 0.94 - noise


def test_index_against_a_target_from_the_definition():
    """Chan, Cheng and Spiring 1988 (JQT 20, 162-175): mean square distance from the target."""
    x = np.random.default_rng(1988).normal(1.744, 0.012, 25)
    tau = np.sqrt(np.mean((x - 1.75) ** 2))
    got = cpm(x.mean(), x.std(ddof=1), 25, 1.70, 1.80, 1.75)
    assert one(got) == pytest.approx(0.10 / (6 * tau), rel=1e-12)


def test_boyles_interval_is_chi_square_when_the_mean_is_on_target():
    """Then n tau**2 / sigma**2 is chi-square with n degrees of freedom, exactly."""
    n, index = 30, 1.2
    low, high = np.sqrt(stats.chi2.ppf([0.025, 0.975], n) / n)
    lo, hi = cpm_interval(index, 1.75, 0.01, n, 1.75)
    assert one(lo) == pytest.approx(index * low, rel=1e-12)
    assert one(hi) == pytest.approx(index * high, rel=1e-12)


@pytest.mark.parametrize("shift_in_sd", [0.0, 0.5, 1.0])
def test_boyles_interval_covers_as_promised(shift_in_sd):
    """Seeded, 20000 spools of 50 places: 95 %, one point of approximation, 4 sigma."""
    n_spools, n, sd = 20_000, 50, 0.01
    x = np.random.default_rng(1991).normal(1.75 + shift_in_sd * sd, sd, (n_spools, n))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    lo, hi = cpm_interval(cpm(mean, s, n, 1.70, 1.80, 1.75), mean, s, n, 1.75)
    true = 0.10 / (6 * sd * np.sqrt(1 + shift_in_sd**2))
    covered = np.mean((np.asarray(lo) <= true) & (true <= np.asarray(hi)))
    assert abs(covered - 0.95) < 0.01 + 4 * np.sqrt(0.95 * 0.05 / n_spools)


@pytest.mark.parametrize("coverage", [0.80, 0.90, 0.9973])
def test_quantile_index_of_a_normal_spool_is_cp(coverage):
    z = stats.norm.ppf(0.5 + coverage / 2)
    got = quantile_index(1.75 - 0.01 * z, 1.75 + 0.01 * z, 1.70, 1.80, coverage)
    # 99.73 % is a rounded name for three sigma (99.7300204 %): worth 8e-6 of the index.
    assert one(got) == pytest.approx(one(cp(0.01, 1.70, 1.80)), rel=1e-5)


@pytest.mark.parametrize("n", [5, 10, 30, 60])
def test_upper_limit_of_the_fraction_outside_is_the_tolerance_factor_turned_round(n):
    """At mean + k s, k the 99/95 factor of CMH-17's table, at most 1 % lies above with 95 %.

    Two limits with two sides each share alpha (Bonferroni, the only split that is conservative
    whatever the truth), so a tail of 5 % at one limit belongs to a confidence of 1 - 4 * 5 %.
    """
    k = one(one_sided_factor(n, 0.99, 0.95))
    assert agrees(k, TABLE["cmh_17_kA"]["k"][str(n)])
    _, _, hi = fraction_outside(0.0, 1.0, n, -FAR, k, confidence=0.80)
    assert one(hi) == pytest.approx(0.01, rel=1e-6)
    _, _, mirrored = fraction_outside(0.0, 1.0, n, -k, FAR, confidence=0.80)
    assert one(mirrored) == pytest.approx(0.01, rel=1e-6)


@pytest.mark.parametrize("n", [10, 30])
def test_lower_limit_of_the_fraction_outside(n):
    """Where a noncentral t with 10 % above the limit would lie as low as this once in twenty."""
    k = stats.nct.ppf(0.05, n - 1, stats.norm.isf(0.10) * np.sqrt(n)) / np.sqrt(n)
    _, lo, _ = fraction_outside(0.0, 1.0, n, -FAR, k, confidence=0.80)
    assert one(lo) == pytest.approx(0.10, rel=1e-6)


@pytest.mark.parametrize("true_mean", [1.75, 1.77])
def test_interval_of_the_fraction_outside_covers_at_least_as_promised(true_mean):
    n_spools, n, sd = 4_000, 20, 0.02
    x = np.random.default_rng(414).normal(true_mean, sd, (n_spools, n))
    estimate, lo, hi = fraction_outside(x.mean(axis=1), x.std(axis=1, ddof=1), n, 1.70, 1.80)
    true = stats.norm.cdf(1.70, true_mean, sd) + stats.norm.sf(1.80, true_mean, sd)
    lo, hi = np.asarray(lo), np.asarray(hi)
    assert np.all((lo <= np.asarray(estimate)) & (np.asarray(estimate) <= hi))
    covered = np.mean((lo <= true) & (true <= hi))
    assert covered > 0.95 - 4 * np.sqrt(0.95 * 0.05 / n_spools)
