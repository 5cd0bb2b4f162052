"""Pin and scatter: coverage by simulation, the order of the sources, what a moved pin costs."""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.gauge import pin_offset, pooled_within, scatter_of, unchecked_offset

STEP = 0.01
PIN = 1.75
PATTERNS = {
    "six before": [False] * 6,
    "three and three": [False] * 3 + [True] * 3,
    "one": [False],
    "two and two": [False] * 2 + [True] * 2,
}


def offsets(scatter, after, seed, k=1500, moved=0.0):
    rng = np.random.default_rng(seed)
    after = np.array(after)
    true = rng.uniform(-0.02, 0.02, k)
    error = true[:, None] + moved * after + scatter * rng.standard_normal((k, len(after)))
    read = np.round((PIN + error) / STEP) * STEP
    found = [
        pin_offset(np.full(len(after), PIN), r, after, scatter_sd_mm=scatter, step_mm=STEP)
        for r in read
    ]
    return true, found


@pytest.mark.parametrize("after", PATTERNS.values(), ids=PATTERNS)
@pytest.mark.parametrize("scatter", [0.001, 0.004, 0.008])
def test_offset_is_covered_by_its_uncertainty(after, scatter):
    true, found = offsets(scatter, after, seed=len(after))
    error = np.array([f.offset_mm for f in found]) - true
    u = np.array([f.u_mm for f in found])
    k = len(true)
    assert np.mean(np.abs(error) <= 1.96 * u) >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / k)
    # Fair, not only cautious, where the scatter dithers the step.
    if scatter >= 0.004:
        spread = np.sqrt(np.mean((error / u) ** 2))
        assert spread >= 1 - 4 / np.sqrt(2 * k) - 0.05  # 0.05: half shifts and raised scatter


def test_a_pin_that_moved_says_so_and_costs_its_half_shift():
    true, found = offsets(0.004, PATTERNS["three and three"], seed=9, moved=0.02)
    shift = np.array([f.shift_mm for f in found])
    u_shift = found[0].u_shift_mm
    assert shift.mean() == pytest.approx(0.02, abs=4 * u_shift / np.sqrt(len(true)))
    still = offsets(0.004, PATTERNS["three and three"], seed=9)[1]
    assert np.mean([f.u_mm for f in found]) > 1.5 * np.mean([f.u_mm for f in still])
    # The offset of any one reading lies between before and after: the middle is within half.
    at_most = np.sqrt(np.mean([f.u_mm**2 for f in found]))
    assert at_most >= 0.01 / np.sqrt(2)  # U-shaped: GUM H.1.3.4


def test_a_shaky_pin_raises_the_scatter_and_a_quiet_one_does_not():
    calm = pin_offset(
        [PIN] * 4, [1.75, 1.75, 1.76, 1.75], np.zeros(4, bool), scatter_sd_mm=0.008, step_mm=STEP
    )
    wild = pin_offset(
        [PIN] * 4, [1.70, 1.80, 1.70, 1.80], np.zeros(4, bool), scatter_sd_mm=0.008, step_mm=STEP
    )
    assert calm.u_mm == pytest.approx(np.sqrt(0.008**2 + STEP**2 / 12) / 2, rel=1e-3)
    assert wild.u_mm == pytest.approx(np.std([1.70, 1.80, 1.70, 1.80], ddof=1) / 2, rel=1e-6)


def test_pins_of_different_sizes_speak_of_one_offset():
    got = pin_offset(
        [1.5, 2.0, 3.0], [1.51, 2.01, 3.01], np.zeros(3, bool), scatter_sd_mm=0.002, step_mm=STEP
    )
    assert got.offset_mm == pytest.approx(0.01)
    assert got.shift_mm is None


def test_without_a_pin_the_limit_of_error_is_a_rectangle():
    got = unchecked_offset(0.02)
    assert got.offset_mm == 0.0
    assert got.u_mm == pytest.approx(stats.uniform(-0.02, 0.04).std())
    assert got.n_pin_readings == 0


def sources(**given):
    known = {
        "stated_sd_mm": None,
        "repeats_variance_mm2": float("nan"),
        "repeats_df": 0,
        "directions_variance_mm2": float("nan"),
        "directions_df": 0,
        "default_sd_mm": 0.008,
        "default_relative_uncertainty": 0.25,
        "step_mm": 0.01,
    }
    return scatter_of(**known | given)


def test_what_is_stated_goes_before_what_was_repeated():
    got = sources(stated_sd_mm=0.005, repeats_variance_mm2=1e-4, repeats_df=20)
    assert (got.sd_mm, got.df, got.source) == (0.005, float("inf"), "stated in the lot sheet")


def test_repeats_go_before_the_default_with_the_rounding_taken_out():
    got = sources(repeats_variance_mm2=0.006**2 + 0.01**2 / 12, repeats_df=12)
    assert got.sd_mm == pytest.approx(0.006)
    assert (got.df, got.source) == (12.0, "from 12 repeated readings")


def test_too_few_repeats_are_vaguer_than_the_default():
    got = sources(repeats_variance_mm2=1e-3, repeats_df=4)
    # GUM 4.3.7 and G.4.2: half and one and a half of it alike, u = 0.5 / sqrt(3) of it, are worth
    # 1 / (2 u**2) = 6 degrees of freedom.
    assert (got.sd_mm, got.df, got.source) == (0.008, 6.0, "default for this kind of tool")
    assert got.limits_mm == (0.004, 0.012)
    assert got.supposed


def test_a_hand_better_than_the_default_is_believed():
    got = sources(directions_variance_mm2=0.004**2 + 0.01**2 / 12, directions_df=30)
    assert got.sd_mm == pytest.approx(0.004)
    assert got.df == 6.0
    assert got.limits_mm is None
    assert got.source == "default, lowered to the spread between directions of a place"


@pytest.mark.parametrize("variance", [0.02**2, 0.008**2 + 0.01**2 / 12 + 1e-9])
def test_ovality_between_directions_never_raises_the_default(variance):
    assert sources(directions_variance_mm2=variance, directions_df=30).sd_mm == 0.008


def test_a_pin_read_unsteadily_raises_the_default():
    seen = 0.02**2  # 6 and 4 degrees of freedom pooled, rounding in both, then taken out
    got = sources(pin_variance_mm2=seen, pin_df=4)
    rounding = 0.01**2 / 12
    pooled = (6 * (0.008**2 + rounding) + 4 * seen) / 10
    assert got.sd_mm == pytest.approx(np.sqrt(pooled - rounding), rel=1e-12)
    assert got.df == 10.0
    assert got.source == "default, raised by what the pin readings differ among themselves"
    assert got.supposed


@pytest.mark.parametrize("seen", [0.0, 0.008**2, 0.011**2])
def test_a_pin_is_harder_than_filament_and_never_lowers_the_default(seen):
    """0.011 mm on 5 readings comes more often than 1 time in 20 from a hand of 0.008 mm."""
    assert stats.chi2.sf(4 * 0.011**2 / (0.008**2 + 0.01**2 / 12), 4) > 0.05
    assert sources(pin_variance_mm2=seen, pin_df=4).sd_mm == 0.008


def test_an_offset_by_a_supposed_hand_pools_what_the_pin_shows():
    reading = PIN + np.array([0.0, 0.02, 0.04])
    got = pin_offset(
        [PIN] * 3, reading, np.zeros(3, bool), scatter_sd_mm=0.008, step_mm=STEP, supposed_df=6.0
    )
    variance = (6 * (0.008**2 + STEP**2 / 12) + 2 * np.var(reading, ddof=1)) / 8
    assert got.df == 8.0
    assert got.u_mm == pytest.approx(np.sqrt(variance / 3), rel=0.02)  # rounding left is small


def test_the_mean_is_covered_for_any_hand_of_the_supposed_range():
    """Offset of six pin readings, Student by its degrees of freedom; the hand is not known."""
    rng = np.random.default_rng(3)
    after = np.array([False] * 3 + [True] * 3)
    for hand, least in ((0.004, 0.95), (0.008, 0.95), (0.012, 0.91)):
        hits = []
        for _ in range(1500):
            true = rng.uniform(-0.02, 0.02)
            read = np.round((PIN + true + hand * rng.standard_normal(6)) / STEP) * STEP
            found = pin_offset(
                [PIN] * 6, read, after, scatter_sd_mm=0.008, step_mm=STEP, supposed_df=6.0
            )
            half = stats.t.ppf(0.975, found.df) * found.u_mm
            hits.append(abs(found.offset_mm - true) <= half)
        assert np.mean(hits) >= least - 3 * np.sqrt(0.05 / 1500), hand


def test_repeats_all_alike_are_no_scatter_and_not_less_than_none():
    assert sources(repeats_variance_mm2=0.0, repeats_df=10).sd_mm == 0.0


def test_pooled_variance_by_groups_one_by_one():
    rng = np.random.default_rng(8)
    group = rng.integers(0, 7, 50)
    group[group == 3] = 4  # a number without values is no group
    x = 1e3 + rng.normal(0, 0.01, 50)
    want_df = sum(len(x[group == g]) - 1 for g in set(group.tolist()))
    want = sum(np.var(x[group == g]) * np.count_nonzero(group == g) for g in set(group.tolist()))
    variance, df = pooled_within(x, group)
    assert df == want_df
    assert variance == pytest.approx(want / want_df, rel=1e-9)


def test_pooled_variance_of_singles_is_unknown():
    variance, df = pooled_within(np.array([1.0, 2.0]), np.array([0, 1]))
    assert np.isnan(variance)
    assert df == 0
    assert pooled_within(np.zeros(0), np.zeros(0, dtype=np.int64))[1] == 0


@pytest.mark.parametrize(("repeats_sd_mm", "source"), [
    (0.006, "from 40 repeated readings"),
    (0.012, "from 40 repeated readings"),
    (0.025, "default: readings repeated in one direction differ by 0.025 mm, more than a hand "
            "does; was the filament turned between them?"),
])  # fmt: skip
def test_ovality_read_as_one_direction_is_not_taken_for_the_hand(repeats_sd_mm, source):
    """0.05 mm of ovality, read twice 'at 0 degrees' and turned, repeats to 0.025 mm and more."""
    found = scatter_of(
        stated_sd_mm=None,
        repeats_variance_mm2=repeats_sd_mm**2 + 0.01**2 / 12,
        repeats_df=40,
        directions_variance_mm2=float("nan"),
        directions_df=0,
        default_sd_mm=0.008,
        default_relative_uncertainty=0.25,
        step_mm=0.01,
    )
    assert found.source == source
    assert found.sd_mm == pytest.approx(0.008 if "default" in source else repeats_sd_mm)
