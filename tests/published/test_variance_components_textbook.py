"""Variance components of balanced and simulated lots.

1. O. L. Davies and P. L. Goldsmith, Statistical Methods in Research and Production, 4th ed. (1972),
   section 6.4: yield of dyestuff, six batches of five.  For balanced data the ANOVA estimate equals
   restricted maximum likelihood, 1764.05 and 2451.25 (lme4 documentation).
2. JCGM 100:2008 (GUM), H.5: ten days of five readings of a Zener reference; means and standard
   deviations of the days are printed, s_B = 43 uV and s_W = 85 uV.
3. G. Y. Zou and A. Donner, Statistics in Medicine 27 (2008) 1693-1702: limits of a difference.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.variances import difference_interval, oneway
from tests.published.source import agrees, one

DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)
ZENER_DAY_MEANS_UV = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])  # above 10 V
ZENER_DAY_SD_UV = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86], dtype=float)


def in_rows(table):
    return table.ravel(), np.repeat(np.arange(len(table)), table.shape[1])


def test_dyestuff():
    got = oneway(*in_rows(DYESTUFF))
    assert agrees(got.between, "1764.05")
    assert agrees(got.within, "2451.25")
    assert (got.df_between, got.df_within) == (5, 24)
    assert one(got.n0) == 5


def test_zener_days_of_the_gum():
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])  # any five values of mean 0
    pattern /= pattern.std(ddof=1)
    readings_uv = ZENER_DAY_MEANS_UV[:, None] + ZENER_DAY_SD_UV[:, None] * pattern
    got = oneway(*in_rows(readings_uv))
    assert agrees(np.sqrt(one(got.between)), "43")
    assert agrees(np.sqrt(one(got.within)), "85")
    assert (got.df_between, got.df_within) == (9, 40)


def test_names_and_order_of_groups_do_not_matter():
    values, group = in_rows(DYESTUFF)
    shuffle = np.random.default_rng(6).permutation(len(values))
    base, other = oneway(values, group), oneway(values[shuffle], 40 - 7 * group[shuffle])
    assert one(other.between) == pytest.approx(one(base.between), rel=1e-12)
    assert one(other.within) == pytest.approx(one(base.within), rel=1e-12)


def chi_square_limits(variance, df):
    return df * variance / stats.chi2.ppf([0.975, 0.025], df)


def test_a_difference_with_nothing_to_take_away_has_the_chi_square_interval():
    estimate, lo, hi = difference_interval(4.0, 12, 0.0, 30)
    assert one(estimate) == 4.0
    assert [one(lo), one(hi)] == pytest.approx(chi_square_limits(4.0, 12), rel=1e-12)


def test_a_difference_from_nothing_is_mirrored():
    estimate, lo, hi = difference_interval(0.0, 30, 4.0, 12, weight=0.5)
    low, high = 0.5 * chi_square_limits(4.0, 12)
    assert one(estimate) == -2.0
    assert [one(lo), one(hi)] == pytest.approx([-high, -low], rel=1e-12)


def test_a_known_variance_only_shifts_the_interval():
    """With df so large that v2 is known to 1e-3 the limits are those of v1, less v2."""
    _, lo, hi = difference_interval(4.0, 12, 1.0, 10**7)
    low, high = chi_square_limits(4.0, 12)
    assert [one(lo), one(hi)] == pytest.approx([low - 1, high - 1], abs=1e-3)


@pytest.mark.parametrize(("v1", "df1", "v2", "df2"), [(4.0, 9, 1.0, 40), (2.0, 19, 1.5, 19)])
def test_the_difference_is_covered_as_promised(v1, df1, v2, df2):
    """Seeded, 20000 lots; 1.5 points for the approximation and four standard errors.

    Zou and Donner report coverage close to nominal; the method is approximate by construction.
    """
    n_lots, rng = 20_000, np.random.default_rng(1693)
    first = v1 * rng.chisquare(df1, n_lots) / df1
    second = v2 * rng.chisquare(df2, n_lots) / df2
    _, lo, hi = difference_interval(first, df1, second, df2)
    covered = np.mean((np.asarray(lo) <= v1 - v2) & (v1 - v2 <= np.asarray(hi)))
    assert abs(covered - 0.95) < 0.015 + 4 * np.sqrt(0.95 * 0.05 / n_lots)


def test_more_confidence_is_a_wider_interval():
    widths = []
    for confidence in (0.80, 0.95, 0.99):
        _, lo, hi = difference_interval(4.0, 9, 1.0, 40, confidence=confidence)
        widths.append(one(hi) - one(lo))
    assert widths == sorted(widths)
    assert widths[0] < widths[2]
