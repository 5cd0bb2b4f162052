"""Diameter evidence of a lot: invariances, ragged lots, thin data, a far common offset.

Sources: numpy and scipy one spool at a time as the other road; properties by hypothesis.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lotqa.evidence.gauge import Offset, Scatter, unchecked_offset
from lotqa.evidence.spool import LotEvidence, Section
from tests.evidence.lots import KNOWN_SCATTER, PINNED, SECTION, STEP_MM, evidence, exact, readings

ROOMS = ("diameter", "capability", "order", "ovality", "flow")


def numbers(found: LotEvidence, i: int) -> dict[str, float]:
    """Every figure of spool i, by room and field."""
    return {
        f"{room}.{f.name}": float(getattr(getattr(found, room), f.name)[i])
        for room in ROOMS
        for f in fields(getattr(found, room))
    }


def same(a: dict[str, float], b: dict[str, float], rel: float = 1e-9) -> None:
    assert a.keys() == b.keys()
    # abs: differences of large parts near 0 (a trend of nothing) keep no relative digits.
    near = pytest.approx(b, rel=rel, abs=1e-9, nan_ok=True)
    wrong = {} if a == near else {k: (a[k], b[k]) for k in a if a[k] != b[k]}
    assert wrong == {}


def ragged(seed: int = 3) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    sizes = {"a": 12, "b": 1, "c": 30, "d": 2, "e": 12, "f": 9}
    return {k: np.round(rng.normal(1.752, 0.01, (n, 2)), 2) for k, n in sizes.items()}


def test_each_spool_of_a_ragged_lot_is_judged_as_if_alone():
    spools = ragged()
    together = evidence(readings(spools))
    for i, (name, d) in enumerate(spools.items()):
        same(numbers(together, i), numbers(evidence(readings({name: d})), 0))


@given(st.permutations(list(ragged())))
def test_order_of_spools_changes_nothing(order):
    spools = ragged()
    plain = evidence(readings(spools))
    mixed = evidence(readings({name: spools[name] for name in order}))
    for i, name in enumerate(order):
        same(numbers(mixed, i), numbers(plain, list(spools).index(name)))


@given(st.permutations(range(12)))
def test_order_typed_changes_nothing_when_positions_are_known(order):
    d = ragged()["a"]
    at = np.arange(12.0)
    plain = evidence(readings({"a": d}, position_m={"a": at}))
    mixed = evidence(readings({"a": d[order]}, position_m={"a": at[list(order)]}))
    same(numbers(mixed, 0), numbers(plain, 0))


@given(st.booleans())
def test_order_of_directions_changes_nothing(swap):
    d = ragged()["c"]
    plain = evidence(readings({"c": d}))
    turned = evidence(readings({"c": d[:, ::-1]}, (90.0, 0.0) if swap else (180.0 + 90.0, 0.0)))
    same(numbers(turned, 0), numbers(plain, 0))


def test_offset_is_taken_from_every_reading():
    d = ragged()["c"]
    shifted = replace(PINNED, offset_mm=0.013)
    plain = evidence(readings({"c": d}))
    moved = evidence(readings({"c": d + 0.013}), offset=shifted)
    same(numbers(moved, 0), numbers(plain, 0))


@given(st.floats(-0.2, 0.2))
def test_a_shift_moves_what_is_a_place_and_leaves_what_is_a_width(shift):
    d = exact(20, 1.75, 0.012, oval_mm=0.02)
    a, b = evidence(readings({"x": d})).diameter, evidence(readings({"x": d + shift})).diameter
    for name in ("mean_mm", "mean_lo_mm", "mean_hi_mm", "low_mm", "high_mm", "median_mm",
                 "q05_mm", "q95_mm", "tolerance_lo_mm", "tolerance_hi_mm"):  # fmt: skip
        assert float(getattr(b, name)[0] - getattr(a, name)[0]) == pytest.approx(shift, abs=1e-9)
    for name in ("u_mean_mm", "s_observed_mm", "sd_mm", "sd_lo_mm", "sd_hi_mm", "s_reading_mm"):
        assert float(getattr(b, name)[0]) == pytest.approx(float(getattr(a, name)[0]), abs=1e-9)


def test_in_micrometres_every_length_is_a_thousand_times_and_every_ratio_the_same():
    d = ragged()["c"]
    mm = numbers(evidence(readings({"c": d})), 0)
    section = Section(1750.0, 50.0, 1750.0)
    um = numbers(
        evidence(
            readings({"c": 1e3 * d}),
            section=section,
            scatter=Scatter(8.0, float("inf"), "stated"),
            offset=Offset(0.0, 3.5, 6, None, None),
            step_mm=10.0,
        ),
        0,
    )
    for key, value in mm.items():
        scale = 1e3 if key.endswith("_mm") or (".trend_" in key and key != "order.trend_p") else 1.0
        assert um[key] == pytest.approx(scale * value, rel=1e-7, abs=1e-7, nan_ok=True), key


@given(st.integers(2, 60), st.floats(0.0, 0.03), st.floats(0.0, 0.02), st.floats(1.6, 1.9))
def test_intervals_are_ordered(n, sd, scatter, mean):
    found = evidence(
        readings({"x": exact(n, mean, sd, oval_mm=0.01)}),
        scatter=Scatter(scatter, float("inf"), "stated"),
    )
    d, c, f, o = found.diameter, found.capability, found.flow, found.ovality
    for lo, value, hi in (
        (d.mean_lo_mm, d.mean_mm, d.mean_hi_mm),
        (d.sd_lo_mm, d.sd_mm, d.sd_hi_mm),
        (d.low_mm, d.q05_mm, d.high_mm),
        (d.q05_mm, d.median_mm, d.q95_mm),
        (d.tolerance_lo_mm, d.mean_mm, d.tolerance_hi_mm),
        (c.cp_lo, c.cp, c.cp_hi),
        (c.cpk_lo, c.cpk, c.cpk_hi),
        (f.error_lo_pct, f.error_pct, f.error_hi_pct),
        (o.lo_mm, o.mean_mm, o.hi_mm),
    ):
        slack = 1e-12 * max(abs(float(value[0])), 1.0) if np.isfinite(value[0]) else 0.0
        assert lo[0] <= value[0] + slack
        assert value[0] <= hi[0] + slack


@pytest.mark.parametrize("sd", [0.002, 0.008, 0.02])
def test_more_places_at_the_same_estimates_narrow_every_interval(sd):
    widths = []
    for n in (5, 10, 20, 40, 80):
        d = evidence(readings({"x": exact(n, 1.75, float(np.hypot(sd, 0.006)))})).diameter
        pairs = ((d.mean_lo_mm, d.mean_hi_mm), (d.sd_lo_mm, d.sd_hi_mm))
        widths.append([float(hi[0] - lo[0]) for lo, hi in pairs])
    assert (np.diff(widths, axis=0) < 0).all()


def test_mean_interval_is_students_where_the_tool_adds_nothing():
    x = np.random.default_rng(5).normal(1.75, 0.02, 15)
    d = evidence(
        readings({"x": np.stack([x, x], axis=1)}),
        scatter=Scatter(0.0, float("inf"), "none"),
        offset=Offset(0.0, 0.0, 6, None, None),
        step_mm=0.0,
    ).diameter
    want = stats.t.interval(0.95, 14, loc=x.mean(), scale=stats.sem(x))
    assert (d.mean_lo_mm[0], d.mean_hi_mm[0]) == pytest.approx(want, rel=1e-10)
    chi2 = stats.chi2.ppf([0.975, 0.025], 14)
    assert (d.sd_lo_mm[0], d.sd_hi_mm[0]) == pytest.approx(np.std(x, ddof=1) * np.sqrt(14 / chi2))


def test_offset_of_an_unchecked_tool_stays_however_many_places_are_read():
    wide = evidence(
        readings({"x": exact(4000, 1.75, 0.01)}), offset=unchecked_offset(0.02)
    ).diameter
    assert float(wide.mean_hi_mm[0] - wide.mean_mm[0]) == pytest.approx(
        stats.norm.ppf(0.975) * 0.02 / np.sqrt(3), rel=0.01
    )
    assert wide.u_sampling_mm[0] < 0.0002


def test_one_place_knows_a_mean_and_bounds_nothing():
    found = evidence(readings({"x": np.array([[1.75, 1.76]])}))
    d, c = found.diameter, found.capability
    assert d.mean_mm[0] == pytest.approx(1.755)
    assert (d.mean_lo_mm[0], d.mean_hi_mm[0]) == (-np.inf, np.inf)
    assert np.isnan(d.sd_mm[0])
    assert np.isnan(d.u_mean_mm[0])
    assert (c.cpk_lo[0], c.cpk_hi[0]) == (-np.inf, np.inf)


def test_all_readings_equal_is_no_proof_of_perfection():
    """s = 0 under a step of 0.01 mm: the filament may vary as much as the step hides."""
    exactly = Offset(0.0, 0.0, 6, None, None)
    d = evidence(readings({"x": np.full((20, 2), 1.75)}), offset=exactly).diameter
    assert (d.sd_mm[0], d.sd_lo_mm[0]) == (0.0, 0.0)
    # A uniform spread over one step, seen in means of two: the least that cannot be excluded.
    assert d.sd_hi_mm[0] >= STEP_MM / np.sqrt(12) / np.sqrt(2)
    assert d.mean_hi_mm[0] - d.mean_mm[0] >= 1.9 * STEP_MM / np.sqrt(12)


def test_spools_without_readings_are_unknown_not_perfect():
    given_lot = readings({"read": exact(12, 1.75, 0.01)})
    found = evidence(replace(given_lot, spools=("read", "only weighed")))
    d = found.diameter
    assert d.n_places.tolist() == [12, 0]
    assert np.isnan([d.mean_mm[1], d.sd_mm[1], found.flow.error_pct[1]]).all()
    assert np.isnan(found.ovality.mean_mm[1])
    assert not np.isfinite(d.mean_hi_mm[1] - d.mean_lo_mm[1])


def test_unknown_directions_change_no_place_mean():
    d = exact(15, 1.75, 0.01, oval_mm=0.02)
    known = evidence(readings({"x": d}))
    unknown = evidence(readings({"x": d}, (np.nan, np.nan)))
    assert unknown.diameter.mean_mm == pytest.approx(known.diameter.mean_mm, abs=1e-12)
    assert unknown.diameter.sd_mm == pytest.approx(known.diameter.sd_mm, abs=1e-12)
    assert np.isnan(unknown.ovality.mean_mm[0])


def test_an_uneven_set_of_directions_does_not_read_ovality_as_diameter():
    """Long axis always at 0: the mean of readings at 0, 60 and 90 is not that of the section."""
    theta = np.array([0.0, 60.0, 90.0])
    width = 1.75 + 0.02 * np.cos(2 * np.deg2rad(theta))
    d = evidence(readings({"x": np.tile(width, (12, 1))}, theta)).diameter
    assert d.mean_mm[0] == pytest.approx(1.75, abs=1e-12)
    assert abs(width.mean() - 1.75) > 0.003  # what it would have been


@pytest.mark.parametrize("far", [1e3, 1e6])
def test_a_huge_common_part_keeps_the_digits(far):
    d = exact(25, 1.75, 0.01, oval_mm=0.02)
    near_mm = evidence(readings({"x": d})).diameter
    away = evidence(readings({"x": d + far}), section=replace(SECTION, nominal_mm=1.75 + far))
    # Adding the common part itself costs eps * far of every reading.
    slack = 10 * np.finfo(float).eps * far
    assert away.diameter.s_observed_mm[0] == pytest.approx(near_mm.s_observed_mm[0], abs=slack)
    assert away.ovality.max_mm[0] == pytest.approx(0.02, abs=slack)


def test_repeats_of_a_place_weigh_by_their_number():
    """Two readings a place carry half the variance of one: simulated from nothing but scatter."""
    rng = np.random.default_rng(12)
    for m in (1, 2, 4):
        theta = tuple(180.0 / m * np.arange(m))
        x = rng.normal(1.75, KNOWN_SCATTER.sd_mm, (4000, m))
        d = evidence(readings({"x": x}, theta)).diameter
        assert d.reading_weight[0] == pytest.approx(1 / m, rel=1e-9)
        seen = d.s_observed_mm[0] ** 2 / KNOWN_SCATTER.sd_mm**2
        assert seen == pytest.approx(1 / m, rel=4 * np.sqrt(2 / 4000))
