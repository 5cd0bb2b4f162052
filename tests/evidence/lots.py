"""Small lots for the checks of evidence and verdict: arrays to readings, readings to evidence."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from lotqa.evidence.gauge import Offset, Scatter
from lotqa.evidence.spool import LotEvidence, Section, lot_evidence
from lotqa.model import Readings

FloatArray = NDArray[np.float64]
SECTION = Section(nominal_mm=1.75, tolerance_mm=0.05, set_diameter_mm=1.75)
KNOWN_SCATTER = Scatter(0.008, float("inf"), "stated in the lot sheet")
PINNED = Offset(0.0, 0.0035, 6, 0.001, 0.007)
STEP_MM = 0.01
ALPHA = 0.01


def readings(
    spools: Mapping[str, FloatArray],
    directions_deg: Sequence[float] = (0.0, 90.0),
    position_m: Mapping[str, Sequence[float]] | None = None,
) -> Readings:
    """Readings of spools of (n, m) diameters: n places, any n a spool, in the m directions."""
    spool, place, position, direction, diameter = [], [], [], [], []
    n_places = 0
    for i, (name, d) in enumerate(spools.items()):
        n, m = d.shape
        at = uneven_m(n) if position_m is None else np.asarray(position_m[name])
        spool.append(np.full(n * m, i))
        place.append(n_places + np.repeat(np.arange(n), m))
        position.append(np.repeat(at, m))
        direction.append(np.tile(np.asarray(directions_deg, dtype=float), n))
        diameter.append(d.ravel())
        n_places += n
    empty = [np.zeros(0)]
    total = sum(d.size for d in spools.values())
    return Readings(
        spools=tuple(spools),
        spool=np.concatenate(spool or empty).astype(np.int64),
        place=np.concatenate(place or empty).astype(np.int64),
        position_m=np.concatenate(position or empty),
        direction_deg=np.concatenate(direction or empty),
        diameter_mm=np.concatenate(diameter or empty).astype(float),
        trial=np.ones(total, dtype=np.int64),
        operators=(),
        operator=np.full(total, -1),
        file="readings.csv",
        line=np.arange(total) + 2,
    )


def uneven_m(n: int) -> FloatArray:
    """n rising positions, 1 m apart on average and never alike: no wave meets them in step."""
    return np.cumsum(np.random.default_rng(n).uniform(0.3, 1.7, n))


def evidence(
    given: Readings,
    *,
    section: Section = SECTION,
    scatter: Scatter = KNOWN_SCATTER,
    offset: Offset = PINNED,
    step_mm: float = STEP_MM,
) -> LotEvidence:
    """Evidence with a pinned calliper of known scatter, unless something else is asked for."""
    return lot_evidence(given, section, scatter, offset, step_mm, ALPHA)


def exact(
    n: int, mean_mm: float, sd_mm: float, *, oval_mm: float = 0.0, seed: int = 1
) -> FloatArray:
    """(n, 2) readings whose place means have exactly this mean and s: normal scores, shuffled.

    The two directions of each place differ by ``oval_mm``, first one way and then the other.
    """
    z = np.random.default_rng(seed).permutation(ndtri((np.arange(n) + 0.5) / n))
    z = (z - z.mean()) / z.std(ddof=1)
    means = mean_mm + sd_mm * z
    half = oval_mm / 2 * np.where(np.arange(n) % 2, 1.0, -1.0)
    return np.stack([means + half, means - half], axis=1)
