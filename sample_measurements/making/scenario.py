"""The invented lots of the samples: what is true of each, and how it was measured.

A small workshop lends 3D printers to schools in a harbour town.  From March 2025 to September 2026
it buys 1.75 mm stock from three suppliers.  Nothing here is real; the figures are of usual size.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from tests.simulator import Tool

BRIGHTWATER = "Brightwater Polymers"  # steady; plastic reels
KRANICH = "Kranich Filament"  # drifts slowly thin; cardboard reels
TALLOW = "Tallow & Reed"  # changes its line in June 2026: the spread triples; plastic reels

CALLIPER = "bench calliper"
MICROMETER = "micrometer 0-25"
HAND_KNOWN_SINCE = date(2026, 5, 1)  # when the scatter of the calliper in this hand was found
DRAWN_SINCE = date(2026, 2, 1)  # when spools were first drawn by lot, and that written down
# The true offset is what the pin readings are there to find.
TOOLS = {
    CALLIPER: Tool(scatter_sd_mm=0.008, offset_mm=0.012, step_mm=0.01),
    MICROMETER: Tool(scatter_sd_mm=0.002, offset_mm=-0.001, step_mm=0.001),
}
KINDS = {CALLIPER: "calliper", MICROMETER: "micrometer"}
PARCEL_SCALE, FINE_SCALE = "parcel scale", "fine scale"
LIMIT_OF_ERROR_G = {PARCEL_SCALE: 2.0, FINE_SCALE: 0.03}
# A known mass for each scale: a kilogram, ten grams.
KNOWN_MASS_G = {PARCEL_SCALE: 1000.0, FINE_SCALE: 10.0}
LIMIT_OF_ERROR_MM = {CALLIPER: 0.02, MICROMETER: 0.004}
PIN_MM = 1.75
DENSITY_G_CM3 = {"PLA": 1.24, "PETG": 1.27, "PA": 1.13}  # common practice, no source
FOAMED_G_CM3 = 1.13  # PLA with a twelfth of its volume bubbles
WATER_C, WATER_G_CM3 = 21.0, 0.99799  # tables of water, from memory
HUNG_M = 3.0  # coil that is hung into water

KRANICH_START = date(2025, 4, 8)
KRANICH_START_MM = 1.743
KRANICH_SLOPE_MM_PER_YEAR = -0.0145  # -0.022 mm in eighteen months

Layout = Literal["long", "wide", "semicolon", "workbook"]


@dataclass(frozen=True, slots=True)
class SampleFinding:
    """A line of findings.csv; ``at_lump`` takes the position from where the lump was read."""

    spool: str
    finding: str
    grade: str
    count: int = 1
    position_m: float | None = None
    at_lump: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class SampleDrying:
    """A spool weighed before drying and after each of some hours."""

    spool: str
    hours: tuple[float, ...]
    celsius: float
    reel_water_g: float = 0.0  # what the reel gives off of its own


@dataclass(frozen=True, slots=True)
class SampleLot:
    """One lot: its sheet, its truth, its measuring."""

    folder: str
    supplier: str
    product: str
    material: str
    colour: str
    lot: str
    ordered: date
    received: date
    spools_received: int
    claim_days: int
    price: float
    spools: tuple[str, ...]  # measured
    story: str  # what is true, for the README
    # truth
    mean_mm: float
    sd_mm: float = 0.004
    between_spool_sd_mm: float = 0.001
    ovality_mm: float = 0.012
    drift_mm_per_m: float = 0.0
    wave_amplitude_mm: float = 0.0
    wave_period_m: float = 0.12
    net_g: float | tuple[float, ...] = 1002.0  # of all measured spools, or of each
    reel_g: float = 215.0
    reel_kind: str = "clear spoke 1 kg"
    reel_material: str = "plastic"
    density_g_cm3: float | None = None  # None: as its material is usually
    moisture_pct: float | None = None  # of the net mass; None: not looked at
    lump_spool: str | None = None
    # label
    tolerance_mm: float = 0.05
    label_net_g: float = 1000.0
    label_ovality_mm: float | None = None
    # measuring
    drawn: tuple[str, ...] | None = None  # None: those that were measured, once they were drawn
    tool: str = CALLIPER
    pin_checked: bool = True
    directions_deg: tuple[int, ...] = (0, 90)
    layout: Layout = "long"
    tare_known: tuple[str, ...] = ()
    tare_note: str = "filament moved to our own reel and the empty one weighed"
    reel_stated: bool = True  # in the lot sheet
    mass_checked: bool = True
    cut: tuple[str, ...] = ()  # spools of which a length was cut and weighed
    cut_m: float = 2.0
    hung: tuple[str, ...] = ()  # spools of which a coil was weighed in air and in water
    dried: tuple[SampleDrying, ...] = ()
    findings: tuple[SampleFinding, ...] = ()
    typing_slips: bool = False


def kranich_mean_mm(received: date) -> float:
    """Kranich's lot mean on a day: a straight line down."""
    years = (received - KRANICH_START).days / 365.25
    return KRANICH_START_MM + KRANICH_SLOPE_MM_PER_YEAR * years


def brightwater(folder: str, **facts: object) -> SampleLot:
    """A lot of the steady supplier."""
    usual: dict[str, object] = {
        "supplier": BRIGHTWATER,
        "product": "Pier PLA",
        "material": "PLA",
        "claim_days": 14,
        "price": 23.9,
        "label_ovality_mm": 0.03,
    }
    return SampleLot(folder=folder, **{**usual, **facts})  # type: ignore[arg-type]  # plain data


def kranich(folder: str, received: date, **facts: object) -> SampleLot:
    """A lot of the supplier that drifts; its mean follows from the day."""
    usual: dict[str, object] = {
        "supplier": KRANICH,
        "product": "Zug PLA",
        "material": "PLA",
        "claim_days": 10,
        "price": 18.9,
        "received": received,
        "mean_mm": kranich_mean_mm(received),
        "between_spool_sd_mm": 0.0015,
        "ovality_mm": 0.02,
        "drift_mm_per_m": -0.0001,
        "net_g": 1000.0,
        "reel_g": 158.0,
        "reel_kind": "brown board 1 kg",
        "reel_material": "cardboard",
    }
    return SampleLot(folder=folder, **{**usual, **facts})  # type: ignore[arg-type]  # plain data


def tallow(folder: str, **facts: object) -> SampleLot:
    """A lot of the budget supplier, without a lot code of its own."""
    usual: dict[str, object] = {
        "supplier": TALLOW,
        "product": "Plain PLA",
        "material": "PLA",
        "lot": f"TR {folder[:7]}",
        "claim_days": 7,
        "price": 13.5,
        "sd_mm": 0.005,
        "between_spool_sd_mm": 0.002,
        "ovality_mm": 0.028,
        "net_g": 1003.0,
        "reel_g": 204.0,
        "reel_kind": "black ring 1 kg",
    }
    return SampleLot(folder=folder, **{**usual, **facts})  # type: ignore[arg-type]  # plain data
