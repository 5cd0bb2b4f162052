"""The drift document: contract, trend against statsmodels, invariances, few and odd lots."""

import json

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from lotqa.errors import UnusableInput
from lotqa.suppliers.drift import drift_document
from lotqa.suppliers.words import drift_sentences
from tests.suppliers.lots import lot, simulated

KRANICH = "Kranich Filament"
THIRD_ON = "lots are compared from number 3 on"


def drift(records, supplier=KRANICH, material="PLA"):
    document = drift_document(records, supplier, material)
    json.dumps(document, allow_nan=False)  # every document must go out as JSON
    return document


def test_trend_agrees_with_least_squares_of_statsmodels():
    rng = np.random.default_rng(3)
    days, means = [0, 40, 95, 130, 260, 400], 1.75 + rng.normal(0, 0.01, 6)
    got = drift([lot(f"L{d}", d, [m]) for d, m in zip(days, means, strict=True)])["trend"]
    fit = sm.OLS(means, sm.add_constant(np.array(days) / 365.25)).fit()
    assert got["slope_mm_per_year"] == pytest.approx(fit.params[1], rel=1e-9)
    assert got["ci95"] == pytest.approx(list(fit.conf_int()[1]), rel=1e-9)
    assert got["p"] == pytest.approx(fit.pvalues[1], rel=1e-6)


def test_a_supplier_that_drifts_thin_is_called_so_with_the_size_of_the_drift():
    rng = np.random.default_rng(5)
    true_slope = -0.02
    run = simulated(rng, 12, lot_sd_mm=0.002, spool_sd_mm=0.002)
    drifting = [
        lot(
            r.lot,
            30 * i,
            np.array(r.spool_means_mm) + true_slope * 30 * i / 365.25,
            r.spool_sds_mm,
        )
        for i, r in enumerate(run)
    ]
    got = drift(drifting)
    low, high = got["trend"]["ci95"]
    assert low < true_slope < high < 0
    assert "a year thinner" in " ".join(drift_sentences(got))
    assert drift(run)["trend"]["ci95"][0] < 0 < drift(run)["trend"]["ci95"][1]


def test_a_line_that_changes_is_named_at_its_lot_with_both_sizes():
    rng = np.random.default_rng(6)
    run = simulated(rng, 6, sd_mm=[0.005] * 4 + [0.015] * 2)
    got = drift(run)
    first = next(v for v in got["lots"] if v["signals"])
    (signal,) = first["signals"]
    assert first["lot"] == "L5"
    assert signal["characteristic"] == "spread"
    assert signal["direction"] == "up"
    assert signal["earlier_lots"] == 4
    # Chi-square limits of s from 57 and 4 * 57 degrees of freedom at four standard errors.
    assert signal["value_mm"] == pytest.approx(0.015, rel=4 / np.sqrt(2 * 57))
    assert signal["text"].startswith("spread rose: 0.01")
    assert signal["text"].endswith("of 4 earlier lots")
    assert f"lot L5 ({first['date']}): spread rose" in drift_sentences(got)[0]


@pytest.mark.parametrize(("move_mm", "direction"), [(0.08, "up"), (-0.08, "down")])
def test_a_mean_that_moves_is_named_with_its_direction_and_range(move_mm, direction):
    means = [1.741, 1.752, 1.747, 1.760]
    run = [lot(f"L{i}", 30 * i, [m]) for i, m in enumerate([*means, 1.75 + move_mm])]
    last = drift(run)["lots"][-1]
    (signal,) = last["signals"]
    assert (signal["characteristic"], signal["direction"]) == ("mean", direction)
    assert signal["value_mm"] == pytest.approx(1.75 + move_mm)
    want = stats.t.interval(0.99, 3, np.mean(means), np.std(means, ddof=1) * np.sqrt(1.25))
    assert last["mean_expected_mm"] == pytest.approx(list(want), rel=1e-9)


def test_what_is_not_computed_is_null_and_what_was_not_compared_is_not_called_quiet():
    run = simulated(np.random.default_rng(8), 3)
    got = drift(run)
    assert got["schema"] == "lotqa.drift.v1"
    assert got["changes"] is None
    assert got["changes_note"]
    assert [v["signals"] for v in got["lots"][:2]] == [None, None]
    assert got["lots"][2]["signals"] == []
    assert got["lots"][2]["compared"] == ["mean", "spread"]
    no_spread = drift([lot(f"L{i}", i, [1.75 + 0.001 * i]) for i in range(3)])
    assert no_spread["lots"][2]["compared"] == ["mean"]


def test_the_expected_range_is_around_nominal_and_holds_the_lots_that_gave_no_signal():
    got = drift(simulated(np.random.default_rng(9), 10))
    for row in got["lots"][2:]:
        low, high = row["mean_expected_mm"]
        inside = low <= row["mean_mm"] <= high
        assert inside is all(s["characteristic"] != "mean" for s in row["signals"])


def test_empty_ledger_one_lot_and_two_lots_say_what_can_be_said():
    assert drift_sentences(drift([])) == (
        'no lots of "Kranich Filament" in PLA are in the ledger: inspect one first',
    )
    run = simulated(np.random.default_rng(1), 3)
    one = drift_sentences(drift(run[:1]))
    assert f"1 lot: nothing to compare with yet; {THIRD_ON}" in one
    assert "a trend needs 3 lots with a known mean, there are 1" in one
    two = " ".join(drift_sentences(drift(run[:2])))
    # 63.66 * sqrt(1.5): Student's t(0.995, 1) = 63.657 from printed tables.
    assert "more than 78.0 times the scatter" in two
    assert drift(run[:2])["trend"] is None


def test_ten_lots_need_no_note():
    run = simulated(np.random.default_rng(1), 10)
    assert drift(run[:9])["note"]
    assert drift(run)["note"] is None


def test_names_match_without_case_and_unknown_ones_are_suggested():
    run = simulated(np.random.default_rng(1), 3)
    assert drift(run, "kranich  FILAMENT", "pla")["lots"]
    got = drift(run, "Kranch Filament")
    assert got["lots"] == []
    assert got["note"] == (
        'no lots of "Kranch Filament" in PLA are in the ledger: did you mean "Kranich Filament"?'
    )
    assert drift(run, material="PETG")["note"] == (
        'no lots of "Kranich Filament" in PETG are in the ledger: this supplier\'s lots are of PLA'
    )


def test_two_spellings_that_differ_in_case_only_are_not_chosen_for_you():
    run = [lot("A", 0, [1.75]), lot("B", 0, [1.75], supplier="KRANICH FILAMENT")]
    assert [v["lot"] for v in drift(run)["lots"]] == ["A"]
    assert drift(run, "kranich filament")["lots"] == []


def test_without_a_material_the_only_one_is_taken_and_several_are_asked_for():
    run = simulated(np.random.default_rng(1), 3)
    assert drift(run, material=None)["material"] == "PLA"
    with pytest.raises(UnusableInput) as caught:
        drift([*run, lot("X", 0, [1.75], material="PETG")], material=None)
    assert str(caught.value) == (
        'supplier "Kranich Filament" has lots of PETG, PLA: choose one with --material'
    )


def test_lots_of_another_nominal_diameter_are_listed_but_change_no_figure():
    run = simulated(np.random.default_rng(12), 5)
    thick = [lot(f"T{i}", 31 * i, [2.80 + 0.01 * i], nominal_mm=2.85) for i in range(2)]
    alone, mixed = drift(run), drift([*run, *thick])
    assert len(mixed["lots"]) == 7
    assert [v for v in mixed["lots"] if v["nominal_mm"] == 1.75] == alone["lots"]
    assert mixed["trend"] == alone["trend"]
    (caution,) = mixed["cautions"]
    assert caution == (
        "5 lots of 1.75 mm, 2 lots of 2.85 mm: compared among themselves only; "
        "trend and note speak of 1.75 mm"
    )


def test_measurement_changes_are_told_beside_the_signal():
    run = simulated(np.random.default_rng(6), 5, sd_mm=[0.005] * 4 + [0.015])
    changed = [*run[:4], lot("L5", 120, run[4].spool_means_mm, run[4].spool_sds_mm,
                             instrument="calliper B", pin_checked=False)]  # fmt: skip
    got = drift(changed)
    assert got["lots"][0]["received"] == "2024-01-15"
    assert [v["instrument_changed"] for v in got["lots"]] == [False] * 4 + [True]
    (signal,) = got["lots"][4]["signals"]
    assert signal["text"].endswith("the instrument changed with this lot, check it first")
    unchecked, several = got["cautions"]
    assert unchecked.startswith("1 of 5 lots measured without a pin check: an error of the")
    assert several.startswith("measured with 2 instruments: part of the differences")


def test_lots_of_one_day_have_no_trend():
    got = drift([lot(f"L{i}", 0, [1.75 + 0.001 * i]) for i in range(4)])
    assert got["trend"] is None
    assert got["trend_note"] == "a trend needs lots of different days; all 4 came on one day"


def test_a_lot_without_nominal_is_listed_and_said_not_to_be_compared():
    run = simulated(np.random.default_rng(12), 3)
    got = drift([*run, lot("X", 100, [1.75], nominal_mm=None)])
    row = got["lots"][-1]
    assert (row["lot"], row["offset_mm"], row["mean_expected_mm"]) == ("X", None, None)
    assert "1 lot without mean or nominal diameter: listed, not compared" in got["cautions"]


def test_a_lot_of_which_nothing_is_known_gives_nulls():
    got = drift([lot("X", nominal_mm=None)])
    (row,) = got["lots"]
    assert row["mean_mm"] is row["sd_mm"] is row["mean_ci95_mm"] is row["net_ci95_g"] is None


def test_net_mass_has_its_normal_interval():
    (row,) = drift([lot("A", means=[1.75], net_g=990.0, u_net_g=2.0, label_net_g=1000.0)])["lots"]
    assert row["net_ci95_g"] == pytest.approx([990 - 1.959964 * 2, 990 + 1.959964 * 2], abs=1e-5)
    assert row["shortfall_g"] == 10.0


@settings(max_examples=40, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(1, 9))
def test_the_order_of_the_records_does_not_matter(random, n_lots):
    run = simulated(np.random.default_rng(n_lots), n_lots)
    same_day = [lot(r.lot, 0, r.spool_means_mm, r.spool_sds_mm, colour="red") for r in run]
    every = [*run, *same_day]
    shuffled = every.copy()
    random.shuffle(shuffled)
    assert drift(shuffled) == drift(every)


@settings(max_examples=40, deadline=None)
@given(st.floats(-0.3, 0.3), st.integers(0, 10_000), st.integers(0, 2000))
def test_a_shift_of_nominal_and_readings_alike_changes_no_judgement(shift_mm, seed, later_days):
    run = simulated(np.random.default_rng(seed), 6)
    moved = [
        lot(
            r.lot,
            30 * i + later_days,
            np.array(r.spool_means_mm) + shift_mm,
            r.spool_sds_mm,
            nominal_mm=1.75 + shift_mm,
        )
        for i, r in enumerate(run)
    ]
    for here, there in zip(drift(run)["lots"], drift(moved)["lots"], strict=True):
        assert there["offset_mm"] == pytest.approx(here["offset_mm"], abs=1e-12)
        assert there["offset_ci95_mm"] == pytest.approx(here["offset_ci95_mm"], abs=1e-12)
        assert there["compared"] == here["compared"]
        assert [s["characteristic"] for s in there["signals"] or ()] == [
            s["characteristic"] for s in here["signals"] or ()
        ]
    assert drift(moved)["trend"]["ci95"] == pytest.approx(drift(run)["trend"]["ci95"], abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from([0.5, 2.0, 8.0]), st.integers(0, 10_000))
def test_all_lengths_scale_together(scale, seed):
    """Powers of 2, so that scaling itself rounds nothing."""
    run = simulated(np.random.default_rng(seed), 6)
    scaled = [
        lot(
            r.lot,
            30 * i,
            scale * np.array(r.spool_means_mm),
            scale * np.array(r.spool_sds_mm),
            nominal_mm=1.75 * scale,
        )
        for i, r in enumerate(run)
    ]
    for here, there in zip(drift(run)["lots"], drift(scaled)["lots"], strict=True):
        for key in ("mean_mm", "sd_mm", "offset_mm", "spread_limit_mm"):
            if here[key] is not None:
                assert there[key] == pytest.approx(scale * here[key], rel=1e-12)
        for key in ("mean_ci95_mm", "sd_ci95_mm", "mean_expected_mm"):
            if here[key] is not None:
                assert there[key] == pytest.approx([scale * v for v in here[key]], rel=1e-12)
