"""Numbers as a person reads them.  A printed value and a printed limit never look alike unless
they are: digits are added until the two differ.
"""

from math import isfinite


def number(value: float, digits: int) -> str:
    """``value`` with ``digits`` decimals, without a minus sign before zero; 'unknown' if it is.

    >>> number(-0.0001, 3)
    '0.000'
    """
    if not isfinite(value):
        return "unknown"
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text


def against(value: float, limit: float, digits: int) -> tuple[str, str]:
    """Value and limit with as many decimals as it takes to tell them apart (at most 9).

    A limit that is no round number gets as many as the value, or it could look passed.

    >>> against(1.3296, 1.33, 2)
    ('1.3296', '1.33')
    >>> against(0.01252, 0.05 / 3.99, 4)
    ('0.01252', '0.01253')
    """
    short = number(limit, digits)
    while digits < 9 and number(value, digits) == number(limit, digits) and value != limit:
        digits += 1
    is_round = isfinite(limit) and float(short) == limit
    return number(value, digits), short if is_round else number(limit, digits)


def interval(lo: float, hi: float, digits: int) -> str:
    """'95 % lo to hi', with an open end in words.

    >>> interval(1.7, float("inf"), 2)
    '95 % from 1.70 up'
    """
    if isfinite(lo) and isfinite(hi):
        return f"95 % {number(lo, digits)} to {number(hi, digits)}"
    if isfinite(lo):
        return f"95 % from {number(lo, digits)} up"
    if isfinite(hi):
        return f"95 % up to {number(hi, digits)}"
    return "interval unknown"


def counted(n: int, noun: str) -> str:
    """'1 place', '20 places'."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def probability(p: float) -> str:
    """A p value; a small one is 'below', never zero.

    >>> probability(0.25), probability(0.00001)
    ('0.250', 'below 0.001')
    """
    return "below 0.001" if p < 0.001 else number(p, 3)
