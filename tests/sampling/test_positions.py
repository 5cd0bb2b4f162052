"""Drawn places hide no wave: by waves that are read at them, and by every frequency tried anew."""

import numpy as np
import pytest
from scipy.stats import binom, circvar

from lotqa.evidence.window import blind_wavelengths, largest_window
from lotqa.sampling.positions import (
    LEAST_GAP_M,
    WINDOW_MAX,
    drawn_spools,
    most_places,
    uneven_positions,
)

CASES = [(10, 25.0), (12, 10.0), (20, 25.0), (20, 5.0), (30, 50.0), (40, 25.0)]


@pytest.mark.parametrize(("n", "stretch_m"), CASES)
def test_no_wave_hides_whatever_the_seed(n, stretch_m):
    for seed in range(40):
        position = uneven_positions(n, stretch_m, seed)
        assert largest_window(position) <= WINDOW_MAX
        assert blind_wavelengths(position, 0.87) == []


@pytest.mark.parametrize("seed", range(3))
def test_every_length_tried_anew(seed):
    """Lengths a fifth of a line width apart, by circular variance."""
    position = uneven_positions(20, 25.0, seed)
    frequency = np.arange(1 / 25, 20, 1 / 125)
    window = 1 - circvar(2 * np.pi * frequency[:, None] * position, axis=1)
    assert window.max() <= 1.02 * WINDOW_MAX


def test_the_check_sees_even_places():
    """A planted list that hides waves."""
    assert largest_window(1.25 * np.arange(20)) > 0.99
    assert largest_window(np.array([1, 2, 4, 7, 8, 11, 13, 16, 19, 22, 23, 25.0])) > 0.99


@pytest.mark.parametrize("length_m", [0.1, 0.12, 0.2, 0.36, 1.0, 2.0])
def test_waves_show_their_spread(length_m):
    """Over lists and phases the mean square is that of the wave within 1 / n of it."""
    amplitude = 0.03
    seen = []
    for seed in range(30):
        position = uneven_positions(20, 25.0, seed)
        for phase in np.arange(8) * np.pi / 4:
            seen.append(np.sin(2 * np.pi * position / length_m + phase).var(ddof=1))
    assert amplitude * np.sqrt(np.mean(seen)) == pytest.approx(0.0212, rel=0.03)


@pytest.mark.parametrize(("n", "stretch_m"), [(1, 0.25), (2, 3.0), (9, 25.0), *CASES, (100, 25.0)])
def test_places_are_whole_centimetres_apart_and_one_in_each_part(n, stretch_m):
    for seed in range(20):
        position = uneven_positions(n, stretch_m, seed)
        assert len(position) == n
        assert 100 * position == pytest.approx(np.round(100 * position), abs=1e-9)
        assert (np.diff(position) >= LEAST_GAP_M - 1e-9).all()
        part_m = stretch_m / n
        # A part begins at a whole centimetre.
        assert (np.floor(position / part_m + 0.01 / part_m) - np.arange(n) <= 1).all()
        assert position[0] >= 0
        assert position[-1] < stretch_m


def test_the_seed_gives_the_list_again():
    first = uneven_positions(20, 25.0, 5)
    assert (uneven_positions(20, 25.0, 5) == first).all()
    assert (uneven_positions(20, 25.0, 6) != first).any()


@pytest.mark.parametrize(("n", "stretch_m"), [(0, 25.0), (101, 25.0), (9, 2.0)])
def test_a_stretch_holds_so_many(n, stretch_m):
    with pytest.raises(ValueError) as caught:
        uneven_positions(n, stretch_m, 1)
    most = most_places(stretch_m)
    assert str(caught.value) == (
        f"{n} places on {stretch_m:g} m: a stretch holds 1 to {most} of them"
    )
    assert len(uneven_positions(most, stretch_m, 1)) == most


def test_every_spool_is_as_likely_to_be_drawn():
    k, size, n = 4000, 10, 3
    counts = np.bincount(np.ravel([drawn_spools(size, n, s) for s in range(k)]), minlength=11)
    assert counts[0] == 0
    low, high = binom.ppf([1e-5, 1 - 1e-5], k, n / size)
    assert ((counts[1:] >= low) & (counts[1:] <= high)).all()


def test_spools_are_drawn_once_each_and_rise():
    for seed in range(50):
        drawn = drawn_spools(20, 5, seed)
        assert drawn == sorted(set(drawn))
        assert len(drawn) == 5
    assert drawn_spools(7, 7, 1) == [1, 2, 3, 4, 5, 6, 7]
    assert drawn_spools(1, 1, 1) == [1]
