"""How many spools of a lot to measure: code letters and sample sizes by lot size.

General inspection levels I, II and III of ISO 2859-1, and its special ones S-1 to S-4 for small
samples (the letters and sizes are those of MIL-STD-105E, tables I and II-A, which is public).
Never more than the lot itself.
"""

import numpy as np

LARGEST_LOT = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10000, 35000, 150000, 500000)
LETTERS = {
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
}
SAMPLE_SIZE = {
    "A": 2, "B": 3, "C": 5, "D": 8, "E": 13, "F": 20, "G": 32, "H": 50, "J": 80, "K": 125,
    "L": 200, "M": 315, "N": 500, "P": 800, "Q": 1250, "R": 2000,
}  # fmt: skip


def code_letter(lot_size: int, level: str = "II") -> str:
    """Code letter of a lot (ISO 2859-1, table 1).

    >>> code_letter(10)
    'B'
    """
    return LETTERS[level][int(np.searchsorted(LARGEST_LOT, lot_size))]


def sample_size_for_lot(lot_size: int, level: str = "II") -> int:
    """Spools to measure of a lot of ``lot_size``.

    >>> [sample_size_for_lot(n) for n in (1, 5, 10, 20, 100)]
    [1, 2, 3, 5, 20]
    """
    return min(lot_size, SAMPLE_SIZE[code_letter(lot_size, level)])
