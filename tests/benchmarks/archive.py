"""A large readings file, written fast: one row a reading, long layout."""

from pathlib import Path

import numpy as np

from tests.simulator import Filament, measure

SPOOLS_AT_ONCE = 2000  # bounds the memory of the writer, not of what is measured


def write_archive(path: Path, *, n_spools: int, n_places: int, seed: int = 20260301) -> None:
    """Write ``n_spools`` spools of ``n_places`` places in two directions to ``path``."""
    rng = np.random.default_rng(seed)
    with path.open("w", encoding="ascii") as file:
        file.write("spool,position_m,direction_deg,diameter_mm\n")
        for begin in range(0, n_spools, SPOOLS_AT_ONCE):
            k = min(SPOOLS_AT_ONCE, n_spools - begin)
            filament = Filament(mean_mm=rng.normal(1.75, 0.008, k), sd_mm=rng.gamma(4, 0.0015, k))
            measured = measure(filament, rng, n_spools=k, n_places=n_places)
            file.write("".join(_rows(measured, begin)))


def _rows(measured, begin: int) -> list[str]:  # type: ignore[no-untyped-def]
    k, n, m = measured.diameter_mm.shape
    position = np.broadcast_to(np.atleast_2d(measured.position_m), (k, n))
    spool = [f"S{begin + i + 1:06d}" for i in range(k)]
    return [
        f"{spool[i]},{position[i, j]:.2f},{90 * d},{measured.diameter_mm[i, j, d]:.2f}\n"
        for i in range(k)
        for j in range(n)
        for d in range(m)
    ]
