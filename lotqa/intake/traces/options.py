"""What a person may say about a log that the log does not say itself, and the limits of reading.

The limits are data with their reasons; none of them corrects a value, they only decide what is
told and left out.
"""

import math
from dataclasses import dataclass
from types import MappingProxyType

from lotqa.errors import UnusableInput
from lotqa.intake.names import one_of
from lotqa.intake.slips import HIGHEST_MM, LOWEST_MM, MAX_OFF_NOMINAL, MM_PER_INCH

LENGTH_UNITS = MappingProxyType(
    {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": MM_PER_INCH / 1000.0, "ft": 12 * MM_PER_INCH / 1000.0}
)
TIME_UNITS = MappingProxyType({"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0})
DIAMETER_UNITS = MappingProxyType({"mm": 1.0, "in": MM_PER_INCH, "um": 1e-3})
MAX_AXES = 3  # gauges of one to three axes are sold (common practice, no source)
FIRMWARE_STEP_MM = 10.0  # printer firmware writes a width every 10 mm by default


@dataclass(frozen=True, slots=True)
class TraceLimits:
    """When a row is taken for a slip, a gap, a restart or a sensor that sticks."""

    lowest_mm: float = LOWEST_MM
    highest_mm: float = HIGHEST_MM
    max_off_nominal: float = MAX_OFF_NOMINAL  # only where the nominal diameter is given
    # A line changes its speed severalfold between start and run; ten times the longest usual step
    # (95 % of the steps are shorter) is beyond that.
    gap_steps: float = 10.0
    # A log that falls back by more than two long steps to where it began has started anew; an
    # encoder that trembles or a printer that draws back does not fall below the beginning.
    restart_steps: float = 2.0
    slip_rows: int = 3  # a garbled length lasts a row or two, then the log goes on where it was
    # The same value for twenty times as long as 99 % of the usual runs is no filament; fewer than
    # 50 rows are never called stuck, since a steady filament on a coarse display stands that long.
    stuck_times_usual: float = 20.0
    stuck_rows_least: int = 50
    # On a display of 0.01 mm a filament of 0.002 mm spread in the middle of a digit never leaves it
    # for metres.
    coarse_display_mm: float = 0.01
    stuck_rows_least_coarse: int = 1000
    stuck_rows_most: int = 50_000  # rows held back until it is known whether the sensor sticks
    # As metres, a longer usual step than this sees no lump at all: the unit is asked for.
    longest_step_m: float = 0.5


@dataclass(frozen=True, slots=True)
class TraceOptions:
    """Own column names (or numbers from 1), units, and the length of a row where it is wrong."""

    length_column: str | None = None
    time_column: str | None = None
    diameter_columns: tuple[str, ...] = ()  # one to three
    axis_angles_deg: tuple[float, ...] = ()  # one a diameter column
    unit: str | None = None  # of the diameters, overrides the header
    length_unit: str | None = None  # overrides the header
    step_mm: float | None = None  # filament a row; overrides any length column
    length_scale: float = 1.0  # true length over logged length
    speed_mm_s: float | None = None  # turns a time column into length
    nominal_mm: float | None = None
    limits: TraceLimits = TraceLimits()

    def check(self) -> None:
        """Refuse options that contradict each other.

        :raises UnusableInput: with what to give instead.
        """
        for flag, value in (
            ("--step-mm", self.step_mm),
            ("--speed-mm-s", self.speed_mm_s),
            ("--length-scale", self.length_scale),
            ("--nominal", self.nominal_mm),
        ):
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise UnusableInput(f"{flag} is {value:g}: give a number above 0")
        for flag, unit, known in (
            ("--unit", self.unit, DIAMETER_UNITS),
            ("--length-unit", self.length_unit, LENGTH_UNITS),
        ):
            if unit is not None and unit not in known:
                raise UnusableInput(f'{flag} is "{unit}": give {one_of(list(known))}')
        if len(self.diameter_columns) > MAX_AXES:
            n = len(self.diameter_columns)
            raise UnusableInput(f"{n} diameter columns are named: name one to {MAX_AXES}")
        if self.length_column is not None and self.time_column is not None:
            raise UnusableInput("a length column and a time column are named: name one of them")
