"""What to do about a wet spool: how warm and how long at home, the industrial figures as a note.

Two practices that are never mixed: at home the reel goes into the dryer, in industry it does not.
"""

from lotqa.criteria import Criteria
from lotqa.evidence.drying import HomeDrying, home_drying
from lotqa.materials import Material, Practice
from lotqa.verdict.goods import Goods
from lotqa.verdict.wetness import wetness
from lotqa.verdict.words import number

CAUTIONS = (
    "Never dry in an oven used for food: it overshoots, and fumes and residue stay in it.",
    "Reels sag before their filament melts and can touch the heater: stay near, keep the "
    "temperature below what the reel stands.",
    "Warm plastic gives off fumes: ventilate.",
    "Do not heat bags of desiccant in a microwave: they melt.",
    "Weigh the spool cool, from a closed bag: a warm one stirs the air over the scale, a cool one "
    "left open takes water up again.",
)


def home(goods: Goods, criteria: Criteria) -> HomeDrying:
    """Temperatures and hours for these spools, with their reel."""
    material, reel = goods.material, criteria.reel_for(goods.reel.material)
    practice = None if material is None else material.home_drying
    softens = material is not None and material.structure in (None, "amorphous")
    return home_drying(
        None if practice is None else (practice.lo_c, practice.hi_c),
        None if practice is None else (practice.lo_h, practice.hi_h),
        glass_transition_c=material.glass_transition_lo_c if material and softens else None,
        margin_k=criteria["drying.margin_k"],
        stands_c=None if reel is None else reel.stands_c,
    )


def home_text(goods: Goods, criteria: Criteria) -> str:
    """'4 to 6 h at 40 to 45 C in a home dryer ...', or why no temperature can be given."""
    found, material = home(goods, criteria), goods.material
    reel = criteria.reel_for(goods.reel.material)
    of_reel = "the reel" if reel is None else f"a {reel.material} reel"
    if material is None:
        return "no material is known, so no temperature can be given"
    practice = material.home_drying
    if found.refused == "not known" or practice is None:
        return f"no temperature is known for {material.name} on its reel: ask its maker"
    ceiling = "" if found.ceiling_c is None else number(found.ceiling_c, 0)
    if found.refused == "nothing is safe":
        begins = f"practice for {material.name} begins at {number(practice.lo_c, 0)} C"
        if found.cut_by == "reel":
            return (
                f"{begins} and {of_reel} stands {ceiling} C unless its maker states more: no "
                "temperature is safe on this reel; wind the filament onto one that stands it"
            )
        return (
            f"{begins} and it goes soft above {ceiling} C: no temperature is safe; keep it in a "
            "closed box with fresh desiccant"
        )
    told = (
        f"{_range(found.lo_h, found.hi_h)} h at {_range(found.lo_c, found.hi_c)} C in a home dryer"
    )
    if found.cut_by == "reel":
        return f"{told}, no hotter: {of_reel} stands {ceiling} C"
    if found.cut_by == "glass transition":
        return f"{told}, no hotter: it begins to soften above that"
    if reel is None:
        return f"{told}, no hotter than the reel stands"
    return told


def industrial_text(material: Material | None) -> str | None:
    """The industrial figures as a note; None where none are known."""
    p = None if material is None else material.industrial_drying
    if material is None or p is None:
        return None
    return (
        f"In industry, {material.name} without a reel is dried {_range(p.lo_h, p.hi_h)} h at "
        f"{_range(p.lo_c, p.hi_c)} C in air with a dew point below -40 C. Not with its reel."
    )


def action(goods: Goods, criteria: Criteria, i: int) -> str:
    """What to do with wet spool ``i`` now, in a sentence or two."""
    found = wetness(goods, criteria, i)
    word = None if found is None or found.plateau is None else found.plateau.word
    if word == "plateau":
        return (
            "Dried until it stopped losing: keep it sealed with desiccant, print and tune it from "
            "there. Others of this lot want the same drying."
        )
    refused = home(goods, criteria).refused is not None
    if goods.material is None:
        return "Dry it before printing."
    text = home_text(goods, criteria)
    if refused:
        return f"Dry it before printing, but {text}."
    more = "Dry it on" if word == "still losing" else "Dry it"
    return f"{more} before printing: {text}, never in an oven used for food."


def document(goods: Goods, criteria: Criteria) -> dict[str, object]:
    """Both practices for the report: ``home`` to act on, ``industrial`` only as a note."""
    found, material = home(goods, criteria), goods.material
    practice = None if material is None else material.home_drying
    text = home_text(goods, criteria)
    return {
        "home": {
            "lo_c": found.lo_c,
            "hi_c": found.hi_c,
            "lo_h": found.lo_h,
            "hi_h": found.hi_h,
            "ceiling_c": found.ceiling_c,
            "cut_by": found.cut_by,
            "refused": found.refused,
            "source": None if practice is None else practice.source,
            "text": f"{text[0].upper()}{text[1:]}.",
        },
        "industrial": _industrial(material),
        "glass_transition": None if material is None else material.glass_transition_text,
        "cautions": list(CAUTIONS),
    }


def _industrial(material: Material | None) -> dict[str, object] | None:
    p: Practice | None = None if material is None else material.industrial_drying
    if material is None or p is None:
        return None
    return {
        "lo_c": p.lo_c,
        "hi_c": p.hi_c,
        "lo_h": p.lo_h,
        "hi_h": p.hi_h,
        "source": p.source,
        "text": industrial_text(material),
    }


def _range(lo: float | None, hi: float | None) -> str:
    return f"{lo:g}" if lo == hi else f"{lo:g} to {hi:g}"
