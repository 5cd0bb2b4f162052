"""Calliper against weighed length: two roads to one diameter.

The check never rejects: when the two disagree one of them, or the density, is wrong, and nobody
knows which.  The verdict is then provisional until somebody finds out.
"""

import numpy as np

from lotqa.evidence.pieces import Cut, Filament
from lotqa.verdict.goods import REACH, Goods
from lotqa.verdict.outcome import Check, to_be_settled
from lotqa.verdict.words import against, interval, number


def agreement(goods: Goods) -> Check:
    """Difference between the calliper's mean and the diameter by weight, within its uncertainty."""
    cuts = [None if w is None or w.cut is None else w.cut.agreement for w in goods.weights]
    difference, u = (
        np.array([np.nan if c is None else getattr(c, name) for c in cuts], dtype=np.float64)
        for name in ("difference_mm", "u_difference_mm")
    )

    def sentence(i: int) -> str:
        weight = goods.weights[i]
        if weight is None or weight.cut is None or weight.filament is None:
            return "No length was cut and weighed: not checked."
        return cut_words(weight.cut, weight.filament)

    return to_be_settled(
        key="weight.agreement",
        open_question=np.array([c is not None and not c.agrees for c in cuts]),
        checked=np.array([c is not None for c in cuts]),
        value=difference,
        limit=REACH * u,
        unit="mm",
        sentence=sentence,
    )


def cut_words(cut: Cut, filament: Filament) -> str:
    """What a weighed length says beside the calliper, in a sentence or two."""
    found, both = cut.found, cut.agreement
    g_per_m = (
        f"{number(cut.length_m, 2)} m weigh {number(cut.mass_g, 2)} g, "
        f"{number(found.linear_density_g_per_m, 3)} g a metre"
    )
    if both is None or found.diameter_mm is None or filament.diameter_mm is None:
        missing = "the density is" if found.diameter_mm is None else "a calliper mean is"
        return f"{g_per_m}; {missing} not known: no comparison."
    # The limit is the reach of the difference: the words must not seem to cross it.
    gap, reach = against(abs(both.difference_mm), REACH * both.u_difference_mm, 4)
    head = (
        f"{g_per_m}: a mean diameter of {number(found.diameter_mm, 4)} mm by weight and "
        f"{number(filament.diameter_mm, 4)} mm by calliper, {gap} mm apart"
    )
    if both.agrees:
        return (
            f"{head}, within {reach} mm: they agree. Together "
            f"{number(both.combined_mm, 4)} mm ({number(100 * both.weight_of_cut, 0)} % by weight)."
        )
    density = (
        f"by the calliper its density is {number(both.apparent_density_g_cm3, 3)} g/cm3 "
        f"({interval(both.density_lo, both.density_hi, 3)}), expected "
        f"{number(filament.density_g_cm3 or np.nan, 3)}"
    )
    return f"{head}, more than {reach} mm explain: {density}. {causes(both.meaning, filament)}"


def causes(meaning: str, filament: Filament) -> str:
    """What may be behind it, and what tells the causes apart."""
    thick = "thick" if meaning == "lighter" else "thin"
    if filament.measured:
        # Weighed in water the piece's voids are in the density already.
        return (
            f"The density was weighed in water, voids included, so the calliper reads too {thick} "
            "or squeezes; read a pin of known size with it."
        )
    first = (
        "Voids or bubbles, a lighter material"
        if meaning == "lighter"
        else "A filler, a heavier material"
    )
    return (
        f"{first}, or a calliper that reads {thick}: read a pin of known size, look at a cut "
        "face, and weigh a piece in water."
    )
