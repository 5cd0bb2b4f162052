"""A number as a person or a calliper types it.

Read are ``1.75``, ``1,75``, ``+001.75``, `` 1.75 ``, ``1,75 mm`` and ``0.0689 in``.  Not read, and
never guessed, are thousands marks (``1,234.5``), stray signs (``1.75-``), words and ``nan``.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from lotqa.intake.names import normal_unit, one_of

OTHER_UNITS = ("m", "cm", "mm", "um", "in", "ft", "g", "kg", "mg", "oz", "lb", "h", "min", "c", "f")
_PLAIN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_TYPED = re.compile(
    r"(?P<number>[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)"
    r"\s*(?P<unit>[A-Za-z°\"″%][A-Za-z°]*)?"
)
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}([.,' \u00a0\u202f][0-9]{3})+([.,][0-9]+)?\s*[A-Za-z]*")
_STRAY_SIGN = re.compile(r"[+-]{2,}[0-9.,]+|[0-9.,]+[+-]+|[+-]\s+[0-9.,]+")


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Why a typed text is no number: ``advice`` says what to write instead."""

    advice: str


def read_number(
    text: str,
    *,
    example: str,
    units: Mapping[str, float] | None = None,
    default: float = 1.0,
) -> float | Unreadable:
    """The value of a typed number; a unit typed with it is applied, else the factor ``default``.

    >>> read_number("1,75 mm", example="1.75", units={"mm": 1.0, "in": 25.4})
    1.75
    >>> read_number("1,7S", example="1.75").advice
    'write a number such as 1.75'
    """
    text = text.strip()
    if _PLAIN.fullmatch(text):
        value = float(text) * default
    else:
        found = _TYPED.fullmatch(text)
        if found is None:
            return Unreadable(_advice(text, example))
        factor = default
        if found["unit"]:
            factor_of_unit = (units or {}).get(normal_unit(found["unit"]))
            if factor_of_unit is None:
                return Unreadable(_unit_advice(found["unit"], units, example))
            factor = factor_of_unit
        value = float(found["number"].replace(",", ".")) * factor
    if not math.isfinite(value):
        return Unreadable(f"write a number such as {example}")
    return value


def _unit_advice(unit: str, units: Mapping[str, float] | None, example: str) -> str:
    if not units or normal_unit(unit) not in OTHER_UNITS:
        return f"write a number such as {example}"
    return f'the unit "{unit}" is not read here: write {one_of(list(units))}, or no unit'


def _advice(text: str, example: str) -> str:
    if _STRAY_SIGN.fullmatch(text):
        return f"take the stray sign away, write a number such as {example}"
    if _THOUSANDS.fullmatch(text):
        return "write it without marks between the thousands and with a point, such as 1234.5"
    return f"write a number such as {example}"
