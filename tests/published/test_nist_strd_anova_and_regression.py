"""Variance components and trend against NIST StRD (itl.nist.gov/div898/strd), files as shipped.

The certified sums of squares give the components by the ANOVA estimators for balanced data,
within = SSW / (N - a) and between = (MSB - MSW) / n (Searle, Casella and McCulloch 1992,
Variance Components, section 3.6).  Tolerances are derived: storing the data as doubles moves the
length of a vector of deviations by at most e * sqrt(N), e = half a spacing, and a group mean summed
from n values is off by at most n roundoffs (Higham 2002, eq. 4.4).
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.order import trend
from lotqa.evidence.variances import oneway
from tests.published.source import DATA, dat_rows, one

# file -> line numbers of the data, as stated in the header of the file
ANOVA = {"AtmWtAg": (61, 108), "SiRstv": (61, 85), "SmLs01": (61, 249), "SmLs04": (61, 249)}


def certified(name):
    """(df, SS) between and within, read from lines 41 to 47 of the file."""
    lines = (DATA / "strd" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    between = next(line for line in lines[39:47] if line.startswith("Between")).split()
    within = next(line for line in lines[39:47] if line.startswith("Within")).split()
    return (int(between[2]), float(between[3])), (int(within[2]), float(within[3]))


def components(name):
    (df_b, ss_b), (df_w, ss_w) = certified(name)
    n_each = (df_b + df_w + 1) / (df_b + 1)
    within = ss_w / df_w
    return (ss_b / df_b - within) / n_each, within, df_b, df_w, n_each


def tolerances(name, x):
    """Absolute error that double precision allows in (between, within)."""
    (df_b, ss_b), (df_w, ss_w) = certified(name)
    n = len(x)
    n_each = n / (df_b + 1)
    error = np.spacing(np.abs(x).max()) * (0.5 + 0.5 * n_each)
    length = error * np.sqrt(n)
    ss_error = [2 * np.sqrt(ss) * length + length**2 + 1e-14 * ss for ss in (ss_b, ss_w)]
    within = ss_error[1] / df_w
    return (ss_error[0] / df_b + within) / n_each, within


@pytest.mark.parametrize("name", ANOVA)
def test_components_of_variance(name):
    rows = dat_rows(f"{name}.dat", *ANOVA[name])
    got = oneway(rows[:, 1], rows[:, 0].astype(int))
    between, within, df_b, df_w, n_each = components(name)
    assert (got.df_between, got.df_within) == (df_b, df_w)
    assert one(got.n0) == pytest.approx(n_each, rel=1e-12)
    between_error, within_error = tolerances(name, rows[:, 1])
    assert one(got.within) == pytest.approx(within, rel=0, abs=within_error)
    assert one(got.between) == pytest.approx(between, rel=0, abs=between_error)


def test_the_tolerance_of_the_hard_set_still_tells_right_from_wrong():
    """The planted fault: squares of the values themselves, 1e6 times larger than the scatter."""
    rows = dat_rows("SmLs04.dat", *ANOVA["SmLs04"])
    x, group = rows[:, 1], rows[:, 0]
    sums = sum(x[group == g].sum() ** 2 / np.sum(group == g) for g in np.unique(group))
    wrong = (np.sum(x**2) - sums) / (len(x) - 9)
    _, within, *_ = components("SmLs04")
    assert abs(wrong - within) > tolerances("SmLs04", x)[1]


def test_slope_of_the_norris_calibration():
    """Certified slope and its standard deviation, to 12 of the 15 digits (condition about 1e3)."""
    slope, sd_slope, df = 1.00211681802045, 0.429796848199937e-03, 34
    rows = dat_rows("Norris.dat", 61, 96)
    y, x = rows[:, 0], rows[:, 1]
    got = trend(x, y)
    half_width = stats.t.ppf(0.975, df) * sd_slope
    assert one(got.slope) == pytest.approx(slope, rel=1e-12)
    assert one(got.t) == pytest.approx(slope / sd_slope, rel=1e-10)
    assert one(got.lo) == pytest.approx(slope - half_width, rel=1e-12)
    assert one(got.hi) == pytest.approx(slope + half_width, rel=1e-12)
    assert one(got.p) < 1e-60
