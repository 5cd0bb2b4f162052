"""Probabilities of conformity and decision risks against published and independent numbers.

1. JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity
   assessment, clauses 7, 8.3 and 9.5 (examples from memory, recomputed independently).
2. D. Deaver, How to maintain confidence; draft NCSLI RP-19, risk table (read as quoted elsewhere).
3. ISO 14253-1:2017: the rule for proving nonconformity.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.conformity import global_risks, nonconformity_shown, probability_within
from tests.published.source import agrees, load, one

DATA = load("conformity.json")


def test_viscosity_of_an_oil():
    oil = DATA["oil"]
    p = probability_within(oil["value"], oil["u"], np.inf, oil["lower"], oil["upper"])
    assert agrees(100 * one(p), oil["percent"])


def test_a_single_limit():
    case = DATA["zener"]
    p = probability_within(case["value"], case["u"], np.inf, case["limit"], np.inf)
    assert agrees(p, case["p_above"])


@pytest.mark.parametrize(("wanted", "highest"), DATA["speed"]["highest"].items())
def test_speed_that_is_surely_above_the_limit(wanted, highest):
    case = DATA["speed"]
    speeds = np.linspace(100.0, 110.0, 200_001)  # 5e-5 km/h apart
    p = probability_within(speeds, case["relative_u"] * speeds, np.inf, case["limit"], np.inf)
    assert agrees(speeds[int(np.argmax(p >= float(wanted)))], highest)


def test_the_printed_speed():
    assert agrees(float(DATA["speed"]["highest"]["0.999"]), "107")


@pytest.mark.parametrize("case", DATA["deaver"]["cases"])
def test_deaver(case):
    limit = case["limit"]
    guard = (1 - case["guard_factor"]) * limit
    u = 1 / case["ratio"]
    got = global_risks(0.0, 1.0, u, -limit, limit, guard)
    assert agrees(got.consumer, case["consumer"])
    assert case["producer"] is None or agrees(got.producer, case["producer"])


def test_deaver_to_more_digits():
    digits = DATA["deaver"]["digits"]
    got = global_risks(0.0, 1.0, 0.25, -2.0, 2.0)
    assert agrees(got.consumer, digits["consumer"])
    assert agrees(got.producer, digits["producer"])
    assert agrees(global_risks(0.0, 1.0, 0.25, -2.5, 2.5).consumer, digits["consumer_wide"])


RP19 = DATA["rp19"]


@pytest.mark.parametrize("i", range(len(RP19["share_in_tolerance"])))
def test_rp19_table(i):
    share = RP19["share_in_tolerance"][i]
    tau = 1 / stats.norm.ppf((1 + share) / 2)
    got = global_risks(0.0, tau, tau / 4, -1.0, 1.0)
    assert agrees(100 * got.consumer, RP19["false_accept_pct"][i])
    accepted = share - got.producer + got.consumer
    assert agrees(100 * got.consumer / accepted, RP19["conditional_pct"][i])


@pytest.mark.parametrize("guard", DATA["resistor"]["risks_by_guard"])
def test_a_resistor_with_guard_bands(guard):
    case = DATA["resistor"]
    mean, half = case["nominal"], case["tolerance"]
    got = global_risks(mean, case["process_sd"], case["u"], mean - half, mean + half, float(guard))
    consumer, producer = case["risks_by_guard"][guard]
    assert agrees(got.consumer, consumer)
    assert agrees(got.producer, producer)


@pytest.mark.parametrize(("value", "p"), DATA["diameter"]["p_by_value"].items())
def test_a_diameter(value, p):
    case = DATA["diameter"]
    assert agrees(
        probability_within(float(value), case["u"], np.inf, case["lower"], case["upper"]), p
    )


def test_a_production_of_diameters():
    case = DATA["diameter"]
    made = case["production"]
    limits = (case["lower"], case["upper"])
    outside = 1 - one(probability_within(made["mean"], made["sd"], np.inf, *limits))
    assert agrees(outside, made["share_outside"])
    plain = global_risks(made["mean"], made["sd"], made["u"], *limits)
    assert agrees(plain.consumer, made["consumer"])
    assert agrees(plain.producer, made["producer"])
    guarded = global_risks(made["mean"], made["sd"], made["u"], *limits, made["guard"])
    assert agrees(guarded.consumer, made["consumer_guarded"])
    assert agrees(guarded.producer, made["producer_guarded"])


def test_the_zone_of_doubt_of_iso_14253():
    case = DATA["iso14253"]
    lower, upper = (float(v) for v in case["zone"])
    values = np.array(
        [lower - 0.001, lower + 0.001, 1.70, 1.75, 1.80, upper - 0.001, upper + 0.001]
    )
    shown = nonconformity_shown(values, case["expanded"], case["lower"], case["upper"])
    assert shown.tolist() == [True, False, False, False, False, False, True]
    changes = sum(a != b for a, b in pairwise(shown.tolist()))
    assert changes == 2
