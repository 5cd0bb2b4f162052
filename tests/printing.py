"""A small lot as files, and a simulated machine that prints from it.

The machine feeds the multiplier times the length that the section of the diameter entry asks for,
times what its own drive loses; what it lays is that length times the true section.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from lotqa.inspection import inspect_lot
from lotqa.intake import read_sources
from lotqa.report.document import inspection_document, plain

NOW = datetime(2026, 3, 2, tzinfo=UTC)
DENSITY = 1.24  # g/cm3, PLA: common practice; the shipped materials say 1.24 to 1.25
SHEET = """[lot]
supplier = "Kranich Filament"
material = "PLA"
lot = "K 1"
[label]
nominal_mm = 1.75
tolerance_mm = 0.05
[[instrument]]
kind = "micrometer"
name = "mic"
resolution_mm = 0.001
repeatability_sd_mm = 0.002
[[instrument]]
kind = "scale"
name = "fine"
resolution_g = 0.01
limit_of_error_g = 0.01
"""
PINS = "instrument,when,reference_mm,reading_mm\n" + "".join(
    f"mic,{when},1.750,{reading}\n"
    for when in ("before", "after")
    for reading in ("1.750", "1.751", "1.749")
)


def readings(spools: Mapping[str, float], n_places: int = 20) -> str:
    rng = np.random.default_rng(7)
    lines = ["spool,position_m,direction_deg,diameter_mm"]
    for spool, mean_mm in spools.items():
        off = rng.normal(0, 0.004, n_places)
        for x, d in zip(rng.uniform(0, 25, n_places), mean_mm + off - off.mean(), strict=True):
            lines += [
                f"{spool},{x:.2f},{a},{d + rng.normal(0, 0.002):.3f}" for a in (0, 90)
            ]  # fmt: skip
    return "\n".join(lines) + "\n"


def files(
    settings: str = "",
    coupon: str = "",
    spools: Mapping[str, float] | None = None,
    n_places: int = 20,
    **tables: str,
) -> list[tuple[str, bytes]]:
    sheet = f"{SHEET}[print]\n{settings}\n[coupon]\n{coupon}\n"
    texts = {
        "lot.toml": sheet,
        "readings.csv": readings(spools or {"A": 1.78}, n_places),
        "pin_checks.csv": PINS,
        **{f"{name}.csv": text for name, text in tables.items()},
    }
    return [(name, text.encode()) for name, text in texts.items()]


def document(*args: Any, **kwargs: Any) -> dict[str, Any]:
    made = inspection_document(inspect_lot(read_sources(files(*args, **kwargs))), NOW)
    assert plain(made)  # no NaN anywhere
    return made


def spool(*args: Any, **kwargs: Any) -> dict[str, Any]:
    return dict(document(*args, **kwargs)["spools"][0])


def laid_over_asked(true_mm: float, set_mm: float, multiplier: float, residual: float = 1) -> float:
    fed_mm = multiplier * 1000 / (np.pi * set_mm**2 / 4) / residual  # for 1000 mm3 asked
    return float(fed_mm * np.pi * true_mm**2 / 4 / 1000)


def printed(true_mm: float, residual: float = 1.0, fed_mm: float = 6500.0) -> tuple[float, float]:
    """(mass in g of what was fed, wall in mm of a line of 0.45 x 0.20) by the simulated machine."""
    section = np.pi * true_mm**2 / 4
    mass_g = DENSITY * fed_mm / residual * section / 1000
    share = laid_over_asked(true_mm, 1.75, 1.0, residual)
    area = ((0.45 - 0.2) * 0.2 + np.pi * 0.1**2) * share  # a rectangle and two half circles
    return float(mass_g), float((area - np.pi * 0.1**2) / 0.2 + 0.2)


def walls(mean_mm: float) -> str:
    return "spool,side,wall_mm\n" + "".join(
        f"A,{side},{mean_mm + d:.3f}\n" for side in (1, 2, 3, 4) for d in (-0.002, 0, 0.002)
    )


ASKED = "wall_target_mm = 0.45\ncommanded_mm = 6500\n"
