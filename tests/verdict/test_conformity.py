"""How likely a spool conforms: whole sentences, Monte Carlo, and calibration by simulation.

A production with known laws is simulated; of the spools that are told p, a share p must truly
conform, within four standard errors of the number of those that do.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.conformity import Prior
from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.spool import Section, lot_evidence
from lotqa.model import Finding
from lotqa.verdict.conformity import conformity, percent
from lotqa.verdict.spool import judge_spools
from tests.evidence.lots import ALPHA, SECTION, evidence, exact, readings
from tests.evidence.test_rounding import as_readings
from tests.simulator import Filament, Tool, measure
from tests.verdict.cases import case, goods, plain

CERTAIN = Offset(0.0, 0.0, 6, 0.0, 0.0)
KNOWN = float("inf")


def told(the_case, i=0, prior=None):
    return conformity(the_case, judge_spools(the_case), i, prior)


def one_spool(mean_mm, s_mm, n=20, *, scatter=0.008, df=KNOWN, u_mm=0.0035, section=SECTION):
    return evidence(
        readings({"x": exact(n, mean_mm, s_mm, oval_mm=0.01)}),
        section=section,
        scatter=Scatter(scatter, df, "stated"),
        offset=Offset(0.0, u_mm, 6, 0.001, 0.007),
    )


def test_an_accepted_spool_is_the_buyers_risk():
    found = told(case(plain()))
    assert found.bearer == "buyer"
    assert found.p_conforms == pytest.approx(found.p_mean * found.p_spread, abs=1e-15)
    assert found.risk == pytest.approx(1 - found.p_conforms, abs=1e-15)
    assert found.text == (
        "With probability over 99.9 % the mean truly lies within 1.70 to 1.80 mm and the spread "
        "within its limit; taking it leaves the buyer a risk of under 0.1 %."
    )


def test_a_spool_rejected_by_its_diameter_is_the_makers_risk():
    found = told(case(one_spool(1.804, 0.007)))
    assert (found.bearer, found.risk) == ("maker", found.p_conforms)
    u = np.hypot(0.007 / np.sqrt(20), 0.0035)  # nearly all of it the tool's, so nearly normal
    assert found.p_mean == pytest.approx(stats.norm.sf(0.004 / u), abs=1e-3)
    assert found.text == (
        "With probability 15 % the mean truly lies within 1.70 to 1.80 mm and the spread within "
        "its limit; sending it back wrongs the maker with probability 15 %."
    )


def test_a_spool_to_be_tuned_is_taken_all_the_same():
    found = told(case(one_spool(1.79, 0.007)))
    assert found.bearer == "buyer"
    assert found.risk == pytest.approx(1 - found.p_conforms, abs=1e-15)


@pytest.mark.parametrize("n", [4, 6, 12])
def test_a_mean_of_few_places_is_judged_by_student(n):
    the_case = case(one_spool(1.794, 0.012, n=n, u_mm=0.0))
    law = stats.t(n - 1, 1.794, 0.012 / np.sqrt(n))
    assert told(the_case).p_mean == pytest.approx(law.cdf(1.80) - law.cdf(1.70), abs=2e-4)


def test_a_spool_rejected_for_something_else_has_no_bearer():
    knot = Finding("roll 1", "crossed winding", "critical")
    found = told(case(plain(), goods(findings=[[knot]])))
    assert (found.bearer, found.risk) == (None, None)
    assert found.text == (
        "With probability over 99.9 % the mean truly lies within 1.70 to 1.80 mm and the spread "
        "within its limit. It is rejected for another reason."
    )


def test_a_prior_is_named_and_weighed():
    the_case = case(one_spool(1.804, 0.007))
    prior = Prior(1.79, 0.004, 7)
    found = told(the_case, prior=prior)
    assert found.prior == prior
    assert "(the mean also weighed by 7 earlier lots)" in found.text
    assert told(the_case).prior is None
    assert found.p_mean > 2 * told(the_case).p_mean  # all earlier lots lay inside


def test_one_place_says_nothing():
    assert told(case(plain(n=2))).p_mean is not None
    single = evidence(readings({"x": np.full((1, 2), 1.75)}))
    found = told(case(single))
    figures = (found.p_mean, found.p_spread, found.p_conforms, found.bearer, found.risk)
    assert figures == (None,) * 5
    assert found.text == "Too few places to say how likely."


def test_no_limit_of_spread_is_always_kept():
    found = told(case(plain(s_mm=0.03), limits={"spread.cp_min": 0.0}))
    assert found.p_spread == 1.0


@pytest.mark.parametrize(("p", "text"), [
    (0.0, "under 0.1 %"), (0.00099, "under 0.1 %"), (0.001, "0.1 %"), (0.0994, "9.9 %"),
    (0.1, "10 %"), (0.5049, "50 %"), (0.9, "90 %"), (0.955, "95.5 %"), (0.999, "99.9 %"),
    (0.9991, "over 99.9 %"), (1.0, "over 99.9 %"),
])  # fmt: skip
def test_percent_is_never_certain(p, text):
    assert percent(p) == text


@pytest.mark.parametrize(("n", "s"), [(10, 0.013), (20, 0.011), (40, 0.014)])
@pytest.mark.parametrize("df", [6.0, 12.5, KNOWN])
def test_the_spread_with_a_scatter_that_is_itself_an_estimate(n, s, df):
    """Both variances drawn as their estimates leave them open, 400000 times."""
    found = one_spool(1.75, s, n=n, df=df)
    d = found.diameter
    assert np.isnan(d.ml_variance_mm2[0])
    draws, rng = 400_000, np.random.default_rng(12)
    scatter2 = np.full(draws, 0.008**2)
    if np.isfinite(df):
        scatter2 = scatter2 * df / rng.chisquare(df, draws)
    left = d.df_spread[0]
    total2 = left * d.s_observed_mm[0] ** 2 / rng.chisquare(left, draws)
    own2 = total2 - (scatter2 + 0.01**2 / 12) / 2  # two readings a place
    limit = 0.05 / (3 * 1.33)
    share = np.mean(own2 <= limit**2)
    got = told(case(found)).p_spread
    # 41 nodes of the scatter's law: its heaviest tail is cut at 1 in 82.
    slack = 4 * np.sqrt(0.25 / draws) + (0.006 if np.isfinite(df) else 0.0)
    assert got == pytest.approx(share, abs=slack)


def test_a_fine_spread_is_judged_by_its_likelihood():
    """Spread of the size of the step: single readings, their whole scatter taken off."""
    k, rng = 400, np.random.default_rng(21)
    measured = measure(Filament(sd_mm=0.004), rng, n_spools=k, tool=Tool(scatter_sd_mm=0.003))
    section = Section(1.75, 0.02, 1.75)
    scatter = Scatter(0.003, KNOWN, "stated")
    found = lot_evidence(as_readings(measured), section, scatter, CERTAIN, 0.01, ALPHA)
    d, the_case = found.diameter, case(found)
    rows = np.flatnonzero(np.isfinite(d.ml_variance_mm2))
    assert len(rows) > k / 10
    limit = 0.02 / (3 * 1.33)
    for i in rows[:20]:
        law = stats.invgamma(d.df_spread[i] / 2, scale=d.df_spread[i] * d.ml_variance_mm2[i] / 2)
        expected = law.cdf(limit**2 + 0.003**2)  # the total variance, from its estimate
        assert told(the_case, int(i)).p_spread == pytest.approx(expected, abs=1e-9)


BINS = (0.1, 0.3, 0.5, 0.7, 0.9)


@pytest.mark.parametrize(("n", "u_pin", "scatter"), [
    (5, 0.0035, 0.008), (5, 0.0, 0.008), (20, 0.0035, 0.008), (20, 0.0035, 0.001),
])  # fmt: skip
def test_of_spools_told_p_a_share_p_conforms(n, u_pin, scatter):
    """A normal production about the limit, its law the prior; each spool with an own tool."""
    k, rng = 3000, np.random.default_rng(106 + n)
    made = Prior(1.795, 0.010, 9)
    mean = rng.normal(made.mean_mm, made.sd_mm, k)
    offset = u_pin * rng.standard_normal(k)
    measured = measure(
        Filament(mean_mm=mean + offset, sd_mm=0.005), rng, n_spools=k, n_places=n,
        tool=Tool(scatter_sd_mm=scatter),
    )  # fmt: skip
    pin = Offset(0.0, u_pin, 6, 0.0, 0.007)
    known = Scatter(scatter, KNOWN, "stated")
    the_case = case(lot_evidence(as_readings(measured), SECTION, known, pin, 0.01, ALPHA))
    judgement = judge_spools(the_case)
    p = np.array([conformity(the_case, judgement, i, made).p_mean for i in range(k)])
    conforms = mean <= 1.80
    group = np.digitize(p, BINS)
    for g in range(len(BINS) + 1):
        rows = group == g
        assert rows.sum() > 50
        error = 4 * np.sqrt(np.sum(p[rows] * (1 - p[rows])))
        assert abs(conforms[rows].sum() - p[rows].sum()) <= error, (g, rows.sum())
    # Few places say little, and are told so: p far from 0 and 1 must be common, not rare.
    assert np.mean((p > 0.1) & (p < 0.9)) > 0.1


def test_the_prior_is_what_makes_it_fair():
    """Without the prior the same spools near the limit are told too low a p: the test can tell."""
    k, rng = 3000, np.random.default_rng(5)
    made = Prior(1.79, 0.004, 9)
    mean = rng.normal(made.mean_mm, made.sd_mm, k)
    measured = measure(Filament(mean_mm=mean, sd_mm=0.015), rng, n_spools=k, n_places=5)
    known = Scatter(0.008, KNOWN, "stated")
    the_case = case(lot_evidence(as_readings(measured), SECTION, known, CERTAIN, 0.01, ALPHA))
    judgement = judge_spools(the_case)
    without = np.array([conformity(the_case, judgement, i, None).p_mean for i in range(k)])
    given = np.array([conformity(the_case, judgement, i, made).p_mean for i in range(k)])
    low = without < 0.3
    truth = np.mean(mean[low] <= 1.80)
    assert np.mean(without[low]) < truth - 0.3
    assert np.mean(given[low]) == pytest.approx(truth, abs=4 * np.sqrt(0.25 / low.sum()))
