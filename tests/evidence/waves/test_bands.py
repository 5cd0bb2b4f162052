"""Waves on parts: the table of the trade, counted waves on a simulated wall, ready sentences."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.evidence.waves import bands as b
from lotqa.evidence.waves.wall import wall_of_trace, wall_of_waves

SETTINGS = {"diameter_mm": 1.75, "set_diameter_mm": 1.75, "line_width_mm": 0.45}
LIMITS = {"fine_pct": 3.5, "bands_pct": 6.0}


def one_band(period_m, amplitude_mm, part, **kw):
    given_ = {**SETTINGS, "layer_height_mm": 0.2, **LIMITS, **kw}
    (band,) = b.bands(((period_m, amplitude_mm),), (part,), **given_)
    return band


def test_pitch_is_the_height_printed_from_one_wave():
    """By hand: 80 mm square, 1 wall, 320 mm of line a layer; 29.5 mm of line from 1 mm; 10 cm."""
    band = one_band(0.10, 0.01, b.square_part(80, 1))
    layers = 100 / (320 / 29.5)
    assert band.pitch_mm == pytest.approx(layers * 0.2, rel=2e-3)
    assert band.seen_as == "bands"


@given(st.floats(0.03, 2.0), st.floats(20, 2000), st.floats(0.1, 0.4))
def test_the_eye_counts_the_waves_that_the_pitch_says(period_m, line_mm, layer_mm):
    """Zero crossings of a simulated wall, layer by layer, give the pitch that is seen."""
    used = float(b.filament_mm_per_layer(line_mm, 1.75, 0.45, layer_mm))
    n = 4000
    wall = wall_of_waves(
        ((period_m, 0.01),),
        filament_mm_per_layer=used,
        height_mm=n * layer_mm,
        layer_height_mm=layer_mm,
        phases_rad=0.3,
        melt_m=0.0,
        **SETTINGS,
    )
    d = 1.75 * np.sqrt(1 + wall.flow_error_pct / 100) - 1.75
    crossings = np.count_nonzero(np.diff(d > 0))
    seen = float(b.seen_pitch_mm(period_m, used, layer_mm))
    assert len(d) == n
    assert crossings == pytest.approx(2 * n * layer_mm / seen, abs=2)


def test_swing_is_that_of_the_section_between_thick_and_thin():
    thick, thin = np.pi / 4 * 1.77**2, np.pi / 4 * 1.73**2
    got = float(b.wave_swing_pct(0.02, 1.75, 1.75))
    assert got == pytest.approx(100 * (thick - thin) / (np.pi / 4 * 1.75**2), rel=1e-9)


def test_the_melt_zone_averages_short_waves():
    """Against the mean of a sine over 15 mm, summed."""
    for period in (0.01, 0.02, 0.1):
        x = (np.arange(100_000) + 0.5) / 100_000 * 0.015 - 0.0075
        mean = np.mean(np.cos(2 * np.pi * x / period))
        assert float(b.melt_share(period)) == pytest.approx(abs(mean), abs=1e-6)
    assert float(b.melt_share(0.1)) > 0.95


@pytest.mark.parametrize(
    ("period_m", "part", "shape"),
    [
        (0.10, b.square_part(80, 1, 50.0), "bands"),
        (5.0, b.square_part(20, 1, 50.0), "shade"),
        (0.0609, b.square_part(150, 3, 50.0), "layers"),  # 60.9 mm a layer: all layers alike ...
        (0.0600, b.square_part(150, 3, 50.0), "stripes"),  # ... and here nearly so
        (0.0406, b.square_part(150, 3, 50.0), "stripes"),  # one and a half: light, dark, light
    ],
)
def test_what_the_eye_sees(period_m, part, shape):
    assert one_band(period_m, 0.01, part).seen_as == shape


@pytest.mark.parametrize(("amplitude_mm", "weight"), [
    (0.010, "fine"), (0.020, "look"), (0.030, "bands expected"),
])  # fmt: skip
def test_weight_of_the_swing(amplitude_mm, weight):
    assert one_band(0.36, amplitude_mm, b.square_part(80, 1)).weight == weight


def test_sentences():
    band = one_band(0.10, 0.03, b.square_part(80, 1, 50.0))
    assert band.sentence == (
        "square 80 mm, 1 wall: the wave of 10 cm repeats every 1.8 mm of height; with a flow swing "
        "of 6.6 %, expect to see it."
    )
    other = one_band(0.10, 0.03, b.square_part(20, 1, 50.0))
    assert other.near_drive_lead_mm is None
    assert b.two_sizes_sentence(band, other) == (
        "Print square 80 mm, 1 wall and square 20 mm, 1 wall from this spool: if the pitch goes "
        "from 1.8 mm to 7.4 mm the filament makes the bands; if it stays the same on both "
        "(commonly 2 mm or 8 mm, the lead of the screw) the Z drive does."
    )


def test_a_pitch_like_a_screw_lead_is_said():
    band = one_band(0.1085, 0.01, b.square_part(80, 1))
    assert band.near_drive_lead_mm == 2.0
    assert band.sentence.endswith("print two sizes.")


def test_every_wave_meets_every_part():
    parts = b.table_parts(60.0)
    waves = ((0.1, 0.01), (0.36, 0.02))
    found = b.bands(waves, parts, layer_height_mm=0.2, **SETTINGS, **LIMITS)
    assert [(f.part, f.period_m) for f in found] == [(p.name, w) for p in parts for w, _ in waves]


def test_a_wall_from_a_trace_is_the_wall_from_its_waves():
    s = np.linspace(0, 20, 200_001)
    d = 1.75 + 0.02 * np.sin(2 * np.pi * s / 0.2 + 0.4)
    common = {
        "filament_mm_per_layer": 10.85,
        "height_mm": 40.0,
        "line_width_mm": 0.45,
        "layer_height_mm": 0.2,
        "set_diameter_mm": 1.75,
        "path_share": np.linspace(0, 1, 5),
    }
    a = wall_of_waves(((0.2, 0.02),), diameter_mm=1.75, phases_rad=0.4, **common)
    c = wall_of_trace(s, d, **common)
    assert a.flow_error_pct.shape == c.flow_error_pct.shape == (200, 5)
    inner = slice(2, None)  # the first layer has no filament before it to average with
    assert c.line_width_mm[inner] == pytest.approx(a.line_width_mm[inner], abs=1e-6)


def test_a_trace_prints_as_many_layers_as_it_has_filament_for():
    s = np.linspace(0, 1.0, 1001)
    wall = wall_of_trace(
        s,
        np.full(1001, 1.75),
        filament_mm_per_layer=10.0,
        height_mm=400.0,
        line_width_mm=0.45,
        layer_height_mm=0.2,
        set_diameter_mm=1.75,
    )
    assert len(wall.height_mm) == 100
    assert wall.line_width_mm == pytest.approx(0.45)
