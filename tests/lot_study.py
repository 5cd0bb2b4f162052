"""Does a plan state the truth?  Lots drawn, measured and judged, against its stated chances.

A lot's true spool means are normal between spools about a centre that puts a stated fraction
beyond the upper limit of the label; its filament is round and normal along each spool.  A hand of
known scatter reads n spools at so many places in two directions with a calliper that shows steps of
0.01 mm and is off by 0.012 mm, and a pin of 1.75 mm three times before and after.  Each lot goes
through the steps of ``inspect_lot`` and is taken unless its verdict is reject.  What the plan says
is ``probability_accept_lot`` (lotqa/sampling/lot_risk.py), which draws none of these readings.

With 10,000 lots the standard error of a share is half a point at most.

Run by hand: ``python -m tests.lot_study [LOTS]``.
"""

import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from lotqa.case import prepare
from lotqa.criteria import Criteria, read_criteria
from lotqa.evidence.resolution import rounding_variance_mm2
from lotqa.materials import Material, read_materials
from lotqa.model import (
    FloatArray,
    Instrument,
    Label,
    LotInput,
    LotSheet,
    PinCheck,
    Readings,
)
from lotqa.sampling.lot_risk import Lots, Procedure, probability_accept_lot
from lotqa.sampling.variables import k_for, most_fraction
from lotqa.verdict import lot_numbers
from lotqa.verdict.lot import judge_lot
from lotqa.verdict.spool import judge_spools

NOMINAL_MM, TOLERANCE_MM, STEP_MM = 1.75, 0.05, 0.01
SCATTER_MM, OFFSET_MM, N_PINS = 0.008, 0.012, 6
DIRECTIONS = (0.0, 90.0)
BAD = (0.05, 0.10, 0.30, 0.50)
SEED = 414


@dataclass(frozen=True, slots=True)
class Case:
    """What is measured of a lot, and how its spools vary."""

    n_spools: int
    n_places: int
    between_sd_mm: float
    within_sd_mm: float

    @property
    def name(self) -> str:
        """As the table tells it."""
        return (
            f"{self.n_spools} spools, {self.n_places} places, between "
            f"{self.between_sd_mm:g}, within {self.within_sd_mm:g}"
        )


CASES = (
    Case(2, 20, 0.012, 0.005),
    Case(3, 10, 0.012, 0.005),
    Case(3, 20, 0.012, 0.005),
    Case(3, 20, 0.020, 0.005),
    Case(3, 20, 0.012, 0.010),
    Case(5, 20, 0.012, 0.005),
    Case(8, 20, 0.012, 0.005),
)
SHEET = LotSheet(
    supplier="Kranich Filament",
    material="PLA",
    label=Label(nominal_mm=NOMINAL_MM, tolerance_mm=TOLERANCE_MM),
    instruments=(Instrument("calliper", "bench", STEP_MM, 0.02, SCATTER_MM),),
)


def stated(case: Case, bad: FloatArray, criteria: Criteria) -> FloatArray:
    """What a plan says of lots like these; (m,)."""
    good, cp_min = criteria["lot.good_pct"] / 100, criteria["spread.cp_min"]
    n = case.n_spools
    most = most_fraction(k_for(good, criteria["lot.good_accept"], n), n) if n > 2 else None
    reading = SCATTER_MM**2 + rounding_variance_mm2(STEP_MM)
    return probability_accept_lot(
        bad,
        Procedure(n, case.n_places, TOLERANCE_MM, TOLERANCE_MM / (3 * cp_min), most),
        Lots(
            case.between_sd_mm,
            case.within_sd_mm,
            float(np.sqrt(reading / len(DIRECTIONS))),
            float(np.sqrt(reading / N_PINS)),
        ),
    )


def drawn_lots(case: Case, bad: float, n_lots: int, seed: int) -> Iterator[LotInput]:
    """Lots as they come to the bench, readings and pins."""
    rng = np.random.default_rng([SEED, seed])
    n, p, m = case.n_spools, case.n_places, len(DIRECTIONS)
    centre = NOMINAL_MM + TOLERANCE_MM + float(ndtri(bad)) * case.between_sd_mm
    spool = np.repeat(np.arange(n), p * m)
    place = np.repeat(np.arange(n * p), m)
    for _ in range(n_lots):
        true = centre + case.between_sd_mm * rng.standard_normal((n, 1))
        along = true + case.within_sd_mm * rng.standard_normal((n, p))
        shown = _read(along[..., None], (n, p, m), rng)
        pins = _read(np.full(N_PINS, NOMINAL_MM), (N_PINS,), rng)
        position = np.cumsum(rng.uniform(0.3, 1.7, (n, p)), axis=1)
        readings = Readings(
            spools=tuple(map(str, range(n))),
            spool=spool,
            place=place,
            position_m=np.repeat(position.ravel(), m),
            direction_deg=np.tile(DIRECTIONS, n * p),
            diameter_mm=shown.ravel(),
            trial=np.ones(n * p * m, dtype=np.int64),
            operators=(),
            operator=np.full(n * p * m, -1),
            file="readings.csv",
            line=np.arange(n * p * m) + 2,
        )
        checks = tuple(
            PinCheck("bench", "before" if i < N_PINS // 2 else "after", NOMINAL_MM, float(v),
                     "pin_checks.csv", i + 2)
            for i, v in enumerate(pins)
        )  # fmt: skip
        yield LotInput(SHEET, readings, (), (), checks, (), ())


def _read(true_mm: FloatArray, shape: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
    """What the calliper shows, to its step."""
    seen = true_mm + OFFSET_MM + SCATTER_MM * rng.standard_normal(shape)
    return np.round(np.round(seen / STEP_MM) * STEP_MM, 6)


def is_taken(lot: LotInput, criteria: Criteria, materials: Mapping[str, Material]) -> bool:
    """The verdict on the lot as ``inspect_lot`` comes to it, limits read once for all lots."""
    prepared = prepare(lot, criteria, materials)
    case = prepared.case
    judgement = judge_spools(case)
    found = judge_lot(case.evidence, judgement, criteria, None, None, None, case.goods)
    return found.verdict != "reject"


def share_taken(case: Case, bad: float, n_lots: int, seed: int = 0) -> float:
    """Share of ``n_lots`` lots that the real procedure does not reject."""
    criteria, materials = read_criteria(), read_materials()
    before = lot_numbers.COMPONENTS_SPOOLS
    lot_numbers.COMPONENTS_SPOOLS = 0  # told beside the verdict, and slow
    try:
        taken = [is_taken(lot, criteria, materials) for lot in drawn_lots(case, bad, n_lots, seed)]
    finally:  # other tests of the same run want them
        lot_numbers.COMPONENTS_SPOOLS = before
    return float(np.mean(taken))


def main(n_lots: int) -> None:
    """Print the table of DEVELOPERS.md."""
    print("| lot | bad, % | stated, % | found, % | difference, points |")
    print("|---|---|---|---|---|")
    criteria = read_criteria()
    with ProcessPoolExecutor() as pool:
        jobs = {
            case: [pool.submit(share_taken, case, bad, n_lots, i) for i, bad in enumerate(BAD)]
            for case in CASES
        }
        for case, found in jobs.items():
            said = stated(case, np.array(BAD), criteria)
            seen = np.array([job.result() for job in found])
            off = 100 * (seen - said)
            error = 100 * np.sqrt(seen * (1 - seen) / n_lots)
            cells = (
                " / ".join(f"{100 * b:g}" for b in BAD),
                " / ".join(f"{100 * p:.1f}" for p in said),
                " / ".join(f"{100 * p:.1f}" for p in seen),
                " / ".join(f"{d:+.1f} ± {e:.1f}" for d, e in zip(off, error, strict=True)),
            )
            print(f"| {case.name} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
