"""Pieces weighed in air and in water: the two belong together, and water makes a piece lighter."""

from collections.abc import Iterator, Sequence

from lotqa.evidence.hung_pieces import pairs
from lotqa.model import Problem, WeighIn

DENSITY_G_CM3 = (0.5, 5.0)  # foamed filament to metal-filled; beyond it the two were mistyped


def check_pieces(weigh_ins: Sequence[WeighIn]) -> tuple[list[WeighIn], list[Problem]]:
    """The weigh-ins without pieces in water that cannot be, and what is said about pieces."""
    problems = list(_alone(weigh_ins))
    for air, water in pairs(weigh_ins):
        message = _impossible(air, water)
        if message:
            typed = f"{water.mass_g:g}"
            problems.append(Problem(water.file, water.line, "mass_g", typed, message, False))
    fallen = {p.line for p in problems if not p.row_used}
    return [w for w in weigh_ins if w.line not in fallen], problems


def _alone(weigh_ins: Sequence[WeighIn]) -> Iterator[Problem]:
    """One kind without the other, once a spool; the row is kept, nothing follows from it."""
    there: dict[str, dict[str, WeighIn]] = {"in_air": {}, "in_water": {}}
    for w in weigh_ins:
        if w.kind in there:
            there[w.kind].setdefault(w.spool, w)
    for kind, other in (("in_water", "in_air"), ("in_air", "in_water")):
        for spool, w in there[kind].items():
            if spool not in there[other]:
                message = (
                    f'spool "{spool}" is weighed {kind} and not {other}, so it gives no density: '
                    f"weigh the same piece {other} too"
                )
                yield Problem(w.file, w.line, "kind", kind, message)


def _impossible(air: WeighIn, water: WeighIn) -> str | None:
    what = f"mass_g is {water.mass_g:g} in water and {air.mass_g:g} in air (line {air.line})"
    if water.mass_g >= air.mass_g:
        return f"{what}: a piece weighs less in water, were the two exchanged?"
    density = air.mass_g / (air.mass_g - water.mass_g)  # of water 1 g/cm3: close enough for this
    if DENSITY_G_CM3[0] <= density <= DENSITY_G_CM3[1]:
        return None
    return (
        f"{what}, that is {density:.2g} g/cm3, outside {DENSITY_G_CM3[0]:g} to "
        f"{DENSITY_G_CM3[1]:g}: weigh the same piece both times, hung free and without bubbles"
    )
