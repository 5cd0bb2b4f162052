"""What a diameter that cannot be right was probably meant to be.  A suggestion, never a correction.

Known slips of the bench: the decimal point moved (17.5, 0.175), a digit typed twice (11.75), the
calliper switched to inches (0.0689), millimetres under an inch header, and another stock size.
Diameters here are in mm; the value as typed stays text.
"""

from collections.abc import Sequence

MM_PER_INCH = 25.4  # exact, by definition of the inch
STOCK_MM = (1.75, 2.85)  # the two nominal diameters that filament is sold in
LOWEST_MM = 0.5  # below it nothing feeds, and a diameter in inches begins
HIGHEST_MM = 5.0  # above it no filament is sold
MAX_OFF_NOMINAL = 0.35  # half the way from 1.75 to 2.85 in ratio is 27 %; lumps stay inside 35 %
NEAR_STOCK = 0.12  # how near a suggestion must come: 1.75 takes 1.54 to 1.96


def is_near(value_mm: float, stock_mm: Sequence[float]) -> bool:
    """Whether a diameter is close to one of the stock sizes."""
    return any(abs(value_mm / nominal - 1.0) <= NEAR_STOCK for nominal in stock_mm)


def moved_point(value_mm: float, stock_mm: Sequence[float]) -> float | None:
    """The value with its decimal point moved so that it comes near a stock size."""
    for factor in (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0):
        if is_near(value_mm * factor, stock_mm):
            return value_mm * factor
    return None


def doubled_digit(typed: str, stock_mm: Sequence[float]) -> str | None:
    """The typed text with one doubled character taken out, if that comes near a stock size."""
    for index in range(len(typed) - 1):
        if typed[index] == typed[index + 1]:
            shorter = typed[:index] + typed[index + 1 :]
            try:
                value_mm = float(shorter.replace(",", "."))
            except ValueError:
                continue
            if is_near(value_mm, stock_mm):
                return shorter
    return None


def range_message(
    header: str, typed: str, value_mm: float, *, in_inches: bool, stock_mm: Sequence[float]
) -> str:
    """What to say of a diameter outside the plausible range."""
    in_mm = f", that is {value_mm:.4g} mm" if in_inches else ""
    what = f"{header} is {typed}{in_mm}, outside {LOWEST_MM:g} to {HIGHEST_MM:g} mm"
    if value_mm <= 0.0:
        return f"{what}: a zero or a sign typed by the calliper? Read the place again"
    if in_inches:
        if is_near(value_mm / MM_PER_INCH, stock_mm):
            return f'{what}: millimetres? Write "{value_mm / MM_PER_INCH:.4g} mm"'
        moved_mm = moved_point(value_mm, stock_mm)
        if moved_mm is not None:
            return f"{what}: a slip for {moved_mm / MM_PER_INCH:.4g}?"
        return f"{what}: read the place again"
    if is_near(value_mm * MM_PER_INCH, stock_mm):
        inches_mm = value_mm * MM_PER_INCH
        return (
            f"{what}: inches? {typed} in is {inches_mm:.2f} mm: give --unit in, or write the unit"
        )
    moved_mm = moved_point(value_mm, stock_mm)
    if moved_mm is not None:
        return f"{what}: a slip for {moved_mm:.4g}?"
    shorter = doubled_digit(typed, stock_mm)
    if shorter is not None:
        return f"{what}: a digit typed twice, a slip for {shorter}?"
    return f"{what}: read the place again"


def off_nominal_message(header: str, typed: str, nominal_mm: float) -> str:
    """What to say of a diameter that is plausible, but not for this stock."""
    return (
        f"{header} is {typed}, more than {100 * MAX_OFF_NOMINAL:g} % off the nominal "
        f"{nominal_mm:g} mm: another stock size or another spool?"
    )


def other_stock_message(spool: str, stock_mm: float, nominal_mm: float) -> str:
    """What to say of the readings of a spool that is of another stock size than the lot."""
    return (
        f'spool "{spool}" reads about {stock_mm:g} mm and the lot is {nominal_mm:g} mm: '
        "inspect it as a lot of its own"
    )
