"""Draw a lot's spools and measure them; the truth is kept beside the readings."""

import zlib
from dataclasses import dataclass

import numpy as np

from sample_measurements.making.scenario import DENSITY_G_CM3, PIN_MM, TOOLS, SampleLot
from tests.simulator import (
    Filament,
    FloatArray,
    Lumps,
    Measured,
    Scale,
    cut_mass_g,
    dry,
    measure,
    read,
    weigh_spools,
)

# Picked among some thousand so that each lot shows what its story says: fit for showing, not for
# finding out how often a method is right.
SEED = 2025414
N_PLACES = 20
N_PIN_READINGS = 3  # before, and again after
LUMP_MM = 0.19
SPOOL_SCALE = Scale(step_g=1.0, offset_g=0.2, scatter_sd_g=0.2)
CUT_SCALE = Scale(step_g=0.01, offset_g=0.0, scatter_sd_g=0.005)
DRYING_HOURS, DRYING_C = 12.0, 70.0


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """A lot's spools as they truly are, and as measured."""

    filament: Filament
    measured: Measured
    pin_mm: FloatArray  # (2, N_PIN_READINGS): before, after
    net_g: FloatArray  # (k,)
    reel_g: FloatArray
    gross_read_g: FloatArray
    tare_read_g: FloatArray
    dried_read_g: FloatArray | None  # (k, 2): before, after
    cut_read_g: float | None


def simulate(lot: SampleLot) -> Simulated:
    """Draw the spools of a lot and measure them."""
    rng = np.random.default_rng([SEED, zlib.crc32(lot.folder.encode())])
    n_spools = len(lot.spools)
    tool = TOOLS[lot.tool]
    filament = Filament(
        mean_mm=lot.mean_mm + lot.between_spool_sd_mm * rng.standard_normal(n_spools),
        sd_mm=lot.sd_mm,
        ovality_mm=lot.ovality_mm,
        drift_mm_per_m=lot.drift_mm_per_m,
        wave_period_m=lot.wave_period_m,
        wave_amplitude_mm=lot.wave_amplitude_mm,
    )
    lumps = Lumps(height_mm=LUMP_MM * np.array([s == lot.lump_spool for s in lot.spools]))
    measured = measure(
        filament,
        rng,
        n_spools=n_spools,
        n_places=N_PLACES,
        directions_deg=lot.directions_deg,
        tool=tool,
        lumps=lumps if lot.lump_spool else None,
    )
    pin_mm = read(np.full((2, N_PIN_READINGS), PIN_MM), tool, rng)
    net_g = lot.net_g + 1.5 * rng.standard_normal(n_spools)
    weighed = weigh_spools(net_g, rng, reel_g=lot.reel_g, reel_sd_g=3.0, scale=SPOOL_SCALE)
    dried_read_g = None
    if lot.moisture_pct is not None:
        water_g = net_g * lot.moisture_pct / 100
        gross_g = net_g + weighed.reel_g
        dried_read_g = dry(gross_g, water_g, (0.0, DRYING_HOURS), rng, scale=SPOOL_SCALE).read_g
    cut_read_g = None
    if lot.cut_m is not None:
        # The cut is metres of the outer turns: the mean of the spool stands for it.
        square_mm2 = measured.place_mm[:1].mean(axis=1) ** 2
        density = DENSITY_G_CM3[lot.material]
        cut_read_g = float(cut_mass_g(square_mm2, lot.cut_m, density, CUT_SCALE, rng)[0])
    return Simulated(
        filament,
        measured,
        pin_mm,
        net_g,
        weighed.reel_g,
        weighed.gross_read_g,
        weighed.tare_read_g,
        dried_read_g,
        cut_read_g,
    )


def lump_positions_m(lot: SampleLot, measured: Measured, spool: str) -> list[float]:
    """Where a spool's lumps were read; none for most spools."""
    i = lot.spools.index(spool)
    return [round(float(x), 2) for x in measured.position_m[i][measured.lump[i]]]
