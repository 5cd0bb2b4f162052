"""Figures and words as a terminal shows them."""

import re
import sys
from typing import Final

# Verdicts are told by word and sign, so that nothing hangs on colour.
SIGNS: Final = {"accept": "●", "tune": "◐", "reject": "⊠"}
UNKNOWN: Final = "–"

# What stands for a sign where the terminal has no better.
_PLAIN: Final = str.maketrans(
    {
        "●": "o",
        "◐": "~",
        "⊠": "x",
        "–": "-",
        "…": "...",
        "·": "|",
        "±": "+/-",
        "≤": "<=",
        "≥": ">=",
        "µ": "u",
        "²": "2",
        "³": "3",
        "°": " deg",
        "─": "-",
    }
)
# Control characters and marks that turn the direction of writing: a name in a file may hold them,
# and a terminal would obey.
_CONTROL: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def is_plain() -> bool:
    """Whether standard output can show letters and signs of the language of computers only."""
    return not str(getattr(sys.stdout, "encoding", None) or "").lower().startswith("utf")


def clean(text: str) -> str:
    """``text`` without anything that a terminal would take for a command; line ends stay."""
    return _CONTROL.sub("\ufffd", text.replace("\t", " "))


def shown(text: str) -> str:
    """``text`` for standard output: clean, and in signs that the terminal has."""
    text = clean(text)
    return text.translate(_PLAIN) if is_plain() else text


def told(verdict: str, standing: str | None = None) -> str:
    """The verdict behind its sign, with '?' if provisional.

    >>> told("accept", "provisional")
    '● accept?'
    """
    return f"{SIGNS[verdict]} {verdict}" + ("?" if standing == "provisional" else "")


def digits(value: float | None, n: int, sign_always: bool = False) -> str:
    """A number for a table; a dash where it is not known.

    >>> digits(-0.04, 1), digits(0.26, 1, sign_always=True), digits(None, 1)
    ('0.0', '+0.3', '–')
    """
    if value is None:
        return UNKNOWN
    text = f"{value:+.{n}f}" if sign_always else f"{value:.{n}f}"
    return text.lstrip("+-") if float(text) == 0 else text


def plus_minus(value: float | None, half: float | None, n: int) -> str:
    """A number and its half interval.

    >>> plus_minus(1.7521, 0.0041, 3)
    '1.752 ± 0.004'
    """
    if value is None:
        return UNKNOWN
    return digits(value, n) if half is None else f"{value:.{n}f} ± {half:.{n}f}"


def counted(n: int, noun: str) -> str:
    """A count with its noun.

    >>> counted(1, "lot"), counted(3, "lot")
    ('1 lot', '3 lots')
    """
    return f"{n} {noun}" + ("" if n == 1 else "s")


def joined(*parts: object) -> str:
    """What is known of the parts, with blanks between; a dash if nothing is."""
    return " ".join(str(p) for p in parts if p) or UNKNOWN
