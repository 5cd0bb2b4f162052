"""The gauge study against other programs' analyses, exact cases and seeded simulation."""

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from lotqa.errors import TooFewReadings
from lotqa.evidence.gauge import Scatter
from lotqa.evidence.gauge_plan import DESIGNS, design, df_needed
from lotqa.evidence.gauge_study import gauge_study
from lotqa.evidence.mean_squares import combination_interval
from lotqa.evidence.pin_check import pin_evidence
from lotqa.evidence.variances import oneway

ALPHA = 0.25  # which model is chosen; the tests below say which one they mean


def crossed(rng, shape, place, operator, crossing, repeat):
    """(place, operator, value) of a simulated study; arguments are standard deviations."""
    p, o, _ = shape
    y = 1.75 + rng.normal(0, place, (p, 1, 1)) + rng.normal(0, repeat, shape)
    if o > 1:
        y = y + rng.normal(0, operator, (1, o, 1)) + rng.normal(0, crossing, (p, o, 1))
    i, j, _ = np.indices(shape)
    return i.ravel(), j.ravel(), y.ravel()


def studied(rng, shape=(10, 3, 3), place=1.0, operator=0.4, crossing=0.3, repeat=0.5, **options):
    data = crossed(rng, shape, place, operator, crossing, repeat)
    return gauge_study(*data, interaction_alpha=ALPHA, **options)


def test_the_table_is_that_of_statsmodels():
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    place, operator, y = crossed(np.random.default_rng(1), (7, 3, 2), 1.0, 0.4, 0.3, 0.5)
    frame = pd.DataFrame({"place": place, "operator": operator, "y": y})
    study = gauge_study(place, operator, y, interaction_alpha=ALPHA)
    for model, formula in (
        (study.with_interaction, "y ~ C(place) * C(operator)"),
        (study.without_interaction, "y ~ C(place) + C(operator)"),
    ):
        other = anova_lm(ols(formula, frame).fit())
        assert [line.df for line in model.table] == other["df"].tolist()
        assert [line.ss_mm2 for line in model.table] == pytest.approx(other["sum_sq"].tolist())
        assert [line.ms_mm2 for line in model.table] == pytest.approx(other["mean_sq"].tolist())
    # All effects random: places and operators are held against the interaction, not the error.
    full = study.with_interaction.table
    assert full[0].f == pytest.approx(full[0].ms_mm2 / full[2].ms_mm2)
    assert full[0].p == pytest.approx(stats.f.sf(full[0].f, 6, 12))
    assert full[2].p == pytest.approx(stats.f.sf(full[2].ms_mm2 / full[3].ms_mm2, 12, 21))


def test_the_components_are_those_of_restricted_maximum_likelihood():
    """Balanced data with all estimates above 0: ANOVA and REML agree (Searle et al. 1992, 4.8)."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    place, operator, y = crossed(np.random.default_rng(4), (12, 4, 3), 1.0, 0.8, 0.5, 0.4)
    study = gauge_study(place, operator, y, interaction_alpha=0.0001)
    assert not study.interaction_pooled
    frame = pd.DataFrame({"place": place, "operator": operator, "all": 1, "y": y})
    frame["cell"] = frame["place"].astype(str) + "." + frame["operator"].astype(str)
    parts = {"place": "0 + C(place)", "operator": "0 + C(operator)", "cell": "0 + C(cell)"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its optimiser is talkative
        fit = MixedLM.from_formula("y ~ 1", frame, groups="all", vc_formula=parts).fit(reml=True)
    names = fit.model.exog_vc.names
    other = dict(zip(names, fit.vcomp, strict=True)) | {"repeats": fit.scale}
    ours = {c.name: c.variance_mm2 for c in study.chosen.components}
    assert min(ours.values()) > 0
    # The likelihood is flat at its top: its optimiser stops within 1e-3 of it.
    assert ours["place"] == pytest.approx(other["place"], rel=5e-3)
    assert ours["operator"] == pytest.approx(other["operator"], rel=5e-3)
    assert ours["operator x place"] == pytest.approx(other["cell"], rel=5e-3)
    assert ours["repeatability"] == pytest.approx(other["repeats"], rel=5e-3)


def test_one_operator_is_the_one_way_analysis():
    place, operator, y = crossed(np.random.default_rng(2), (8, 1, 3), 1.0, 0, 0, 0.5)
    study = gauge_study(place, operator, y, interaction_alpha=ALPHA)
    other = oneway(y, place)
    assert study.chosen.component("place").variance_mm2 == pytest.approx(other.between)
    assert study.chosen.component("repeatability").variance_mm2 == pytest.approx(other.within)
    assert study.chosen.component("reproducibility") is None
    assert study.with_interaction is None
    assert study.without_interaction is None
    f = study.chosen.table[0].f
    limits = [(f / stats.f.ppf(q, 7, 16) - 1) / 3 for q in (0.975, 0.025)]  # exact F pivot
    assert study.chosen.ratio.place_to_gauge_ci == pytest.approx(limits)


def test_which_analysis_is_taken_follows_the_level():
    place, operator, y = crossed(np.random.default_rng(3), (10, 3, 3), 1.0, 0.4, 0.0, 0.5)
    p = gauge_study(place, operator, y, interaction_alpha=0.5).with_interaction.table[2].p
    above = gauge_study(place, operator, y, interaction_alpha=p - 1e-6)
    below = gauge_study(place, operator, y, interaction_alpha=p)
    assert above.interaction_pooled
    assert above.chosen is above.without_interaction
    assert not below.interaction_pooled
    assert below.chosen.df_repeatability == 60
    assert above.chosen.df_repeatability == 60 + 18


@pytest.mark.parametrize("seed", range(5))
def test_order_names_and_a_large_common_part_do_not_matter(seed):
    rng = np.random.default_rng(seed)
    place, operator, y = crossed(rng, (6, 2, 3), 0.02, 0.004, 0.002, 0.008)
    base = gauge_study(place, operator, y, interaction_alpha=ALPHA)
    order = rng.permutation(len(y))
    names = np.array(["ben", "ada"])
    other = gauge_study(
        100 - place[order], names[operator[order]], y[order] + 1e6, interaction_alpha=ALPHA
    )
    for ours, theirs in zip(base.chosen.components, other.chosen.components, strict=True):
        assert theirs.name == ours.name
        # 1e6 leaves 1e-10 of the readings: 1e-8 of a scatter of 0.008, and its square twice that.
        assert theirs.variance_mm2 == pytest.approx(ours.variance_mm2, rel=1e-6, abs=1e-12)
    scaled = gauge_study(place, operator, 25.4 * y, interaction_alpha=ALPHA)
    assert scaled.chosen.component("gauge").sd_mm == pytest.approx(
        25.4 * base.chosen.component("gauge").sd_mm
    )
    assert scaled.chosen.ratio.place_to_gauge == pytest.approx(base.chosen.ratio.place_to_gauge)


def test_shares_add_up_and_follow_from_each_other():
    study = studied(np.random.default_rng(11), tolerance_mm=2.0)
    parts = {c.name: c for c in study.with_interaction.components}
    whole = sum(
        parts[n].contribution_pct
        for n in ("repeatability", "operator", "operator x place", "place")
    )
    assert whole == pytest.approx(100)
    gauge = parts["gauge"]
    assert gauge.share_of_tolerance_pct == pytest.approx(100 * 6 * gauge.sd_mm / 4.0)
    assert study.with_interaction.ratio.gauge_share_pct == pytest.approx(gauge.share_of_total_pct)
    assert gauge.sd_mm == pytest.approx(
        np.hypot(parts["repeatability"].sd_mm, parts["reproducibility"].sd_mm)
    )


def test_a_component_below_zero_is_set_to_zero_and_its_interval_kept():
    """Operator means equal by construction: the estimate is then below zero for sure."""
    rng = np.random.default_rng(6)
    place, operator, y = crossed(rng, (10, 3, 3), 1.0, 0.0, 0.3, 0.5)
    for j in range(3):
        y[operator == j] -= y[operator == j].mean()
    study = gauge_study(place, operator, y, interaction_alpha=1.0)
    hand = study.chosen.component("operator")
    assert hand.estimate_mm2 < 0
    assert hand.variance_mm2 == hand.sd_mm == 0.0
    assert hand.sd_ci_mm[0] == 0.0
    assert hand.sd_ci_mm[1] >= 0.0
    assert study.chosen.component("reproducibility").variance_mm2 == pytest.approx(
        study.chosen.component("operator x place").variance_mm2
    )


def test_repeats_that_never_leave_their_step_are_not_called_perfect():
    place = np.repeat(np.arange(5), 4)
    y = 1.70 + 0.01 * place
    study = gauge_study(place, np.zeros(20), y, interaction_alpha=ALPHA, step_mm=0.01)
    repeats = study.chosen.components[0]
    assert not study.resolved
    assert repeats.sd_mm == 0.0
    assert repeats.sd_ci_mm[1] > 0.01 / np.sqrt(12)  # at least what one rounding hides
    assert study.scatter("x") == Scatter(0.0, 15.0, "x")
    assert study.chosen.ratio.categories is None
    assert gauge_study(place, np.zeros(20), y + 0.003 * (np.arange(20) % 2),
                       interaction_alpha=ALPHA, step_mm=0.001).resolved  # fmt: skip


def test_the_scatter_for_later_has_the_rounding_taken_out():
    """GUM F.2.2.1: rounding to a step q adds q**2 / 12; seeded, 4000 places of 3 trials."""
    rng = np.random.default_rng(21)
    place = np.repeat(np.arange(4000), 3)
    y = np.round((1.75 + rng.normal(0, 0.02, 4000)[place] + rng.normal(0, 0.008, 12000)) / 0.01)
    study = gauge_study(place, np.zeros(12000), y * 0.01, interaction_alpha=ALPHA, step_mm=0.01)
    got = study.scatter("study").sd_mm
    standard_error = 0.0085 / np.sqrt(2 * 8000)
    assert abs(got - 0.008) < 4 * standard_error
    assert study.chosen.components[0].sd_mm - 0.008 > 4 * standard_error  # it is seen at all


@pytest.mark.parametrize(
    ("place", "operator", "message"),
    [
        (
            [1, 1, 1, 1],
            [1, 1, 2, 2],
            "a gauge study needs 2 places, got 1: read at least one more place, "
            "best 10 of different diameter",
        ),
        (
            [1, 1, 2, 2],
            [1, 2, 1, 2],
            "a gauge study needs 2 trials, got 1: one trial shows no repeatability, "
            "read every place at least once more",
        ),
        (
            [1, 1, 2, 2, 2],
            [1, 1, 1, 1, 1],
            "a gauge study needs every place read equally often by every operator, "
            "got 2 to 3 readings: read what is missing",
        ),
        (
            [1, 1, 2, 2],
            [1, 1, 2, 2],
            "a gauge study needs every place read equally often by every operator, "
            "got 0 to 2 readings: read what is missing",
        ),
    ],
)
def test_too_little_says_what_to_do(place, operator, message):
    with pytest.raises(TooFewReadings) as caught:
        gauge_study(place, operator, np.arange(len(place)) * 0.01, interaction_alpha=ALPHA)
    assert str(caught.value) == message


def test_nothing_at_all_is_too_little():
    with pytest.raises(TooFewReadings, match="got 0"):
        gauge_study([], [], [], interaction_alpha=ALPHA)


# Intervals.


def chi_square_limits(value, df):
    return df * value / stats.chi2.ppf([0.975, 0.025], df)


def test_one_mean_square_has_its_exact_interval():
    _, lo, hi = combination_interval([0, 0.5, 0], [9, 4, 1], [3, 12, 7])
    assert [lo, hi] == pytest.approx(0.5 * chi_square_limits(4, 12))


def test_a_difference_is_exact_where_either_mean_square_vanishes():
    """The published condition for the cross terms (Ting et al. 1990)."""
    _, lo, hi = combination_interval([1, -1], [4.0, 1e-12], [9, 20])
    assert [lo, hi] == pytest.approx(chi_square_limits(4, 9), rel=1e-5)
    _, lo, hi = combination_interval([1, -1], [1e-12, 4.0], [9, 20])
    assert [-hi, -lo] == pytest.approx(chi_square_limits(4, 20), rel=1e-5)


def test_the_sign_of_a_difference_is_judged_as_by_the_f_test():
    """The lower limit is 0 exactly where F equals its critical value (Ting et al. 1990)."""
    critical = stats.f.ppf(0.975, 9, 20)
    _, lo, _ = combination_interval([1, -1], [critical, 1.0], [9, 20])
    assert lo == pytest.approx(0.0, abs=1e-9)
    critical = stats.f.ppf(0.025, 9, 20)
    _, _, hi = combination_interval([1, -1], [critical, 1.0], [9, 20])
    assert hi == pytest.approx(0.0, abs=1e-9)


def test_two_mean_squares_that_make_one_are_exact_beside_one_that_vanishes():
    """n v and m v are v times chi-squares of n and m: together one of n + m (the condition that
    the term for pairs of like sign was made for)."""
    n, m, v = 9, 14, 0.3
    estimate, lo, _ = combination_interval([1, 1, -1], [n * v, m * v, 1e-12], [n, m, 20])
    assert estimate == pytest.approx((n + m) * v)
    assert lo == pytest.approx(chi_square_limits((n + m) * v, n + m)[0], rel=1e-6)


def test_the_ratio_is_exact_where_places_and_operators_rule():
    """Repeats and interaction of next to nothing: p P / (o O) has the F limits of its two df."""
    rng = np.random.default_rng(5)
    place, operator, y = crossed(rng, (8, 4, 2), 1.0, 0.7, 1e-7, 1e-7)
    full = gauge_study(place, operator, y, interaction_alpha=ALPHA).with_interaction
    ratio = 8 * full.table[0].ms_mm2 / (4 * full.table[1].ms_mm2)
    wanted = ratio / stats.f.ppf([0.975, 0.025], 7, 3)
    assert full.ratio.place_to_gauge_ci == pytest.approx(wanted, rel=1e-4)


def test_the_ratio_is_that_of_chi_square_where_the_gauge_is_all_but_known():
    """400 operators: only the three places are uncertain, by chi-square with 2 df.

    The F quantiles for 399 and 798 df lie within 1 % of those limits.
    """
    rng = np.random.default_rng(15)
    place, operator, y = crossed(rng, (3, 400, 2), 1.0, 0.1, 1.0, 0.2)
    full = gauge_study(place, operator, y, interaction_alpha=ALPHA).with_interaction
    P, _, crossing, _ = (line.ms_mm2 for line in full.table)
    gauge = full.component("gauge").variance_mm2
    wanted = (chi_square_limits(P, 2) - crossing) / (400 * 2) / gauge
    assert full.ratio.place_to_gauge_ci == pytest.approx(wanted, rel=0.02)


N_STUDIES = 1200
SHAPES = [
    ((10, 3, 3), 1.0, 0.4, 0.3, 0.5),
    ((10, 2, 2), 1.0, 0.5, 0.0, 1.0),
    ((6, 4, 2), 0.5, 0.1, 0.5, 1.0),
    ((10, 1, 3), 1.0, 0.0, 0.0, 0.5),
]


@pytest.mark.parametrize("case", SHAPES, ids=lambda c: "x".join(map(str, c[0])))
def test_the_intervals_cover_as_promised(case):
    """Seeded; never below 95 % by more than 4 standard errors and 1 point for the approximation.

    The publications report modified large sample limits as at or a little above the nominal
    coverage; combinations of several mean squares may be conservative, up to 99 %.
    """
    shape, place, operator, crossing, repeat = case
    gauge = operator**2 + crossing**2 + repeat**2
    truth = {
        "repeatability": repeat,
        "operator": operator,
        "operator x place": crossing,
        "reproducibility": np.hypot(operator, crossing),
        "gauge": gauge**0.5,
        "place": place,
        "total": (gauge + place**2) ** 0.5,
    }
    rng = np.random.default_rng(sum(shape))
    held: dict[str, list[bool]] = {}
    for _ in range(N_STUDIES):
        study = studied(rng, shape, place, operator, crossing, repeat)
        models = [study.with_interaction or study.chosen]
        if crossing == 0 and shape[1] > 1:
            models.append(study.without_interaction)
        for number, model in enumerate(models):
            for c in model.components:
                inside = c.sd_ci_mm[0] <= truth[c.name] <= c.sd_ci_mm[1]
                held.setdefault(f"{c.name} {number}", []).append(inside)
            lo, hi = model.ratio.place_to_gauge_ci
            held.setdefault(f"ratio {number}", []).append(lo <= place**2 / gauge <= hi)
    covered = {name: np.mean(inside) for name, inside in held.items()}
    least = 0.95 - 0.01 - 4 * np.sqrt(0.95 * 0.05 / N_STUDIES)
    assert {n: c for n, c in covered.items() if not least <= c <= 0.995} == {}


def test_an_interval_that_forgets_the_subtraction_would_be_caught():
    """Planted: the plain chi-square interval of the estimate with the places' df covers badly."""
    rng = np.random.default_rng(17)
    held = []
    for _ in range(N_STUDIES):
        c = studied(rng, (10, 1, 2), 0.5, 0, 0, 1.0).chosen.component("place")
        lo, hi = chi_square_limits(max(c.estimate_mm2, 0.0), 9)
        held.append(lo <= 0.25 <= hi)
    assert np.mean(held) < 0.90


# How large a study must be.


def test_the_designs_have_the_intervals_of_chi_square():
    for shape in DESIGNS:
        d = design(*shape)
        p, o, r = shape
        assert d.n_readings == p * o * r
        assert d.repeatability_factors == pytest.approx(
            np.sqrt(chi_square_limits(1.0, p * o * (r - 1)))
        )
        assert d.place_factors == pytest.approx(np.sqrt(chi_square_limits(1.0, p - 1)))
    assert design(10, 1, 3).operator_factors is None
    assert design(10, 2, 3).operator_factors == pytest.approx(np.sqrt(chi_square_limits(1.0, 1)))


@pytest.mark.parametrize("within", [0.2, 0.3, 0.5, 1.0])
def test_the_fewest_degrees_of_freedom_are_enough_and_one_less_is_not(within):
    df = df_needed(within)
    assert np.sqrt(chi_square_limits(1.0, df))[1] <= 1 + within
    assert np.sqrt(chi_square_limits(1.0, df - 1))[1] > 1 + within


def test_more_than_anybody_would_read_is_said_to_be_so():
    assert df_needed(0.0001) is None


def test_a_planned_study_finds_what_the_plan_promised():
    """Seeded: the true scatter lies inside the planned factors of what a study finds."""
    rng = np.random.default_rng(8)
    lo, hi = design(10, 1, 3).repeatability_factors
    found = [studied(rng, (10, 1, 3), 1.0, 0, 0, 0.5).chosen.components[0].sd_mm
             for _ in range(N_STUDIES)]  # fmt: skip
    inside = np.mean([lo * s <= 0.5 <= hi * s for s in found])
    assert abs(inside - 0.95) < 4 * np.sqrt(0.95 * 0.05 / N_STUDIES)


# The pin.

PIN = {"scatter": Scatter(0.008, 8.0, "x"), "limit_of_error_mm": 0.02}
OF_20 = {"n_places": 20, "n_directions": 2}


def test_the_shift_of_the_pin_has_the_interval_of_students_test():
    before, after = [1.752, 1.749, 1.755, 1.751], [1.758, 1.757, 1.761]
    readings = np.array(before + after)
    got = pin_evidence(np.full(7, 1.75), readings, np.arange(7) >= 4, step_mm=0.001, **PIN, **OF_20)
    other = stats.ttest_ind(after, before).confidence_interval(0.95)
    assert got.shift_ci_mm == pytest.approx((other.low, other.high))
    assert got.df == 5


def test_equal_pin_readings_leave_the_rounding():
    readings = np.full(6, 1.76)
    after = np.arange(6) >= 3
    got = pin_evidence(np.full(6, 1.75), readings, after, step_mm=0.01, **PIN, **OF_20)
    half = stats.t.ppf(0.975, 4) * 0.01 / np.sqrt(12) * np.sqrt(2 / 3)
    assert got.shift_ci_mm == pytest.approx((-half, half))


def test_one_reading_a_side_leans_on_the_scatter_that_is_known():
    after = np.array([False, True])
    got = pin_evidence([1.75, 1.75], [1.75, 1.76], after, step_mm=0.0, **PIN, **OF_20)
    half = stats.t.ppf(0.975, 8) * 0.008 * np.sqrt(2)
    assert got.shift_ci_mm == pytest.approx((0.01 - half, 0.01 + half))
    assert got.sd_mm is None


def test_what_the_pin_buys():
    """GUM: 0.02 mm of limit is 0.02 / sqrt(3); 6 readings of 0.008 are 0.008 / sqrt(6)."""
    rng = np.random.default_rng(0)
    got = pin_evidence(np.full(6, 1.75), 1.75 + rng.normal(0, 0.004, 6), np.arange(6) >= 3,
                       step_mm=0.0, **PIN, **OF_20)  # fmt: skip
    places = 0.008**2 / 40
    assert got.mean_without_mm == pytest.approx(2 * np.sqrt(0.02**2 / 3 + places))
    assert got.mean_with_mm == pytest.approx(2 * np.sqrt(0.008**2 / 6 + places))
    assert got.mean_with_mm < 0.4 * got.mean_without_mm
    assert got.shift_ci_mm is not None
    one_side = pin_evidence([1.75], [1.76], np.array([False]), step_mm=0.0, **PIN, **OF_20)
    assert one_side.shift_ci_mm is None
