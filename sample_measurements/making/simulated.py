"""Draw a lot's spools and measure them; the truth is kept beside the readings."""

import zlib
from dataclasses import dataclass

import numpy as np

from sample_measurements.making.scenario import (
    DENSITY_G_CM3,
    FINE_SCALE,
    HUNG_M,
    KNOWN_MASS_G,
    PARCEL_SCALE,
    PIN_MM,
    TOOLS,
    WATER_G_CM3,
    SampleDrying,
    SampleLot,
)
from tests.simulator import (
    STRETCH_M,
    Filament,
    FloatArray,
    Lumps,
    Measured,
    Scale,
    measure,
    read,
    true_sd_mm,
    weigh,
)

# Picked among some thousand so that each lot shows what its story says: fit for showing, not for
# finding out how often a method is right.
SEED = 2025414
N_PLACES = 20
N_PIN_READINGS = 3  # before, and again after
N_MASS_READINGS = 2
LUMP_MM = 0.19
SCALES = {
    PARCEL_SCALE: Scale(step_g=1.0, scatter_sd_g=0.2),
    FINE_SCALE: Scale(step_g=0.01, scatter_sd_g=0.005),
}
# A scale set to zero errs by its span: this one shows 1.3 g too much in a kilogram.
SPAN_SHARE = {PARCEL_SCALE: 0.0013, FINE_SCALE: 0.0}
REEL_SD_G = 3.0
DRYING_TIME_H = 3.0  # after which 63 % of the water is gone


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
    later_tare_g: FloatArray  # as read when the spool has run out
    g_per_m: FloatArray  # (k,) of the metres cut from each spool
    cut_read_g: FloatArray
    hung_read_g: FloatArray  # (k, 2): in air, in water
    dried_read_g: dict[str, FloatArray]  # by spool: before, then after each of its hours
    mass_check_g: dict[str, FloatArray]  # by scale (2, N_MASS_READINGS): before, after


def density_g_cm3(lot: SampleLot) -> float:
    """What the filament of a lot truly weighs, its voids included."""
    return DENSITY_G_CM3[lot.material] if lot.density_g_cm3 is None else lot.density_g_cm3


def on_scale(mass_g: FloatArray, scale: str, rng: np.random.Generator) -> FloatArray:
    """What a scale of the workshop shows."""
    return weigh(mass_g * (1 + SPAN_SHARE[scale]), SCALES[scale], rng)


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
    net_g = np.asarray(lot.net_g) + 1.5 * rng.standard_normal(n_spools)
    reel_g = lot.reel_g + REEL_SD_G * rng.standard_normal(n_spools)
    gross_read_g, tare_read_g, later_tare_g = (
        on_scale(mass_g, PARCEL_SCALE, rng) for mass_g in (net_g + reel_g, reel_g, reel_g)
    )
    g_per_m = _g_per_m(lot, filament, rng)
    hung_g = HUNG_M * g_per_m
    in_water_g = hung_g * (1 - WATER_G_CM3 / density_g_cm3(lot))
    return Simulated(
        filament,
        measured,
        pin_mm,
        net_g,
        reel_g,
        gross_read_g,
        tare_read_g,
        later_tare_g,
        g_per_m,
        on_scale(lot.cut_m * g_per_m, FINE_SCALE, rng),
        on_scale(np.stack([hung_g, in_water_g], axis=1), FINE_SCALE, rng),
        {d.spool: _dried(lot, d, net_g, reel_g, rng) for d in lot.dried},
        {
            scale: on_scale(np.full((2, N_MASS_READINGS), known_g), scale, rng)
            for scale, known_g in KNOWN_MASS_G.items()
        },
    )


def _g_per_m(lot: SampleLot, filament: Filament, rng: np.random.Generator) -> FloatArray:
    """Grams per metre of the cut of each spool; metres average most of the irregular part away."""
    means_mm = np.asarray(filament.mean_mm, dtype=np.float64)
    left_mm = lot.sd_mm * np.sqrt(2 * np.asarray(filament.correlation_m) / lot.cut_m)
    # Cut from the free end, where a drift begins.
    start_mm = -lot.drift_mm_per_m * (STRETCH_M - lot.cut_m) / 2
    cut_mm = means_mm + start_mm + left_mm * rng.standard_normal(len(means_mm))
    square_mm2 = cut_mm**2 + float(true_sd_mm(filament, lot.cut_m)) ** 2
    return np.asarray(np.pi / 4 * square_mm2 * density_g_cm3(lot))


def _dried(
    lot: SampleLot,
    drying: SampleDrying,
    net_g: FloatArray,
    reel_g: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Weighings of one spool with its reel; the water leaves exponentially."""
    i = lot.spools.index(drying.spool)
    water_g = net_g[i] * (lot.moisture_pct or 0.0) / 100 + drying.reel_water_g
    gone = 1 - np.exp(-np.array([0.0, *drying.hours]) / DRYING_TIME_H)
    return on_scale(net_g[i] + reel_g[i] - water_g * gone, PARCEL_SCALE, rng)


def lump_positions_m(lot: SampleLot, measured: Measured, spool: str) -> list[float]:
    """Where a spool's lumps were read; none for most spools."""
    i = lot.spools.index(spool)
    return [round(float(x), 2) for x in measured.position_m[i][measured.lump[i]]]
