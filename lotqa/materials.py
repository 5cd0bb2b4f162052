"""Materials: what a filament of this name weighs, when it is wet and how it is dried.

The shipped ``materials.toml`` explains its keys; a user's file is laid over it, material by
material.  Every figure carries its source.  Drying at home with the reel and industrial drying
without one are two practices and stand in two records that nothing here mixes.

The density of a grade is known as a range, taken as a rectangular error [1]_.

.. [1] JCGM 100:2008 (GUM), 4.3.7.
"""

import difflib
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, Literal, get_args

from lotqa.criteria import toml_trouble
from lotqa.errors import UnusableCriteria
from lotqa.material_names import best_fit, likely

Structure = Literal["amorphous", "semicrystalline", "rubbery"]

NO_SERVICE_TEMPERATURE = (
    "It is no service temperature: polypropylene (near 0 C), polyethylene (-120 to -70 C) and POM "
    "(near -60 C) are used far above theirs, and tube liners of a fluoropolymer with one of 115 C "
    "work up to 250 C."
)


@dataclass(frozen=True, slots=True)
class Practice:
    """Temperatures and hours that are usual in one way of drying."""

    lo_c: float
    hi_c: float
    lo_h: float
    hi_h: float
    source: str


@dataclass(frozen=True, slots=True)
class Material:
    """One material; the range of the density is what grades and colours of it show."""

    name: str
    density_g_cm3: float
    density_lo_g_cm3: float
    density_hi_g_cm3: float
    density_source: str
    moisture_limit_pct: float | None = None  # loss on drying above which to dry first
    moisture_source: str | None = None
    drying_lo_c: float | None = None  # at home, with the reel
    drying_hi_c: float | None = None
    drying_lo_h: float | None = None
    drying_hi_h: float | None = None
    drying_source: str | None = None
    structure: Structure | None = None
    glass_transition_lo_c: float | None = None  # lowest and highest that sources give
    glass_transition_hi_c: float | None = None
    glass_transition_source: str | None = None
    industrial_limit_ppm: float | None = None  # of granulate or filament as shipped
    industrial_limit_source: str | None = None
    industrial_drying: Practice | None = None  # without a reel
    also: tuple[str, ...] = ()

    @property
    def u_density_g_cm3(self) -> float:
        """Standard uncertainty of the density: the range as a rectangular error [1]_."""
        return float((self.density_hi_g_cm3 - self.density_lo_g_cm3) / 2 / 3**0.5)

    @property
    def home_drying(self) -> Practice | None:
        """Drying at home, with the reel; None where no practice is known."""
        ends = (self.drying_lo_c, self.drying_hi_c, self.drying_lo_h, self.drying_hi_h)
        lo_c, hi_c, lo_h, hi_h = ends
        if lo_c is None or hi_c is None or lo_h is None or hi_h is None:
            return None
        return Practice(lo_c, hi_c, lo_h, hi_h, self.drying_source or "not stated")

    @property
    def glass_transition_text(self) -> str | None:
        """The glass transition in a sentence or two, with what it does not mean."""
        lo, hi = self.glass_transition_lo_c, self.glass_transition_hi_c
        if lo is None or hi is None:
            return None
        range_c = f"{lo:g} C" if lo == hi else f"{lo:g} to {hi:g} C"
        said = f"Glass transition of {self.name}: {range_c} ({self.glass_transition_source})."
        if self.structure == "amorphous":
            return f"{said} Warmer than that it goes soft and the reel's wraps weld together."
        return f"{said} {NO_SERVICE_TEMPERATURE}"


def read_materials(text: str | None = None, *, name: str = "materials") -> dict[str, Material]:
    """The shipped materials with the user's file ``text`` laid over, keyed by upper-case name.

    Raises UnusableCriteria naming file, material, key, value and what would be right.
    """
    found = dict(_shipped())
    if text is not None:
        _lay(name, text, found)
    return found


@cache  # a table of a hundred entries, the same for every lot of a run
def _shipped() -> Mapping[str, Material]:
    found: dict[str, Material] = {}
    shipped = resources.files("lotqa").joinpath("materials.toml").read_text(encoding="utf-8")
    _lay("materials.toml", shipped, found)
    return found


def _lay(file: str, content: str, found: dict[str, Material]) -> None:
    """Lay the materials of a file over those ``found``."""
    try:
        tables = tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        raise UnusableCriteria(toml_trouble(file, error)) from None
    for key, row in tables.items():
        if not isinstance(row, dict):
            raise UnusableCriteria(
                f"{file}: {key} is {_shown(row)}: write [{key}] and its keys below it"
            )
        found[key.strip().upper()] = _material(key.strip(), row, file, found)


def material_for(name: str | None, materials: Mapping[str, Material]) -> Material | None:
    """The material that a name as people write it stands for; None if none or several fit.

    Colours and trade words are ignored, filled grades, blends and hardnesses are not.

    >>> shipped = read_materials()
    >>> [material_for(n, shipped).name for n in ("petg basic", "TPU95A", "Silk PLA", "PA6-CF")]
    ['PETG', 'TPU 95A', 'PLA silk', 'PA6-CF']
    >>> material_for("PLA copper", shipped)          # a colour, or metal in it?
    """
    if not name or not name.strip():
        return None
    key = best_fit(name, _names(materials))
    return None if key is None else materials[key]


def unknown_material(name: str | None, materials: Mapping[str, Material]) -> str | None:
    """What to do about a name that is no material's; None where it is one, or nothing is named.

    >>> unknown_material("PLA copper", read_materials())
    'material is "PLA copper", which may be PLA-metal or PLA: write one of them, or give your own \
with --materials'
    """
    if not name or not name.strip() or material_for(name, materials) is not None:
        return None
    close = [materials[key].name for key in likely(name, _names(materials))]
    own = "give your own with --materials"
    if not close:
        return f'material is "{name}", which is not known: {own}'
    if len(close) == 1:
        return f'material is "{name}", which is not known: did you mean {close[0]}? Else {own}'
    listed = f"{', '.join(close[:-1])} or {close[-1]}"
    return f'material is "{name}", which may be {listed}: write one of them, or {own}'


def _names(materials: Mapping[str, Material]) -> dict[str, tuple[str, ...]]:
    return {key: (m.name, *m.also) for key, m in materials.items()}


# ---- one table of the file ----


def _material(
    key: str, row: Mapping[str, Any], file: str, known: Mapping[str, Material]
) -> Material:
    base, own = _like(key, row, file, known), dict(row)
    fields: dict[str, Any] = {}
    if "density_g_cm3" not in own and base is None:
        raise UnusableCriteria(
            f"{file}: [{key}] has no density_g_cm3: write it in g/cm3, such as 1.24"
        )
    for written, value in own.items():
        if written not in _READERS:
            close = difflib.get_close_matches(written, list(_READERS), n=1)
            todo = f"did you mean {close[0]}?" if close else "take it out"
            raise UnusableCriteria(f"{file}: [{key}] {written} is not known: {todo}")
        try:
            fields |= _READERS[written](value)
        except _Wrong as wrong:
            raise UnusableCriteria(
                f"{file}: [{key}] {written} is {_shown(value)}: write {wrong}"
            ) from None
    if "density_g_cm3" in fields:
        density = fields["density_g_cm3"]
        low = fields.setdefault("density_lo_g_cm3", density)
        high = fields.setdefault("density_hi_g_cm3", density)
        if not low <= density <= high:
            raise UnusableCriteria(
                f"{file}: [{key}] density_range_g_cm3 is [{low:g}, {high:g}]: "
                f"write two numbers around density_g_cm3 = {density:g}"
            )
        fields.setdefault("density_source", "not stated")
    elif "density_lo_g_cm3" in fields:
        raise UnusableCriteria(
            f"{file}: [{key}] density_range_g_cm3 stands alone: write density_g_cm3, too"
        )
    if base is None:
        return Material(name=key, **fields)
    return replace(base, name=key, also=fields.pop("also", ()), **fields)


def _like(
    key: str, row: Mapping[str, Any], file: str, known: Mapping[str, Material]
) -> Material | None:
    wanted = row.get("like")
    if wanted is None:
        return None
    if isinstance(wanted, str) and wanted.strip().upper() in known:
        return known[wanted.strip().upper()]
    close = difflib.get_close_matches(str(wanted).upper(), list(known), n=1)
    hint = f", such as {known[close[0]].name}" if close else ""
    raise UnusableCriteria(
        f"{file}: [{key}] like is {_shown(wanted)}: write the name of a material that ships or "
        f"stands above{hint}"
    )


class _Wrong(Exception):
    """Says what would be right."""


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _is_number(value: object, least: float, most: float) -> bool:
    # Compared before it becomes a float: an integer may be too large for one.  NaN fails, too.
    return isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most


def _number(field: str, least: float, most: float) -> Callable[[Any], dict[str, Any]]:
    def read(value: Any) -> dict[str, Any]:
        if not _is_number(value, least, most):
            raise _Wrong(f"a number from {least:g} to {most:g}")
        return {field: float(value)}

    return read


def _ends(value: Any, least: float, most: float, single: bool = False) -> tuple[float, float]:
    if single and _is_number(value, least, most):
        return float(value), float(value)
    whole = isinstance(value, list) and len(value) == 2
    if not (whole and all(_is_number(v, least, most) for v in value) and value[0] <= value[1]):
        alone = "a number or " if single else ""
        raise _Wrong(f"{alone}[lowest, highest], both from {least:g} to {most:g}")
    return float(value[0]), float(value[1])


def _pair(
    low: str, high: str, least: float, most: float, single: bool = False
) -> Callable[[Any], dict[str, Any]]:
    def read(value: Any) -> dict[str, Any]:
        return dict(zip((low, high), _ends(value, least, most, single), strict=True))

    return read


def _text(field: str) -> Callable[[Any], dict[str, Any]]:
    def read(value: Any) -> dict[str, Any]:
        if not isinstance(value, str) or not value.strip():
            raise _Wrong("text in double quotes")
        return {field: value}

    return read


def _structure(value: Any) -> dict[str, Any]:
    if value not in get_args(Structure):
        raise _Wrong(" or ".join(f'"{s}"' for s in get_args(Structure)))
    return {"structure": value}


def _also(value: Any) -> dict[str, Any]:
    if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
        raise _Wrong('a list of names, such as ["PE", "PE-HD"]')
    return {"also": tuple(value)}


def _practice(value: Any) -> Practice:
    right = '{ c = [40, 45], h = [4, 6], source = "common practice" }'
    if not isinstance(value, dict) or not {"c", "h"} <= set(value) <= {"c", "h", "source"}:
        raise _Wrong(right)
    try:
        ends = (*_ends(value["c"], 0, 300), *_ends(value["h"], 0, 1000))
    except _Wrong as wrong:
        raise _Wrong(f"{right}; c and h are {wrong}") from None
    return Practice(*ends, str(value.get("source", "not stated")))


def _home(value: Any) -> dict[str, Any]:
    p = _practice(value)
    names = ("drying_lo_c", "drying_hi_c", "drying_lo_h", "drying_hi_h", "drying_source")
    return dict(zip(names, (p.lo_c, p.hi_c, p.lo_h, p.hi_h, p.source), strict=True))


_READERS: dict[str, Callable[[Any], dict[str, Any]]] = {
    "like": lambda _: {},  # looked up before
    "also": _also,
    "density_g_cm3": _number("density_g_cm3", 0.3, 10),
    "density_range_g_cm3": _pair("density_lo_g_cm3", "density_hi_g_cm3", 0.3, 10),
    "density_source": _text("density_source"),
    "class": _structure,
    "glass_transition_c": _pair(
        "glass_transition_lo_c", "glass_transition_hi_c", -200, 400, single=True
    ),
    "glass_transition_source": _text("glass_transition_source"),
    "moisture_limit_pct": _number("moisture_limit_pct", 0, 100),
    "moisture_source": _text("moisture_source"),
    "industrial_limit_ppm": _number("industrial_limit_ppm", 0, 1_000_000),
    "industrial_limit_source": _text("industrial_limit_source"),
    "drying_home": _home,
    "drying_industrial": lambda value: {"industrial_drying": _practice(value)},
    # As files of your own were written before there were two practices: at home.
    "drying_c": _pair("drying_lo_c", "drying_hi_c", 0, 300),
    "drying_h": _pair("drying_lo_h", "drying_hi_h", 0, 1000),
    "drying_source": _text("drying_source"),
}
