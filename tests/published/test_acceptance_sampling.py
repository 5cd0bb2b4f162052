"""Sampling plans and what they catch, against printed tables.

1. MIL-STD-105E (1989) = ISO 2859-1, Table I (code letters) and Table II-A (sample sizes).
2. UK SI 1996/2636, Schedule: plans 80/1 and 125/2 with the quality accepted in 5 % of cases (LQ5)
   and in 95 % (SQL); two digits, the second one cut off.
3. Textbook table of the plan n = 50, c = 1, five decimals.
4. NIST/SEMATECH e-Handbook 6.2.3.1, plan n = 52, c = 3: printed values from memory, within a
   unit of the third decimal; recomputed here with exact fractions.
5. Smallest samples with no bad piece allowed: hypergeometric, by exact fractions.
"""

from fractions import Fraction
from math import comb

import pytest
from scipy import optimize

from lotqa.sampling.acceptance import (
    bad_upper_bound,
)
from lotqa.sampling.attributes import acceptance_probability, process_probability
from lotqa.sampling.plan import code_letter, sample_size_for_lot
from tests.published.source import agrees, one

TABLE_I = [  # first lot size of the row: letters at general levels I, II, III
    (2, "AAB"),
    (9, "ABC"),
    (16, "BCD"),
    (26, "CDE"),
    (51, "CEF"),
    (91, "DFG"),
    (151, "EGH"),
    (281, "FHJ"),
    (501, "GJK"),
    (1201, "HKL"),
    (3201, "JLM"),
    (10001, "KMN"),
    (35001, "LNP"),
    (150001, "MPQ"),
    (500001, "NQR"),
]
SAMPLE_SIZES = dict(
    zip(
        "ABCDEFGHJKLMNPQ",
        [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250],
        strict=True,
    )
)


def last_of_row(i):
    return TABLE_I[i + 1][0] - 1 if i + 1 < len(TABLE_I) else 10**6


@pytest.mark.parametrize("i", range(len(TABLE_I)))
@pytest.mark.parametrize(("column", "level"), list(enumerate(["I", "II", "III"])))
def test_code_letters(i, column, level):
    first, letters = TABLE_I[i]
    assert code_letter(first, level) == letters[column]
    assert code_letter(last_of_row(i), level) == letters[column]


@pytest.mark.parametrize("i", range(len(TABLE_I)))
def test_sample_size_at_general_level_two(i):
    first, letters = TABLE_I[i]
    expected = SAMPLE_SIZES[letters[1]]
    assert sample_size_for_lot(last_of_row(i)) == expected
    assert sample_size_for_lot(first) == min(expected, first)


def test_never_more_spools_than_there_are():
    assert all(1 <= sample_size_for_lot(n) <= n for n in range(1, 2000))


@pytest.mark.parametrize(
    ("n", "c", "accepted", "printed_pct"),
    [(80, 1, 0.05, 5.8), (125, 2, 0.05, 5.0), (80, 1, 0.95, 0.44), (125, 2, 0.95, 0.65)],
)
def test_plans_of_the_uk_schedule(n, c, accepted, printed_pct):
    p = optimize.brentq(lambda q: one(process_probability(q, n, c)) - accepted, 1e-6, 0.5)
    # Rounded (LQ5) or cut off (SQL): in either case within one unit of the last digit.
    unit = 0.1 if printed_pct > 1 else 0.01
    assert abs(100 * p - printed_pct) < unit


@pytest.mark.parametrize(
    ("p", "printed"),
    [
        (0.005, "0.97387"),
        (0.01, "0.91056"),
        (0.02, "0.73577"),
        (0.03, "0.55528"),
        (0.04, "0.40048"),
        (0.05, "0.27943"),
        (0.06, "0.19000"),
        (0.08, "0.08271"),
    ],
)
def test_textbook_curve_of_50_and_1(p, printed):
    assert agrees(process_probability(p, 50, 1), printed)


@pytest.mark.parametrize(
    ("percent", "remembered"),
    [(1, 0.998), (2, 0.980), (4, 0.845), (5, 0.739), (6, 0.620), (8, 0.394), (10, 0.223)],
)
def test_handbook_curve_of_52_and_3(percent, remembered):
    p = Fraction(percent, 100)
    exact = sum(comb(52, k) * p**k * (1 - p) ** (52 - k) for k in range(4))
    assert one(process_probability(percent / 100, 52, 3)) == pytest.approx(float(exact), rel=1e-12)
    assert abs(float(exact) - remembered) <= 0.001


def hypergeometric(n_lot, n_bad, n, c):
    """Probability of at most c bad among n drawn, as an exact fraction."""
    return sum(
        Fraction(comb(n_bad, k) * comb(n_lot - n_bad, n - k), comb(n_lot, n))
        for k in range(min(c, n_bad) + 1)
        if n - k >= 0
    )


@pytest.mark.parametrize(
    ("n_lot", "n_bad", "n", "c"), [(20, 2, 5, 0), (100, 5, 10, 0), (50, 10, 8, 1), (30, 30, 5, 4)]
)
def test_chance_of_accepting_a_lot(n_lot, n_bad, n, c):
    exact = float(hypergeometric(n_lot, n_bad, n, c))
    assert one(acceptance_probability(n_bad, n_lot, n, c)) == pytest.approx(
        exact, rel=1e-10, abs=1e-15
    )


# lot, bad ones, risk of missing them, fewest to measure, the chance at that number
SMALLEST_SAMPLES = [
    (50, 5, 0.05, 22, "0.0463856"),
    (100, 5, 0.05, 45, "0.0462063"),
    (100, 10, 0.05, 25, "0.0478866"),
    (500, 25, 0.05, 56, "0.0474538"),
    (1000, 50, 0.05, 57, "0.0492368"),
    (1000, 10, 0.10, 205, "0.0996771"),
    (20, 2, 0.10, 14, "0.0789474"),
]


@pytest.mark.parametrize(
    ("n_lot", "n_bad", "missed", "n", "printed"),
    SMALLEST_SAMPLES,
)
def test_smallest_sample_that_hardly_ever_misses(n_lot, n_bad, missed, n, printed):
    assert agrees(acceptance_probability(n_bad, n_lot, n, 0), printed)
    assert one(acceptance_probability(n_bad, n_lot, n - 1, 0)) > missed
    # The same table read from the other side: n clean spools exclude n_bad, n - 1 do not.
    assert bad_upper_bound(n_lot, n, 0, 1 - missed) < n_bad
    assert bad_upper_bound(n_lot, n - 1, 0, 1 - missed) >= n_bad


@pytest.mark.parametrize("confidence", [0.80, 0.90, 0.95])
@pytest.mark.parametrize(("n_lot", "n", "seen"), [(12, 3, 0), (12, 3, 1), (40, 8, 0), (40, 8, 3)])
def test_bound_by_trying_every_number_of_bad_spools(n_lot, n, seen, confidence):
    possible = range(seen, n_lot - (n - seen) + 1)
    risk = 1 - Fraction(str(confidence))
    kept = [bad for bad in possible if hypergeometric(n_lot, bad, n, seen) > risk]
    assert bad_upper_bound(n_lot, n, seen, confidence) == max(kept)


def test_a_lot_measured_whole_leaves_no_doubt():
    assert bad_upper_bound(10, 10, 0, 0.95) == 0
    assert bad_upper_bound(10, 10, 3, 0.95) == 3
    assert bad_upper_bound(10, 9, 0, 0.95) == 1  # the tenth spool is bad once in ten such lots
