"""How many spools of a lot to measure, by its size and by what came before.

General inspection level II of ISO 2859-1 [1]_, none of the sample bad.  Tightened: the sample of
the next letter, which is what the same AQL asks for there where nothing bad is allowed.  Reduced:
the sizes of table II-C.  Skip-lot [2]_: a lot that is due is measured as on reduced inspection, one
that is not due is weighed and looked at only.

.. [1] MIL-STD-105E, tables I, II-A, II-B, II-C, which are public.
.. [2] ISO 2859-3 (from memory): lots of a qualified supplier, a fraction of which is inspected.
"""

from lotqa.sampling.plan import SAMPLE_SIZE, code_letter, sample_size_for_lot
from lotqa.sampling.switching import State

REDUCED_SIZE = {
    "A": 2, "B": 2, "C": 2, "D": 3, "E": 5, "F": 8, "G": 13, "H": 20, "J": 32, "K": 50,
    "L": 80, "M": 125, "N": 200, "P": 315, "Q": 500, "R": 800,
}  # fmt: skip
LETTERS = "".join(SAMPLE_SIZE)


def spools_to_measure(
    lot_size: int, state: State = "normal", is_due: bool = True, level: str = "II"
) -> int:
    """Spools to measure of a lot of ``lot_size``; ``is_due`` matters on skip-lot only.

    >>> [spools_to_measure(20, state) for state in ("normal", "tightened", "reduced", "skip")]
    [5, 8, 2, 2]
    """
    letter = code_letter(lot_size, level)
    if state == "normal":
        return sample_size_for_lot(lot_size, level)
    if state == "tightened":
        size = SAMPLE_SIZE[LETTERS[min(LETTERS.index(letter) + 1, len(LETTERS) - 1)]]
    elif state == "reduced" or is_due:
        size = REDUCED_SIZE[letter]
    else:
        size = 0
    return min(lot_size, size)
