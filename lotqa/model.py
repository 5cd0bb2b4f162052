"""The nouns of the trade as frozen records.  Nothing here computes.

Units stand at the end of a field's name; a field without one is a count, a ratio or text.
``None`` means 'not known'.  Identifiers are text for ever: a spool may be called ``007``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

VerdictWord = Literal["accept", "tune", "reject"]
StandingWord = Literal["firm", "provisional"]
OutcomeWord = Literal["pass", "tune", "reject", "undecided", "not_checked"]
WeighInKind = Literal[
    "gross",
    "tare",
    "net",
    "cut",
    "before_drying",
    "after_drying",
    "coupon",
    "in_air",  # of one piece, before it is hung into water
    "in_water",
]
FindingClass = Literal["critical", "major", "minor"]

WEIGH_IN_KINDS: tuple[str, ...] = (
    "gross",
    "tare",
    "net",
    "cut",
    "before_drying",
    "after_drying",
    "coupon",
    "in_air",
    "in_water",
)
FINDING_CLASSES: tuple[str, ...] = ("critical", "major", "minor")


@dataclass(frozen=True, slots=True)
class Problem:
    """Something in the input that a person should know; ``row_used`` is False if a row fell out."""

    file: str
    line: int | None  # counted from 1 as an editor counts, header included
    column: str | None
    value: str | None  # exactly as typed
    message: str  # what is wrong and what to do
    row_used: bool = True


@dataclass(frozen=True, slots=True)
class Instrument:
    """A calliper, micrometer or scale.  ``kind`` is what the person wrote, lower case."""

    kind: str
    name: str
    resolution_mm: float | None = None
    limit_of_error_mm: float | None = None
    repeatability_sd_mm: float | None = None
    resolution_g: float | None = None
    limit_of_error_g: float | None = None
    repeatability_sd_g: float | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """What the maker's label promises."""

    nominal_mm: float | None = None
    tolerance_mm: float | None = None  # half width: 0.05 for 1.75 +/- 0.05
    net_g: float | None = None
    ovality_mm: float | None = None


@dataclass(frozen=True, slots=True)
class PrintSettings:
    """What is set in the machine now."""

    line_width_mm: float | None = None
    layer_height_mm: float | None = None
    set_diameter_mm: float | None = None
    multiplier: float | None = None


@dataclass(frozen=True, slots=True)
class CouponSettings:
    """What was asked of the machine for a printed coupon, and what its reference spool showed."""

    wall_target_mm: float | None = None
    commanded_mm: float | None = None  # of filament fed, the multiplier in it
    commanded_volume_mm3: float | None = None  # of plastic asked for, without the multiplier
    machine: str | None = None
    reference_residual: float | None = None  # print over diameter, of the reference spool
    reference_u: float | None = None  # its standard uncertainty, as a share
    reference_route: str | None = None  # wall or mass
    reference_tools: str | None = None  # same or other than those of this lot
    reference: str | None = None  # LOT/SPOOL of the ledger whose coupon is the reference


@dataclass(frozen=True, slots=True)
class KeptResidual:
    """Print over diameter of a past coupon by one route, as its document keeps it."""

    route: str  # wall or mass
    residual: float
    u: float  # standard uncertainty of what differs from coupon to coupon, as a share
    u_tools: float  # of what is the same for all coupons read with the same tools
    lo: float  # of the 95 % interval of both together
    hi: float


@dataclass(frozen=True, slots=True)
class CouponReference:
    """A coupon in the ledger that the coupons of a lot are compared with."""

    supplier: str | None
    lot: str
    spool: str
    day: date  # of that lot: received, else first inspected
    machine: str | None
    verdict: str | None  # of that spool
    standing: str | None
    residuals: tuple[KeptResidual, ...]  # one a route
    is_named: bool = False  # by the lot sheet; else it is the newest of the machine
    passed_over: tuple[str, ...] = ()  # newer ones that disagreed with their own reference


@dataclass(frozen=True, slots=True)
class Reel:
    """What the filament is wound on.  ``kind`` is the buyer's own word for reels that are alike."""

    kind: str | None = None
    material: str | None = None  # plastic, cardboard, metal or none, lower case


@dataclass(frozen=True, slots=True)
class LogEntry:
    """What a [[trace]] block of the lot sheet says of one in-line log, as typed."""

    file: str | None = None
    spool: str | None = None
    length_column: str | None = None
    time_column: str | None = None
    diameter_columns: tuple[str, ...] = ()
    axis_angles_deg: tuple[float, ...] = ()
    unit: str | None = None
    length_unit: str | None = None
    step_mm: float | None = None
    length_scale: float | None = None
    speed_mm_s: float | None = None
    line: int | None = None  # of the block, to tell what is wrong with it


@dataclass(frozen=True, slots=True)
class LotSheet:
    """Who sold what, when; ``price`` is that of one spool."""

    supplier: str | None = None
    product: str | None = None
    material: str | None = None
    colour: str | None = None
    lot: str | None = None
    ordered: date | None = None
    received: date | None = None
    spools_received: int | None = None
    drawn: tuple[str, ...] | None = None  # names of the spools that the plan drew
    claim_days: int | None = None
    price: float | None = None
    currency: str | None = None
    label: Label = Label()
    instruments: tuple[Instrument, ...] = ()
    print_settings: PrintSettings = PrintSettings()
    reel: Reel = Reel()
    coupon: CouponSettings = CouponSettings()
    logs: tuple[LogEntry, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """All diameter readings of a lot, one array element a reading, as read (nothing corrected).

    Sorted by spool, then by place in the order typed.  ``place`` numbers the places 0, 1, 2 ...
    through the whole table, so each place belongs to exactly one spool.
    """

    spools: tuple[str, ...]  # names in order of first appearance
    spool: IntArray  # index into spools
    place: IntArray
    position_m: FloatArray  # NaN where not given
    direction_deg: FloatArray  # NaN where not given
    diameter_mm: FloatArray
    trial: IntArray  # 1, 2, ... repeated readings of the same place and direction
    operators: tuple[str, ...]  # empty if no operator column
    operator: IntArray  # index into operators, -1 where not given
    file: str
    line: IntArray

    def __len__(self) -> int:
        return len(self.diameter_mm)


@dataclass(frozen=True, slots=True, eq=False)
class TraceChunk:
    """Consecutive rows of an in-line log."""

    length_m: FloatArray  # (n,) metres from the start, never decreasing within a section
    diameter_mm: FloatArray  # (n, a) one column an axis, finite
    first_row: int  # number of the first used row in the whole trace, from 0
    new_section: bool = False  # the log restarted or had a gap before: neighbours do not touch

    def __len__(self) -> int:
        return len(self.length_m)


class LogRows(Protocol):
    """The rows of an in-line log as a stream; each iteration reads them anew.

    What it tells of its rows and problems is complete when an iteration has come to its end.
    """

    @property
    def angles_deg(self) -> tuple[float, ...]:
        """Direction of each axis."""

    @property
    def length_source(self) -> str:
        """Where the metres come from, in words."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is odd in the rows read so far."""

    @property
    def rows(self) -> tuple[int, int, int]:
        """Rows read, used and reported so far."""

    def __iter__(self) -> Iterator[TraceChunk]:
        """The rows as chunks; raises UnusableInput where none can be used."""


@dataclass(frozen=True, slots=True, eq=False)
class SpoolTrace:
    """The in-line log of one spool; its rows pass by and are never held."""

    spool: str
    file: str  # as it stands in messages
    kept_as: str  # name of the SourceFile that stands for it
    log: LogRows


@dataclass(frozen=True, slots=True)
class WeighIn:
    """One weighing."""

    spool: str
    kind: WeighInKind
    mass_g: float
    length_m: float | None = None
    hours: float | None = None
    temperature_c: float | None = None
    scale_step_g: float | None = None
    note: str | None = None
    file: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Finding:
    """Something seen or felt."""

    spool: str
    finding: str
    grade: FindingClass
    count: int = 1
    position_m: float | None = None
    note: str | None = None
    file: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class PinCheck:
    """One reading of a reference pin of known size, before or after the session."""

    instrument: str
    when: Literal["before", "after"]
    reference_mm: float
    reading_mm: float
    file: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class MassCheck:
    """One weighing of a known mass on the scale of the bench."""

    instrument: str
    when: Literal["before", "after"]
    reference_g: float
    reading_g: float
    file: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class WallReading:
    """Thickness of the single wall of a printed coupon, at one place of one of its four sides."""

    spool: str
    side: str  # 1 to 4
    wall_mm: float
    instrument: str | None = None
    file: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file exactly as it came.  Always rows_read == rows_used + rows_reported."""

    name: str
    content: bytes = field(repr=False)
    sha256: str
    rows_read: int = 0
    rows_used: int = 0
    rows_reported: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class LotInput:
    """Everything that was given about one lot."""

    sheet: LotSheet
    readings: Readings
    weigh_ins: tuple[WeighIn, ...]
    findings: tuple[Finding, ...]
    pin_checks: tuple[PinCheck, ...]
    problems: tuple[Problem, ...]
    files: tuple[SourceFile, ...]
    mass_checks: tuple[MassCheck, ...] = ()
    wall_readings: tuple[WallReading, ...] = ()
    traces: tuple[SpoolTrace, ...] = ()  # one a spool
