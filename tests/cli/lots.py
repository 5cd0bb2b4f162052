"""Lot folders for the bench of the tests; every name in them is invented."""

import random
from pathlib import Path

SHEET = """[lot]
supplier = "Kranich Filament"
material = "PLA"
colour = "black"
lot = "K1"
received = 2026-01-05
spools_received = 4
claim_days = 14
price = 20
currency = "EUR"

[label]
nominal_mm = 1.75
tolerance_mm = 0.05
net_g = 1000
"""
PLACES = 10
SPOOLS = ("1", "2")


def readings(
    spools: tuple[str, ...] = SPOOLS,
    places: int = PLACES,
    directions: tuple[int, ...] = (0, 90),
    mean_mm: float = 1.75,
    sd_mm: float = 0.006,
    seed: int = 1,
    decimals: int = 2,
    uneven: bool = False,
) -> str:
    """A readings file of seeded, normally distributed diameters."""
    chance = random.Random(seed)
    rows = ["spool,position_m,direction_deg,diameter_mm"]
    for spool in spools:
        for place in range(1, places + 1):
            position_m = round(place + (chance.random() if uneven else 0), 2)
            middle_mm = chance.gauss(mean_mm, sd_mm)
            for direction in directions:
                read_mm = chance.gauss(middle_mm, 0.003)
                rows.append(f"{spool},{position_m:g},{direction},{read_mm:.{decimals}f}")
    return "\n".join(rows) + "\n"


def put_lot(folder: Path, sheet: str | None = SHEET, **files: str | bytes) -> Path:
    """A lot folder with a sheet, good readings, and ``files`` (name without ending: content)."""
    folder.mkdir(parents=True, exist_ok=True)
    if sheet is not None:
        (folder / "lot.toml").write_text(sheet, encoding="utf-8")
    for name, content in {"readings": readings(), **files}.items():
        data = content.encode() if isinstance(content, str) else content
        (folder / f"{name}.csv").write_bytes(data)
    return folder


def sheet_with(**values: str) -> str:
    """The sheet with lines of ``[lot]`` or ``[label]`` replaced; values are TOML."""
    lines = SHEET.splitlines()
    for key, value in values.items():
        at = next(i for i, line in enumerate(lines) if line.startswith(f"{key} ="))
        lines[at] = f"{key} = {value}"
    return "\n".join(lines) + "\n"
