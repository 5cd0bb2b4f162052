"""The simulated logs are what they say: spread, correlation, waves, lumps, text."""

import numpy as np
import pytest

from tests.traces import (
    Shape,
    chunks,
    firmware_log,
    simulated,
    table_bytes,
    write_table,
)


def test_the_irregular_part_has_the_stated_spread_and_correlation():
    shape = Shape(sd_mm=0.01, neighbour_correlation=0.9, gauge_step_mm=0.0)
    d = simulated(400_000, shape).true_mean_mm
    # n (1 - r) / (1 + r) = 21,000 independent values: the spread is good to 0.5 %, four times that
    assert d.std() == pytest.approx(0.01, rel=0.02)
    assert np.corrcoef(d[:-1], d[1:])[0, 1] == pytest.approx(0.9, abs=0.005)
    assert d.mean() == pytest.approx(1.75, abs=4 * 0.01 / np.sqrt(21_000))


def test_a_wave_alone_has_its_amplitude_and_period():
    d = simulated(2000, Shape(sd_mm=0.0, waves=((0.25, 0.02),), gauge_step_mm=0.0)).true_mean_mm
    assert d.std() == pytest.approx(0.02 / np.sqrt(2), rel=1e-9)
    np.testing.assert_allclose(d[250:], d[:-250], atol=1e-12)


def test_lumps_necks_and_splices_lie_where_they_are_put():
    shape = Shape(
        sd_mm=0.0,
        lumps=((0.5, 20.0, 0.1), (1.0, 10.0, -0.1)),
        splices=((1.5, 0.03),),
        gauge_step_mm=0.0,
    )
    d = simulated(2000, shape).true_mean_mm - 1.75
    assert (d.argmax(), d.argmin()) == (500, 1000)
    assert d[500] == pytest.approx(0.1)
    assert np.flatnonzero(d[:750] > 1e-9).tolist() == list(range(491, 510))
    np.testing.assert_allclose(d[1500:], 0.03, atol=1e-12)


def test_two_axes_show_the_ovality_as_it_turns():
    shape = Shape(
        sd_mm=0.0, ovality_mm=0.04, turn_m=1.0, axis_angles_deg=(0.0, 90.0), gauge_step_mm=0.0
    )
    d = simulated(1001, shape).diameter_mm
    np.testing.assert_allclose(d.mean(axis=1), 1.75)
    np.testing.assert_allclose(d[[0, 250, 500], 0] - d[[0, 250, 500], 1], [0.04, -0.04, 0.04])


def test_text_is_what_python_writes(tmp_path):
    trace = simulated(1200, Shape(axis_angles_deg=(0.0, 90.0)), restarts=(700,))
    rows = [
        f"{x:.4f},{a:.4f},{b:.4f}"
        for x, (a, b) in zip(trace.length_m, trace.diameter_mm, strict=True)
    ]
    wanted = "\n".join(["length_m,d_x_mm,d_y_mm", *rows, ""]).encode()
    assert table_bytes(trace) == wanted
    write_table(tmp_path / "log.csv", trace, rows_at_once=500)
    assert (tmp_path / "log.csv").read_bytes() == wanted


def test_chunks_go_on_over_a_restart():
    trace = simulated(1000, restarts=(300,))
    found = list(chunks(trace, size=400))
    assert [(c.first_row, len(c), c.new_section) for c in found] == [
        (0, 300, False),
        (300, 100, True),
        (400, 400, False),
        (800, 200, False),
    ]
    np.testing.assert_allclose(
        np.concatenate([c.length_m for c in found]), np.arange(1000) / 1000, atol=1e-12
    )


def test_a_printer_says_one_width_a_row():
    assert firmware_log(simulated(50)).count(b"Filament width:1.7") == 50
