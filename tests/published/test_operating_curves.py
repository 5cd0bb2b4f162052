"""Operating curves of plans that count bad spools, against printed points.

1. 7 CFR 42.140 (c), (d): 500 containers, 3 allowed; read in the Code of Federal Regulations.
2. UK SI 1996/2636, Schedule: quality accepted in 5 % (LQ5) and in 95 % of cases (SQL); read.
3. Textbook table of n = 50, c = 1, five decimals; read.
4. Krajewski and Ritzman, Operations Management, supplement on acceptance sampling, solved problem
   (the book from memory): AQL 3 %, LTPD 8 %; the Poisson curve was read, n = 180 and c = 9 are the
   only plan that has it.
5. A teaching note on the hypergeometric law: N = 25, n = 5, nothing allowed; read.
6. From memory, and therefore held against exact fractions in the same test: MIL-STD-105E, Tables
   X-F-1 and X-J-1; Montgomery, Statistical Quality Control, n = 89, c = 2; NIST/SEMATECH e-Handbook
   6.2.3.1, n = 52, c = 3; Devore, Probability and Statistics, Table A.1; Kiermeier, J. Stat.
   Software 26 (2008) 6, the plan of two risks n = 80, c = 7.
7. Success-run samples 29, 59, 299 (95 % sure of 90, 95, 99 %; Wilks 1941); read.
"""

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from scipy import stats

from lotqa.sampling.attributes import (
    acceptance_probability,
    fraction_accepted_with,
    plan_for_risks,
    process_probability,
    zero_acceptance_size,
    zero_acceptance_size_endless,
)
from tests.published.source import agrees, last_digit, one
from tests.published.test_acceptance_sampling import SMALLEST_SAMPLES


def exactly(p, n, c):
    """Chance of at most c bad of n, as an exact fraction."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(c + 1))


def chance(p, n, c):
    """The chance of acceptance as a float."""
    return one(process_probability(p, n, c))


def test_canned_goods_of_the_federal_regulations():
    """At 1.0 defects per hundred only 26 %, at 0.10 "about 99 percent" of the lots are accepted."""
    assert agrees(100 * chance(0.01, 500, 3), "26")
    assert 98.5 <= 100 * chance(0.001, 500, 3) <= 100


@pytest.mark.parametrize(
    ("n", "c", "accepted", "printed_pct"),
    [(80, 1, 0.05, 5.8), (125, 2, 0.05, 5.0), (80, 1, 0.95, 0.44), (125, 2, 0.95, 0.65)],
)
def test_quality_levels_of_the_uk_schedule(n, c, accepted, printed_pct):
    """Rounded (LQ5) or cut off (SQL): in either case within one unit of the last digit."""
    unit = 0.1 if printed_pct > 1 else 0.01
    assert abs(100 * fraction_accepted_with(accepted, n, c) - printed_pct) < unit


@pytest.mark.parametrize(
    ("p", "printed"),
    [
        *[(0.005, "0.97387"), (0.01, "0.91056"), (0.02, "0.73577"), (0.03, "0.55528")],
        *[(0.04, "0.40048"), (0.05, "0.27943"), (0.06, "0.19000"), (0.08, "0.08271")],
    ],
)
def test_textbook_curve_of_50_and_1(p, printed):
    assert agrees(chance(p, 50, 1), printed)


REMEMBERED_CURVES = {  # n, c: percent bad and chance of acceptance
    (89, 2): "0.5 .9897 1 .9397 2 .7366 3 .4985 4 .3042 5 .1721 6 .0919 7 .0468 8 .0230 9 .0109",
    (10, 2): "1 1.000 5 .988 10 .930 20 .678 25 .526",
    (10, 1): "1 .996 5 .914 10 .736 20 .376 25 .244",
    (15, 2): "1 1.000 5 .964 10 .816 20 .398 25 .236",
}


@pytest.mark.parametrize(("n", "c"), list(REMEMBERED_CURVES))
def test_remembered_curves_of_the_textbooks(n, c):
    words = REMEMBERED_CURVES[n, c].split()
    for percent, remembered in zip(words[::2], words[1::2], strict=True):
        exact = exactly(Fraction(percent) / 100, n, c)
        assert agrees(float(exact), remembered), percent
        assert chance(float(percent) / 100, n, c) == pytest.approx(float(exact), abs=1e-12)


def test_remembered_curve_of_the_handbook():
    """52 of which 3 may be bad; the third decimal of the handbook is off by up to one."""
    remembered = [
        0.998,
        0.980,
        0.930,
        0.845,
        0.739,
        0.620,
        0.502,
        0.394,
        0.300,
        0.223,
        0.162,
        0.115,
    ]
    for percent, value in enumerate(remembered, start=1):
        exact = float(exactly(Fraction(percent, 100), 52, 3))
        assert abs(exact - value) <= 0.001
        assert chance(percent / 100, 52, 3) == pytest.approx(exact, abs=1e-12)


ACCEPTED_PCT = ("99", "95", "90", "75", "50", "25", "10", "5", "1")
TABLE_X = {  # n, c: percent bad at which so many percent of the lots are accepted
    (20, 0): "0.0502 0.256 0.525 1.43 3.41 6.70 10.9 13.9 20.6",
    (20, 1): "0.759 1.81 2.69 4.81 8.25 12.9 18.1 21.6 28.9",
    (20, 2): "2.27 4.22 5.64 8.70 13.1 18.7 24.5 28.3 35.8",
    (80, 0): "0.0126 0.0641 0.132 0.359 0.863 1.72 2.84 3.68 5.59",
}


@pytest.mark.parametrize(("n", "c"), list(TABLE_X))
def test_remembered_quality_levels_of_mil_std_105e(n, c):
    """The exact chance at both ends of the printed digits encloses the one of the column."""
    for accepted, printed in zip(ACCEPTED_PCT, TABLE_X[n, c].split(), strict=True):
        half = Fraction(str(last_digit(printed))) / 2
        low, high = ((Fraction(printed) + sign * half) / 100 for sign in (-1, 1))
        chance = Fraction(accepted) / 100
        assert exactly(high, n, c) <= chance <= exactly(low, n, c), printed
        assert float(low) <= fraction_accepted_with(float(chance), n, c) <= float(high)


def test_textbook_curve_by_poisson_and_the_plan_it_belongs_to():
    """Binomial and Poisson differ by less than p (1 - exp(-n p)), Barbour and Hall 1984."""
    printed = ["1.000", ".996", ".951", ".810", ".587", ".363", ".194", ".092", ".039", ".015"]
    for percent, value in enumerate(printed, start=1):
        p = percent / 100
        assert agrees(stats.poisson.cdf(9, 180 * p), value)
        assert abs(chance(p, 180, 9) - float(value)) < p * (1 - np.exp(-180 * p)) + 0.0005
    # Its risks hold, so the smallest plan that keeps them is no larger, and as it happens smaller.
    plan = plan_for_risks(0.03, 0.05, 0.08, 0.10)
    assert chance(0.03, 180, 9) >= 0.95
    assert chance(0.08, 180, 9) <= 0.10
    assert plan.n <= 180
    assert plan.acceptance == 9


def test_remembered_plan_of_two_risks():
    plan = plan_for_risks(0.05, 0.05, 0.15, 0.075)
    assert (plan.n, plan.acceptance) == (80, 7)
    good, bad = Fraction(1, 20), Fraction(3, 20)
    assert exactly(good, 80, 7) >= Fraction(95, 100)
    assert exactly(bad, 80, 7) <= Fraction(75, 1000)
    # A smaller sample breaks one of the two, whatever is allowed.
    assert not any(
        exactly(good, 79, c) >= Fraction(95, 100) and exactly(bad, 79, c) <= Fraction(75, 1000)
        for c in range(20)
    )


def test_a_small_lot_of_the_teaching_note():
    """Two bad of 25, five drawn: 0.6333; the exact fraction is C(23, 5) / C(25, 5) = 19/30."""
    got = acceptance_probability(np.array([2, 5]), 25, 5, 0)
    assert agrees(got[0], "0.6333")
    exact = [Fraction(comb(25 - bad, 5), comb(25, 5)) for bad in (2, 5)]
    assert exact[0] == Fraction(19, 30)
    assert got == pytest.approx([float(v) for v in exact], abs=1e-12)


@pytest.mark.parametrize(("n_bad", "c"), [(5, 1), (8, 1), (8, 2)])
def test_a_lot_of_a_hundred_of_which_fifteen_are_drawn(n_bad, c):
    """A textbook exercise without its answer; by exact fractions, and nearer than a process."""
    exact = float(
        sum(
            Fraction(comb(n_bad, k) * comb(100 - n_bad, 15 - k), comb(100, 15))
            for k in range(c + 1)
        )
    )
    got = one(acceptance_probability(np.array([n_bad]), 100, 15, c))
    assert got == pytest.approx(exact, abs=1e-12)
    assert abs(got - chance(n_bad / 100, 15, c)) > 1e-3


@pytest.mark.parametrize(("fraction", "n"), [(0.10, 29), (0.05, 59), (0.01, 299)])
def test_success_run_samples(fraction, n):
    assert zero_acceptance_size_endless(fraction, 0.05) == n
    assert chance(fraction, n, 0) <= 0.05 < chance(fraction, n - 1, 0)


@pytest.mark.parametrize(
    ("n_lot", "n_bad", "risk", "n", "computed"),
    SMALLEST_SAMPLES,
)
def test_smallest_samples_of_lots_by_another_hand(n_lot, n_bad, risk, n, computed):
    assert zero_acceptance_size(n_bad, risk, n_lot) == n
    assert agrees(acceptance_probability(np.array([n_bad]), n_lot, n, 0), computed)
