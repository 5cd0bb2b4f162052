"""Mean and sd from rounded readings: brute-force likelihood, exact probabilities, simulation.

Second opinions: scipy.optimize on the cell probabilities, scipy.stats.norm.fit on CensoredData,
and the exact probability that n readings fall into one cell or two.  Simulated shares may miss
their promise by four standard errors of a share; the seeds are fixed.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.rounding import censored_normal, unresolved_quantile
from lotqa.evidence.spool import lot_evidence
from lotqa.model import Readings
from tests.evidence.lots import ALPHA, SECTION, STEP_MM, evidence, readings
from tests.simulator import Filament, Tool, measure

EXACT_PIN = Offset(0.0, 0.0, 6, 0.0, 0.0)
SAMPLES = [(0.3, 40, 3), (0.5, 12, 6), (0.8, 20, 2), (1.7, 15, 4), (4.0, 30, 5)]  # sigma, n, seed


def least(promised, n):
    """A share that a promise of ``promised`` may show in n trials: four standard errors less."""
    return promised - 4 * np.sqrt(promised * (1 - promised) / n)


def rounded_sample(sigma, n, seed, phase=0.23):
    rng = np.random.default_rng(seed)
    return np.round(175 + phase + sigma * rng.standard_normal(n))


def alone(cells, weight=None, step=STEP_MM):
    """One spool by itself."""
    values = np.asarray(cells, dtype=float) * step
    weight = np.ones(len(values)) if weight is None else np.asarray(weight, dtype=float)
    return censored_normal(np.zeros(len(values), dtype=np.int64), 1, values, weight, step)


def brute_force(cells, weight=None):
    """(mu, sigma) in steps: the maximum of the likelihood by a general optimiser."""
    cells = np.asarray(cells, dtype=float)
    weight = np.ones(len(cells)) if weight is None else np.asarray(weight, dtype=float)

    def loss(at):
        mu, sigma = at[0], np.exp(at[1])
        upper, lower = (cells + 0.5 - mu) / sigma, (cells - 0.5 - mu) / sigma
        flip = np.where(lower > 0, -1, 1)  # both bounds into the tail that keeps its digits
        p = np.abs(stats.norm.cdf(flip * upper) - stats.norm.cdf(flip * lower))
        return -np.sum(weight * np.log(np.maximum(p, 1e-300)))

    start = [np.average(cells, weights=weight), np.log(max(cells.std(), 0.3))]
    tight = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}
    found = optimize.minimize(loss, start, method="Nelder-Mead", options=tight)
    assert found.success
    return found.x[0], np.exp(found.x[1])


@pytest.mark.parametrize(("sigma", "n", "seed"), SAMPLES)
def test_the_maximum_of_the_likelihood_is_found(sigma, n, seed):
    cells = rounded_sample(sigma, n, seed)
    mu, best = brute_force(cells)
    got = alone(cells)
    assert got.resolved[0]
    assert got.mean_mm[0] / STEP_MM == pytest.approx(mu, abs=2e-5)
    # n - 1 in place of n, as in s.
    assert got.sd_mm[0] / STEP_MM == pytest.approx(best * np.sqrt(n / (n - 1)), rel=5e-5)


@pytest.mark.parametrize(("sigma", "n", "seed"), SAMPLES)
def test_scipy_fits_the_same(sigma, n, seed):
    cells = rounded_sample(sigma, n, seed)
    intervals = np.stack([cells - 0.5, cells + 0.5], axis=1)
    mu, best = stats.norm.fit(stats.CensoredData(interval=intervals))
    got = alone(cells)
    assert got.mean_mm[0] / STEP_MM == pytest.approx(mu, abs=1e-3)  # its optimiser stops there
    assert got.sd_mm[0] / STEP_MM == pytest.approx(best * np.sqrt(n / (n - 1)), rel=1e-3)


def test_readings_of_one_place_count_as_one():
    cells = rounded_sample(0.9, 16, 8)
    once, twice = alone(cells), alone(np.repeat(cells, 2), np.full(32, 0.5))
    for name in ("mean_mm", "sd_mm", "se_mean_mm", "df"):
        assert getattr(twice, name) == pytest.approx(getattr(once, name), rel=1e-9)
    weight = np.linspace(0.2, 1.0, 16)
    mu, best = brute_force(cells, weight)
    uneven = alone(cells, weight)
    assert uneven.mean_mm[0] / STEP_MM == pytest.approx(mu, abs=2e-5)
    freedom = weight.sum() / (weight.sum() - 1)
    assert uneven.sd_mm[0] / STEP_MM == pytest.approx(best * np.sqrt(freedom), rel=5e-5)


def ragged():
    """Spools of any width, one of them with a wild reading, one without readings."""
    rng = np.random.default_rng(11)
    spools = [rounded_sample(s, int(rng.integers(5, 30)), i) for i, s in enumerate(
        (0.01, 0.25, 0.4, 0.6, 0.9, 1.5, 3.0, 6.0, 0.02, 0.7)
    )]  # fmt: skip
    spools[4] = np.append(spools[4], 900.0)
    spools[7] = np.zeros(0)
    return spools


FIELDS = ("mean_mm", "sd_mm", "se_mean_mm", "df", "sd_upper_mm", "resolved")


def test_many_spools_at_once_are_each_one_alone():
    spools = ragged()
    owner = np.repeat(np.arange(len(spools)), [len(s) for s in spools])
    order = np.random.default_rng(3).permutation(len(owner))
    values = np.concatenate(spools)[order] * STEP_MM
    got = censored_normal(owner[order], len(spools), values, np.ones(len(values)), STEP_MM)
    assert np.isnan([got.mean_mm[7], got.sd_mm[7], got.sd_upper_mm[7]]).all()
    assert not got.resolved[7]
    for i, cells in enumerate(spools):
        if len(cells):
            single = alone(cells)
            for name in FIELDS:
                mine, its = getattr(got, name)[i], getattr(single, name)[0]
                # One spool may go a few rounds further than it would alone.
                assert mine == pytest.approx(its, rel=1e-5, nan_ok=True), (i, name)


def test_a_wild_reading_disturbs_its_own_spool_only():
    calm = rounded_sample(0.8, 20, 2)
    wild = np.append(rounded_sample(0.8, 20, 6), 175 + 10_000)
    owner = np.repeat([0, 1], [20, 21])
    values = np.concatenate([calm, wild]) * STEP_MM
    got = censored_normal(owner, 2, values, np.ones(41), STEP_MM)
    assert got.sd_mm[0] == pytest.approx(alone(calm).sd_mm[0], rel=1e-6)
    assert got.sd_mm[1] > 1000 * got.sd_mm[0]


def expected_information(mu, sigma):
    """Of one reading on (mu, ln sigma): minus the second differences of the expected log P."""
    cells = np.round(mu) + np.arange(-60, 61)

    def p(m, log_s):
        upper, lower = (cells + 0.5 - m) / np.exp(log_s), (cells - 0.5 - m) / np.exp(log_s)
        flip = np.where(lower > 0, -1, 1)
        return np.abs(stats.norm.cdf(flip * upper) - stats.norm.cdf(flip * lower))

    at, truth, h = np.array([mu, np.log(sigma)]), p(mu, np.log(sigma)), 1e-4
    seen = truth > 1e-14

    def q(step):
        return float(np.sum(truth[seen] * np.log(p(*(at + step))[seen])))

    e = np.eye(2) * h
    return -np.array([
        [(q(e[i] + e[j]) - q(e[i] - e[j]) - q(e[j] - e[i]) + q(-e[i] - e[j])) / (4 * h * h)
         for j in range(2)] for i in range(2)
    ])  # fmt: skip


@pytest.mark.parametrize(("sigma", "n", "seed"), SAMPLES)
def test_uncertainties_come_from_the_expected_information(sigma, n, seed):
    cells = rounded_sample(sigma, n, seed)
    got, (mu, best) = alone(cells), brute_force(cells)
    covariance = np.linalg.inv(n * expected_information(mu, best))
    se = np.sqrt(covariance[0, 0] * n / (n - 1))
    assert got.se_mean_mm[0] / STEP_MM == pytest.approx(se, rel=6e-3)  # 1 % of FINE at the most
    # ln sd of a chi-square with df degrees of freedom has variance 1 / (2 df).
    df = min(1 / (2 * covariance[1, 1]), n - 1)
    assert got.df[0] == pytest.approx(df, rel=1.2e-2)


@pytest.mark.parametrize("sigma", [0.6, 1.0, 2.5])
def test_sheppard_agrees_above_half_a_step(sigma):
    cells = rounded_sample(sigma, 20_000, 17)
    sheppard = np.sqrt(cells.var(ddof=1) - 1 / 12)
    assert alone(cells).sd_mm[0] / STEP_MM == pytest.approx(sheppard, rel=5e-3)


def test_sheppard_fails_at_a_third_of_a_step_and_likelihood_does_not():
    cells = rounded_sample(0.3, 20_000, 17, phase=0.0)
    sheppard = np.sqrt(cells.var(ddof=1) - 1 / 12)
    assert abs(sheppard / 0.3 - 1) > 0.5
    got = alone(cells)
    assert got.resolved[0]
    assert got.sd_mm[0] / STEP_MM == pytest.approx(0.3, rel=4 / np.sqrt(2 * got.df[0]))


@settings(max_examples=60)
@given(
    st.lists(st.integers(-4, 4), min_size=2, max_size=30),
    st.integers(-10_000_000, 10_000_000),
    st.sampled_from([0.001, 0.01, 0.05, 10.0]),
)
def test_whole_steps_shift_and_the_step_scales(cells, shift, step):
    base = alone(cells, step=1.0)
    moved = alone(np.array(cells) + shift, step=step)
    assert moved.resolved[0] == base.resolved[0]
    assert moved.mean_mm[0] / step - shift == pytest.approx(base.mean_mm[0], abs=1e-6)
    for name in ("sd_mm", "se_mean_mm", "sd_upper_mm"):
        scaled = getattr(base, name)[0] * step
        assert getattr(moved, name)[0] == pytest.approx(scaled, rel=1e-5, nan_ok=True)


@settings(max_examples=60)
@given(st.lists(st.integers(-3, 3), min_size=2, max_size=30))
def test_upside_down_is_the_same(cells):
    up, down = alone(cells, step=1.0), alone(-np.array(cells), step=1.0)
    assert down.mean_mm[0] == pytest.approx(-up.mean_mm[0], abs=1e-6)
    for name in ("sd_mm", "se_mean_mm", "sd_upper_mm", "df"):
        expected = getattr(up, name)[0]
        assert getattr(down, name)[0] == pytest.approx(expected, rel=1e-5, nan_ok=True)


def test_a_step_far_finer_than_the_data_leaves_plain_statistics():
    x = np.round(np.random.default_rng(2).normal(1.75, 0.012, 25), 5)
    got = censored_normal(np.zeros(25, dtype=np.int64), 1, x, np.ones(25), 1e-5)
    assert got.mean_mm[0] == pytest.approx(x.mean(), abs=1e-9)
    assert got.sd_mm[0] == pytest.approx(x.std(ddof=1), rel=1e-6)
    assert got.se_mean_mm[0] == pytest.approx(x.std(ddof=1) / 5, rel=1e-6)
    assert got.df[0] == pytest.approx(24)


# Not resolved.


def chance_of_cells(n, sigma, n_cells):
    """P that n readings fall into ``n_cells`` neighbours at the kindest place of the mean."""
    reach = n_cells / 2 / sigma
    return (stats.norm.cdf(reach) - stats.norm.cdf(-reach)) ** n


@pytest.mark.parametrize("n", [5, 10, 20, 40])
@pytest.mark.parametrize("cells", [1, 2])
def test_the_bound_is_the_sd_at_which_so_few_steps_come_by_chance(n, cells):
    shown = np.full(n, 175) if cells == 1 else np.append(np.full(n - 1, 175), 176)
    got = alone(shown)
    assert not got.resolved[0]
    assert got.sd_mm[0] == 0
    bound = got.sd_upper_mm[0] / STEP_MM
    assert chance_of_cells(n, bound, cells) == pytest.approx(0.025, rel=1e-9)
    # The kindest place is the middle: no other mean makes it likelier.
    means = np.linspace(-2, 2, 401)
    ends = stats.norm.cdf((cells / 2 - means) / bound) - stats.norm.cdf(
        (-cells / 2 - means) / bound
    )
    assert (ends**n).max() <= 0.025 * (1 + 1e-9)


def test_the_bound_falls_with_every_further_reading():
    bounds = 0.5 / unresolved_quantile(np.arange(2, 200))
    assert (np.diff(bounds) < 0).all()


def upper_limit(got, confidence=0.95):
    """Upper end of the interval of sd, resolved or not."""
    of_s = got.sd_mm * np.sqrt(got.df / stats.chi2.ppf((1 - confidence) / 2, got.df))
    return np.where(got.resolved, of_s, got.sd_upper_mm)


@pytest.mark.parametrize("n", [10, 20, 40])
@pytest.mark.parametrize("sigma", [0.15, 0.3, 0.4, 0.5, 0.6, 0.8])
def test_limits_hold_over_resolved_and_unresolved_together(sigma, n):
    k, rng = 2000, np.random.default_rng(int(1000 * sigma) + n)
    truth = 175 + rng.uniform(-0.5, 0.5, (k, 1))
    cells = np.round(truth + sigma * rng.standard_normal((k, n)))
    owner = np.repeat(np.arange(k), n)
    got = censored_normal(owner, k, cells.ravel() * STEP_MM, np.ones(k * n), STEP_MM)
    assert np.mean(upper_limit(got) >= sigma * STEP_MM) >= least(0.95, k)
    # Of all spools no more than 1 in 40 may be unresolved and lie above their bound.
    missed = ~got.resolved & (got.sd_upper_mm < sigma * STEP_MM)
    assert np.mean(missed) <= 0.025 + 4 * np.sqrt(0.025 * 0.975 / k)
    factor = np.where(got.resolved, stats.t.ppf(0.975, got.df), stats.norm.ppf(0.975))
    off = np.abs(got.mean_mm - truth[:, 0] * STEP_MM)
    assert np.mean(off <= factor * got.se_mean_mm) >= least(0.95, k)


@pytest.mark.parametrize(("n", "share"), [(5, 0.4), (10, 0.1), (20, 0.05), (20, 0.5), (40, 0.25)])
def test_the_mean_of_two_steps_has_its_profile_likelihood_interval(n, share):
    upper = round(share * n)
    got = alone(np.repeat([0.0, 1.0], [n - upper, upper]), step=1.0)
    half = stats.norm.ppf(0.975) * got.se_mean_mm[0]
    # As sigma goes to 0 the shares are met exactly: the likelihood of n throws of a coin.
    peak = upper * np.log(upper / n) + (n - upper) * np.log(1 - upper / n)
    drop = stats.chi2.ppf(0.95, 1) / 2

    def fall(mu):
        """How far the profile at mu lies below its peak."""

        def loss(log_sigma):
            s = np.exp(log_sigma)
            p0 = stats.norm.cdf((0.5 - mu) / s) - stats.norm.cdf((-0.5 - mu) / s)
            p1 = stats.norm.cdf((1.5 - mu) / s) - stats.norm.cdf((0.5 - mu) / s)
            return -((n - upper) * np.log(max(p0, 1e-300)) + upper * np.log(max(p1, 1e-300)))

        starts = np.linspace(-7, 1.5, 200)
        start = starts[int(np.argmin([loss(v) for v in starts]))]
        best = optimize.minimize_scalar(loss, bounds=(start - 0.1, start + 0.1), method="bounded")
        return best.fun + peak

    # Just outside it has fallen too far; a node and a half inside it has not.
    for end, out in ((got.mean_mm[0] - half, -1), (got.mean_mm[0] + half, 1)):
        assert fall(end + out * 1e-6) > drop
        assert fall(end - out * 0.0376) < drop


def test_the_mean_of_one_step_lies_anywhere_in_it():
    got = alone(np.full(20, 175))
    assert got.mean_mm[0] == pytest.approx(1.75, abs=1e-12)
    assert got.se_mean_mm[0] == pytest.approx(STEP_MM / np.sqrt(12), rel=1e-9)  # GUM F.2.2.1


@pytest.mark.parametrize("n", [1_000, 100_000])
def test_very_many_readings_in_two_steps(n):
    got = alone(np.repeat([175.0, 176.0], [n - n // 3, n // 3]))
    assert 1.75 < got.mean_mm[0] < 1.76
    assert 0 < got.se_mean_mm[0] < 0.2 * STEP_MM


# In the evidence of a spool.


def test_all_equal_readings_are_bounded_not_perfect():
    d = evidence(readings({"x": np.full((20, 2), 1.75)})).diameter
    assert not d.resolved[0]
    assert (d.sd_mm[0], d.sd_lo_mm[0]) == (0.0, 0.0)
    # The two readings of a place tell one fact: 20 readings, not 40.
    assert chance_of_cells(20, d.sd_hi_mm[0] / STEP_MM, 1) == pytest.approx(0.025, rel=1e-9)
    assert d.mean_lo_mm[0] < 1.745
    assert d.mean_hi_mm[0] > 1.755


@pytest.mark.parametrize("shown", [(1.75, 1.75), (1.75, 1.76), (1.75, 1.76, 1.74)])
def test_the_offset_of_the_tool_is_taken_off_a_coarse_mean(shown):
    d = np.resize(np.array(shown), (20, 1)).repeat(2, axis=1)
    apart = Offset(0.0034, 0.0, 6, 0.0, 0.0)
    plain, moved = (evidence(readings({"x": d}), offset=o).diameter for o in (EXACT_PIN, apart))
    assert plain.mean_mm[0] - moved.mean_mm[0] == pytest.approx(0.0034, abs=1e-12)
    assert moved.u_mean_mm[0] == pytest.approx(plain.u_mean_mm[0], rel=1e-9)


def as_readings(measured):
    k, n, m = measured.diameter_mm.shape
    return Readings(
        spools=tuple(str(i) for i in range(k)),
        spool=np.repeat(np.arange(k), n * m),
        place=np.repeat(np.arange(k * n), m),
        position_m=np.repeat(measured.position_m.ravel(), m),
        direction_deg=np.tile(measured.direction_deg, k * n),
        diameter_mm=measured.diameter_mm.ravel(),
        trial=np.ones(k * n * m, dtype=np.int64),
        operators=(),
        operator=np.full(k * n * m, -1),
        file="readings.csv",
        line=np.arange(k * n * m) + 2,
    )


@pytest.mark.parametrize("n", [10, 20, 40])
@pytest.mark.parametrize("directions", [(0.0,), (0.0, 90.0)])
@pytest.mark.parametrize("sd", [0.0015, 0.003, 0.0045, 0.006])
def test_a_steady_hand_and_a_coarse_step(sd, directions, n):
    """Scatter 0.001 mm stated, step 0.01 mm, mean anywhere in the step: both intervals hold."""
    k, rng = 2000, np.random.default_rng(int(1e5 * sd) + n + len(directions))
    mean = 1.75 + rng.uniform(-STEP_MM / 2, STEP_MM / 2, k)
    measured = measure(
        Filament(mean_mm=mean, sd_mm=sd), rng, n_spools=k, n_places=n,
        directions_deg=directions, tool=Tool(scatter_sd_mm=0.001, step_mm=STEP_MM),
    )  # fmt: skip
    stated = Scatter(0.001, float("inf"), "stated")
    found = lot_evidence(as_readings(measured), SECTION, stated, EXACT_PIN, STEP_MM, ALPHA)
    d = found.diameter
    assert np.mean((d.mean_lo_mm <= mean) & (mean <= d.mean_hi_mm)) >= least(0.95, k)
    assert np.mean((d.sd_lo_mm <= sd) & (sd <= d.sd_hi_mm)) >= least(0.95, k)
