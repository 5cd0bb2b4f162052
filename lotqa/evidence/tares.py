"""What a reel weighs, from the empty reels of a supplier that were weighed before.

Each reel counts once: its weighings are averaged first.  The reel under the next spool is one
more of the same kind, so its mass is predicted, not estimated [1]_:

    tare = mean,   u**2 = s**2 * (1 + 1 / n) + u_scale**2

With ``ENOUGH`` reels s is their own standard deviation, stretched so that the normal interval of
the mass is Student's of n - 1; with fewer, what reels are known to differ by, or their own if that
is more.  Reels of a kind that is not the one asked for are not alike: each such kind counts as
one reel, and s is the scatter between kinds.  Holds for reels that are drawn alike: a maker who
changes his mould starts a new kind, and a record that drifts shows it as scatter.

.. [1] Hahn & Meeker, Statistical Intervals (1991), chapter 4: prediction of a future value.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

ENOUGH = 5  # reels from which their own scatter is taken: Student's factor is below 1.5 then


@dataclass(frozen=True, slots=True)
class TareRecord:
    """What the reels say that were weighed empty; ``first`` and ``last`` are ISO dates."""

    mean_g: float
    sd_g: float | None  # between reels; None for one
    n: int  # reels
    first: str | None
    last: str | None
    kind: str | None  # None: reels without a kind, or of the material whatever their kind
    n_kinds: int | None = None  # set if none is of the kind asked for: mean and sd are of kinds


@dataclass(frozen=True, slots=True)
class TareWeighing:
    """One weighing of one empty reel; ``reel`` is the same for the same reel."""

    supplier: str
    kind: str | None
    material: str | None
    reel: str
    mass_g: float
    day: str | None = None  # ISO date


@dataclass(frozen=True, slots=True)
class EmptyReel:
    """One reel with the mean of its weighings."""

    supplier: str
    kind: str | None
    material: str | None
    mass_g: float
    first: str | None
    last: str | None
    n_weighings: int = 1


def folded(name: str | None) -> str:
    """A name without case and extra blanks; '' for none.

    >>> folded(" Grey  ring "), folded(None)
    ('grey ring', '')
    """
    return " ".join((name or "").split()).casefold()


def tare_from_record(record: TareRecord, u_scale_g: float, like_sd_g: float) -> tuple[float, float]:
    """Mass and standard uncertainty of a reel that the record speaks of [1]_.

    ``u_scale_g`` is that of one weighing; ``like_sd_g`` what reels are known to differ by.

    >>> mass_g, u_g = tare_from_record(TareRecord(220.0, None, 1, None, None, None), 0.0, 8.0)
    >>> mass_g, round(u_g, 2)
    (220.0, 11.31)
    """
    from lotqa.evidence.summary import student_quantile  # scipy: a ledger opens without it

    n = record.n if record.n_kinds is None else record.n_kinds
    s = max(like_sd_g, record.sd_g or 0.0)
    if n >= ENOUGH and record.sd_g is not None:
        s = record.sd_g * float(student_quantile(n - 1.0) / student_quantile(np.inf))
    return record.mean_g, float(np.sqrt(s**2 * (1 + 1 / n) + u_scale_g**2))


def empty_reels(weighings: Iterable[TareWeighing]) -> list[EmptyReel]:
    """Each reel once, in the order of first appearance; what its last weighing says of it holds."""
    by_reel: dict[str, list[TareWeighing]] = defaultdict(list)
    for w in weighings:
        by_reel[w.reel].append(w)
    return [_averaged(rows) for rows in by_reel.values()]


def _averaged(rows: list[TareWeighing]) -> EmptyReel:
    first, last = _span(w.day for w in rows)
    return EmptyReel(
        supplier=rows[-1].supplier,
        kind=_last(w.kind for w in rows),
        material=_last(w.material for w in rows),
        mass_g=_mean_and_sd([w.mass_g for w in rows])[0],
        first=first,
        last=last,
        n_weighings=len(rows),
    )


def record_of(reels: Iterable[EmptyReel], kind: str | None = None) -> TareRecord | None:
    """Mean and scatter of reels that are alike; None without any."""
    rows = list(reels)
    if not rows:
        return None
    mean_g, sd_g = _mean_and_sd([r.mass_g for r in rows])
    first, last = _span(d for r in rows for d in (r.first, r.last))
    return TareRecord(mean_g, sd_g, len(rows), first, last, kind)


def record_for(
    reels: Iterable[EmptyReel], supplier: str | None, kind: str | None, material: str | None
) -> TareRecord | None:
    """The record for a reel: same supplier and kind; else same supplier and material; else None.

    A reel without a kind counts for a reel without a kind.  Never another supplier's, and never
    one that is known to be of another material.
    """
    if not folded(supplier):
        return None
    own = [r for r in reels if folded(r.supplier) == folded(supplier)]
    same = [r for r in own if folded(r.kind) == folded(kind) and _may_be(r, material)]
    if same:
        return record_of(same, _last(r.kind for r in same))
    alike = [r for r in own if folded(material) and folded(r.material) == folded(material)]
    return _record_of_kinds(alike)


def _record_of_kinds(reels: list[EmptyReel]) -> TareRecord | None:
    """Reels of other kinds: a kind counts once, a reel without a kind for itself."""
    whole = record_of(reels)
    if whole is None:
        return None
    by_kind: dict[str, list[float]] = defaultdict(list)
    for i, r in enumerate(reels):
        by_kind[folded(r.kind) or f"\n{i}"].append(r.mass_g)
    mean_g, sd_g = _mean_and_sd([_mean_and_sd(v)[0] for v in by_kind.values()])
    return replace(whole, mean_g=mean_g, sd_g=sd_g, n_kinds=len(by_kind))


def _mean_and_sd(masses_g: list[float]) -> tuple[float, float | None]:
    ordered = sorted(masses_g)  # the same to the last bit in whatever order they were entered
    sd_g = float(np.std(ordered, ddof=1)) if len(ordered) > 1 else None
    return float(np.mean(ordered)), sd_g


def _may_be(reel: EmptyReel, material: str | None) -> bool:
    known, asked = folded(reel.material), folded(material)
    return not known or not asked or known == asked


def _last(values: Iterable[str | None]) -> str | None:
    known = [v for v in values if folded(v)]
    return known[-1] if known else None


def _span(days: Iterable[str | None]) -> tuple[str | None, str | None]:
    """First and last; ISO dates sort as text."""
    known = sorted(d for d in days if d)
    return (known[0], known[-1]) if known else (None, None)
