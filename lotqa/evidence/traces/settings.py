"""What a trace is judged against, and the sizes that its accumulators work with."""

from dataclasses import dataclass

BLOCK_ROWS = 65_536  # rows worked on at once: a column of them fits the cache


@dataclass(frozen=True, slots=True)
class TraceSettings:
    """Limits and sizes, all in millimetres and metres; limits are data of the caller."""

    nominal_mm: float
    tolerance_mm: float  # half width of the label
    set_diameter_mm: float
    thick_reject_mm: float  # a place as thick as this stops in the feed path
    thin_reject_mm: float  # a place as thin as this slips in the drive
    offset_mm: float = 0.0  # of the gauge, subtracted from every row
    u_offset_mm: float = 0.0  # standard uncertainty of it; no number of rows averages it out
    scatter_mm: float = 0.0  # of one row on one axis, where stated; taken out of the spread
    directions_deg: tuple[float, ...] | None = None  # of the axes; None: 90 or 60 degrees apart
    more_tolerances_mm: tuple[float, ...] = (0.02, 0.03, 0.05, 0.10)
    windows_m: tuple[float, ...] = (1.0, 10.0)
    least_bump_mm: float = 0.05  # lower lumps and shallower necks are not told
    least_splice_mm: float = 0.025  # smaller steps of the mean are not told
    # A lump of 5 mm meets two rows at this spacing; one row alone is then the sensor's.
    spike_spacing_m: float = 0.002
    implausible_mm: float = 0.7  # one row that far out is the sensor's at any spacing
    block_rows: int = BLOCK_ROWS
    events_max: int = 10_000  # kept in the list; all are counted
