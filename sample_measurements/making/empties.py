"""Empty reels, weighed in the workshop when their spools had run out."""

from collections.abc import Mapping

from sample_measurements.making.scenario import PARCEL_SCALE, SampleLot
from sample_measurements.making.simulated import SCALES, Simulated
from sample_measurements.making.tables import Cells

# Day, lot folder, spool.
EMPTIES = (
    ("2025-06-18", "2025-04_kranich_pla_black", "2"),
    ("2025-07-02", "2025-04_kranich_pla_black", "6"),
    ("2025-07-10", "2025-05_tallow_pla_grey", "1"),
    ("2025-09-03", "2025-05_tallow_pla_grey", "9"),
    ("2025-10-02", "2025-05_tallow_pla_grey", "4"),
    ("2025-11-06", "2025-08_tallow_pla_red", "5"),
    ("2025-12-11", "2025-07_kranich_pla_black", "1"),
    ("2026-02-10", "2025-10_kranich_pla_green", "4"),
    ("2026-02-24", "2025-07_kranich_pla_black", "6"),
    ("2026-04-20", "2026-03_tallow_pla_grey", "2"),
    ("2026-05-28", "2026-03_tallow_pla_grey", "5"),
)
HEADER: Cells = ("weighed", "lot_folder", "spool", "mass_g", "scale_step_g")


def empty_rows(lots: Mapping[str, tuple[SampleLot, Simulated]]) -> list[Cells]:
    """Header and rows of empty_reels.csv."""
    rows = [HEADER]
    for day, folder, spool in EMPTIES:
        lot, sim = lots[folder]
        mass_g = sim.later_tare_g[lot.spools.index(spool)]
        rows.append((day, folder, spool, f"{mass_g:.0f}", f"{SCALES[PARCEL_SCALE].step_g:g}"))
    return rows
