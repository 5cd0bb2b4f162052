"""Net content of prepackages against the law.

1. Directive 76/211/EEC, Annex I, 2.4: tolerable negative errors; 2.5: values worked out as a
   percentage are rounded up to the nearest tenth of a gram (table seen at gov.uk and in two other
   national texts).  Above 15 kg: 1 % (OIML R 87 and national texts).
2. UK SI 2006/659, Schedule 2, paragraph 4 = Directive 76/211/EEC, Annex II, 2.3: the mean of n
   packages is accepted if not below Qn - factor * s, factor = t(0.995, n - 1) / sqrt(n), printed as
   0.640, 0.503 and 0.379.
"""

import math
from fractions import Fraction

import numpy as np
import pytest

from lotqa.evidence.summary import mean_interval
from lotqa.evidence.weight import tolerable_negative_error_g
from tests.published.source import agrees, one

# Annex I, 2.4: from g, to g, what the error is, as a percentage or in grams
ANNEX_I = [
    (5, 50, "%", Fraction(9)),
    (50, 100, "g", Fraction(9, 2)),
    (100, 200, "%", Fraction(9, 2)),
    (200, 300, "g", Fraction(9)),
    (300, 500, "%", Fraction(3)),
    (500, 1000, "g", Fraction(15)),
    (1000, 10000, "%", Fraction(3, 2)),
    (10000, 15000, "g", Fraction(150)),
]


def lawful_error_g(nominal_g):
    """Read from the table with exact fractions, so that no binary rounding can round up."""
    for low, high, kind, amount in ANNEX_I:
        if low <= nominal_g <= high:
            exact = amount if kind == "g" else amount * nominal_g / 100
            return float(Fraction(math.ceil(exact * 10), 10))
    raise AssertionError(f"{nominal_g} g is not in the table")


@pytest.mark.parametrize(
    ("nominal_g", "error_g"),
    [
        (250, 9),
        (500, 15),
        (750, 15),
        (1000, 15),
        (2000, 30),
        (2300, 34.5),
        (2500, 37.5),
        (5000, 75),
    ],
)
def test_usual_spools(nominal_g, error_g):
    assert one(tolerable_negative_error_g(nominal_g)) == pytest.approx(error_g, abs=1e-9)


@pytest.mark.parametrize(("nominal_g", "error_g"), [(333, 10.0), (1001, 15.1), (1234, 18.6)])
def test_percentages_are_rounded_up_to_a_tenth_of_a_gram(nominal_g, error_g):
    assert one(tolerable_negative_error_g(nominal_g)) == pytest.approx(error_g, abs=1e-9)


def test_every_whole_gram_from_5_g_to_15_kg():
    nominal_g = np.arange(5, 15_001)
    got = np.array([one(tolerable_negative_error_g(float(m))) for m in nominal_g])
    expected = np.array([lawful_error_g(int(m)) for m in nominal_g])
    wrong = nominal_g[np.abs(got - expected) > 1e-6]
    assert wrong.tolist() == []


def test_large_packages():
    assert one(tolerable_negative_error_g(20_000.0)) == pytest.approx(200.0, abs=1e-9)


@pytest.mark.parametrize(("n", "factor"), [(20, "0.640"), (30, "0.503"), (50, "0.379")])
def test_factor_of_the_mean_test(n, factor):
    """Half the width of the 99 % interval of the mean, for s = 1 g."""
    lo, hi = mean_interval(0.0, 1.0, n, confidence=0.99)
    assert agrees(hi, factor)
    assert one(lo) == -one(hi)


def test_worked_mean_test():
    """30 spools of 1000 g, mean 999.2 g, s 2.4 g: the limit is 1000 - 0.503 * 2.4 = 998.79 g."""
    lo, _ = mean_interval(1000.0, 2.4, 30, confidence=0.99)
    assert agrees(lo, "998.79")
