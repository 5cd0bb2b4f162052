"""What the checks against published sources share: stored data, and the rule of printed digits.

A number printed with three decimals stands for everything within half a unit of the third
decimal.  Printed numbers are therefore kept as text, and compared by that rule and no other.
"""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

DATA = Path(__file__).parent / "data"


def load(name: str) -> dict[str, Any]:
    """Read one stored file; each carries its provenance under ``_provenance``."""
    content: dict[str, Any] = json.loads((DATA / name).read_text(encoding="utf-8"))
    assert content["_provenance"], f"{name} does not say where its numbers come from"
    return content


def last_digit(printed: str) -> float:
    """One unit of the last digit printed.

    >>> last_digit("2.20"), last_digit("31")
    (0.01, 1.0)
    """
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return float(Decimal(1).scaleb(exponent))


def agrees(value: ArrayLike, printed: str) -> bool:
    """Whether one value lies within half a unit of the last digit printed.

    >>> agrees(2.2049, "2.20"), agrees(2.2051, "2.20")
    (True, False)
    """
    # The factor lets a value exactly on the half pass in spite of binary rounding.
    half_unit = 0.5 * last_digit(printed) * (1.0 + 1e-9)
    return bool(abs(one(value) - float(printed)) <= half_unit)


def one(value: ArrayLike) -> float:
    """The only element of a scalar or of the result for one spool, as a float."""
    flat = np.asarray(value, dtype=float).ravel()
    assert flat.size == 1, f"one value was expected, got {flat.size}"
    return float(flat[0])


def dat_rows(name: str, first_line: int, last_line: int) -> NDArray[np.float64]:
    """Numbers of a NIST file stored as shipped, by the line numbers that its header states."""
    lines = (DATA / "strd" / name).read_text(encoding="ascii").splitlines()
    return np.array([line.split() for line in lines[first_line - 1 : last_line]], dtype=float)
