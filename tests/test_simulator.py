"""The simulator is checked against geometry and large-sample moments, as others lean on it."""

import numpy as np
import pytest
from scipy import stats

from tests.simulator import (
    STRETCH_M,
    Filament,
    Lumps,
    Scale,
    Tool,
    cut_mass_g,
    dry,
    ellipse_width_mm,
    measure,
    read,
    true_sd_mm,
    uneven_positions_m,
    weigh,
    weigh_spools,
)

EXACT = Tool(scatter_sd_mm=0.0, step_mm=0.0)
FOUR_SIGMA = 4.0  # one false alarm in 16,000 for a fair simulator; the seeds are fixed besides


def test_width_of_an_ellipse_is_that_between_two_jaws():
    """Oracle: project a fine outline of the ellipse on the direction, widest minus narrowest."""
    t = np.linspace(0, 2 * np.pi, 200_001)
    x, y = 1.79 / 2 * np.cos(t), 1.71 / 2 * np.sin(t)
    for degrees in (0.0, 17.0, 45.0, 90.0, 133.0):
        angle = np.deg2rad(degrees)
        along = x * np.cos(angle) + y * np.sin(angle)
        got = ellipse_width_mm(np.array(1.75), 0.08, np.array(angle))
        # The outline misses the true extreme by at most d (1 - cos(step / 2)), below 1e-9.
        assert float(got) == pytest.approx(np.ptp(along), abs=1e-9)


def test_readings_average_to_the_mean_and_vary_as_stated():
    filament = Filament(mean_mm=1.742, sd_mm=0.006, wave_amplitude_mm=0.01, ovality_mm=0.03)
    k = 4000
    got = measure(filament, np.random.default_rng(11), n_spools=k, n_places=10, tool=EXACT)
    place = got.place_mm
    sd = float(true_sd_mm(filament))
    assert abs(place.mean() - 1.742) < FOUR_SIGMA * sd / np.sqrt(place.size)
    # A sum of a sine and normal noise has less kurtosis than a normal one: its bound serves.
    relative = FOUR_SIGMA * np.sqrt(2 / place.size)
    assert place.var() == pytest.approx(sd**2, rel=relative)
    # Two jaws 90 degrees apart see the place mean plus at most o**2 / (8 d).
    assert np.abs(got.width_mm.mean(axis=2) - place).max() < 0.03**2 / 8 / 1.7
    assert np.ptp(got.width_mm, axis=2).max() == pytest.approx(0.03, abs=2e-4)


def test_drift_tilts_about_the_middle_of_the_stretch():
    filament = Filament(mean_mm=1.75, sd_mm=0.0, drift_mm_per_m=-0.0004)
    x = np.array([[0.0, STRETCH_M / 2, STRETCH_M]])
    got = measure(filament, np.random.default_rng(1), position_m=x, tool=EXACT)
    assert got.place_mm[0] == pytest.approx([1.755, 1.75, 1.745])
    evenly = np.linspace(0, STRETCH_M, 10_001)[np.newaxis]
    along = measure(filament, np.random.default_rng(1), position_m=evenly, tool=EXACT)
    assert along.place_mm.std() == pytest.approx(
        float(true_sd_mm(filament)), rel=2e-4
    )  # grid of n: 1 / n


def test_a_wave_repeats_after_its_period_only():
    filament = Filament(sd_mm=0.0, wave_amplitude_mm=0.02, wave_period_m=0.12)
    x = np.array([[0.0, 0.06, 0.12, 1.2]])
    place = measure(filament, np.random.default_rng(5), position_m=x, tool=EXACT).place_mm[0]
    assert place[2] == pytest.approx(place[0])
    assert place[3] == pytest.approx(place[0])
    assert place[1] - 1.75 == pytest.approx(1.75 - place[0])


@pytest.mark.parametrize("lag_m", [0.01, 0.03, 0.3])
def test_neighbours_are_alike_over_centimetres_only(lag_m):
    k = 20_000
    x = np.tile([1.0, 1.0 + lag_m], (k, 1))
    filament = Filament(sd_mm=0.01, correlation_m=0.03)
    place = measure(filament, np.random.default_rng(8), position_m=x, tool=EXACT).place_mm
    got = stats.pearsonr(place[:, 0], place[:, 1]).statistic
    # Fisher's transform: atanh(r) is normal with variance 1 / (k - 3).
    expected = np.arctanh(np.exp(-lag_m / 0.03))
    assert abs(np.arctanh(got) - expected) < FOUR_SIGMA / np.sqrt(k - 3)


def test_the_long_axis_lies_anywhere():
    got = measure(Filament(), np.random.default_rng(3), n_spools=500, n_places=10)
    assert stats.kstest(got.long_axis_deg.ravel() / 180, "uniform").pvalue > 1e-4


def test_tool_adds_offset_scatter_and_step():
    rng = np.random.default_rng(21)
    n = 50_000
    true = rng.uniform(1.70, 1.80, n)
    tool = Tool(scatter_sd_mm=0.008, offset_mm=0.012, step_mm=0.01)
    got = read(true, tool, rng)
    assert np.abs(got / 0.01 - np.round(got / 0.01)).max() < 1e-9
    variance = 0.008**2 + 0.01**2 / 12  # true values spread over ten steps: rounding is uniform
    error = got - true
    assert abs(error.mean() - 0.012) < FOUR_SIGMA * np.sqrt(variance / n)
    assert error.var() == pytest.approx(variance, rel=FOUR_SIGMA * np.sqrt(2 / n))


def test_a_direction_named_twice_is_one_width_read_twice():
    got = measure(Filament(ovality_mm=0.05), np.random.default_rng(2), directions_deg=(0, 0, 90))
    assert np.array_equal(got.width_mm[..., 0], got.width_mm[..., 1])
    assert not np.array_equal(got.diameter_mm[..., 0], got.diameter_mm[..., 1])


def test_places_are_uneven_one_in_each_share_of_the_stretch():
    x = uneven_positions_m(np.random.default_rng(4), 300, 20, 25.0, step_m=0.0)
    assert np.array_equal(np.floor(x / 1.25), np.tile(np.arange(20), (300, 1)))
    marked = uneven_positions_m(np.random.default_rng(4), 300, 20, 25.0)
    assert np.abs(marked - x).max() <= 0.005 + 1e-12
    assert np.all(np.diff(x, axis=1) >= 0)
    assert np.diff(x, axis=1).std() > 0.4  # two uniform draws: 1.25 * sqrt(1 / 6) = 0.51


def test_each_spool_may_differ():
    means = np.array([1.70, 1.75, 1.80])
    filament = Filament(mean_mm=means, sd_mm=np.array([0.0, 0.0, 0.01]))
    got = measure(filament, np.random.default_rng(6), n_spools=3, tool=EXACT)
    assert got.diameter_mm.shape == (3, 20, 2)
    assert got.place_mm[0] == pytest.approx(np.full(20, 1.70))
    assert got.place_mm[1] == pytest.approx(np.full(20, 1.75))
    assert got.place_mm[2].std() > 0.003


def test_lumps_stand_where_they_are_marked():
    lumps = Lumps(n_places=2, height_mm=np.array([0.0, 0.15]))
    filament = Filament(sd_mm=0.0)
    got = measure(filament, np.random.default_rng(7), n_spools=2, tool=EXACT, lumps=lumps)
    assert got.lump.sum(axis=1).tolist() == [0, 2]
    assert got.place_mm[got.lump] == pytest.approx([1.90, 1.90])
    assert got.place_mm[~got.lump] == pytest.approx(np.full(38, 1.75))


def test_one_seed_gives_one_set_of_readings():
    first, again, other = (
        measure(Filament(), np.random.default_rng(seed)).diameter_mm for seed in (1, 1, 2)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_weighings_show_the_mass_to_the_step():
    rng = np.random.default_rng(12)
    net = np.full(20_000, 1000.0)
    scale = Scale(step_g=1.0, offset_g=0.4, scatter_sd_g=0.5)
    got = weigh_spools(net, rng, reel_g=220.0, reel_sd_g=3.0, scale=scale)
    assert np.array_equal(got.gross_read_g, np.round(got.gross_read_g))
    assert abs(got.reel_g.mean() - 220) < FOUR_SIGMA * 3 / np.sqrt(net.size)
    # Scatter and two roundings; the offset of the scale cancels in the difference.
    sd = np.sqrt(2 * (0.5**2 + 1 / 12))
    shown = got.gross_read_g - got.tare_read_g
    assert abs(shown.mean() - 1000) < FOUR_SIGMA * sd / np.sqrt(net.size)
    assert weigh(np.array([5.964]), Scale(0.01, 0.0, 0.0), rng) == pytest.approx([5.96])


def test_drying_takes_the_water_and_no_more():
    exact = Scale(step_g=0.0, scatter_sd_g=0.0)
    gross, water = np.array([1230.0, 960.0]), np.array([9.0, 0.0])
    rng = np.random.default_rng(1)
    got = dry(gross, water, (0, 3, 60), rng, time_constant_h=3.0, scale=exact)
    assert got.read_g[:, 0] == pytest.approx([1230, 960])
    assert got.read_g[0, 1] == pytest.approx(1230 - 9 * 0.63212, abs=1e-4)  # 1 - 1/e
    assert got.read_g[:, 2] == pytest.approx([1221, 960])


def test_two_metres_of_pla_weigh_six_grams():
    """2.98 g a metre at 1.75 mm and 1.24 g/cm3: common practice, no source."""
    exact = Scale(step_g=0.0, scatter_sd_g=0.0)
    got = cut_mass_g(np.array([1.75**2]), 2.0, 1.24, exact, np.random.default_rng(1))
    assert float(got[0]) == pytest.approx(2 * 2.98, abs=0.01)
