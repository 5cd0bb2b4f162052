"""What the ledger gives back: frozen rows, already in the words of the trade.

``None`` means 'not known'.  Times are in UTC.  Intervals are two-sided at 95 %; one end is
``None`` where the interval is open on that side.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

from lotqa.model import FloatArray, IntArray

if TYPE_CHECKING:  # needs scipy, which a ledger opens without
    from lotqa.evidence.hindsight import Hindsight

Interval = tuple[float | None, float | None]
KnownNow = Literal["itself", "alike", "record"]


@dataclass(frozen=True, slots=True)
class Entry:
    """Where an inspection stands in the ledger; the document repeats it under ``ledger``."""

    inspection: int
    lot_id: int
    new: bool  # False: the same content was already there and nothing was entered
    earlier_inspections: int  # of the same lot, entered before this one
    location: str


@dataclass(frozen=True, slots=True)
class InspectionRow:
    """One inspection in one line."""

    inspection: int
    lot_id: int
    supplier: str
    product: str
    material: str
    colour: str
    lot: str
    lot_date: date  # received, else the day of the lot's first inspection
    received: date | None
    claim_until: date | None
    inspected_at: datetime
    entered_at: datetime
    program_version: str
    criteria_name: str
    criteria_sha256: str
    content_hash: str
    verdict: str
    standing: str
    spools_received: int | None
    spools_inspected: int | None
    accepted: int | None
    tuned: int | None
    rejected: int | None
    nominal_mm: float | None
    tolerance_mm: float | None
    label_net_g: float | None
    mean_mm: float | None
    mean_ci95_mm: Interval | None
    between_spool_sd_mm: float | None
    within_spool_sd_mm: float | None
    ovality_mm: float | None  # mean of the spools' ovalities
    net_g: float | None
    shortfall_g: float | None  # mean of the spools' shortfalls
    price: float | None  # of one spool
    currency: str | None
    price_per_litre: float | None
    n_readings: int


@dataclass(frozen=True, slots=True)
class LotRow(InspectionRow):
    """A lot as its newest inspection sees it."""

    n_inspections: int


@dataclass(frozen=True, slots=True)
class SpoolRow:
    """One spool of one inspection in one line."""

    inspection: int
    lot_id: int
    supplier: str
    product: str
    material: str
    colour: str
    lot: str
    lot_date: date
    inspected_at: datetime
    nominal_mm: float | None
    tolerance_mm: float | None
    label_net_g: float | None
    spool: str
    verdict: str | None  # None: readings were kept, but the document does not speak of the spool
    standing: str | None
    places: int | None
    readings: int | None
    mean_mm: float | None
    mean_lo_mm: float | None
    mean_hi_mm: float | None
    u_mean_mm: float | None  # standard uncertainty, k = 1
    sd_mm: float | None
    sd_lo_mm: float | None
    sd_hi_mm: float | None
    sd_observed_mm: float | None
    min_mm: float | None
    max_mm: float | None
    cp: float | None
    cpk: float | None
    fraction_outside: float | None
    ovality_mm: float | None
    flow_error_pct: float | None
    flow_swing_pct: float | None
    multiplier: float | None
    net_g: float | None
    net_lo_g: float | None
    net_hi_g: float | None
    shortfall_g: float | None
    shortfall_lo_g: float | None
    shortfall_hi_g: float | None
    length_m: float | None
    moisture_loss_pct: float | None
    n_critical: int | None
    n_major: int | None
    n_minor: int | None


@dataclass(frozen=True, slots=True)
class RawRow:
    """A reading beside the row it came from."""

    n: int  # 1, 2, ... in the order of the readings
    spool: str
    place: int
    position_m: float | None
    direction_deg: float | None
    diameter_mm: float
    trial: int
    operator: str | None
    file: str
    line: int
    text: str | None  # the row as typed; None if the file has no such line


@dataclass(frozen=True, slots=True, eq=False)
class SpoolPlaces:
    """The places of one spool, one array element a place, as read (no offset corrected).

    Repeated readings of one direction count once, by their mean; readings without a known
    direction stand each for itself.
    """

    spool: str
    place: IntArray  # 1, 2, ... within the spool
    position_m: FloatArray  # NaN where not given
    low_mm: FloatArray  # smallest direction
    high_mm: FloatArray  # largest direction
    mean_mm: FloatArray  # mean over directions


@dataclass(frozen=True, slots=True)
class BenchScale:
    """The scale of the bench, where a weighing does not name its own."""

    step_g: float
    limit_of_error_g: float


@dataclass(frozen=True, slots=True)
class SpoolHindsight:
    """One spool: its reel as known at intake and as known now, and what that makes of its mass."""

    inspection: int
    lot_id: int
    supplier: str
    lot: str
    spool: str
    reel_kind: str | None
    reel_material: str | None
    label_g: float | None
    gross_g: float
    tare_then_g: float | None
    known_then: str | None
    tare_now_g: float | None
    u_tare_now_g: float | None
    known_now: KnownNow | None  # None: no more is known than at intake
    n_reels: int  # that the tare now rests on
    found: "Hindsight"
