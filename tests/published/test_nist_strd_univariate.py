"""Mean, s and lag-1 r against the certified values of NIST StRD, univariate summary statistics.

Source: NIST Statistical Reference Datasets (itl.nist.gov/div898/strd/univ), nine data sets.
Closeness is the log relative error, LRE = -log10(|computed - certified| / |certified|), that is
the number of correct significant digits (McCullough 1998, The American Statistician 52, 358-366).

How many digits can be asked of double precision is derived for each set, never chosen:
* 10000000.2 is stored with an error of up to half a spacing, 9e-10, and s is 0.1.  By the triangle
  inequality |s(x + e) - s(x)| <= max|e| * sqrt(n / (n - 1)): s is known to 8.0 digits at best.
* Sums of n terms carry a relative error of at most n * 2**-53 (Higham 2002, Accuracy and
  Stability of Numerical Algorithms, 2nd ed., eq. 4.4).
* The certified values are printed with 15 digits.
"""

import numpy as np
import pytest

from lotqa.evidence.order import autocorrelation, lag1
from lotqa.evidence.summary import summarise
from tests.published.source import load, one

SETS = load("strd_univariate.json")["sets"]
UNIT_ROUNDOFF = 2.0**-53
PRINTED = 5e-15  # 15 significant digits: half a unit of the last one, for a leading digit 1


def values_of(name):
    entry = SETS[name]
    if "digits" in entry:
        return np.array([int(digit) for digit in "".join(entry["digits"])], dtype=float)
    if "pairs" in entry:
        return np.array([entry["first"], *(entry["then"] * entry["pairs"])])
    return np.array(entry["values"], dtype=float)


def stored_error(x):
    """Largest error made by storing the decimal data as doubles; integers are exact."""
    return 0.0 if np.all(x == np.rint(x)) else 0.5 * np.spacing(np.abs(x).max())


def attainable(name):
    """Relative error of mean and s, absolute error of r1, that double precision allows."""
    x = values_of(name)
    n, s = len(x), float(SETS[name]["s"])
    summation = n * UNIT_ROUNDOFF
    relative_noise = stored_error(x) * np.sqrt(n / (n - 1)) / s
    # r1 is a ratio of two forms of the deviations; each moves by at most 2 * noise, and an error
    # of the mean of n roundoffs moves the numerator by another 2 * roundoff * mean / s.
    return {
        "mean": PRINTED + summation,
        "s": PRINTED + summation + relative_noise,
        "r1": PRINTED + 3 * summation + 6 * relative_noise,
    }


def lre(computed, certified):
    certified = float(certified)
    error = abs(one(computed) - certified) / abs(certified)
    return 15.9 if error == 0 else -np.log10(error)


@pytest.mark.parametrize("name", SETS)
def test_mean_to_the_attainable_digits(name):
    got = summarise(values_of(name)).mean
    assert lre(got, SETS[name]["mean"]) >= -np.log10(attainable(name)["mean"])


@pytest.mark.parametrize("name", SETS)
def test_standard_deviation_to_the_attainable_digits(name):
    got = summarise(values_of(name)).s
    assert lre(got, SETS[name]["s"]) >= -np.log10(attainable(name)["s"])


@pytest.mark.parametrize("name", SETS)
def test_lag_1_autocorrelation_to_the_attainable_digits(name):
    r1, _ = lag1(values_of(name))
    certified = float(SETS[name]["r1"])
    assert one(r1) == pytest.approx(certified, rel=0, abs=attainable(name)["r1"])


@pytest.mark.parametrize("name", SETS)
def test_the_autocorrelation_function_starts_with_one_and_the_certified_r1(name):
    r = np.asarray(autocorrelation(values_of(name), 1))
    assert r.shape == (1, 2)
    assert r[0, 0] == pytest.approx(1.0, abs=3 * len(values_of(name)) * UNIT_ROUNDOFF)
    certified = float(SETS[name]["r1"])
    assert r[0, 1] == pytest.approx(certified, rel=0, abs=attainable(name)["r1"])


def test_the_digits_asked_for_are_the_ones_stated():
    digits = {name: -np.log10(attainable(name)["s"]) for name in SETS}
    assert digits["NumAcc4"] == pytest.approx(8.0, abs=0.05)
    assert digits["NumAcc3"] == pytest.approx(9.2, abs=0.05)
    assert min(digits[name] for name in SETS if name not in ("NumAcc3", "NumAcc4")) > 12


@pytest.mark.parametrize("name", ["NumAcc3", "NumAcc4"])
def test_the_check_tells_a_one_pass_formula_from_a_two_pass_one(name):
    """The planted fault: mean of squares less square of the mean loses every digit here."""
    x = values_of(name)
    n = len(x)
    one_pass = np.sqrt(abs(np.sum(x**2) - n * np.mean(x) ** 2) / (n - 1))
    assert lre(one_pass, SETS[name]["s"]) < -np.log10(attainable(name)["s"])


def test_many_spools_at_once_give_the_same_numbers_as_one_at_a_time():
    easy, hard = values_of("NumAcc2"), values_of("NumAcc4")
    together = summarise(np.vstack([easy, hard]))
    assert together.n == 1001
    for row, name in enumerate(["NumAcc2", "NumAcc4"]):
        assert lre(together.mean[row], SETS[name]["mean"]) >= -np.log10(attainable(name)["mean"])
        assert lre(together.s[row], SETS[name]["s"]) >= -np.log10(attainable(name)["s"])


def test_smallest_largest_and_median_of_the_digits_of_pi():
    """Every digit occurs, so the extremes are 0 and 9; the median follows from counting."""
    digits = "".join(SETS["PiDigits"]["digits"])
    below = 0
    for median in range(10):
        below += digits.count(str(median))
        if below > len(digits) / 2:
            break
    got = summarise(values_of("PiDigits"))
    assert (one(got.low), one(got.median), one(got.high)) == (0, median, 9)
