"""Variance components of textbook data, entered by hand, against what was printed for them.

1. O. L. Davies and P. L. Goldsmith, Statistical Methods in Research and Production, 4th ed. (1972):
   yield of dyestuff, table 6.1, six batches of five; strength of a paste, table 6.6, ten batches
   of three casks of two tests (table numbers from memory; data as reprinted in [2]).
2. D. Bates, lme4: Mixed-effects Modeling with R (2010), chapters 1 and 2: both by REML, and
   six batches of five made up so that batches differ less than chance would have them do.  The
   six decimals of the paste, and the restricted likelihoods, are those of the program there.
3. G. W. Snedecor and W. G. Cochran, Statistical Methods, 6th ed. (1967), p. 286: calcium in four
   turnip plants, three leaves each, two samples a leaf; six decimals as in manuals that reprint it.
"""

import numpy as np
import pytest

from lotqa.evidence.components import anova_nested, reml_nested, reml_oneway
from tests.published.source import agrees
from tests.published.test_variance_components_textbook import DYESTUFF, in_rows

MADE_UP = np.array(
    [
        [7.298, 3.846, 2.434, 9.566, 7.990],
        [5.220, 6.556, 0.608, 11.788, -0.892],
        [0.110, 10.386, 13.434, 5.510, 8.166],
        [2.212, 4.852, 7.092, 9.288, 4.980],
        [0.282, 9.014, 4.458, 9.446, 7.198],
        [1.722, 4.782, 8.106, 0.758, 3.758],
    ]
)
PASTE = np.array(  # a batch a row: casks a, a, b, b, c, c
    [
        [62.8, 62.6, 60.1, 62.3, 62.7, 63.1],
        [60.0, 61.4, 57.5, 56.9, 61.1, 58.9],
        [58.7, 57.5, 63.9, 63.1, 65.4, 63.7],
        [57.1, 56.4, 56.9, 58.6, 64.7, 64.5],
        [55.1, 55.1, 54.7, 54.2, 58.8, 57.5],
        [63.4, 64.9, 59.3, 58.1, 60.5, 60.0],
        [62.5, 62.6, 61.0, 58.7, 56.9, 57.7],
        [59.2, 59.4, 65.2, 66.0, 64.8, 64.1],
        [54.8, 54.8, 64.0, 64.0, 57.7, 56.8],
        [58.3, 59.3, 59.2, 59.2, 58.9, 56.6],
    ]
).reshape(10, 3, 2)
CALCIUM = np.array(
    [
        [3.28, 3.09, 3.52, 3.48, 2.88, 2.80],
        [2.46, 2.44, 1.87, 1.92, 2.19, 2.19],
        [2.77, 2.66, 3.74, 3.44, 2.55, 2.55],
        [3.78, 3.87, 4.07, 4.12, 3.31, 3.31],
    ]
).reshape(4, 3, 2)


def nested(table):
    spool, place, _ = np.indices(table.shape)
    return table.ravel(), spool.ravel(), place.ravel()


def test_dyestuff_by_restricted_likelihood():
    got = reml_oneway(*in_rows(DYESTUFF))
    assert agrees(got.between, "1764.05")
    assert agrees(np.sqrt(got.between), "42.001")
    assert agrees(got.within, "2451.25")
    assert agrees(np.sqrt(got.within), "49.510")
    assert agrees(got.mean, "1527.50")
    assert agrees(got.u_mean, "19.38")
    assert agrees(got.mean / got.u_mean, "78.80")
    assert agrees(-2 * got.log_likelihood, "319.6543")
    assert got.converged


def test_dyestuff_batches_are_drawn_to_the_mean():
    """Shrunk by n B / (n B + W) of the printed components, B 1764.05 and W 2451.25, n 5."""
    got = reml_oneway(*in_rows(DYESTUFF))
    shrunk = 5 * 1764.05 / (5 * 1764.05 + 2451.25)
    assert got.shifts == pytest.approx(shrunk * (DYESTUFF.mean(axis=1) - 1527.5), rel=1e-6)


def test_dyestuff_with_readings_missing():
    """Last of A, last two of F dropped; recomputed with the program of [2], not printed."""
    values, group = in_rows(DYESTUFF)
    kept = np.delete(np.arange(30), [4, 28, 29])
    got = reml_oneway(values[kept], group[kept])
    assert agrees(-2 * got.log_likelihood, "287.0462")
    # That program stops at about six digits of a variance.
    assert got.between == pytest.approx(1805.149419, rel=1e-5)
    assert got.within == pytest.approx(2429.99257, rel=1e-5)
    assert got.mean == pytest.approx(1526.612856, rel=1e-8)
    assert got.u_mean**2 == pytest.approx(393.2797, rel=1e-5)
    printed = [-30.199598, 1.092903, 29.456580, -22.543494, 57.820256, -35.626647]
    assert got.shifts == pytest.approx(printed, rel=1e-4)


def test_batches_that_differ_less_than_chance_have_no_variance():
    got = reml_oneway(*in_rows(MADE_UP))
    assert got.between == 0.0
    assert agrees(np.sqrt(got.within), "3.716")  # this one from memory
    assert agrees(got.mean, "5.6656")
    assert agrees(got.u_mean, "0.6784")
    assert agrees(got.mean / got.u_mean, "8.352")
    assert agrees(-2 * got.log_likelihood, "161.8")
    assert not got.shifts.any()


def test_paste_by_restricted_likelihood():
    got = reml_nested(*nested(PASTE))
    assert agrees(np.sqrt(got.spool), "1.287365")
    assert agrees(np.sqrt(got.place), "2.904078")
    assert agrees(np.sqrt(got.reading), "0.823408")
    assert agrees(got.mean, "60.05333")
    assert agrees(got.u_mean, "0.6768701")
    assert agrees(got.log_likelihood, "-123.4954")
    assert got.converged


def test_paste_by_analysis_of_variance():
    got = anova_nested(*nested(PASTE))
    assert got.df == (9, 20, 30)
    assert agrees(got.mean_squares[0], "27.489")
    assert agrees(got.mean_squares[1], "17.545")
    assert agrees(got.mean_squares[2], "0.678")
    assert got.coefficients == pytest.approx((2, 2, 6), rel=1e-12)


def test_calcium_of_turnip_leaves_by_analysis_of_variance():
    got = anova_nested(*nested(CALCIUM))
    assert got.df == (3, 8, 12)
    assert got.coefficients == pytest.approx((2, 2, 6), rel=1e-12)
    printed = ("2.520115", "0.328775", "0.006654")
    assert all(agrees(v, p) for v, p in zip(got.mean_squares, printed, strict=True))
    assert agrees(got.spool, "0.365223")
    assert agrees(got.place, "0.161060")
    assert agrees(got.reading, "0.006654")


@pytest.mark.parametrize("table", [PASTE, CALCIUM])
def test_equal_numbers_give_the_same_by_both_ways(table):
    """No estimate is negative here; Searle, Casella and McCulloch (1992), 3.8 (from memory)."""
    by_likelihood, by_squares = reml_nested(*nested(table)), anova_nested(*nested(table))
    for stage in ("spool", "place", "reading"):
        expected = getattr(by_squares, stage)
        assert getattr(by_likelihood, stage) == pytest.approx(expected, rel=1e-6)
