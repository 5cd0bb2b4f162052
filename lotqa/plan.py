"""The plan for a lot that has arrived: what to weigh, measure and look at, and what that lets pass.

:func:`plan_document` computes and touches nothing outside; :func:`known_of` asks the ledger.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np

from lotqa.criteria import Criteria
from lotqa.errors import UnusableCriteria, UnusableInput
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.evidence.tares import folded
from lotqa.findings import Catalogue
from lotqa.history import arriving, effort_before, rules_of
from lotqa.ledger import Ledger, ledger_exists
from lotqa.model import FINDING_CLASSES, FloatArray
from lotqa.report import plan_page, write_page
from lotqa.sampling.attributes import zero_acceptance_size
from lotqa.sampling.bench_time import BenchTimes, Fitted, fitted, minutes_needed
from lotqa.sampling.effort import spools_to_measure
from lotqa.sampling.lot_risk import Lots, Procedure
from lotqa.sampling.operating import Operating, operating
from lotqa.sampling.positions import drawn_spools, most_places, uneven_positions
from lotqa.sampling.single_plans import single_plan
from lotqa.sampling.spread import probability_accept_spread
from lotqa.sampling.switching import Effort, effort_after
from lotqa.sampling.variables import k_for, maximum_sd_ratio, most_fraction
from lotqa.verdict.lot_checks import LEAST_SPOOLS, SEVERITY

SCHEMA = "lotqa.plan.v1"
DIRECTIONS_DEG = {2: (0, 90), 3: (0, 60, 120)}
BAD_FRACTIONS = (0.05, 0.10, 0.30, 0.50)
SPREAD_RATIOS = (0.5, 0.75, 1.0, 1.25, 1.5)
# Bad fractions of the drawn curve; close where it falls steeply.
CURVE = np.concatenate((np.linspace(0.0, 0.1, 21), np.linspace(0.12, 0.7, 30)))
MIN_LOTS = 3  # earlier lots below which their spread between spools says nothing
PIN_READINGS = 6  # three before and three after, as the report asks for


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for; ``spools_received`` None: places only."""

    places: int
    n_directions: int
    stretch_m: float
    seed: int
    spools_received: int | None = None
    minutes: float | None = None
    supplier: str | None = None
    material: str | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """What the ledger says of the supplier and material; nothing where none is named."""

    effort: Effort
    is_asked: bool = False  # whether a supplier and a material were named
    between_sd_mm: float | None = None
    n_lots: int = 0  # that it rests on


def known_of(location: str | None, wanted: Wanted, criteria: Criteria) -> Known:
    """The effort that a lot arriving now meets, and how much the spools of earlier lots differed.

    A ledger that is not there yet knows nothing, and is not made here.  Raises UnusableInput for a
    supplier without a material or a material without a supplier.
    """
    supplier, material = wanted.supplier, wanted.material
    if not supplier and not material:
        return Known(_unasked(criteria))
    for given, other in (("supplier", "material"), ("material", "supplier")):
        if not folded(getattr(wanted, other) or ""):
            raise UnusableInput(
                f"--{given} is given without --{other}: the history is kept by both, give both"
            )
    if location is None or not ledger_exists(location):
        return Known(_effort(None, wanted, criteria), is_asked=True)
    with Ledger.open(location, create=False) as book:
        sds = [
            row.between_spool_sd_mm
            for row in book.lots(supplier=supplier, material=material)
            if row.between_spool_sd_mm is not None
        ]
        effort = _effort(book, wanted, criteria)
    pooled = float(np.sqrt(np.mean(np.square(sds)))) if len(sds) >= MIN_LOTS else 0.0
    return Known(effort, True, pooled if pooled > 0 else None, len(sds))


def _unasked(criteria: Criteria) -> Effort:
    return effort_after([], rules_of(criteria))


def _effort(book: Ledger | None, wanted: Wanted, criteria: Criteria) -> Effort:
    return effort_before(
        book, wanted.supplier, wanted.material, None, "", criteria, product=None, colour=None
    )


def plan_document(wanted: Wanted, known: Known, criteria: Criteria) -> dict[str, Any]:
    """The document ``lotqa.plan.v1``; unknown numbers are None.

    Raises UnusableInput for more places than the stretch holds, UnusableCriteria for a limit that
    no plan can be made with.
    """
    if wanted.places > most_places(wanted.stretch_m):
        raise UnusableInput(
            f"--places is {wanted.places}, more than {wanted.stretch_m:g} m hold: write at most "
            f"{most_places(wanted.stretch_m)}, or a longer --stretch"
        )
    received = wanted.spools_received
    if received is None and wanted.minutes is not None:
        raise UnusableInput("--minutes is given without --spools-received: give both")
    part = None if received is None else _lot_part(received, wanted, known, criteria)
    places = wanted.places if part is None else part["places"]
    lot: dict[str, Any] = {} if part is None else part
    return {
        "schema": SCHEMA,
        "supplier": wanted.supplier,
        "material": wanted.material,
        "spools_received": received,
        "spools_to_measure": lot.get("spools_to_measure"),
        "spools_asked": lot.get("spools_asked"),
        "spools_to_weigh": received,
        "draw": lot.get("draw"),
        "places": places,
        "places_asked": wanted.places,
        "directions_deg": list(DIRECTIONS_DEG[wanted.n_directions]),
        "stretch_m": wanted.stretch_m,
        "positions_m": uneven_positions(places, wanted.stretch_m, wanted.seed).tolist(),
        "state": {
            "state": known.effort.state,
            "is_due": known.effort.is_due,
            "text": arriving(known.effort)
            if known.is_asked
            else "No supplier and material were named: planned as normal inspection.",
            "advice": known.effort.advice,
        },
        "minutes": lot.get("minutes"),
        "accept_probability": lot.get("accept_probability"),
        "curve": lot.get("curve"),
        "lots": lot.get("lots"),
        "by_variables": lot.get("by_variables"),
        "spread_probability": lot.get("spread_probability"),
        "sure": lot.get("sure"),
        "findings": lot.get("findings"),
        "seed": wanted.seed,
    }


def write_plan(
    document: Mapping[str, Any], catalogue: Catalogue, folder: Path, now: datetime
) -> Path:
    """Write the page of a plan into ``folder``; its path.

    ``catalogue`` are the findings to look for.  Raises LotqaError if the folder cannot be written
    to.
    """
    parts = ("plan", document["supplier"], document["material"], document["seed"])
    html = plan_page(document, catalogue, now.date().isoformat())
    return write_page(html, folder, "_".join(str(p) for p in parts if p is not None))


def _lot_part(received: int, wanted: Wanted, known: Known, criteria: Criteria) -> dict[str, Any]:
    state, is_due = known.effort.state, known.effort.is_due
    asked = spools_to_measure(received, state, is_due)
    times = BenchTimes(
        criteria["bench.look_minutes"],
        criteria["bench.unroll_minutes"],
        criteria["bench.reading_seconds"],
    )
    fit = _fit(received, asked, wanted, times, criteria)
    n = fit.n_spools
    lots = _lots(known, wanted.n_directions, criteria)
    procedure, k = _procedure(fit, criteria)
    shares = np.concatenate((BAD_FRACTIONS, CURVE))
    found = operating(shares, received, procedure, lots, k)
    return {
        "spools_asked": asked,
        "spools_to_measure": n,
        "draw": drawn_spools(received, n, wanted.seed) if n else [],
        "places": fit.n_places,
        "minutes": {
            "needed": fit.minutes,
            "look": minutes_needed(received, 0, 0, wanted.n_directions, times),
            "available": wanted.minutes,
            "fits": fit.fits,
        },
        "accept_probability": _rows(found, slice(0, len(BAD_FRACTIONS)), received),
        "curve": _rows(found, slice(len(BAD_FRACTIONS), None), received),
        "lots": {
            "between_sd_mm": lots.between_sd_mm,
            "within_sd_mm": lots.within_sd_mm,
            "u_offset_mm": lots.u_offset_mm,
            "earlier_lots": known.n_lots if known.between_sd_mm is not None else None,
        },
        "by_variables": None
        if k is None
        else {
            "k": k,
            "most_outside": procedure.most_fraction,
            "good": criteria["lot.good_pct"] / 100,
            "good_accept": criteria["lot.good_accept"],
            "maximum_sd_mm": _maximum_sd_mm(procedure),
        },
        "spread_probability": _spread(fit, lots, procedure),
        "sure": _sure(received, criteria["plan.consumer_risk"]),
        "findings": _findings(received, known, criteria),
    }


def _fit(
    received: int, asked: int, wanted: Wanted, times: BenchTimes, criteria: Criteria
) -> Fitted:
    if asked == 0:  # weighed and looked at only
        minutes = minutes_needed(received, 0, 0, wanted.n_directions, times)
        fits = wanted.minutes is None or minutes <= wanted.minutes
        return Fitted(0, wanted.places, minutes, fits)
    least = max(int(criteria["places.min"]), 2)
    return fitted(wanted.minutes, received, asked, wanted.places, least, wanted.n_directions, times)


def _lots(known: Known, n_directions: int, criteria: Criteria) -> Lots:
    """The lots that the risk is told for: as this supplier's were, else as the criteria say.

    Round filament, so that every direction of a place shows the same and reading errors average.
    """
    tool = criteria.tool_for("calliper")
    reading = tool.scatter_sd_mm**2 + rounding_variance_mm2(tool.step_mm)
    between = known.between_sd_mm
    return Lots(
        between_sd_mm=criteria["plan.between_sd_mm"] if between is None else between,
        within_sd_mm=criteria["plan.within_sd_mm"],
        place_reading_sd_mm=float(np.sqrt(reading / n_directions)),
        u_offset_mm=float(np.sqrt(reading / PIN_READINGS)),
    )


def _procedure(fit: Fitted, criteria: Criteria) -> tuple[Procedure, float | None]:
    """What is taken of a lot of the first stock, and the k of its plan by variables."""
    half = criteria.stocks[0].tolerance_mm
    cp_min, good = criteria["spread.cp_min"], criteria["lot.good_pct"] / 100
    k = None
    if fit.n_spools >= LEAST_SPOOLS and good > 0:
        k = k_for(good, criteria["lot.good_accept"], fit.n_spools)
    return Procedure(
        n_spools=fit.n_spools,
        n_places=fit.n_places,
        half_tolerance_mm=half,
        spread_max_mm=half / (3 * cp_min) if cp_min > 0 else np.inf,
        most_fraction=None if k is None else most_fraction(k, fit.n_spools),
        rejected_max=int(criteria["lot.rejected_max"]),
    ), k


def _maximum_sd_mm(procedure: Procedure) -> float | None:
    """Spread between spools beyond which no lot keeps both limits, wherever it lies."""
    most = procedure.most_fraction
    if most is None or not most > 0:  # nothing may be estimated outside: no curve
        return None
    return maximum_sd_ratio(most, procedure.n_spools) * 2 * procedure.half_tolerance_mm


def _rows(found: Operating, rows: slice, received: int) -> list[dict[str, float | None]]:
    """A row for each share; ``p`` is that of this lot, counted exactly."""
    means = found.means
    columns: tuple[FloatArray, ...] = (
        found.bad_fraction[rows], found.in_lot[rows], found.process[rows], found.procedure[rows],
    )  # fmt: skip
    together: Sequence[float | None] = (
        [None] * len(columns[0]) if means is None else means[rows].tolist()
    )
    return [
        {
            "bad_fraction": float(share),
            "p": float(p),
            "bad_spools": float(share * received),
            "p_process": float(process),
            "p_means": mean,
            "p_lot": float(whole),
        }
        for share, p, process, whole, mean in zip(*columns, together, strict=True)
    ]


def _spread(fit: Fitted, lots: Lots, procedure: Procedure) -> list[dict[str, float]] | None:
    """How often one spool keeps the limit of spread, by its true spread over that limit."""
    df = fit.n_places - 1
    if not fit.n_spools or df < 1 or not np.isfinite(procedure.spread_max_mm):
        return None
    taken_off = (lots.place_reading_sd_mm / procedure.spread_max_mm) ** 2
    chances = probability_accept_spread(SPREAD_RATIOS, df, taken_off)
    return [
        {"ratio": ratio, "p": float(p)} for ratio, p in zip(SPREAD_RATIOS, chances, strict=True)
    ]


def _sure(received: int, risk: float) -> list[dict[str, float]]:
    """Spools to measure, none allowed bad, so that a lot with so many bad ones hardly slips by."""
    rows = []
    for share in BAD_FRACTIONS:
        bad = max(ceil(share * received - 1e-9), 1)
        rows.append(
            {
                "bad_fraction": share,
                "bad_spools": bad,
                "confidence": 1 - risk,
                "spools": zero_acceptance_size(bad, risk, received),
            }
        )
    return rows


def _findings(received: int, known: Known, criteria: Criteria) -> list[dict[str, Any]]:
    """How many spools to look at by class, and how many of them may have such a finding."""
    rows: list[dict[str, Any]] = []
    for grade in FINDING_CLASSES:
        if grade == "critical":
            rows.append({"class": grade, "spools": received, "acceptance": 0, "aql_pct": None})
            continue
        key = f"lot.{grade}_aql_pct"
        aql = criteria[key]
        if aql <= 0:
            continue
        try:
            taken = single_plan(received, aql, severity=SEVERITY[known.effort.state])
        except ValueError as error:
            raise UnusableCriteria(f"criteria: {key} is {aql:g}: {error}") from None
        rows.append(
            {"class": grade, "spools": taken.n, "acceptance": taken.acceptance, "aql_pct": aql}
        )
    return rows
