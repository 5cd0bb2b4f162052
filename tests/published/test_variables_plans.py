"""Variables plans, spread unknown, against printed tables, laws and worked examples.

1. ANSI/ASQ Z1.9 (successor of MIL-STD-414), Tables B-3 and B-4: most percent allowed, M, read in an
   open academic copy; Table B-1: k, read on an open university page.
2. MIL-STD-414 (1957), Examples B-1 to B-4: the sample read in the documentation of that
   copy, the printed results from memory.
3. The same, Table B-5, row Q = 0.10, and Table B-8, factors F: from memory.  Each number is held
   against a second road in the same test, so that a slip of memory cannot stand.
4. Directive 75/107/EEC, Annex II 3.1 (legislation.gov.uk) and OIML R 138:2007, A.3: n = 35,
   k = 1.57, F = 0.266, which is ISO 3951:1989, letter J, AQL 2.5.
5. One-sided tolerance factors: CMH-17-1G; Owen 1963, p. 47; NIST/SEMATECH e-Handbook 7.2.6.3 (the
   exact factor by another hand).  A factor for p and confidence C is the k of 1 - p and 1 - C.
6. Lawson, An Introduction to Acceptance Sampling and SPC with R (2021), ch. 3: n = 42, k = 1.905285
   (read; its risks from memory); Kiermeier, J. Stat. Software 26 (2008) 6: n = 49, k (from memory).
"""

import numpy as np
import pytest
from scipy import integrate, optimize, special, stats

from lotqa.sampling.variables import (
    estimated_fraction,
    judge_two_limits,
    k_for,
    maximum_sd_ratio,
    most_fraction,
    plan_for_risks_variables,
)
from tests.published.source import agrees, last_digit, load, one

AQLS = ["T", "0.10", "0.15", "0.25", "0.40", "0.65", "1.0", "1.5", "2.5", "4.0", "6.5", "10"]
TABLE_B_3 = """
  3     -     -     -     -     -    -    -    -  7.59 18.86 26.94 33.69
  4     -     -     -     -     -    - 1.49 5.46 10.88 16.41 22.84 29.43
  5     -     -     -     - 0.041 1.34 3.33 5.82  9.80 14.37 20.19 26.55
  7     - 0.005 0.087 0.421  1.05 2.13 3.54 5.34  8.40 12.19 17.34 23.30
 10 0.077 0.179 0.349 0.714  1.27 2.14 3.27 4.72  7.26 10.53 15.17 20.73
 15 0.186 0.311 0.491 0.839  1.33 2.09 3.06 4.32  6.55  9.48 13.74 18.97
 20 0.228 0.356 0.531 0.864  1.33 2.03 2.93 4.10  6.18  8.95 13.01 18.07
 25 0.250 0.378 0.551 0.874  1.32 2.00 2.86 3.97  5.98  8.65 12.60 17.55
 35 0.253 0.373 0.534 0.833  1.24 1.87 2.66 3.70  5.58  8.11 11.89 16.67
 50 0.243 0.355 0.503 0.778  1.16 1.73 2.47 3.44  5.21  7.61 11.23 15.87
 75 0.225 0.326 0.461 0.711  1.06 1.59 2.27 3.17  4.83  7.10 10.58 15.07
100 0.218 0.315 0.444 0.684  1.02 1.52 2.18 3.06  4.67  6.88 10.29 14.71
150 0.202 0.292 0.412 0.636 0.946 1.42 2.05 2.88  4.42  6.56  9.86 14.18
200 0.204 0.294 0.414 0.637 0.945 1.42 2.04 2.86  4.39  6.52  9.80 14.11
"""
TABLE_B_1 = """
  3 -    -    -    -    -    -    -    - 1.12 .958 .765 .566
  4 -    -    -    -    -    - 1.45 1.34 1.17 1.01 .814 .617
  5 -    -    -    -    - 1.65 1.53 1.40 1.24 1.07 .874 .675
  7 -    -    - 2.00 1.88 1.75 1.62 1.50 1.33 1.15 .955 .755
 10 -    - 2.24 2.11 1.98 1.84 1.72 1.58 1.41 1.23 1.03 .828
 15 - 2.42 2.32 2.20 2.06 1.91 1.79 1.65    -    -    -    -
 20 - 2.47 2.36 2.24 2.11 1.96 1.82 1.69    -    -    -    -
 25 - 2.50 2.40 2.26 2.14 1.98 1.85 1.72    -    -    -    -
 35 - 2.54 2.45 2.31 2.18 2.03 1.89 1.76    -    -    -    -
 50 - 2.60 2.50 2.35 2.22 2.08 1.93 1.80    -    -    -    -
 75 - 2.66 2.55 2.41 2.27 2.12 1.98 1.84    -    -    -    -
100 - 2.69 2.58 2.43 2.29 2.14 2.00 1.86    -    -    -    -
150 - 2.73 2.61 2.47 2.33 2.18 2.03 1.89    -    -    -    -
200 - 2.73 2.62 2.47 2.33 2.18 2.04 1.89    -    -    -    -
"""
# Where the two tables were not rounded from one and the same k: they differ by up to 0.015.
ODD_CELLS = {
    *[(10, "1.0"), (15, "0.25"), (15, "0.65"), (20, "0.15"), (20, "0.25"), (20, "0.40")],
    *[(20, "1.0"), (25, "0.40"), (35, "0.10"), (50, "0.10"), (50, "0.25"), (50, "1.0")],
    *[(150, "0.15"), (200, "1.5"), (4, "1.0"), (4, "6.5"), (5, "1.0")],
}


def cells(table):
    """(n, AQL) -> the number as printed."""
    rows = [line.split() for line in table.split("\n") if line]
    return {
        (int(n), aql): printed
        for n, *row in rows
        for aql, printed in zip(AQLS, row, strict=True)
        if printed != "-"
    }


M_PCT, K = cells(TABLE_B_3), cells(TABLE_B_1)


def bracketed(fraction_at, n, aql):
    """Whether the printed M lies between the fractions at both ends of the printed k."""
    k, printed = float(K[n, aql]), M_PCT[n, aql]
    half_k = 0.015 if (n, aql) in ODD_CELLS else 0.5 * last_digit(K[n, aql])
    half_m = 0.5 * last_digit(printed) / 100
    low, high = (one(fraction_at(k + sign * half_k, n)) for sign in (1, -1))
    return low - half_m <= float(printed) / 100 <= high + half_m


@pytest.mark.parametrize(("n", "aql"), list(K))
def test_most_allowed_of_the_printed_k(n, aql):
    assert bracketed(most_fraction, n, aql)


def test_the_tables_tell_the_estimate_from_a_plain_normal_tail():
    """The planted faults: Phi(-k), and Phi(-k sqrt(n / (n - 1))), which is for a known spread.

    Each crosses the right curve somewhere, so that one cell of the small samples may agree.
    """
    for tail in (
        lambda k, _: stats.norm.sf(k),
        lambda k, n: stats.norm.sf(k * np.sqrt(n / (n - 1))),
    ):
        assert sum(bracketed(tail, n, aql) for n, aql in K if n <= 10) <= 1


def density_road(q, n):
    """Beyond u = q sqrt(n) / (n - 1) of the density (1 - u^2)^((n - 4) / 2); u = sin(angle)."""
    angle = np.arcsin(min(1.0, q * np.sqrt(n) / (n - 1)))
    area = integrate.quad(lambda a: np.cos(a) ** (n - 3), angle, np.pi / 2, epsabs=1e-13)[0]
    return area / special.beta(0.5, (n - 2) / 2)


@pytest.mark.parametrize(
    ("n", "remembered"),
    [
        *[(3, "47.24"), (4, "46.67"), (5, "46.44"), (7, "46.26"), (10, "46.16"), (15, "46.10")],
        *[(20, "46.08"), (25, "46.06"), (30, "46.05"), (35, "46.05"), (50, "46.04")],
        *[(75, "46.03"), (100, "46.03"), (150, "46.02"), (200, "46.02")],
    ],
)
def test_table_b_5_at_a_quality_index_of_a_tenth(n, remembered):
    assert agrees(100 * density_road(0.1, n), remembered)
    assert agrees(100 * estimated_fraction(np.array([0.1]), n), remembered)


FACTORS_B_8 = [  # n, AQL of the M in table B-3, F
    *[(3, "2.5", "0.436"), (3, "4.0", "0.453"), (3, "6.5", "0.475"), (3, "10", "0.502")],
    *[(4, "1.5", "0.353"), (4, "2.5", "0.374"), (4, "4.0", "0.399"), (4, "6.5", "0.432")],
    *[(4, "10", "0.472"), (5, "0.65", "0.294"), (5, "1.0", "0.308"), (5, "1.5", "0.323")],
    *[(5, "2.5", "0.346"), (5, "4.0", "0.372"), (5, "6.5", "0.408")],
    *[(7, "0.25", "0.242"), (7, "0.40", "0.253"), (7, "0.65", "0.266"), (7, "1.0", "0.280")],
    *[(7, "1.5", "0.295"), (7, "2.5", "0.318"), (7, "4.0", "0.345"), (7, "6.5", "0.381")],
    *[(7, "10", "0.425")],
]


@pytest.mark.parametrize(("n", "aql", "remembered"), FACTORS_B_8)
def test_table_b_8_largest_spread_of_a_centred_sample(n, aql, remembered):
    most = float(M_PCT[n, aql]) / 100
    q = optimize.brentq(lambda q: 2 * density_road(q, n) - most, 0.1, 3.0)
    assert agrees(1 / (2 * q), remembered)
    assert agrees(maximum_sd_ratio(most, n), remembered)


def test_the_law_on_bottles_used_as_measures():
    """F is cut off, or was found by hand: within the unit of its last digit from below."""
    assert agrees(most_fraction(1.57, 35), "0.056")
    for most in (float(M_PCT[35, "2.5"]) / 100, most_fraction(1.57, 35)):
        assert 0 <= maximum_sd_ratio(most, 35) - 0.266 < 0.0015


SAMPLE = np.array([197.0, 188.0, 184.0, 205.0, 201.0])  # degrees Fahrenheit
MEAN, S = SAMPLE.mean(), SAMPLE.std(ddof=1)
UPPER, LOWER = 209.0, 180.0


def test_example_b_1_one_limit_by_k():
    """s is printed 8.81, the root of 77.5 is 8.803; Q = 1.59 either way."""
    assert agrees(MEAN, "195")
    assert agrees(S**2, "77.5")
    q = (UPPER - MEAN) / S
    assert agrees(q, "1.59")
    assert agrees((UPPER - MEAN) / 8.81, "1.59")
    assert q >= float(K[5, "1.0"])


def test_example_b_2_one_limit_by_the_estimated_fraction():
    """The table is entered with the rounded Q."""
    estimate = one(estimated_fraction(np.array([1.59]), 5))
    assert agrees(100 * estimate, "2.19")
    assert estimate <= most_fraction(float(K[5, "1.0"]), 5)


def test_example_b_3_two_limits_with_one_aql():
    below, above = (100 * v for v in estimated_fraction(np.array([1.70, 1.59]), 5))
    assert agrees(below, "0.66")
    assert agrees(above, "2.19")
    assert agrees(below + above, "2.85")
    # With the unrounded Q the sum is 2.80; the decision is the same.
    got = judge_two_limits(MEAN, S, 5, LOWER, UPPER, 0.0332)
    assert got.accepted
    assert 100 * (got.below + got.above) == pytest.approx(2.85, abs=0.06)
    assert not judge_two_limits(MEAN, S, 5, LOWER, UPPER, float(M_PCT[5, "0.65"]) / 100).accepted


def test_example_b_4_two_limits_with_an_aql_each():
    """AQL 1 % above and 2.5 % below: each fraction under its own M, both together under the larger.

    Also s is under the largest allowed, F at the larger M times the width of the tolerance.
    """
    above_most, below_most = (float(M_PCT[5, aql]) / 100 for aql in ("1.0", "2.5"))
    got = judge_two_limits(MEAN, S, 5, LOWER, UPPER, below_most)
    assert got.above <= above_most
    assert got.below <= below_most
    assert got.accepted
    assert maximum_sd_ratio(below_most, 5) * (UPPER - LOWER) >= S


TABLES = load("tolerance_tables.json")
A_BASIS = TABLES["cmh_17_kA"]["k"]


@pytest.mark.parametrize("n", [int(n) for n in A_BASIS])
def test_the_k_of_one_percent_seldom_accepted_is_a_tolerance_factor(n):
    assert agrees(k_for(0.01, 0.05, n), A_BASIS[str(n)])


def test_the_k_of_owen_and_of_the_handbook():
    entry = TABLES["owen_1963"]
    k = k_for(1 - entry["coverage"], 1 - entry["confidence"], entry["n"])
    assert agrees(k, entry["k"])
    assert k_for(0.10, 0.01, 43) == pytest.approx(1.8739536058512, abs=1e-9)


@pytest.mark.parametrize(
    ("risks", "n", "k", "tolerance"),
    [
        ((0.01, 0.05, 0.06, 0.10), 42, 1.905285, 0.5e-6),
        # As remembered, 4e-6 beside the producer's point; the risk is then 1e-5 off at most.
        ((0.05, 0.05, 0.15, 0.075), 49, 1.326538, 1e-5),
    ],
)
def test_plans_of_the_textbooks(risks, n, k, tolerance):
    plan = plan_for_risks_variables(*risks)
    assert plan.n == n
    assert plan.k == pytest.approx(k, abs=tolerance)
    good, producer_risk, bad, consumer_risk = risks
    taken = stats.nct.sf(np.sqrt(n) * k, n - 1, np.sqrt(n) * stats.norm.isf([good, bad]))
    assert taken[0] == pytest.approx(1 - producer_risk, abs=1e-5)
    assert taken[1] <= consumer_risk
