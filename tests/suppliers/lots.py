"""Invented lots for the tests of this folder."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np

from lotqa.suppliers.records import LotRecord

FIRST_DAY = date(2024, 1, 15)


def lot(name: str, day: int = 0, means: Any = (), sds: Any = None, places: Any = 20, **more: Any):
    """A lot received ``day`` days after the first; sds and places may be one value for all."""
    received = FIRST_DAY + timedelta(days=day)
    means = tuple(float(v) for v in means)
    sds = np.broadcast_to(np.nan if sds is None else sds, len(means))
    fields: dict[str, Any] = {
        "supplier": "Kranich Filament",
        "material": "PLA",
        "nominal_mm": 1.75,
        "instrument": "calliper A",
        "pin_checked": True,
        "received": received,
        "inspected_at": datetime.combine(received, time(9), UTC) + timedelta(days=1),
    }
    return LotRecord(
        lot=name,
        spool_means_mm=means,
        spool_sds_mm=tuple(float(v) for v in sds),
        spool_places=tuple(float(v) for v in np.broadcast_to(places, len(means))),
        **(fields | more),
    )


def simulated(
    rng: np.random.Generator,
    n_lots: int,
    *,
    n_spools: int = 3,
    places: int = 20,
    lot_sd_mm: float = 0.006,
    spool_sd_mm: float = 0.003,
    sd_mm: Any = 0.005,
    **more: Any,
) -> list[LotRecord]:
    """Lots a month apart whose truth is known; ``sd_mm`` may be one value a lot."""
    lot_means = rng.normal(1.75, lot_sd_mm, n_lots)
    spread = np.broadcast_to(sd_mm, n_lots)
    u_mm = np.hypot(spool_sd_mm, spread / np.sqrt(places))
    means = lot_means[:, None] + u_mm[:, None] * rng.normal(size=(n_lots, n_spools))
    chi2 = rng.chisquare(places - 1, (n_lots, n_spools)) / (places - 1)
    sds = spread[:, None] * np.sqrt(chi2)
    return [lot(f"L{i + 1}", 30 * i, means[i], sds[i], places, **more) for i in range(n_lots)]
