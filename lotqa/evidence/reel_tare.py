"""What the empty reel under a spool is taken to weigh: the best that is known of it.

In this order: this reel weighed empty; reels of this lot weighed empty; the ledger's record of the
supplier's reels of this kind; what reels of this material weigh; the stated broad default.  For all
but the first the next reel of a kind is predicted, so the scatter between reels counts in full:

    u**2 = s**2 (1 + 1 / n) + u_scale**2          [1]_, tares.py;   a range: half of it / sqrt(3)

.. [1] Hahn & Meeker, Statistical Intervals (1991), chapter 4: prediction of a future value.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from lotqa.evidence.bench_scale import Scale
from lotqa.evidence.summary import student_quantile
from lotqa.evidence.tares import TareRecord, tare_from_record
from lotqa.model import WeighIn


@dataclass(frozen=True, slots=True)
class Tare:
    """What an empty reel is taken to weigh."""

    mass_g: float
    u_g: float
    known: Literal["itself", "alike", "record", "supposed"]
    source: str  # in words, for the report
    n_reels: int | None = None  # that its mean rests on; kinds, where reels of others stand in


def range_tare(lo_g: float, hi_g: float, source: str) -> Tare:
    """A reel of which only a range is known: a rectangular error.

    >>> range_tare(120.0, 180.0, "cardboard").mass_g
    150.0
    """
    return Tare((lo_g + hi_g) / 2, float((hi_g - lo_g) / 2 / np.sqrt(3)), "supposed", source)


def lot_tare(
    weigh_ins: Iterable[WeighIn],
    scale: Scale,
    default: Tare,
    like_sd_g: float,
    record: TareRecord | None = None,
) -> Tare:
    """Tare for a reel that was not weighed empty itself; ``default`` where nothing is like it."""
    by_spool: dict[str, list[float]] = defaultdict(list)
    full_g: dict[str, float] = {}
    for w in weigh_ins:
        if w.kind == "tare":
            by_spool[w.spool].append(w.mass_g)
        elif w.kind == "gross":
            full_g[w.spool] = w.mass_g
    # A reel that weighs as much as with its filament is a slip, and must not spoil its like.
    for spool in [s for s, rows in by_spool.items() if np.mean(rows) >= full_g.get(s, np.inf)]:
        del by_spool[spool]
    if not by_spool:
        return default if record is None else record_tare(record, scale, like_sd_g)
    tares = np.array([scale.weighed(float(np.mean(v)))[0] for v in by_spool.values()])
    n = len(tares)
    # Two or three reels say little about their scatter: never less than reels are known to differ
    # until there are enough.
    s = max(like_sd_g, float(np.std(tares, ddof=1))) if n > 1 else like_sd_g
    if n >= 5:
        # Stretched, so that the normal interval of the mass is Student's of so few reels.
        student = float(student_quantile(n - 1.0) / student_quantile(np.inf))
        s = float(np.std(tares, ddof=1)) * student
    u_scale = scale.weighed(float(np.mean(tares)))[1]
    u = float(np.sqrt(s**2 * (1 + 1 / n) + u_scale**2))
    reels = "1 other reel" if n == 1 else f"{n} other reels"
    return Tare(float(np.mean(tares)), u, "alike", f"{reels} of this lot weighed empty", n)


def record_tare(record: TareRecord, scale: Scale, like_sd_g: float) -> Tare:
    """Tare from the reels of the supplier that were weighed before."""
    u_scale = scale.weighed(record.mean_g)[1]
    mass_g, u_g = tare_from_record(record, u_scale, like_sd_g)
    return Tare(mass_g, u_g, "record", record_words(record), record.n_kinds or record.n)


def record_words(record: TareRecord) -> str:
    """Where the mass comes from, in words.

    >>> record_words(TareRecord(221.0, 4.1, 6, "2025-03-01", "2026-01-05", "grey ring 1 kg"))
    'tare record, 6 empty reels "grey ring 1 kg" of this supplier, 2025-03-01 to 2026-01-05'
    """
    reels = "1 empty reel" if record.n == 1 else f"{record.n} empty reels"
    if record.n_kinds is not None:
        reels += " of another kind" if record.n_kinds == 1 else f" of {record.n_kinds} other kinds"
    elif record.kind:
        reels += f' "{record.kind}"'
    span = ""
    if record.first and record.last:
        span = f", {record.first}" + (f" to {record.last}" if record.last != record.first else "")
    return f"tare record, {reels} of this supplier{span}"
