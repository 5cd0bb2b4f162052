"""A long in-line log, written piece by piece: one column of length, two of diameter."""

from dataclasses import replace
from pathlib import Path

from tests.traces import Shape, simulated, table_bytes

ROWS_AT_ONCE = 500_000  # bounds the memory of the writer, not of what is measured
SHAPE = Shape(
    sd_mm=0.006,
    neighbour_correlation=0.95,
    waves=((0.18, 0.006), (0.05, 0.002)),
    lumps=((120.0, 8.0, 0.15), (310.0, 10.0, -0.12)),  # in every piece
    ovality_mm=0.02,
    axis_angles_deg=(0.0, 90.0),
    noise_sd_mm=0.001,
)


def write_log(path: Path, n_rows: int, *, step_mm: float = 1.0) -> None:
    """Write ``n_rows`` rows of ``step_mm`` each to ``path``."""
    with path.open("wb") as file:
        for begin in range(0, n_rows, ROWS_AT_ONCE):
            n = min(ROWS_AT_ONCE, n_rows - begin)
            piece = simulated(n, SHAPE, step_mm=step_mm, seed=1 + begin // ROWS_AT_ONCE)
            moved = replace(piece, length_m=piece.length_m + begin * step_mm / 1000)
            file.write(table_bytes(moved, "" if begin else None))
