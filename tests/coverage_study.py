"""Do the 95 % intervals hold what they say, and are firm verdicts right?  Run by hand:

    python -m tests.coverage_study [lots per row, 2000 if not given]

Simulated lots of known truth (tests/simulator.py) go through the same evidence and the same
checks as measured ones.  Each lot has a tool offset of its own, anywhere within the limit of
error, and pin readings of its own where a pin is read (three before, three after the session).
One row of the table a kind of filament, ovality, directions and places; with a pin or without;
with the scatter stated in the lot sheet, or the default with what the readings say about it; then,
for the default, hands that scatter half and one and a half of what it says.

With a standard error of sqrt(0.95 * 0.05 / 2000), half a percent, a row tells 95 from 93.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lotqa.criteria import Criteria, read_criteria
from lotqa.evidence.gauge import (
    Offset,
    Scatter,
    pin_offset,
    pooled_within,
    scatter_of,
    unchecked_offset,
)
from lotqa.evidence.spool import LotEvidence, Section, lot_evidence
from lotqa.model import Readings
from lotqa.verdict.goods import Goods
from lotqa.verdict.outcome import PASS, REJECT, TUNE
from lotqa.verdict.spool import Case, judge_spools
from tests.simulator import Filament, Measured, Tool, measure, read

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

KINDS = {"steady": 0.002, "good": 0.005, "limit": 0.0125, "bad": 0.016}  # true sd, mm
OTHER_KINDS = {"six": 0.006}  # of single rows
OVALITIES_MM = (0.0, 0.03)
DIRECTIONS = {2: (0.0, 90.0), 3: (0.0, 60.0, 120.0)}
PLACES = (10, 20, 40)
SECTION = Section(nominal_mm=1.75, tolerance_mm=0.05, set_diameter_mm=1.75)
MEAN_REACH_MM = 0.03  # the true means lie anywhere within this of nominal
DEFAULT_SD_MM = 0.008
OTHER_HANDS_MM = (0.004, 0.012)
STEP_MM = 0.01
LIMIT_OF_ERROR_MM = 0.02
PIN_MM = 1.75
PIN_AFTER = np.array([False] * 3 + [True] * 3)
SPOOLS_A_LOT = 3  # where the readings of a lot say something about the scatter
N_LOTS = 2000


@dataclass(frozen=True, slots=True)
class Setting:
    """One row of the table."""

    kind: str
    ovality_mm: float
    directions: int
    places: int
    pin: bool
    scatter_stated: bool
    scatter_sd_mm: float = DEFAULT_SD_MM  # of the hand, truly

    @property
    def sd_mm(self) -> float:
        return (KINDS | OTHER_KINDS)[self.kind]

    @property
    def tool(self) -> Tool:
        return Tool(scatter_sd_mm=self.scatter_sd_mm, step_mm=STEP_MM)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came out for k spools; arrays (k,) True where the interval holds the truth."""

    mean: BoolArray
    sd: BoolArray
    ovality: BoolArray
    flow: BoolArray
    cp: BoolArray
    cpk: BoolArray
    tolerance: BoolArray  # holds 95 % of the metres
    sd_mm: FloatArray  # estimate
    variance_mm2: FloatArray  # estimate before it is clipped at 0
    ovality_mm: FloatArray  # estimate
    firm: BoolArray
    wrong: BoolArray


def settings(*, scatter_stated: bool, scatter_sd_mm: float = DEFAULT_SD_MM) -> Iterator[Setting]:
    """Every row of the table."""
    rows = product(KINDS, OVALITIES_MM, DIRECTIONS, PLACES, (True, False))
    for kind, ovality_mm, directions, places, pin in rows:
        yield Setting(kind, ovality_mm, directions, places, pin, scatter_stated, scatter_sd_mm)


def readings_of(measured: Measured, rows: NDArray[np.int64], diameter_mm: FloatArray) -> Readings:
    """Readings of the spools ``rows``, as the intake would hand them over; (k, n, m) values."""
    k, n, m = (len(rows), *diameter_mm.shape[1:])
    place = np.repeat(np.arange(k * n), m)
    return Readings(
        spools=tuple(str(row) for row in rows),
        spool=place // n,
        place=place,
        position_m=np.repeat(measured.position_m[rows].ravel(), m),
        direction_deg=np.tile(measured.direction_deg, k * n),
        diameter_mm=diameter_mm[rows].ravel(),
        trial=np.ones(k * n * m, dtype=np.int64),
        operators=(),
        operator=np.full(k * n * m, -1),
        file="simulated.csv",
        line=np.arange(k * n * m) + 2,
    )


def simulate(setting: Setting, n_lots: int, seed: int) -> Outcome:
    """Measure ``n_lots`` lots of the setting and judge every spool of them."""
    rng = np.random.default_rng(seed)
    per_lot = 1 if setting.scatter_stated else SPOOLS_A_LOT
    k = n_lots * per_lot
    mean_mm = SECTION.nominal_mm + rng.uniform(-MEAN_REACH_MM, MEAN_REACH_MM, k)
    measured = measure(
        Filament(mean_mm=mean_mm, sd_mm=setting.sd_mm, ovality_mm=setting.ovality_mm),
        rng,
        n_spools=k,
        n_places=setting.places,
        directions_deg=DIRECTIONS[setting.directions],
    )
    true_offset_mm = rng.uniform(-LIMIT_OF_ERROR_MM, LIMIT_OF_ERROR_MM, n_lots)
    of_spool = np.repeat(true_offset_mm, per_lot)[:, None, None]
    tool = setting.tool
    as_read_mm = read(measured.width_mm + of_spool, tool, rng)
    pins_mm = read(PIN_MM + true_offset_mm[:, None] + np.zeros((1, len(PIN_AFTER))), tool, rng)

    alike: dict[tuple[Scatter, Offset], list[int]] = {}
    for lot in range(n_lots):
        mine = slice(lot * per_lot, (lot + 1) * per_lot)
        errors_mm = pins_mm[lot] - PIN_MM if setting.pin else None
        scatter = scatter_by(setting, as_read_mm[mine], errors_mm)
        offset = unchecked_offset(LIMIT_OF_ERROR_MM)
        if setting.pin:
            found = pin_offset(
                np.full(len(PIN_AFTER), PIN_MM),
                pins_mm[lot],
                PIN_AFTER,
                scatter_sd_mm=scatter.sd_mm,
                step_mm=STEP_MM,
                supposed_df=scatter.df if scatter.supposed else None,
            )
            # Pin readings are whole steps: lots of one offset and uncertainty go in one call.
            offset = Offset(
                round(found.offset_mm, 9),
                round(found.u_mm, 12),
                found.n_pin_readings,
                None,
                None,
                found.df,
            )
        alike.setdefault((scatter, offset), []).extend(range(mine.start, mine.stop))
    parts = []
    for (scatter, offset), spools in alike.items():
        rows = np.array(spools)
        evidence = lot_evidence(
            readings_of(measured, rows, as_read_mm), SECTION, scatter, offset, STEP_MM, 0.01
        )
        parts.append(outcome_of(setting, mean_mm[rows], evidence))
    return Outcome(
        **{
            f.name: np.concatenate([getattr(part, f.name) for part in parts])
            for f in fields(Outcome)
        }
    )


def scatter_by(
    setting: Setting, diameter_mm: FloatArray, pin_errors_mm: FloatArray | None = None
) -> Scatter:
    """The scatter as an inspection takes it: from the lot sheet, or the default of a calliper."""
    if setting.scatter_stated:
        return Scatter(setting.scatter_sd_mm, float("inf"), "stated in the lot sheet")
    spools, places, directions = diameter_mm.shape
    variance, df = pooled_within(
        diameter_mm.ravel(), np.repeat(np.arange(spools * places), directions)
    )
    on_pin, pin_df = float("nan"), 0
    if pin_errors_mm is not None:
        on_pin, pin_df = pooled_within(pin_errors_mm, PIN_AFTER.astype(np.int64))
    return scatter_of(
        stated_sd_mm=None,
        repeats_variance_mm2=float("nan"),
        repeats_df=0,
        directions_variance_mm2=variance,
        directions_df=df,
        default_sd_mm=DEFAULT_SD_MM,
        default_relative_uncertainty=0.25,
        step_mm=STEP_MM,
        pin_variance_mm2=on_pin,
        pin_df=pin_df,
    )


def case_of(evidence: LotEvidence, criteria: Criteria) -> Case:
    """A case in which nothing but diameters is known."""
    stock = criteria.stock_for(SECTION.nominal_mm)
    assert stock is not None
    k = len(evidence.spools)
    return Case(
        evidence=evidence,
        goods=Goods(
            weights=[None] * k,
            findings=[()] * k,
            findings_given=False,
            label_net_g=None,
            material=None,
        ),
        criteria=criteria,
        stock=stock,
        ovality_limit_mm=stock.ovality_max_mm,
    )


def outcome_of(setting: Setting, mean_mm: FloatArray, evidence: LotEvidence) -> Outcome:
    """Compare evidence and verdicts with the truth."""
    criteria = read_criteria()
    sd, oval = setting.sd_mm, setting.ovality_mm
    room_mm = SECTION.tolerance_mm - np.abs(mean_mm - SECTION.nominal_mm)
    cp, cpk = SECTION.tolerance_mm / (3 * sd), room_mm / (3 * sd)
    flow_pct = 100 * ((mean_mm**2 + sd**2) / SECTION.set_diameter_mm**2 - 1)
    case = case_of(evidence, criteria)
    judgement = judge_spools(case)
    asked = criteria["spread.cp_min"]
    rejected = (cp < asked) | (room_mm < 0) | (oval > (case.ovality_limit_mm or np.inf))
    to_tune = (np.abs(flow_pct) > criteria["flow.error_max_pct"]) | (
        cpk < criteria["centring.cpk_min"]
    )
    true_level = np.where(rejected, REJECT, np.where(to_tune, TUNE, PASS))
    d, c, o, f = evidence.diameter, evidence.capability, evidence.ovality, evidence.flow
    u2 = evidence.scatter.sd_mm**2 + STEP_MM**2 / 12
    return Outcome(
        mean=_holds(d.mean_lo_mm, mean_mm, d.mean_hi_mm),
        sd=_holds(d.sd_lo_mm, sd, d.sd_hi_mm),
        ovality=_holds(o.lo_mm, oval, o.hi_mm),
        flow=_holds(f.error_lo_pct, flow_pct, f.error_hi_pct),
        cp=_holds(c.cp_lo, cp, c.cp_hi),
        cpk=_holds(c.cpk_lo, cpk, c.cpk_hi),
        tolerance=_content(d.tolerance_lo_mm, d.tolerance_hi_mm, mean_mm, sd) >= 0.95,
        sd_mm=d.sd_mm,
        variance_mm2=d.s_observed_mm**2 - d.reading_weight * u2,
        ovality_mm=o.mean_mm,
        firm=judgement.firm,
        wrong=judgement.point != true_level,
    )


def _holds(lo: FloatArray, truth: FloatArray | float, hi: FloatArray) -> BoolArray:
    return np.asarray((lo <= truth) & (truth <= hi))


def _content(lo: FloatArray, hi: FloatArray, mean: FloatArray, sd: float) -> FloatArray:
    from scipy.special import ndtr

    return np.asarray(ndtr((hi - mean) / sd) - ndtr((lo - mean) / sd))


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table in percent; ``sd_bias_pct`` is of the root of the mean variance."""

    setting: Setting
    mean: float
    sd: float
    ovality: float
    flow: float
    cp: float
    cpk: float
    tolerance: float
    sd_bias_pct: float
    sd_mean_bias_pct: float
    firm: float
    firm_wrong: float
    provisional_wrong: float


def row_of(setting: Setting, outcome: Outcome) -> Row:
    """Rates of one setting, in percent of all its spools."""

    def pct(held: BoolArray) -> float:
        return 100 * float(np.mean(held))

    return Row(
        setting=setting,
        mean=pct(outcome.mean),
        sd=pct(outcome.sd),
        ovality=pct(outcome.ovality),
        flow=pct(outcome.flow),
        cp=pct(outcome.cp),
        cpk=pct(outcome.cpk),
        tolerance=pct(outcome.tolerance),
        sd_bias_pct=sd_bias_pct(outcome, setting),
        sd_mean_bias_pct=100 * (float(np.mean(outcome.sd_mm)) / setting.sd_mm - 1),
        firm=pct(outcome.firm),
        firm_wrong=pct(outcome.firm & outcome.wrong),
        provisional_wrong=pct(~outcome.firm & outcome.wrong),
    )


def sd_bias_pct(outcome: Outcome, setting: Setting) -> float:
    """Bias of the root of the mean variance: what averages out over many spools and what stays."""
    variance = max(float(np.mean(outcome.variance_mm2)), 0.0)
    return 100 * (float(np.sqrt(variance)) / setting.sd_mm - 1)


HEAD = (
    "kind   oval dir pl pin | mean    sd  oval  flow    Cp   Cpk   tol | "
    "bias sd (mean) | firm  firm&wrong prov&wrong"
)


def line_of(row: Row) -> str:
    """One line of the printed table."""
    s = row.setting
    return (
        f"{s.kind:6s} {s.ovality_mm:4.2f} {s.directions:3d} {s.places:2d} "
        f"{'yes' if s.pin else 'no ':3s} |"
        f"{row.mean:5.1f} {row.sd:5.1f} {row.ovality:5.1f} {row.flow:5.1f} {row.cp:5.1f} "
        f"{row.cpk:5.1f} {row.tolerance:5.1f} |{row.sd_bias_pct:6.1f} {row.sd_mean_bias_pct:7.1f} |"
        f"{row.firm:5.1f} {row.firm_wrong:9.2f} {row.provisional_wrong:10.2f}"
    )


def main(n_lots: int = N_LOTS) -> None:
    """Print the whole table, scatter stated first."""
    hands = [(True, DEFAULT_SD_MM)] + [(False, sd) for sd in (DEFAULT_SD_MM, *OTHER_HANDS_MM)]
    for stated, sd_mm in hands:
        how = "stated in the lot sheet" if stated else f"supposed to be {DEFAULT_SD_MM} mm"
        print(f"\nThe hand scatters by {sd_mm} mm, {how}; rates in %\n{HEAD}")
        for seed, setting in enumerate(settings(scatter_stated=stated, scatter_sd_mm=sd_mm)):
            print(line_of(row_of(setting, simulate(setting, n_lots, seed))), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else N_LOTS)
