"""Weigh-ins: which spool, weighed how, with which mass."""

from types import MappingProxyType
from typing import cast

from lotqa.evidence.immersion import HIGHEST_C, LOWEST_C
from lotqa.intake.names import Field, did_you_mean, one_of
from lotqa.intake.pieces import check_pieces
from lotqa.intake.table import Cells, Grid, read_side_table
from lotqa.model import WEIGH_IN_KINDS, Problem, WeighIn, WeighInKind

MASS_UNITS = MappingProxyType({"g": 1.0, "kg": 1000.0})
FIELDS = (
    Field(
        "spool",
        ("spool_id", "spool_no", "spool_number", "spool_name", "roll", "reel"),
        required=True,
    ),
    Field("kind", ("type", "what"), required=True),
    Field("mass_g", ("weight",), MASS_UNITS, required=True),
    Field("length_m", (), MappingProxyType({"m": 1.0, "cm": 0.01, "mm": 0.001})),
    Field("hours", ("hour", "h", "drying_time"), MappingProxyType({"h": 1.0})),
    Field("temperature_c", ("temp",), MappingProxyType({"c": 1.0})),
    Field("scale_step_g", ("step", "scale_step"), MASS_UNITS),
    Field("note", ("notes", "remark", "comment")),
)

LEAST_G = MappingProxyType({"gross": 5.0, "net": 5.0, "tare": 1.0})  # below: typed in kilograms
LEAST_DRIED_G = 5.0  # the same for a drying weighing, unless its scale shows tenths of a gram
FINE_STEP_G = 0.1
MOST_G = 50_000.0  # no reel is heavier; above it the column is in milligrams
G_PER_M = (1.0, 40.0)  # 1.75 at 0.9 g/cm3 is 2.2, metal-filled 2.85 at 4 g/cm3 is 26
MOST_HOURS = 1000.0
LONGEST_CUT_M = 20.0  # nobody weighs more of a spool: the length is in another unit
LENGTH_UNITS = (("centimetres", 100.0), ("millimetres", 1000.0))
TEMPERATURE_C = (-20.0, 200.0)  # drying and storage; no dryer for filament is hotter


def read_weighings(grid: Grid) -> tuple[list[WeighIn], list[Problem], int]:
    """Weigh-ins, problems and the number of rows read.

    :raises Refused: a required column is missing.
    """
    weigh_ins, problems, n_rows = read_side_table(grid, FIELDS, _weigh_in)
    kept, found = check_pieces(weigh_ins)
    return kept, sorted([*problems, *found], key=lambda p: p.line or 0), n_rows


def _weigh_in(cells: Cells, file: str) -> WeighIn | None:
    spool = cells.text("spool")
    if not spool:
        cells.complain("spool", "is empty: write the spool's name in every row")
    kind = _kind(cells)
    mass_g = cells.number("mass_g", "1193", required=True)
    if mass_g is not None:
        _check_mass(cells, kind, mass_g)
    length_m = cells.number("length_m", "2.000")
    if length_m is not None and length_m <= 0.0:
        cells.complain("length_m", f"is {cells.text('length_m')}: write the length in metres")
    elif kind == "cut" and mass_g is not None and mass_g > 0.0:
        _check_cut(cells, mass_g, length_m)
    hours = _within(cells, "hours", (0.0, MOST_HOURS), "4", "hours")
    temperature_c = _within(cells, "temperature_c", TEMPERATURE_C, "50", "degrees Celsius")
    if kind == "in_water" and "temperature_c" not in {p.column for p in cells.problems}:
        _check_water(cells, temperature_c)
    step_g = cells.number("scale_step_g", "0.1")
    if mass_g is not None and kind in ("before_drying", "after_drying"):
        _check_dried(cells, kind, mass_g, step_g)
    if step_g is not None and not 0.0 < step_g <= 100.0:
        typed = cells.text("scale_step_g")
        cells.complain("scale_step_g", f"is {typed}: write the step of the display in grams")
    if cells.failed or mass_g is None or kind is None:
        return None
    return WeighIn(
        spool=spool,
        kind=kind,
        mass_g=mass_g,
        length_m=length_m,
        hours=hours,
        temperature_c=temperature_c,
        scale_step_g=step_g,
        note=cells.text("note") or None,
        file=file,
        line=cells.line,
    )


def _kind(cells: Cells) -> WeighInKind | None:
    typed = cells.text("kind")
    kind = typed.casefold().replace(" ", "_").replace("-", "_")
    if kind in WEIGH_IN_KINDS:
        return cast(WeighInKind, kind)
    if not typed:
        cells.complain("kind", f"is empty: write {one_of(WEIGH_IN_KINDS)}")
        return None
    near = did_you_mean(typed, WEIGH_IN_KINDS)
    advice = f"did you mean {near}?" if near else f"write {one_of(WEIGH_IN_KINDS)}"
    cells.complain("kind", f'is "{typed}": {advice}')
    return None


def _check_mass(cells: Cells, kind: str | None, mass_g: float) -> None:
    typed = cells.text("mass_g")
    if mass_g <= 0.0 and kind != "in_water":  # a piece that floats, held down by a sinker
        cells.complain("mass_g", f"is {typed}: a mass is above 0, weigh again")
    elif kind is not None and mass_g < LEAST_G.get(kind, -MOST_G):
        cells.complain(
            "mass_g", f"is {typed} for {kind}: kilograms? Write grams, such as {1000 * mass_g:g}"
        )
    elif mass_g > MOST_G:
        cells.complain(
            "mass_g", f"is {typed}, above {MOST_G:.0f} g: write the mass of one spool in grams"
        )


def _check_cut(cells: Cells, mass_g: float, length_m: float | None) -> None:
    if length_m is None:
        if not cells.text("length_m"):
            cells.complain("length_m", "is empty: a cut piece needs its length in metres")
        return
    g_per_m = mass_g / length_m
    if G_PER_M[0] <= g_per_m <= G_PER_M[1]:
        return
    advice = "write metres and grams"
    if G_PER_M[0] <= 1000 * g_per_m <= G_PER_M[1] and length_m < LONGEST_CUT_M:
        advice = f"kilograms? Write grams, such as {1000 * mass_g:g}"
    for unit, per_m in LENGTH_UNITS if length_m >= LONGEST_CUT_M else ():
        if G_PER_M[0] <= per_m * g_per_m <= G_PER_M[1]:
            advice = f"{unit}? Write metres, such as {length_m / per_m:g}"
            break
    cells.complain(
        "length_m",
        f"is {cells.text('length_m')} for {cells.text('mass_g')} g, that is {g_per_m:.3g} g "
        f"a metre, outside {G_PER_M[0]:g} to {G_PER_M[1]:g}: {advice}",
    )


def _check_dried(cells: Cells, kind: str, mass_g: float, step_g: float | None) -> None:
    """A spool in a dryer that weighs less than a few grams; a cut sample needs a finer scale."""
    if 0.0 < mass_g < LEAST_DRIED_G and (step_g is None or step_g >= FINE_STEP_G):
        typed = cells.text("mass_g")
        cells.complain(
            "mass_g", f"is {typed} for {kind}: kilograms? Write grams, such as {1000 * mass_g:g}"
        )


def _check_water(cells: Cells, temperature_c: float | None) -> None:
    if temperature_c is None:
        cells.complain(
            "temperature_c", "is empty: a piece in water needs the temperature of the water"
        )
    elif not LOWEST_C <= temperature_c <= HIGHEST_C:
        cells.complain(
            "temperature_c",
            f"is {cells.text('temperature_c')} for in_water, outside {LOWEST_C:g} to "
            f"{HIGHEST_C:g}: write the temperature of the water in degrees Celsius",
        )


def _within(
    cells: Cells, name: str, limits: tuple[float, float], example: str, unit: str
) -> float | None:
    value = cells.number(name, example)
    if value is not None and not limits[0] <= value <= limits[1]:
        cells.complain(
            name, f"is {cells.text(name)}, outside {limits[0]:g} to {limits[1]:g}: write {unit}"
        )
    return value
