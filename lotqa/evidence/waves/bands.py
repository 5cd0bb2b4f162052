"""Where a wave of the filament lands on a printed wall.

    filament per layer = line length per layer x A / (pi d**2 / 4),   A = (w - h) h + pi h**2 / 4
    band pitch in Z    = h x period / filament per layer
    flow swing         = ((d + a)**2 - (d - a)**2) / d_set**2 = 4 d a / d_set**2        peak to peak

At one spot of the wall, layer after layer meets the wave at another phase; with more than half a
wave in a layer the spot meets it stroboscopically, and the eye sees the pitch h / |x - round(x)|,
x = filament per layer / period, as slanting stripes.  Waves shorter than what the melt zone holds
are averaged over it.  How far plastic spreads sideways in a corner, infill, and other parts on the
bed are left out: give the line length per layer where it is known.

The limits of the swing are arguments.  The evidence behind 3.5 and 6 % is weak: five traces, one
printer, dark material (common practice, no source).  Geometry is exact; the rest is common
practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lotqa.evidence.flow import line_mm_per_filament_mm
from lotqa.model import FloatArray

WALLS_A_SQUARE = 4  # sides
TABLE_SIZES_MM = (20.0, 80.0, 150.0)
TABLE_WALLS = (1, 3)
LAYERS_A_BAND = 2.0  # a pitch below needs light and dark in less than one layer each
BANDS_A_PART = 1.0  # with less than one whole wave there is a shade, but no bands
MELT_M = 0.015  # filament in the melt zone (common practice, no source: 1 to 2 cm)
DRIVE_LEADS_MM = (2.0, 8.0)  # usual screw leads (common practice, no source)
LEAD_SLACK = 0.05  # of a lead: a pitch this near it is not told apart by one print
EXPECTED = "bands expected"
WEAK_EVIDENCE = (
    "The limits of the swing rest on five logs, one printer and dark material: "
    "look at a test print before you rely on them."
)


@dataclass(frozen=True, slots=True)
class Part:
    """What is printed."""

    name: str
    line_mm_per_layer: float  # all lines of a layer
    height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A wave on a part."""

    part: str
    period_m: float
    filament_mm_per_layer: float
    pitch_mm: float  # in Z, by the formula
    seen_pitch_mm: float  # as the eye sees it layer by layer; infinite if every layer is alike
    swing_pct: float  # of the flow, peak to peak, after the melt zone
    seen_as: str  # "bands", "stripes", "shade", "layers"
    weight: str  # "fine", "look", "bands expected"
    near_drive_lead_mm: float | None
    sentence: str


def square_part(size_mm: float, n_walls: int, height_mm: float | None = None) -> Part:
    """A square tube; the walls are counted as long as the outer one (common practice).

    >>> square_part(80.0, 3).line_mm_per_layer
    960.0
    """
    walls = "1 wall" if n_walls == 1 else f"{n_walls} walls"
    return Part(f"square {size_mm:g} mm, {walls}", WALLS_A_SQUARE * size_mm * n_walls, height_mm)


def table_parts(height_mm: float | None = None) -> tuple[Part, ...]:
    """The parts of the table that every report shows."""
    return tuple(square_part(s, n, height_mm) for s in TABLE_SIZES_MM for n in TABLE_WALLS)


def filament_mm_per_layer(
    line_mm: ArrayLike, diameter_mm: ArrayLike, line_width_mm: ArrayLike, layer_height_mm: ArrayLike
) -> FloatArray:
    """Filament used by one layer.

    >>> round(float(filament_mm_per_layer(320.0, 1.75, 0.45, 0.20)), 1)
    10.8
    """
    line = np.asarray(line_mm, dtype=np.float64)
    return line / line_mm_per_filament_mm(diameter_mm, line_width_mm, layer_height_mm)


def band_pitch_mm(
    period_m: ArrayLike, filament_mm: ArrayLike, layer_height_mm: ArrayLike
) -> FloatArray:
    """Pitch in Z of a wave, by filament per layer.

    >>> round(float(band_pitch_mm(0.10, 32.5, 0.20)), 1)
    0.6
    """
    return np.asarray(
        1000 * np.asarray(period_m) * np.asarray(layer_height_mm) / np.asarray(filament_mm)
    )


def seen_pitch_mm(
    period_m: ArrayLike, filament_mm: ArrayLike, layer_height_mm: ArrayLike
) -> FloatArray:
    """Pitch that one spot of the wall shows, layer by layer; infinite if all layers are alike."""
    waves = np.asarray(filament_mm) / (1000 * np.asarray(period_m))
    left = np.abs(waves - np.round(waves))
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(layer_height_mm) / left)


def melt_share(period_m: ArrayLike, melt_m: float = MELT_M) -> FloatArray:
    """Share of an amplitude that is left after averaging over the melt zone: |sin u| / u."""
    return np.abs(np.sinc(melt_m / np.asarray(period_m, dtype=np.float64)))


def wave_swing_pct(
    amplitude_mm: ArrayLike, diameter_mm: ArrayLike, set_diameter_mm: ArrayLike
) -> FloatArray:
    """Flow swing of one wave in percent, peak to peak.

    >>> round(float(wave_swing_pct(0.0125, 1.75, 1.75)), 2)
    2.86
    """
    product = 4 * np.asarray(amplitude_mm) * np.asarray(diameter_mm)
    return np.asarray(100 * product / np.asarray(set_diameter_mm) ** 2)


def bands(
    waves: tuple[tuple[float, float], ...],
    parts: tuple[Part, ...],
    *,
    diameter_mm: float,
    set_diameter_mm: float,
    line_width_mm: float,
    layer_height_mm: float,
    fine_pct: float,
    bands_pct: float,
    melt_m: float = MELT_M,
) -> tuple[Band, ...]:
    """Every wave ``(period_m, amplitude_mm)`` on every part, part by part.

    Up to ``fine_pct`` of flow swing counts as fine, above ``bands_pct`` bands are expected.
    """
    found = []
    for part in parts:
        used = float(
            filament_mm_per_layer(
                part.line_mm_per_layer, diameter_mm, line_width_mm, layer_height_mm
            )
        )
        for period_m, amplitude_mm in waves:
            whole = float(wave_swing_pct(amplitude_mm, diameter_mm, set_diameter_mm))
            swing = whole * float(melt_share(period_m, melt_m))
            pitch = float(band_pitch_mm(period_m, used, layer_height_mm))
            seen = float(seen_pitch_mm(period_m, used, layer_height_mm))
            shape = _shape(pitch, seen, layer_height_mm, part.height_mm)
            weight = "fine" if swing <= fine_pct else "look" if swing <= bands_pct else EXPECTED
            lead = _near_lead(pitch)
            text = _sentence(part, period_m, pitch, seen, swing, shape, weight, lead)
            found.append(
                Band(part.name, period_m, used, pitch, seen, swing, shape, weight, lead, text)
            )
    return tuple(found)


def two_sizes_sentence(band: Band, other: Band) -> str:
    """How to tell a band of the filament from one of the Z drive: print two sizes.

    ``band`` and ``other`` are the same wave on two parts.
    """
    leads = " or ".join(f"{lead:g} mm" for lead in DRIVE_LEADS_MM)
    return (
        f"Print {band.part} and {other.part} from this spool: if the pitch goes from "
        f"{_mm(band.pitch_mm)} to {_mm(other.pitch_mm)} the filament makes the bands; if it stays "
        f"the same on both (commonly {leads}, the lead of the screw) the Z drive does."
    )


def _shape(pitch: float, seen: float, layer: float, height: float | None) -> str:
    if height is not None and min(pitch, seen) * BANDS_A_PART > height:
        return "shade"
    if pitch >= LAYERS_A_BAND * layer:
        return "bands"
    if seen >= LAYERS_A_BAND * layer and (height is None or seen <= height):
        return "stripes"
    return "layers"


def _near_lead(pitch: float) -> float | None:
    near = [lead for lead in DRIVE_LEADS_MM if abs(pitch / lead - 1) <= LEAD_SLACK]
    return near[0] if near else None


def _mm(value: float) -> str:
    """Two digits that matter, three above 100 mm."""
    if value >= 99.5:
        return f"{value:.0f} mm"
    return f"{value:.1f} mm" if value >= 0.995 else f"{value:.2f} mm"


def _sentence(
    part: Part,
    period_m: float,
    pitch: float,
    seen: float,
    swing: float,
    shape: str,
    weight: str,
    lead: float | None,
) -> str:
    start = f"{part.name}: the wave of {100 * period_m:.3g} cm "
    where = {
        "bands": f"repeats every {_mm(pitch)} of height",
        "stripes": f"repeats faster than two layers; stripes slant at a pitch of about {_mm(seen)}",
        "shade": "is longer than the part is high and shades it from bottom to top",
        "layers": "repeats faster than two layers and is too fine to be seen as bands",
    }[shape]
    size = {
        "fine": f"; its flow swing of {swing:.1f} % is hardly seen",
        "look": f"; with a flow swing of {swing:.1f} %, look at a test print",
        EXPECTED: f"; with a flow swing of {swing:.1f} %, expect to see it",
    }[weight]
    if lead is None:
        return start + where + size + "."
    drive = f"A screw of {lead:g} mm lead would look the same: print two sizes."
    return f"{start}{where}{size}. {drive}"
