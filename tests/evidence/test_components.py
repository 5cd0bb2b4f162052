"""Variance components, against a restricted likelihood written with whole matrices.

1. Patterson and Thompson, Biometrika 58 (1971) 545: the likelihood (dense_likelihood.py).
2. W. A. Thompson, Annals of Mathematical Statistics 33 (1962) 273: for equal numbers the estimates
   are mean squares, neighbours out of order pooled by their freedom (from memory).
3. statsmodels, MixedLM, and scipy.optimize as second opinions.
"""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from statsmodels.regression.mixed_linear_model import MixedLM

from lotqa.errors import TooFewReadings
from lotqa.evidence.components import anova_nested, reml_nested, reml_oneway
from tests.evidence.dense_likelihood import (
    PLACES,
    SIZES,
    alike,
    dense,
    nested_data,
    oneway_data,
)


def best_by_search(y, parts, known):
    """The highest value by a search over all components >= 0 that knows no derivative."""
    scale = np.var(y)

    def minus(t):
        V = sum(np.abs(x) * part for x, part in zip(t, parts, strict=True)) + np.diag(known)
        V += 1e-13 * scale * np.eye(len(y))
        return -dense(y, V)[0]

    options = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}
    found = [
        minimize(minus, scale * np.array(start), method="Nelder-Mead", options=options)
        for start in (np.full(len(parts), 0.5), np.linspace(0.1, 1.0, len(parts)))
    ]
    best = min(found, key=lambda f: f.fun)
    return -best.fun, np.abs(best.x)


@pytest.mark.parametrize("sizes", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("seed", range(4))
def test_one_way_is_where_a_search_of_the_dense_likelihood_ends(sizes, seed):
    y, group = oneway_data(sizes, seed, between=0.3 * seed)
    got = reml_oneway(y, group)
    parts = [alike(group), np.eye(len(y))]
    V = got.between * parts[0] + got.within * parts[1]
    value, mean, variance, rest = dense(y, V)
    assert got.converged
    assert got.log_likelihood == pytest.approx(value, rel=1e-10)
    assert got.mean == pytest.approx(mean, abs=1e-10)
    assert got.u_mean**2 == pytest.approx(variance, rel=1e-9)
    sums = np.bincount(group, rest)
    assert got.shifts == pytest.approx(got.between * sums, abs=1e-9)  # Henderson's predictor
    top, where = best_by_search(y, parts, np.zeros(len(y)))
    assert got.log_likelihood >= top - 1e-8
    # A value that is lower by 1e-8 at most lies within 1e-4 of the top where it bends by about 1.
    assert [got.between, got.within] == pytest.approx(where, abs=2e-3)


@pytest.mark.parametrize("seed", range(6))
def test_known_variances_are_no_part_of_the_rest(seed):
    y, group = oneway_data(SIZES["unequal"], seed)
    rng = np.random.default_rng(100 + seed)
    known = rng.choice([0.0, 0.3, 2.0], len(y)) if seed % 2 else rng.uniform(0.1, 3.0, len(y))
    y = y + np.sqrt(known) * rng.normal(size=len(y))
    got = reml_oneway(y, group, known)
    parts = [alike(group), np.eye(len(y))]
    V = got.between * parts[0] + got.within * parts[1] + np.diag(known)
    value, mean, variance, rest = dense(y, V)
    assert got.log_likelihood == pytest.approx(value, rel=1e-10)
    assert got.mean == pytest.approx(mean, abs=1e-10)
    assert got.u_mean**2 == pytest.approx(variance, rel=1e-9)
    assert got.shifts == pytest.approx(got.between * np.bincount(group, rest), abs=1e-9)
    assert got.log_likelihood >= best_by_search(y, parts, known)[0] - 1e-8


@pytest.mark.parametrize("seed", range(60))
def test_values_hardly_known_beside_values_known_exactly_are_settled(seed):
    """Some values of no known variance, or next to none: the weights differ without bound."""
    rng = np.random.default_rng(seed)
    sizes = np.append(rng.integers(1, 4, rng.integers(1, 6)), 2)
    y, group = oneway_data(sizes, seed, between=rng.choice([0.0, 0.3, 3.0, 100.0]))
    known = rng.choice([0.0, 0.0, 1e-15, 1e-6, 0.5, 50.0], len(y))
    got = reml_oneway(y, group, known)
    assert got.converged
    parts = [alike(group), np.eye(len(y))]
    for within in (1e-4, 0.01, 0.3, 1.0, 30.0):
        for between in (0.0, 0.5, 1.0, 2.0):
            V = between * (got.between + 0.1) * parts[0] + within * parts[1] + np.diag(known)
            assert dense(y, V)[0] <= got.log_likelihood + 1e-6


def test_one_known_variance_for_all_is_taken_off_within():
    y, group = oneway_data(SIZES["unequal"], 3)
    free, less = reml_oneway(y, group), reml_oneway(y, group, 0.25)
    assert less.within == pytest.approx(free.within - 0.25, rel=1e-7)
    assert less.between == pytest.approx(free.between, rel=1e-6)
    assert reml_oneway(y, group, 2.5 * free.within).within == 0.0


@pytest.mark.parametrize("places", PLACES.values(), ids=PLACES)
@pytest.mark.parametrize("seed", range(4))
def test_nested_is_where_a_search_of_the_dense_likelihood_ends(places, seed):
    y, spool, place, cell = nested_data(places, seed, spool=0.5 * seed, place=0.4 * seed)
    got = reml_nested(y, spool, place)
    parts = [alike(spool), alike(cell), np.eye(len(y))]
    V = sum(t * p for t, p in zip((got.spool, got.place, got.reading), parts, strict=True))
    value, mean, variance, _ = dense(y, V)
    assert got.converged
    assert got.log_likelihood == pytest.approx(value, rel=1e-10)
    assert got.mean == pytest.approx(mean, abs=1e-10)
    assert got.u_mean**2 == pytest.approx(variance, rel=1e-9)
    assert got.log_likelihood >= best_by_search(y, parts, np.zeros(len(y)))[0] - 1e-8


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.lists(st.floats(0.0, 3.0), min_size=3, max_size=3))
def test_no_other_components_are_more_likely(seed, other):
    y, spool, place, cell = nested_data(PLACES["unequal"], seed, spool=seed % 3, place=seed % 2)
    V = other[0] * alike(spool) + other[1] * alike(cell) + (0.05 + other[2]) * np.eye(len(y))
    assert reml_nested(y, spool, place).log_likelihood >= dense(y, V)[0] - 1e-9
    V = other[0] * alike(spool) + (0.05 + other[1]) * np.eye(len(y))
    assert reml_oneway(y, spool).log_likelihood >= dense(y, V)[0] - 1e-9


def by_statsmodels(y, spool, cell=None):
    frame = pd.DataFrame({"y": y, "spool": spool, "cell": spool if cell is None else cell})
    formula = {} if cell is None else {"vc_formula": {"place": "0 + C(cell)"}, "re_formula": "1"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of its own steps
        model = MixedLM.from_formula("y ~ 1", frame, groups="spool", **formula)
        return model.fit(reml=True, method=["bfgs", "lbfgs", "cg"], gtol=1e-9, maxiter=500)


@pytest.mark.parametrize("sizes", [SIZES["equal"], SIZES["unequal"]], ids=["equal", "unequal"])
@pytest.mark.parametrize("seed", range(3))
def test_one_way_by_statsmodels(sizes, seed):
    y, group = oneway_data(sizes, 20 + seed, between=2.0)
    got, other = reml_oneway(y, group), by_statsmodels(y, group)
    assert got.log_likelihood == pytest.approx(other.llf, abs=1e-6)
    # It stops at a slope of about 1e-5; the variances are good to some 1e-4 of themselves.
    assert got.within == pytest.approx(other.scale, rel=1e-3)
    assert got.between == pytest.approx(float(other.cov_re.iloc[0, 0]), rel=1e-3)
    assert got.mean == pytest.approx(float(other.fe_params.iloc[0]), abs=1e-4)


@pytest.mark.parametrize("places", [PLACES["equal"], PLACES["unequal"]], ids=["equal", "unequal"])
@pytest.mark.parametrize("seed", range(2))
def test_nested_by_statsmodels(places, seed):
    y, spool, place, cell = nested_data(places, 40 + seed, spool=3.0, place=2.0)
    got, other = reml_nested(y, spool, place), by_statsmodels(y, spool, cell)
    assert got.log_likelihood == pytest.approx(other.llf, abs=1e-6)
    assert got.reading == pytest.approx(other.scale, rel=1e-3)
    assert got.place == pytest.approx(float(other.vcomp[0]), rel=1e-3)
    assert got.spool == pytest.approx(float(other.cov_re.iloc[0, 0]), rel=1e-3)


def pooled(squares, df):
    """Mean squares from last to first stage made to rise, neighbours pooled by freedom [2]."""
    blocks = []
    for ss, n in zip(squares, df, strict=True):
        blocks.append([ss, n, 1])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] >= blocks[-1][0] / blocks[-1][1]:
            last = blocks.pop()
            blocks[-1] = [a + b for a, b in zip(blocks[-1], last, strict=True)]
    return np.repeat([ss / n for ss, n, _ in blocks], [length for *_, length in blocks])


def test_equal_numbers_give_pooled_mean_squares_also_at_the_boundary():
    seen = set()
    for seed in range(40):
        y, spool, place, _ = nested_data([[3] * 4] * 5, seed, spool=0.5, place=0.4)
        cube = y.reshape(5, 4, 3)
        of_place, of_spool = cube.mean(2), cube.mean((1, 2))
        squares = (
            np.sum((cube - of_place[:, :, None]) ** 2),
            3 * np.sum((of_place - of_spool[:, None]) ** 2),
            12 * np.sum((of_spool - y.mean()) ** 2),
        )
        e, p, s = pooled(squares, (40, 15, 4))
        got = reml_nested(y, spool, place)
        expected = [(s - p) / 12, (p - e) / 3, e]
        # The top is flat: a likelihood right to 1e-15 leaves some 1e-8 of a variance open.
        assert [got.spool, got.place, got.reading] == pytest.approx(expected, rel=1e-6, abs=1e-9)
        assert got.u_mean**2 == pytest.approx(s / 60, rel=1e-6)
        between, within = reml_oneway(y, spool).between, reml_oneway(y, spool).within
        e, s = pooled((squares[0] + squares[1], squares[2]), (55, 4))
        assert [between, within] == pytest.approx([(s - e) / 12, e], rel=1e-6, abs=1e-9)
        seen.add((got.spool == 0, got.place == 0, between == 0))
    assert {(a, b) for a, b, _ in seen} == {
        (False, False),
        (False, True),
        (True, False),
        (True, True),
    }
    assert {c for *_, c in seen} == {False, True}


@pytest.mark.parametrize("seed", range(5))
def test_one_way_invariances(seed):
    y, group = oneway_data(SIZES["unequal"], seed)
    known = np.random.default_rng(seed).choice([0.0, 0.5], len(y))
    base = reml_oneway(y, group, known)
    moved = reml_oneway(1000.0 - 3.0 * y, group, 9.0 * known)
    assert moved.between == pytest.approx(9 * base.between, rel=1e-8, abs=1e-12)
    assert moved.within == pytest.approx(9 * base.within, rel=1e-8)
    assert moved.mean == pytest.approx(1000 - 3 * base.mean, rel=1e-10)
    assert moved.shifts == pytest.approx(-3 * base.shifts, abs=1e-7)
    assert moved.log_likelihood == pytest.approx(base.log_likelihood - 23 * np.log(3), rel=1e-9)
    order = np.random.default_rng(seed).permutation(len(y))
    names = np.array(["f", "e", "d", "c", "b", "a"])
    other = reml_oneway(y[order], names[group[order]], known[order])
    assert other.within == pytest.approx(base.within, rel=1e-8)
    assert other.between == pytest.approx(base.between, rel=1e-8, abs=1e-12)
    assert other.shifts == pytest.approx(base.shifts[::-1], abs=1e-8)  # groups as sorted


@pytest.mark.parametrize("seed", range(5))
def test_nested_invariances(seed):
    y, spool, place, cell = nested_data(PLACES["unequal"], seed)
    base = reml_nested(y, spool, place)
    order = np.random.default_rng(seed).permutation(len(y))
    for other, scale in (
        (reml_nested(y, spool, cell), 1.0),  # places numbered across spools
        (reml_nested(y[order], 9 - spool[order], place[order].astype(str)), 1.0),
        (reml_nested(-20.0 + y / 500, spool, place), 500.0**-2),
    ):
        expected = [scale * base.spool, scale * base.place, scale * base.reading]
        got = [other.spool, other.place, other.reading]
        assert got == pytest.approx(expected, rel=1e-7, abs=1e-10 * scale)
    assert other.mean == pytest.approx(-20 + base.mean / 500, rel=1e-10)


def test_micrometres_on_top_of_a_metre_are_not_lost():
    """Readings of 0.001 mm steps at 1.75 mm and 1000 mm up give the same components."""
    y, group = oneway_data(SIZES["unequal"], 5)
    y = np.round(y) * 2.0**-10  # exact in binary, so that the shift is exact, too
    near, far = reml_oneway(y + 1.75, group), reml_oneway(y + 1024.0, group)
    assert [near.between, near.within] == pytest.approx([far.between, far.within], rel=1e-9)


def test_equal_values_in_every_group_leave_nothing_within():
    got = reml_oneway([1.0, 1.0, 4.0, 4.0, 4.0, 1.0], [0, 0, 1, 1, 1, 2])
    assert (got.between, got.within, got.mean) == (pytest.approx(3.0), 0.0, pytest.approx(2.0))
    assert got.u_mean == pytest.approx(1.0)  # sqrt(3 / 3): three levels, exactly known
    assert got.shifts == pytest.approx([-1.0, 2.0, -1.0])
    assert got.log_likelihood == np.inf
    same = reml_oneway([0.1 + 0.2] * 4, [0, 0, 1, 1])
    assert (same.between, same.within, same.u_mean) == (0.0, 0.0, 0.0)


def test_equal_readings_at_every_place_leave_nothing_to_the_reading():
    y, spool, place, cell = nested_data(PLACES["unequal"], 2)
    level = y[np.unique(cell, return_index=True)[1]]
    of = spool[np.unique(cell, return_index=True)[1]]
    got, means = reml_nested(level[cell], spool, place), reml_oneway(level, of)
    assert (got.spool, got.place, got.reading) == (means.between, means.within, 0.0)
    assert (got.mean, got.u_mean) == pytest.approx((means.mean, means.u_mean), rel=1e-12)
    assert got.log_likelihood == np.inf


@pytest.mark.parametrize(("values", "group"), [
    ([], []),
    ([1.0, 2.0, 3.0], [0, 0, 0]),
    ([1.0, 2.0, 3.0], [0, 1, 2]),
])  # fmt: skip
def test_too_few_values_say_what_to_measure(values, group):
    with pytest.raises(TooFewReadings) as caught:
        reml_oneway(values, group)
    assert str(caught.value).startswith("components need 2 groups and a group of 2 values, got ")
    assert str(caught.value).endswith(": measure more")


@pytest.mark.parametrize("estimate", [reml_nested, anova_nested])
@pytest.mark.parametrize(("spool", "place", "missing"), [
    ([0, 0, 0, 0], [0, 0, 1, 1], "need 2 spools, got"),
    ([0, 0, 1, 1], [0, 0, 1, 1], "need a spool with 2 places, got"),
    ([0, 0, 1, 1], [0, 1, 0, 1], "need a place with 2 readings, got"),
    ([0, 0, 0, 0], [0, 1, 2, 3], "need 2 spools and a place with 2 readings, got"),
])  # fmt: skip
def test_a_stage_that_cannot_be_told_is_named(estimate, spool, place, missing):
    with pytest.raises(TooFewReadings, match=missing):
        estimate([1.0, 2.0, 4.0, 8.0], spool, place)


@pytest.mark.parametrize("wrong", [np.nan, np.inf])
def test_values_that_are_no_numbers_are_refused(wrong):
    y, spool, place = [1.0, 2.0, wrong, 4.0, 5.0, 6.0], [0, 0, 0, 1, 1, 1], [0, 0, 1, 0, 0, 1]
    for estimate in (reml_nested, anova_nested):
        with pytest.raises(ValueError, match="1 of 6 values are not finite"):
            estimate(y, spool, place)
        with pytest.raises(ValueError, match="give each value its label"):
            estimate(y[:5], spool, place)
    with pytest.raises(ValueError, match="1 of 6 values are not finite"):
        reml_oneway(y, spool)
    for known in (wrong, -0.1, [0.1, 0.1, 0.1, 0.1, 0.1, -0.1]):
        with pytest.raises(ValueError, match="known variances"):
            reml_oneway([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], spool, known)


@given(
    st.integers(2, 6),
    st.integers(2, 8),
    st.floats(0, 3),
    st.floats(0, 3),
    st.floats(0, 2),
    st.integers(0, 2**32 - 1),
)
def test_groups_of_one_size_are_told_in_closed_form_where_the_climb_ends(
    groups, size, between, within, known, seed
):
    """The climb (cell_likelihood.highest) goes another road to the same top."""
    rng = np.random.default_rng(seed)
    value = between * rng.normal(size=(groups, 1)) + (within + known) * rng.normal(
        size=(groups, size)
    )
    label = np.repeat(np.arange(groups), size)
    closed = reml_oneway(value.ravel(), label, known**2)
    # The same values with the last one known a hair otherwise: no longer alike, so it is climbed.
    almost = np.full(value.size, known**2)
    almost[-1] *= 1 + 1e-9
    almost[-1] += 1e-12
    climbed = reml_oneway(value.ravel(), label, almost)
    spread = float(value.var()) + known**2
    assert closed.log_likelihood >= climbed.log_likelihood - 1e-6 * value.size
    assert closed.converged
    if climbed.converged:
        assert closed.between == pytest.approx(climbed.between, abs=2e-4 * spread + 1e-9)
        assert closed.within == pytest.approx(climbed.within, abs=2e-4 * spread + 1e-9)
