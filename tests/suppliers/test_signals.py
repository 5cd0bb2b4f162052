"""Signals: prediction and F-test against scipy, false-alarm rate and power by simulation."""

import numpy as np
import pytest
from scipy import stats

from lotqa.suppliers.history import lot_estimates
from lotqa.suppliers.signals import compare_mean, compare_spread
from tests.suppliers.lots import lot, simulated

RATE = 0.01


def in_sequence(lots):
    """Comparisons of each lot from the third on with those before it."""
    return [
        (compare_mean(lots[i], lots[:i], RATE), compare_spread(lots[i], lots[:i], RATE))
        for i in range(2, len(lots))
    ]


def test_prediction_is_students_for_one_further_value():
    earlier = [1.741, 1.752, 1.747, 1.760]
    lots = lot_estimates([lot(f"L{i}", i, [m]) for i, m in enumerate([*earlier, 1.75])])
    got = compare_mean(lots[-1], lots[:-1], RATE)
    s = np.std(earlier, ddof=1)
    want = stats.t.interval(0.99, 3, loc=np.mean(earlier), scale=s * np.sqrt(1 + 1 / 4))
    assert (1.75 + got.lo_mm, 1.75 + got.hi_mm) == pytest.approx(want, rel=1e-9)
    assert got.n_earlier == 4


def test_signal_is_given_just_outside_the_prediction_and_not_just_inside():
    earlier = [lot(f"L{i}", i, [m]) for i, m in enumerate([1.741, 1.752, 1.747, 1.760])]
    probe = lot_estimates([*earlier, lot("N", 9, [1.75])])
    high = 1.75 + compare_mean(probe[-1], probe[:-1], RATE).hi_mm
    for mean, is_signal in ((high - 1e-9, False), (high + 1e-9, True)):
        lots = lot_estimates([*earlier, lot("N", 9, [mean])])
        assert compare_mean(lots[-1], lots[:-1], RATE).is_signal is is_signal


def test_spread_is_judged_by_the_f_distribution():
    lots = lot_estimates(
        [
            lot("A", 0, [1.75], sds=0.004, places=20),
            lot("B", 1, [1.75], sds=0.006, places=10),
            lot("C", 2, [1.75], sds=0.009, places=15),
        ]
    )
    got = compare_spread(lots[2], lots[:2], RATE)
    pooled = np.sqrt((19 * 0.004**2 + 9 * 0.006**2) / 28)
    p = stats.f.sf(0.009**2 / pooled**2, 14, 28)
    assert got.p == pytest.approx(p, rel=1e-9)
    assert got.limit_mm == pytest.approx(pooled * np.sqrt(stats.f.ppf(0.99, 14, 28)), rel=1e-9)
    assert got.is_signal is bool(p < RATE)


def test_false_alarms_come_at_the_stated_rate_when_nothing_changes():
    rng = np.random.default_rng(41)
    found = [pair for _ in range(800) for pair in in_sequence(lot_estimates(simulated(rng, 17)))]
    n = len(found)
    # Sequential t and F statistics of normal data are independent (recursive residuals), so the
    # count of alarms is binomial; four standard errors.
    four_se = 4 * np.sqrt(RATE * (1 - RATE) / n)
    assert four_se < RATE / 2  # the test can tell 1 % from 0.5 or 1.5 %
    assert np.mean([spread.is_signal for _, spread in found]) == pytest.approx(RATE, abs=four_se)
    # The floor by the lots' own uncertainty can only widen the prediction of the mean.
    assert np.mean([mean.is_signal for mean, _ in found]) == pytest.approx(RATE, abs=four_se)


def test_false_alarms_stay_below_the_rate_where_lots_do_not_differ_at_all():
    rng = np.random.default_rng(42)
    runs = (simulated(rng, 12, lot_sd_mm=0.0) for _ in range(400))
    alarms = [mean.is_signal for run in runs for mean, _ in in_sequence(lot_estimates(run))]
    four_se = 4 * np.sqrt(RATE * (1 - RATE) / len(alarms))
    assert np.mean(alarms) < RATE + four_se


def test_a_lot_of_fewer_spools_does_not_alarm_more_often():
    rng = np.random.default_rng(43)
    alarms = []
    for _ in range(2500):
        lots = lot_estimates(
            [
                *simulated(rng, 6, n_spools=5, lot_sd_mm=0.002, spool_sd_mm=0.008),
                *simulated(rng, 1, n_spools=1, lot_sd_mm=0.002, spool_sd_mm=0.008, colour="red"),
            ]
        )
        (single,) = (v for v in lots if v.n_spools == 1)
        others = [v for v in lots if v.n_spools > 1]
        alarms.append(compare_mean(single, others, RATE).is_signal)
    four_se = 4 * np.sqrt(RATE * (1 - RATE) / len(alarms))
    # Its variance is 0.002**2 + 0.008**2 against 0.002**2 + 0.008**2 / 5 of the others, 4 times
    # as much: predicted as one of them it would alarm at P(|t5| > 4.03 / 2) = 10 %.
    assert np.mean(alarms) < RATE + four_se


@pytest.mark.parametrize("n_earlier", [2, 4, 8])
def test_a_tripled_spread_is_found(n_earlier):
    rng = np.random.default_rng(44)
    n_runs, places, n_spools = 300, 20, 3
    hits = []
    for _ in range(n_runs):
        sd_mm = [0.005] * n_earlier + [0.015]
        run = simulated(rng, n_earlier + 1, n_spools=n_spools, places=places, sd_mm=sd_mm)
        hits.append(in_sequence(lot_estimates(run))[-1][1].is_signal)
    df = n_spools * (places - 1)
    power = stats.f.sf(stats.f.ppf(1 - RATE, df, n_earlier * df) / 9, df, n_earlier * df)
    assert power > 0.9999  # a closed form: F of a tripled spread is 9 F
    assert all(hits)


def test_a_shifted_mean_is_found_as_often_as_noncentral_t_says():
    rng = np.random.default_rng(45)
    n_runs, m, shift = 1500, 8, 5.0
    x = rng.normal(0.0, 0.006, (n_runs, m + 1))
    x[:, -1] += shift * 0.006
    hits = []
    for row in x:
        lots = lot_estimates([lot(f"L{i}", i, [1.75 + v]) for i, v in enumerate(row)])
        hits.append(compare_mean(lots[-1], lots[:-1], RATE).is_signal)
    limit, centre = stats.t.ppf(1 - RATE / 2, m - 1), shift / np.sqrt(1 + 1 / m)
    power = stats.nct.sf(limit, m - 1, centre) + stats.nct.cdf(-limit, m - 1, centre)
    assert np.mean(hits) == pytest.approx(power, abs=4 * np.sqrt(power * (1 - power) / n_runs))


def test_lots_alike_by_luck_do_not_make_the_prediction_narrower_than_their_spools_allow():
    spools = np.array([-0.01, 0.0, 0.01])  # standard deviation 0.01
    lots = lot_estimates([lot(f"L{i}", i, 1.75 + spools) for i in range(5)])
    got = compare_mean(lots[4], lots[:4], RATE)
    want = stats.t.ppf(0.995, 3) * 0.01 / np.sqrt(3) * np.sqrt(1 + 1 / 4)
    assert got.hi_mm == pytest.approx(want, rel=1e-9)


def test_another_instrument_widens_the_prediction_by_both_uncertainties():
    def lots(instrument):
        known = {"sds": 0.004, "u_mean_mm": 0.012}
        earlier = [lot(f"L{i}", i, [m], **known) for i, m in enumerate((1.748, 1.752, 1.75))]
        return lot_estimates([*earlier, lot("N", 9, [1.76], instrument=instrument, **known)])

    same, other = (
        compare_mean(v[-1], v[:-1], RATE) for v in (lots("calliper A"), lots("micrometer"))
    )
    # Variance of the instrument alone: 0.012**2 - 0.004**2 / 20, once for each of the two.
    added = stats.norm.ppf(0.995) * np.sqrt(2 * (0.012**2 - 0.004**2 / 20))
    half_same, half_other = ((v.hi_mm - v.lo_mm) / 2 for v in (same, other))
    assert np.sqrt(half_other**2 - half_same**2) == pytest.approx(added, rel=1e-6)


def test_what_cannot_be_compared_is_none():
    one, two, three = lot_estimates([lot(f"L{i}", i, [1.75], sds=0.0) for i in range(3)])
    assert compare_mean(two, [one], RATE) is None  # one lot shows no scatter
    assert compare_mean(three, [one, two], RATE) is None  # all alike to the last digit
    assert compare_spread(three, [one, two], RATE) is None
    unknown = lot_estimates([lot("X", nominal_mm=None, means=[1.75])])[0]
    assert compare_mean(unknown, [one, two], RATE) is None
