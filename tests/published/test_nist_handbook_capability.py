"""Capability indices: NIST/SEMATECH e-Handbook 6.1.6.

Numbers of the worked example were read as quoted elsewhere.  The table that turns Cp into rejects
is from memory and recomputed here with the normal tail; its entry 64 ppm for 1.33 is left out,
since neither Cp = 1.33 (66 ppm) nor 4/3 (63 ppm) rounds to it.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.capability import cp, cpk, cpm, fraction_outside
from tests.published.source import agrees, load, one

EXAMPLE = load("nist_handbook.json")["capability"]
LSL, USL = EXAMPLE["lsl"], EXAMPLE["usl"]


def test_worked_example():
    assert agrees(cp(EXAMPLE["s"], LSL, USL), EXAMPLE["cp"])
    assert agrees(cpk(EXAMPLE["mean"], EXAMPLE["s"], LSL, USL), EXAMPLE["cpk"])


def test_the_index_against_a_target_tends_to_the_population_value():
    """(USL - LSL) / (6 sqrt(s**2 + (mean - T)**2)) = 12 / (6 sqrt(8)), approached as 1 / n."""
    n = 10**7
    got = cpm(EXAMPLE["mean"], EXAMPLE["s"], n, LSL, USL, EXAMPLE["target"])
    assert one(got) == pytest.approx(1 / np.sqrt(2), rel=1 / n)


@pytest.mark.parametrize(
    ("capability", "printed", "unit"), [(1.0, "0.27", 100), (1.66, "0.6", 1e6), (2.0, "2", 1e9)]
)
def test_capability_turned_into_rejects(capability, printed, unit):
    estimate, _, _ = fraction_outside(0.0, 1.0, 50, -3 * capability, 3 * capability)
    assert agrees(one(estimate) * unit, printed)
    assert one(estimate) == pytest.approx(2 * stats.norm.sf(3 * capability), rel=1e-9)


def test_limits_and_estimates_broadcast():
    mean = np.array([14.0, 16.0])
    got = cpk(mean, np.array([2.0, 2.0]), LSL, USL)
    assert np.asarray(got) == pytest.approx([1.0, 2 / 3])
    assert np.shape(cp(2.0, np.array([8.0, 10.0]), 20.0)) == (2,)
