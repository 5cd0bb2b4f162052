"""Numbers as text for people.

The number of digits follows the quantity and never the wish of a template.  Rounding may not
carry a value across its limit: where the rounded value would read the same as the limit and the
two differ, digits are added until they read differently.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from lotqa.report.words import WORDS

MINUS: Final = "\u2212"
MAX_DIGITS: Final = 17  # a double of the sizes met here has no more digits that mean something

SHORT_LIMIT_DIGITS: Final = 5  # a limit with more digits was worked out, not typed by a person

# Digits after the point.  A calliper steps by 0.01 mm and the mean of twenty places is known to a
# few thousandths, so means get three digits and standard deviations four.
DIGITS: Final[dict[str, int]] = {
    "mm": 3,
    "sd_mm": 4,
    "offset_mm": 4,
    "m": 2,
    "g": 1,
    "pct": 1,
    "index": 2,
    "multiplier": 3,
    "p": 3,
    "ml": 0,
    "density": 3,
    "price": 2,
    "fraction_pct": 2,
}
UNIT_DIGITS: Final[dict[str, int]] = {"mm": 3, "g": 1, "%": 1, "m": 2, "": 2}
SMALL_MM: Final = 0.1  # below this a length is a spread or an ovality and gets a fourth digit


def is_known(value: float | None) -> bool:
    """Whether ``value`` is a finite number."""
    return value is not None and math.isfinite(value)


def shown(value: float | None, digits: int, *, sign: bool = False) -> str:
    """``value`` with ``digits`` after the point; a dash where it is not known.

    >>> shown(1.7496, 3), shown(-0.04, 1), shown(None, 2), shown(0.5, 1, sign=True)
    ('1.750', '0.0', '–', '+0.5')
    """
    if value is None or not math.isfinite(value):
        return WORDS.dash
    text = f"{value:.{digits}f}"
    is_zero = not any(c in "123456789" for c in text)
    if is_zero:
        return text.lstrip("-")
    if text.startswith("-"):
        return MINUS + text[1:]
    return f"+{text}" if sign else text


def interval(pair: Sequence[float | None] | None, digits: int, *, sign: bool = False) -> str:
    r"""A 95 % interval in words; an end that is not known or infinite has no number.

    >>> interval((1.7421, 1.7563), 3), interval((None, 0.0131), 4), interval(None, 3)
    ('1.742 to\xa01.756', 'at most 0.0131', '–')
    """
    if pair is None:
        return WORDS.dash
    lo, hi = (v if is_known(v) else None for v in pair)
    if lo is None and hi is None:
        return WORDS.dash
    if lo is None:
        return WORDS.at_most.format(value=shown(hi, digits, sign=sign))
    if hi is None:
        return WORDS.at_least.format(value=shown(lo, digits, sign=sign))
    return WORDS.lo_to_hi.format(lo=shown(lo, digits, sign=sign), hi=shown(hi, digits, sign=sign))


def as_typed(value: float | None) -> str:
    """A limit as a person would type it: no digits that say nothing.

    >>> as_typed(0.05), as_typed(1000.0), as_typed(-15.0)
    ('0.05', '1000', '−15')
    """
    if value is None or not math.isfinite(value):
        return WORDS.dash
    text = np.format_float_positional(value, trim="-")
    return text.replace("-", MINUS)


def beside_limit(value: float | None, limit: float | None, digits: int) -> tuple[str, str]:
    """Texts of a value and of the limit beside it that read the same only if they are the same.

    A limit of few digits stands as typed.  One with many, such as a third of a tolerance, is
    rounded as the value is.  Both get at least the digits of the limit, so the printed order of
    the two is the true order.

    >>> beside_limit(1.3299, 1.33, 2), beside_limit(1.33, 1.33, 2)
    (('1.3299', '1.33'), ('1.33', '1.33'))
    """
    if value is None or limit is None or not (math.isfinite(value) and math.isfinite(limit)):
        return shown(value, digits), as_typed(limit)
    typed = as_typed(limit)
    typed_digits = len(typed.partition(".")[2])
    is_short = typed_digits <= SHORT_LIMIT_DIGITS
    for n_digits in range(max(digits, typed_digits if is_short else 0), MAX_DIGITS + 1):
        text = shown(value, n_digits)
        limit_text = typed if is_short else shown(limit, n_digits)
        if value == limit or _number(text) != _number(limit_text):
            return text, limit_text
    return as_typed(value), typed


def digits_for(value: float | None, unit: str) -> int:
    """Digits after the point for a value of a reason, by its unit and size."""
    if unit == "mm" and value is not None and abs(value) < SMALL_MM:
        return DIGITS["sd_mm"]
    return UNIT_DIGITS.get(unit, 2)


def percent(fraction: float | None, digits: int) -> str:
    """A fraction as a percentage without its sign; never '0' or '100' unless it is so.

    >>> percent(0.0, 2), percent(0.00001, 2), percent(0.99999, 2)
    ('0.00', '< 0.01', '> 99.99')
    """
    if fraction is None or not math.isfinite(fraction):
        return WORDS.dash
    step = 10.0**-digits
    if 0 < fraction * 100 < step / 2:
        return f"< {step:.{digits}f}"
    if 100 - step / 2 < fraction * 100 < 100:
        return f"> {100 - step:.{digits}f}"
    return shown(fraction * 100, digits)


def p_value(p: float | None) -> str:
    """A probability of a test.

    >>> p_value(0.0421), p_value(0.00002)
    ('0.042', '< 0.001')
    """
    if p is not None and 0 <= p < 0.0005:
        return "< 0.001"
    return shown(p, DIGITS["p"])


def joined(unit: str, text: str) -> str:
    """A text of a number with its unit; no unit after a dash."""
    return text if text == WORDS.dash or not unit else f"{text}\u00a0{unit}"


def _number(text: str) -> float:
    return float(text.replace(MINUS, "-"))
