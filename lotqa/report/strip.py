"""What a plot of one spool needs to know: the places along the filament, as arrays."""

from dataclasses import dataclass

from lotqa.model import FloatArray


@dataclass(frozen=True, slots=True)
class CardsLink:
    """Where the tuning cards of a lot lie, beside its page."""

    href: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """The places of one spool, already corrected for the offset of the instrument.

    Arrays have one element a place, or a stretch of the log where ``from_log``.  ``position_m`` is
    always finite: it counts the places 1, 2, 3 ... where the positions were not given, and
    ``position_known`` is then False.
    ``mean_ci95_mm`` may hold NaN or infinity where the interval has no end.
    """

    spool: str
    position_m: FloatArray
    position_known: bool
    low_mm: FloatArray  # smallest direction of each place
    high_mm: FloatArray  # largest direction of each place
    mean_mm: FloatArray
    verdict: str
    standing: str
    mean_ci95_mm: tuple[float, float]
    from_log: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SupplierLot:
    """One lot on the page of its supplier.  None means 'not known'."""

    lot: str
    received: str | None  # ISO date
    product: str | None
    material: str | None
    verdict: str
    standing: str
    mean_mm: float | None
    mean_ci95_mm: tuple[float | None, float | None]
    sd_mm: float | None
    sd_ci95_mm: tuple[float | None, float | None]
    net_shortfall_g: float | None  # label minus net: positive when filament is missing
    price_per_litre: float | None
    currency: str | None
    nominal_mm: float | None
    tolerance_mm: float | None
    strips: tuple[Strip, ...]
    sd_limit_mm: float | None = None  # the limit of spread that was applied to this lot
