"""What must hold of any statement about a lot: units, order, more and less, sums, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from lotqa.errors import TooFewReadings
from lotqa.evidence.lot_model import (
    FateEstimate,
    between_sd_interval,
    fate,
    lot_draws,
    predicted_spool,
    tolerance_interval,
)
from tests.evidence.spool_means import CASE, NEVER, spools


def answers(means):
    draws = lot_draws(means)
    return np.array(
        [
            between_sd_interval(draws),
            tolerance_interval(means, draws),
            predicted_spool(means, draws),
        ]
    )


def test_the_same_readings_give_the_same_answer_twice():
    means = spools(**CASE)
    assert np.array_equal(answers(means), answers(spools(**CASE)))
    limits = (1.74, 1.76, 1.72, 1.78, 0.03)
    assert fate(lot_draws(means), *limits) == fate(lot_draws(means), *limits)
    turned = replace(means, mean_mm=means.mean_mm[::-1])
    assert answers(turned) == pytest.approx(answers(means), rel=1e-9)


def test_unit_and_zero_are_free():
    means = spools(**CASE, limits=(0.5e-4, 1.5e-4))
    base = answers(means)
    moved = answers(replace(means, mean_mm=means.mean_mm + 1.1))
    assert moved == pytest.approx(base + 1.1 * np.array([[0], [1], [1]]), abs=1e-9)
    in_um = replace(
        means,
        mean_mm=1000 * means.mean_mm,
        variance_mm2=1e6 * means.variance_mm2,
        reading_variance_mm2=1e6 * means.reading_variance_mm2,
        u_offset_mm=1000 * means.u_offset_mm,
        reading_limits_mm2=(50.0, 150.0),
    )
    assert answers(in_um) == pytest.approx(1000 * base, rel=1e-9)


def test_limits_of_the_lot_lie_even_about_the_mean_of_the_spools():
    means = spools(**CASE)
    assert np.mean(tolerance_interval(means, lot_draws(means))) == pytest.approx(1.75, abs=1e-12)


def width(ends):
    return float(ends[1] - ends[0])


def test_more_spools_narrow_everything():
    widths = np.array(
        [
            np.diff(answers(spools(**(CASE | {"k": k, "df": 4.0 * k}))))[:, 0]
            for k in (2, 3, 5, 9, 20)
        ]
    )
    assert np.all(np.diff(widths, axis=0) < 0)


@pytest.mark.parametrize(("less", "more"), [
    ({"u_offset": 0.0}, {"u_offset": 0.01}),
    ({"offset_df": 50.0, "u_offset": 0.01}, {"offset_df": 2.0, "u_offset": 0.01}),
    ({"reading": 2e-4}, {"reading": 1e-4}),
    ({"reading": 1e-4}, {"reading": 1e-4, "limits": (0.0, 2e-4)}),
    ({"df": 24}, {"df": 4}),
    ({"s": 0.01}, {"s": 0.012}),
])  # fmt: skip
def test_what_is_less_well_known_widens_the_limits_of_the_lot(less, more):
    ends = [
        tolerance_interval(m, lot_draws(m)) for m in (spools(**(CASE | c)) for c in (less, more))
    ]
    assert width(ends[0]) < width(ends[1])


def test_more_content_or_confidence_is_wider():
    means = spools(**CASE)
    draws = lot_draws(means)
    for steps in (
        [tolerance_interval(means, draws, content=p) for p in (0.5, 0.9, 0.95, 0.99)],
        [tolerance_interval(means, draws, confidence=p) for p in (0.5, 0.9, 0.95, 0.99)],
        [predicted_spool(means, draws, p) for p in (0.5, 0.9, 0.95, 0.99)],
        [between_sd_interval(draws, p) for p in (0.5, 0.9, 0.95, 0.99)],
    ):
        assert np.all(np.diff([width(s) for s in steps]) > 0)


@pytest.mark.parametrize("limits", [
    (1.74, 1.76, 1.72, 1.78, 0.03),
    (1.74, 1.76, 1.72, 1.78, 0.018),
    (1.70, 1.71, 1.69, 1.80, NEVER),
])  # fmt: skip
def test_a_spool_is_accepted_tuned_or_rejected(limits):
    got = fate(lot_draws(spools(**CASE)), *limits)
    assert isinstance(got, FateEstimate)
    assert got.accept + got.tune + got.reject == pytest.approx(1.0, abs=1e-12)
    for name in ("accept", "tune", "reject"):
        lo, hi = getattr(got, f"{name}_ci")
        assert 0 <= lo <= hi <= 1
        assert 0 <= getattr(got, name) <= 1


def test_one_spool_says_nothing_of_the_lot():
    with pytest.raises(TooFewReadings):
        lot_draws(replace(spools(2), mean_mm=np.array([1.75]), n_places=np.array([5.0])))


def test_no_freedom_within_says_nothing_of_the_lot():
    with pytest.raises(TooFewReadings):
        lot_draws(spools(4, df=0.5))
    lot_draws(spools(4, df=1.0))


@pytest.mark.parametrize("wrong", [
    {"variance_mm2": -1e-4},
    {"variance_mm2": np.nan},
    {"mean_mm": np.array([1.75, np.nan, 1.76])},
    {"n_places": np.array([4.0, 0.0, 4.0])},
    {"u_offset_mm": -0.01},
])  # fmt: skip
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError):
        lot_draws(replace(spools(3), **wrong))
