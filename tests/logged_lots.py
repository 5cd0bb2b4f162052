"""Lot folders with in-line logs of known truth, for the tests of logs in a lot."""

from pathlib import Path

import numpy as np

from lotqa.inspection import Inspection, inspect_lot
from lotqa.intake import read_lot
from tests.traces import Shape, Trace, simulated, table_bytes

SHEET = """
[lot]
supplier = "Kranich Filament"
material = "PLA"
lot = "K1"
spools_received = 3
[label]
nominal_mm = 1.75
tolerance_mm = 0.05
"""
CALLIPER = """
[[instrument]]
kind = "calliper"
name = "bench"
resolution_mm = 0.01
limit_of_error_mm = 0.02
repeatability_sd_mm = 0.008
"""
GAUGE = """
[[instrument]]
kind = "in-line gauge"
name = "line 3"
resolution_mm = 0.001
limit_of_error_mm = 0.004
"""
CROSSED = (0.0, 90.0)


def log(n_rows: int = 20_000, seed: int = 1, step_mm: float = 1.0, **shape: object) -> Trace:
    """A log of a known filament: AR(1) of correlation 0.95, sd 0.004 mm, unless said otherwise."""
    return simulated(n_rows, Shape(**shape), step_mm=step_mm, seed=seed)  # type: ignore[arg-type]


def put(folder: Path, *, sheet: str | None = SHEET + GAUGE, **files: str | bytes | Trace) -> Path:
    """A lot folder; ``trace_A__csv`` is the file trace_A.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    if sheet is not None:
        (folder / "lot.toml").write_text(sheet)
    for name, content in files.items():
        path = folder / name.replace("__", ".")
        if isinstance(content, Trace):
            path.write_bytes(table_bytes(content))
        elif isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content)
    return folder


def judged(folder: Path) -> Inspection:
    return inspect_lot(read_lot(folder))


def said(inspection: Inspection) -> list[str]:
    """All problems as they are printed."""
    lines = []
    for p in (*inspection.prepared.lot.problems, *inspection.prepared.problems):
        where = p.file if p.line is None else f"{p.file}:{p.line}"
        lines.append(f"{where}: {p.message}")
    return lines


def read_by_hand(
    mean_mm: float = 1.75, spools: str = "A", *, sd_mm: float = 0.004, seed: int = 5, n: int = 20
) -> str:
    """Readings in two directions at uneven places, with a hand of 0.008 mm and a step of 0.01."""
    rng = np.random.default_rng(seed)
    rows = []
    for spool in spools:
        for position in np.sort(rng.uniform(0, 20, n)):
            d = mean_mm + rng.normal(0, sd_mm)
            rows += [
                f"{spool},{position:.2f},{angle:g},{d + rng.normal(0, 0.008):.2f}\n"
                for angle in CROSSED
            ]
    return "spool,position_m,direction_deg,diameter_mm\n" + "".join(rows)
