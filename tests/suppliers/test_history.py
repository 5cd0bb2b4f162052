"""Estimates of single lots, against closed forms, scipy and simulation."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from lotqa.suppliers.history import grouped, lot_estimates, newest_inspections
from tests.suppliers.lots import lot, simulated


def test_several_spools_have_the_spool_means_as_units():
    means = [1.741, 1.752, 1.747, 1.760]
    (got,) = lot_estimates([lot("A", means=means)])
    low, high = stats.t.interval(0.95, 3, loc=np.mean(means), scale=stats.sem(means))
    assert got.mean_mm == pytest.approx(np.mean(means), abs=1e-12)
    assert (got.mean_lo_mm, got.mean_hi_mm) == pytest.approx((low, high), abs=1e-12)
    assert got.deviation_mm == pytest.approx(0.0, abs=1e-12)


def test_the_instrument_is_added_to_the_scatter_of_spools():
    means, sd, n, u_instrument = [1.741, 1.752, 1.747], 0.006, 20, 0.010
    u_mean = np.sqrt(sd**2 / n + u_instrument**2)
    (got,) = lot_estimates([lot("A", means=means, sds=sd, places=n, u_mean_mm=u_mean)])
    by_spools = stats.t.ppf(0.975, 2) * stats.sem(means)
    want = np.hypot(by_spools, stats.norm.ppf(0.975) * u_instrument)
    assert got.u_instrument_mm == pytest.approx(u_instrument, rel=1e-9)
    assert got.mean_hi_mm - got.mean_mm == pytest.approx(want, rel=1e-6)


def test_spools_alike_by_luck_are_not_better_known_than_their_places():
    n, sd = 20, 0.006
    (got,) = lot_estimates([lot("A", means=[1.7500, 1.7500], sds=sd, places=n)])
    want = stats.t.ppf(0.975, 2 * (n - 1)) * sd / np.sqrt(2 * n)  # one pool of 40 places
    assert got.mean_hi_mm - got.mean_mm == pytest.approx(want, rel=1e-9)


def test_one_spool_keeps_its_own_uncertainty():
    n, sd = 20, 0.006
    (alone,) = lot_estimates([lot("A", means=[1.752], sds=sd, places=n)])
    want = stats.t.ppf(0.975, n - 1) * sd / np.sqrt(n)
    assert alone.mean_hi_mm - alone.mean_mm == pytest.approx(want, rel=1e-9)
    assert np.isnan(alone.s_spools_mm)

    (summary,) = lot_estimates([lot("A", mean_mm=1.752, u_mean_mm=0.004)])
    want = stats.norm.ppf(0.975) * 0.004
    assert summary.mean_hi_mm - summary.mean_mm == pytest.approx(want, rel=1e-6)


def test_the_interval_of_a_lot_covers_its_mean_in_simulation():
    rng = np.random.default_rng(11)
    n_lots, true_mm = 4000, 1.75
    lots = lot_estimates(simulated(rng, n_lots, n_spools=2, lot_sd_mm=0.0))
    covered = np.mean([v.mean_lo_mm <= true_mm <= v.mean_hi_mm for v in lots])
    # Student is exact here and the floor by the places only widens: at least 95 % less 4 SE.
    assert covered > 0.95 - 4 * np.sqrt(0.95 * 0.05 / n_lots)


def test_spread_is_pooled_over_spools_with_its_chi_square_interval():
    sds, places = np.array([0.004, 0.007, 0.005]), np.array([10, 20, 15])
    (got,) = lot_estimates([lot("A", means=[1.75] * 3, sds=sds, places=places)])
    sum_of_squares, df = np.sum((places - 1) * sds**2), np.sum(places - 1)
    ends = np.sqrt(sum_of_squares / stats.chi2.ppf([0.975, 0.025], df))
    assert got.df_sd == df
    assert got.sd_observed_mm == pytest.approx(np.sqrt(sum_of_squares / df), rel=1e-12)
    assert (got.sd_lo_mm, got.sd_hi_mm) == pytest.approx(tuple(ends), rel=1e-9)


def test_a_gauge_that_was_taken_off_is_taken_off_the_interval_too():
    (got,) = lot_estimates([lot("A", means=[1.75], sds=0.005, within_spool_sd_mm=0.003)])
    low, high = 0.005**2 * 19 / stats.chi2.ppf([0.975, 0.025], 19)
    assert got.sd_mm == pytest.approx(0.003, rel=1e-9)
    # The gauge's 0.004**2 is known, so each end moves by just that.
    assert got.sd_hi_mm == pytest.approx(np.sqrt(high - 0.004**2), rel=1e-9)
    assert got.sd_lo_mm == pytest.approx(np.sqrt(max(low - 0.004**2, 0.0)), abs=1e-12)


def test_readings_all_equal_do_not_bound_the_spread_from_above():
    (got,) = lot_estimates([lot("A", means=[1.75], sds=0.0)])
    assert got.sd_mm == 0.0
    assert np.isnan(got.sd_hi_mm)


def test_one_place_has_no_spread():
    (got,) = lot_estimates([lot("A", means=[1.75], sds=0.0, places=1)])
    assert got.df_sd == 0
    assert np.isnan(got.sd_mm)
    assert np.isnan(got.mean_hi_mm)


def test_a_spread_written_for_a_single_place_is_no_spread():
    written, blank = (
        lot_estimates([lot("A", means=[1.75, 1.75], sds=[sd, 0.006], places=[1, 20])])[0]
        for sd in (0.0, np.nan)
    )
    assert written.mean_hi_mm == blank.mean_hi_mm
    assert written.sd_observed_mm == pytest.approx(0.006)


def test_order_is_by_date_received_else_inspected():
    late = lot("late", 60, [1.75])
    early = lot("early", 0, [1.75])
    undated = lot(
        "undated", 0, [1.75], received=None, inspected_at=datetime(2024, 2, 1, 8, tzinfo=UTC)
    )
    got = lot_estimates([late, undated, early])
    assert [v.record.lot for v in got] == ["early", "undated", "late"]
    assert got[1].day == date(2024, 2, 1)


def test_the_newest_inspection_of_a_lot_counts_and_only_that():
    first = lot("A", 0, [1.75])
    again = lot("A", 0, [1.76], inspected_at=first.inspected_at + timedelta(days=40))
    other_colour = lot("A", 0, [1.77], colour="red")
    assert newest_inspections([again, first, other_colour]) == [again, other_colour] or (
        newest_inspections([again, first, other_colour]) == [other_colour, again]
    )
    assert first not in newest_inspections([again, first])


def test_times_with_and_without_zone_can_stand_side_by_side():
    naive = lot("A", 0, [1.75], inspected_at=datetime(2024, 1, 16, 9))
    assert len(lot_estimates([naive, lot("B", 0, [1.75])])) == 2


def test_unlike_nominal_diameters_are_grouped_apart():
    thick = lot("T", 10, [2.86], nominal_mm=2.85)
    groups = grouped(lot_estimates([thick, lot("A", 0, [1.75]), lot("B", 20, [1.76])]))
    assert [key[2] for key, _ in groups] == [1.75, 2.85]
    assert [v.record.lot for v in groups[0][1]] == ["A", "B"]
    assert groups[1][1][0].deviation_mm == pytest.approx(0.01)


def test_nothing_gives_nothing():
    assert lot_estimates([]) == ()


def test_a_spool_without_mean_is_left_out():
    (got,) = lot_estimates([lot("A", means=[1.74, np.nan, 1.76], sds=0.005)])
    assert got.n_spools == 2
    assert got.mean_mm == pytest.approx(1.75)


def test_unequal_lists_of_spools_are_refused_by_name():
    record = lot("K-7", means=[1.75, 1.76])
    with pytest.raises(ValueError) as caught:
        type(record)(
            supplier="Kranich Filament",
            material="PLA",
            lot="K-7",
            inspected_at=record.inspected_at,
            spool_means_mm=(1.75, 1.76),
            spool_sds_mm=(0.004,),
            spool_places=(20, 20),
        )
    assert str(caught.value) == (
        'lot "K-7" of Kranich Filament: 2 spool means, 1 standard deviations, '
        "2 numbers of places: give one of each for each spool"
    )
