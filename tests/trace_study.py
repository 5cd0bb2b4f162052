"""Does the search for events find what is there, and nothing else?  Run by hand:

    python -m tests.trace_study [km of filament per kind, 10 if not given]

Simulated filament of known truth: half of the variance in waves of 10 to 36 cm (the lengths seen in
logs, common practice), the other half a first-order autoregression whose neighbours correlate by
0.9 or 0.99.  First table: false events per 10 km of filament without any.  Second: share of lumps
found, of those that at least one row meets; a lump is flat and as long as it says, so 5 mm read
every 10 mm is met by every second log only.  Found means an event of its kind within half its
length and a row of its middle.  Third: splices.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lotqa.evidence.traces import Event, TraceEvidence, TraceSettings, TraceStatistics
from lotqa.model import TraceChunk
from tests.traces import autoregression

FloatArray = NDArray[np.float64]

SETTINGS = TraceSettings(
    nominal_mm=1.75,
    tolerance_mm=0.05,
    set_diameter_mm=1.75,
    thick_reject_mm=1.90,
    thin_reject_mm=1.60,
)
SDS_MM = (0.003, 0.008, 0.016)
CORRELATIONS = (0.9, 0.99)
STEPS_MM = (1.0, 2.0, 5.0, 10.0)
HEIGHTS_MM = (0.10, 0.12, 0.15)
LENGTHS_MM = (5.0, 10.0, 20.0, 50.0)
SPLICES_MM = (0.03, 0.05, 0.08)
WAVES_M = (0.10, 0.36)
APART_M = 2.0  # between events
A_LOG = 50  # events
CHUNK = 250_000
KM = 10.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of filament and log."""

    sd_mm: float
    correlation: float
    step_mm: float
    wave_share: float = 0.5  # of the variance


def filament_mm(kind: Kind, n_rows: int, rng: np.random.Generator) -> FloatArray:
    """Diameter less 1.75 without events; (n_rows,)."""
    x = np.sqrt(1 - kind.wave_share) * autoregression(n_rows, kind.correlation, rng)
    if kind.wave_share:
        at_m = np.arange(n_rows) * kind.step_mm / 1000
        for period in rng.uniform(*WAVES_M, 2):
            x += np.sqrt(kind.wave_share) * np.sin(
                2 * np.pi * at_m / period + rng.uniform(0, 2 * np.pi)
            )
    return kind.sd_mm * x


def evidence(kind: Kind, off_mm: FloatArray, settings: TraceSettings = SETTINGS) -> TraceEvidence:
    """Through the accumulators, rounded to 0.001 mm as gauges do."""
    statistics = TraceStatistics(settings)
    read = np.round(1750 + 1000 * off_mm) / 1000
    for i in range(0, len(read), CHUNK):
        rows = np.arange(i, min(i + CHUNK, len(read)))
        statistics.add(TraceChunk(rows * kind.step_mm / 1000, read[rows][:, None], i))
    return statistics.finish()


def false_events(kind: Kind, km: float, seed: int) -> dict[str, int]:
    """Events told on filament that has none, in logs of at most 1 million rows."""
    rng = np.random.default_rng(seed)
    n_rows = round(km * 1e6 / kind.step_mm)
    counts = {"lump": 0, "neck": 0, "splice": 0, "spike": 0}
    while n_rows > 0:
        n = min(n_rows, 1_000_000)
        for event in evidence(kind, filament_mm(kind, n, rng)).events:
            counts[event.kind] += 1
        n_rows -= n
    return counts


def bumps_found(
    kind: Kind, height_mm: float, length_mm: float, n_bumps: int, seed: int
) -> tuple[int, int]:
    """(found, met by a row) of ``n_bumps`` lumps and necks in turn, at random phase of the rows.

    Every A_LOG of them lie in a log of its own, with waves of its own.
    """
    rng = np.random.default_rng(seed)
    totals = np.zeros(2, dtype=int)
    for done in range(0, n_bumps, A_LOG):
        totals += _in_one_log(kind, height_mm, length_mm, min(A_LOG, n_bumps - done), rng)
    return int(totals[0]), int(totals[1])


def _in_one_log(
    kind: Kind, height_mm: float, length_mm: float, n_bumps: int, rng: np.random.Generator
) -> tuple[int, int]:
    n_rows = round(n_bumps * APART_M * 1000 / kind.step_mm)
    off = filament_mm(kind, n_rows, rng)
    middle = (np.arange(n_bumps) + 0.3 + 0.4 * rng.random(n_bumps)) * APART_M
    sign = np.where(np.arange(n_bumps) % 2, -1.0, 1.0)
    first = np.ceil((middle - length_mm / 2000) * 1000 / kind.step_mm).astype(int)
    last = np.ceil((middle + length_mm / 2000) * 1000 / kind.step_mm).astype(int)
    for a, b, s in zip(first, last, sign, strict=True):
        off[a:b] += s * height_mm
    met = last > first
    reach = (length_mm / 2 + kind.step_mm) / 1000
    events = evidence(kind, off).events
    found = sum(
        any(abs(e.position_m - m) <= reach for e in near(events, m) if e.kind == _KIND[s])
        for m, s in zip(middle[met], sign[met], strict=True)
    )
    return found, int(met.sum())


_KIND = {1.0: "lump", -1.0: "neck"}


def near(events: tuple[Event, ...], position_m: float) -> Iterator[Event]:
    """Events within half a metre; ``events`` are sorted."""
    places = np.array([e.position_m for e in events])
    first, last = np.searchsorted(places, [position_m - 0.5, position_m + 0.5])
    yield from events[first:last]


def splices_found(kind: Kind, step_mm: float, n_splices: int, seed: int) -> int:
    """Steps of the mean, up and down in turn, that are told within 0.1 m."""
    rng = np.random.default_rng(seed)
    n_rows = round(n_splices * 2 * APART_M * 1000 / kind.step_mm)
    off = filament_mm(kind, n_rows, rng)
    places = (np.arange(n_splices) + 0.5) * 2 * APART_M
    at_m = np.arange(n_rows) * kind.step_mm / 1000
    off += step_mm * (np.searchsorted(places, at_m, side="right") % 2)
    events = evidence(kind, off).events
    return sum(
        any(e.kind == "splice" and abs(e.position_m - p) < 0.1 for e in near(events, p))
        for p in places
    )


def main(km: float) -> None:
    """Print the three tables."""
    kinds = [Kind(*v) for v in product(SDS_MM, CORRELATIONS, STEPS_MM)]
    print("false events per 10 km\n   sd  corr step waves  lump  neck splice spike")
    for share in (0.5, 0.0):
        for seed, kind in enumerate(kinds):
            k = replace(kind, wave_share=share)
            told = false_events(k, km, seed)
            figures = "  ".join(f"{10 * told[n] / km:5.2f}" for n in told)
            print(f"{k.sd_mm:.3f} {k.correlation:.2f} {k.step_mm:4g} {share:5.1f} {figures}")
    print("\npercent of lumps and necks found, of those met by a row")
    print(
        "   sd  corr step "
        + "  ".join(f"{h:.2f}x{n:g}" for h, n in product(HEIGHTS_MM, LENGTHS_MM))
    )
    for seed, k in enumerate(kinds):
        shares = []
        for height, length in product(HEIGHTS_MM, LENGTHS_MM):
            found, met = bumps_found(k, height, length, 500, 1000 + seed)
            shares.append(f"{100 * found / max(met, 1):6.1f}")
        print(f"{k.sd_mm:.3f} {k.correlation:.2f} {k.step_mm:4g}  " + "  ".join(shares))
    print(
        "\npercent of splices found\n   sd  corr step " + "  ".join(f"{s:.2f}" for s in SPLICES_MM)
    )
    for seed, k in enumerate(kinds):
        shares = [f"{splices_found(k, s, 100, 2000 + seed):4d}" for s in SPLICES_MM]
        print(f"{k.sd_mm:.3f} {k.correlation:.2f} {k.step_mm:4g}  " + "  ".join(shares))


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else KM)
