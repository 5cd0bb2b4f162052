"""What each entry of a lot sheet may be: its type, and the range in which it makes sense."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Literal

from lotqa.intake.names import did_you_mean, one_of
from lotqa.intake.numbers import Unreadable, read_number
from lotqa.intake.slips import (
    HIGHEST_MM,
    LOWEST_MM,
    MM_PER_INCH,
    STOCK_MM,
    is_near,
    moved_point,
)
from lotqa.model import Problem


@dataclass(frozen=True, slots=True)
class SheetField:
    """One key; ``lowest`` itself is allowed only if ``with_lowest``."""

    key: str
    kind: Literal["text", "number", "count", "date", "texts", "numbers"]
    example: str
    lowest: float = 0.0
    highest: float = float("inf")
    with_lowest: bool = False
    choices: tuple[str, ...] = ()


def _fields(*fields: SheetField) -> Mapping[str, SheetField]:
    return MappingProxyType({field.key: field for field in fields})


COUPON_ROUTES = ("wall", "mass")
COUPON_TOOLS = ("same", "other")  # as those that the coupon of the reference spool was read with
DIAMETER_UNITS = ("mm", "in", "um")
LENGTH_UNITS = ("m", "cm", "mm", "in", "ft")
REEL_MATERIALS = ("plastic", "cardboard", "metal", "none")
SECTIONS: Mapping[str, Mapping[str, SheetField]] = MappingProxyType(
    {
        "lot": _fields(
            SheetField("supplier", "text", '"Kranich Filament"'),
            SheetField("product", "text", '"PLA plain"'),
            SheetField("material", "text", '"PLA"'),
            SheetField("colour", "text", '"grey"'),
            SheetField("lot", "text", '"007"'),
            SheetField("ordered", "date", "2026-02-20"),
            SheetField("received", "date", "2026-03-01"),
            SheetField("spools_received", "count", "12", 1, 100_000, True),
            SheetField("drawn", "texts", '["2", "5", "9"]'),
            SheetField("claim_days", "count", "14", 0, 3650, True),
            SheetField("price", "number", "19.90", 0.0, 1e6, True),
            SheetField("currency", "text", '"EUR"'),
        ),
        "label": _fields(
            SheetField("nominal_mm", "number", "1.75", LOWEST_MM, HIGHEST_MM, True),
            SheetField("tolerance_mm", "number", "0.05", 0.0, 0.5),  # wider is no tolerance
            SheetField("net_g", "number", "1000", 5.0, 50_000.0, True),  # sample coil to drum
            SheetField("ovality_mm", "number", "0.05", 0.0, 0.5),
        ),
        "instrument": _fields(
            SheetField("kind", "text", '"calliper"'),
            SheetField("name", "text", '"bench calliper"'),
            # From 0.1 um gauges to 0.1 mm dial callipers; scales from 0.1 mg to 10 g.
            SheetField("resolution_mm", "number", "0.01", 0.0, 0.2, False),
            SheetField("limit_of_error_mm", "number", "0.02", 0.0, 0.5, True),
            SheetField("repeatability_sd_mm", "number", "0.008", 0.0, 0.5, True),
            SheetField("resolution_g", "number", "1", 0.0, 100.0, False),
            SheetField("limit_of_error_g", "number", "2", 0.0, 500.0, True),
            SheetField("repeatability_sd_g", "number", "0.5", 0.0, 500.0, True),
        ),
        "print": _fields(
            SheetField("line_width_mm", "number", "0.45", 0.05, 5.0, True),
            SheetField("layer_height_mm", "number", "0.2", 0.01, 5.0, True),
            SheetField("set_diameter_mm", "number", "1.75", LOWEST_MM, HIGHEST_MM, True),
            SheetField("multiplier", "number", "1.0", 0.2, 5.0, True),
        ),
        "reel": _fields(
            SheetField("kind", "text", '"grey ring 1 kg"'),
            SheetField("material", "text", '"plastic"', choices=REEL_MATERIALS),
        ),
        "coupon": _fields(
            SheetField("wall_target_mm", "number", "0.45", 0.1, 3.0, True),
            # From a coupon that is too light to weigh to one that eats a spool.
            SheetField("commanded_mm", "number", "6500", 50.0, 500_000.0, True),
            SheetField("commanded_volume_mm3", "number", "15600", 100.0, 2_000_000.0, True),
            SheetField("machine", "text", '"bench 2"'),
            SheetField("reference_residual", "number", "0.97", 0.5, 2.0, True),
            SheetField("reference_u", "number", "0.005", 0.0, 0.2, True),
            SheetField("reference_route", "text", '"mass"', choices=COUPON_ROUTES),
            SheetField("reference_tools", "text", '"same"', choices=COUPON_TOOLS),
            SheetField("reference", "text", '"K-0412/3"'),
        ),
        "trace": _fields(
            SheetField("file", "text", '"line3.csv"'),
            SheetField("spool", "text", '"007"'),
            SheetField("length_column", "text", '"metres"'),
            SheetField("time_column", "text", '"t"'),
            SheetField("diameter_columns", "texts", '["dx", "dy"]'),
            SheetField("axis_angles_deg", "numbers", "[0, 90]", -360.0, 360.0, True),
            SheetField("unit", "text", '"in"', choices=DIAMETER_UNITS),
            SheetField("length_unit", "text", '"mm"', choices=LENGTH_UNITS),
            # The same ranges as those of the options of lotqa trace.
            SheetField("step_mm", "number", "10", 1e-4, 1e4, True),
            SheetField("length_scale", "number", "2.53", 1e-3, 1e3, True),
            SheetField("speed_mm_s", "number", "500", 1e-3, 1e5, True),
        ),
    }
)
INSTRUMENT_FIELDS = tuple(SECTIONS["instrument"])
DIAMETERS = ("nominal_mm", "set_diameter_mm")
LARGEST_PART = 0.2  # a tolerance beyond this part of the diameter is a slip
UNUSUAL_NOMINAL = 0.08  # 3.00 for 2.85 stock passes, 1.57 for 1.75 is asked about


@dataclass(frozen=True, slots=True)
class Entry:
    """One key as it was found."""

    section: str
    number: int  # of the section, where it may come more than once
    key: str
    value: Any
    line: int | None
    in_cell: bool = False  # from a workbook: numbers may be typed as text


@dataclass(slots=True)
class SheetValues:
    """The values of one section while they are read."""

    file: str
    value: dict[str, Any] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    entries: dict[str, Entry] = field(default_factory=dict)

    def take(self, known: SheetField, entry: Entry) -> None:
        """Keep the entry's value if it is of the right type and makes sense."""
        if entry.key in self.entries:
            self._report(entry, "is given a second time: the first one is used")
            return
        self.entries[entry.key] = entry
        if known.kind in ("texts", "numbers"):
            self._take_all(known, entry)
            return
        read = {"text": self._text, "date": self._date}.get(known.kind, self._number)
        value = read(known, entry)
        if known.choices and value is not None:
            value = self._choice(known, entry, str(value))
        if value is not None:
            self.value[entry.key] = value

    def _take_all(self, known: SheetField, entry: Entry) -> None:
        """A list of texts or numbers, or one alone; in a cell they stand between semicolons."""
        given = entry.value
        if entry.in_cell and isinstance(given, str):
            given = [part.strip() for part in given.split(";") if part.strip()]
        read = self._text if known.kind == "texts" else self._number
        items = given if isinstance(given, list) else [given]
        found = [read(known, replace(entry, value=item)) for item in items]
        if items and all(item is not None for item in found):
            self.value[entry.key] = tuple(found)

    def _report(self, entry: Entry, message: str) -> None:
        typed = str(entry.value)
        self.problems.append(
            Problem(self.file, entry.line, entry.key, typed, f"{entry.key} {message}")
        )

    def _text(self, known: SheetField, entry: Entry) -> str | None:
        value = entry.value
        if isinstance(value, str):
            return value.strip() or None
        if isinstance(value, int) and not isinstance(value, bool):
            if not entry.in_cell:
                self._report(
                    entry, f'is the number {value}: put it in quotes, "{value}", so it stays text'
                )
            return str(value)
        if entry.in_cell and isinstance(value, float):
            return f"{value:.15g}"
        self._report(entry, f"is {value}: write a text in quotes, such as {known.example}")
        return None

    def _choice(self, known: SheetField, entry: Entry, value: str) -> str | None:
        word = value.casefold()
        if word in known.choices:
            return word
        near = did_you_mean(value, known.choices)
        advice = f"did you mean {near}?" if near else f"write {one_of(known.choices)}"
        self._report(entry, f'is "{value}": {advice}')
        return None

    def _number(self, known: SheetField, entry: Entry) -> float | int | None:
        value = entry.value
        if isinstance(value, str):
            number = read_number(value, example=known.example)
            if isinstance(number, Unreadable):
                self._report(entry, f'is "{value}": {number.advice}')
                return None
            if not entry.in_cell:
                self._report(entry, f'is "{value}": write the number without quotes')
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            number = float(value)
        else:
            self._report(entry, f"is {value}: write a number such as {known.example}")
            return None
        if known.kind == "count" and number != int(number if abs(number) < 1e15 else 0):
            self._report(entry, f"is {value}: write a whole number such as {known.example}")
            return None
        if not self._in_range(known, entry, number):
            return None
        return int(number) if known.kind == "count" else number

    def _in_range(self, known: SheetField, entry: Entry, number: float) -> bool:
        above = number >= known.lowest if known.with_lowest else number > known.lowest
        if above and number <= known.highest:
            if known.key == "nominal_mm" and not _is_usual(number):
                self._report(
                    entry, f"is {entry.value}: stock is sold as 1.75 or 2.85 mm: is it so?"
                )
            return True
        self._report(entry, f"is {entry.value}{_range_advice(known, number)}")
        return False

    def _date(self, known: SheetField, entry: Entry) -> date | None:
        value = entry.value
        if isinstance(value, datetime):
            return value.date()
        if isinstance(value, date):
            return value
        if isinstance(value, str):
            try:
                return date.fromisoformat(value.strip())
            except ValueError:
                if len(value.strip()) == 10 and value.strip()[4:8:3] == "--":
                    self._report(
                        entry, f'is "{value}", a day that does not exist: correct the date'
                    )
                    return None
        self._report(entry, f'is "{value}": write year-month-day such as {known.example}')
        return None

    def check_tolerance(self) -> None:
        """The diameter typed into the tolerance is a slip that is met in the trade."""
        nominal_mm = self.value.get("nominal_mm")
        for key in ("tolerance_mm", "ovality_mm"):
            value = self.value.get(key)
            if value is None or nominal_mm is None or value < LARGEST_PART * nominal_mm:
                continue
            del self.value[key]
            entry = self.entries[key]
            self._report(
                entry,
                f"is {entry.value}, a fifth of the diameter or more: "
                "write the half width in mm, such as 0.05",
            )

    def check_dates(self) -> None:
        """Nothing arrives before it is ordered."""
        ordered, received = self.value.get("ordered"), self.value.get("received")
        if ordered is not None and received is not None and received < ordered:
            self._report(
                self.entries["received"],
                f"is {received}, before it was ordered on {ordered}: correct one of the dates",
            )


def _is_usual(nominal_mm: float) -> bool:
    return any(abs(nominal_mm / stock - 1.0) <= UNUSUAL_NOMINAL for stock in STOCK_MM)


def _range_advice(known: SheetField, number: float) -> str:
    if known.key in ("tolerance_mm", "ovality_mm") and is_near(number, STOCK_MM):
        name = known.key.removesuffix("_mm")
        half = "the half width" if name == "tolerance" else "the largest difference"
        return f", the diameter rather than the {name}: write {half} in mm, such as 0.05"
    if known.key == "net_g" and 0.0 < number < known.lowest:
        return f": kilograms? Write grams, such as {1000 * number:g}"
    what = f", outside {known.lowest:g} to {known.highest:.9g}"
    if known.key in DIAMETERS and number > 0.0:
        if is_near(number * MM_PER_INCH, STOCK_MM):
            return f"{what}: inches? Write millimetres, {number * MM_PER_INCH:.2f}"
        moved = moved_point(number, STOCK_MM)
        if moved is not None:
            return f"{what}: a slip for {moved:.4g}?"
    if known.key == "commanded_mm" and 0.0 < number < known.lowest:
        return f"{what}: metres? Write millimetres, such as {1000 * number:g}"
    if known.key == "commanded_volume_mm3" and 0.0 < number < known.lowest:
        return f"{what}: cm3? Write mm3, such as {1000 * number:g}"
    if known.key == "wall_target_mm" and known.highest < number <= 1000 * known.highest:
        return f"{what}: micrometres? Write millimetres, such as {number / 1000:g}"
    if known.highest == float("inf"):
        what = f", not above {known.lowest:g}"
    return f"{what}: write a number such as {known.example}"
