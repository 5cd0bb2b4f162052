"""Tolerance factors: NIST/SEMATECH e-Handbook 7.2.6.3 (n = 43, 90 % coverage, 99 % confidence).

The handbook prints Howe's two-sided and Natrella's one-sided approximations.  The exact factors
beside them were computed by another hand, the two-sided one by a published integration code.
"""

import pytest

from lotqa.evidence.tolerance import howe_factor, one_sided_factor, two_sided_factor
from tests.published.source import agrees, load, one

EXAMPLE = load("nist_handbook.json")["tolerance"]
CASE = (EXAMPLE["n"], EXAMPLE["coverage"], EXAMPLE["confidence"])


def test_two_sided_as_printed_by_howes_method():
    k = one(howe_factor(*CASE))
    assert agrees(k, EXAMPLE["k_two_sided"])
    low, high = EXAMPLE["two_sided"]
    assert agrees(EXAMPLE["mean"] - k * EXAMPLE["s"], low)
    assert agrees(EXAMPLE["mean"] + k * EXAMPLE["s"], high)


def test_two_sided_exact_factor_is_larger_than_the_printed_approximation():
    assert one(two_sided_factor(*CASE)) == pytest.approx(2.2228251737909, abs=1e-7)
    assert not agrees(two_sided_factor(*CASE), EXAMPLE["k_two_sided"])


def test_guenthers_correction_closes_most_of_the_gap():
    corrected = one(howe_factor(*CASE, guenther=True))
    assert corrected == pytest.approx(2.2219923836361, rel=1e-9)
    gap = 2.2228251737909 - one(howe_factor(*CASE))
    assert 2.2228251737909 - corrected < gap / 5


def test_one_sided_exact_factor():
    """Noncentral t gives 1.8740; the approximation printed in the handbook gives 1.8752."""
    assert agrees(one_sided_factor(*CASE), EXAMPLE["k_one_sided_exact"])
    approximation = float(EXAMPLE["k_one_sided_natrella"])
    assert 0 < approximation - one(one_sided_factor(*CASE)) < 0.002
