"""What the months need to know of one lot; independent of where it is kept.

Units stand at the end of a field's name.  ``None`` means 'not known'.  The three ``spool_``
tuples hold one element a spool, in the same order; NaN stands for a value that is not known.
"""

from dataclasses import dataclass
from datetime import date, datetime

from lotqa.evidence.money import Handling


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRecord:
    """One lot as one inspection saw it.

    Raises ValueError if the three ``spool_`` tuples differ in length.
    """

    supplier: str
    material: str
    lot: str
    inspected_at: datetime  # UTC
    product: str = ""
    colour: str = ""
    received: date | None = None
    verdict: str | None = None  # accept, tune or reject
    standing: str | None = None  # firm or provisional
    spools_received: int | None = None
    spools_inspected: int | None = None
    spools_accepted: int | None = None
    spools_tuned: int | None = None
    spools_rejected: int | None = None
    nominal_mm: float | None = None
    tolerance_mm: float | None = None  # half width
    mean_mm: float | None = None  # used only where spool_means_mm is empty
    # Standard uncertainty (k = 1) of the mean of ONE spool: sampling along the filament and
    # instrument together.  For several spools the root mean square of theirs.
    u_mean_mm: float | None = None
    between_spool_sd_mm: float | None = None
    within_spool_sd_mm: float | None = None  # the filament's own: gauge and rounding removed
    spool_means_mm: tuple[float, ...] = ()
    spool_sds_mm: tuple[float, ...] = ()  # plain s of the place means, nothing removed
    spool_places: tuple[float, ...] = ()
    ovality_mm: float | None = None
    net_g: float | None = None  # mean net mass of a spool
    label_net_g: float | None = None
    u_net_g: float | None = None  # standard uncertainty (k = 1) of net_g
    g_per_m: float | None = None  # mean of the weighed lengths
    u_g_per_m: float | None = None  # standard uncertainty (k = 1) of g_per_m
    n_cuts: int = 0  # spools of which a length was weighed
    price: float | None = None  # of one spool
    currency: str | None = None
    density_g_cm3: float | None = None
    handling: Handling | None = None  # refunds and time; None: the price alone
    instrument: str | None = None  # name of what the diameters were read with
    pin_checked: bool = False

    def __post_init__(self) -> None:
        n_means, n_sds, n_places = (
            len(v) for v in (self.spool_means_mm, self.spool_sds_mm, self.spool_places)
        )
        if not n_means == n_sds == n_places:
            raise ValueError(
                f'lot "{self.lot}" of {self.supplier}: {n_means} spool means, {n_sds} standard '
                f"deviations, {n_places} numbers of places: give one of each for each spool"
            )
