"""Materials: what a filament of this name weighs and how it is dried, each with its source."""

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

from lotqa.criteria import toml_trouble
from lotqa.errors import UnusableCriteria

FILLED = ("CF", "GF", "WOOD", "METAL", "STONE", "FILL", "CARBON", "GLASS", "BRONZE", "COPPER")


@dataclass(frozen=True, slots=True)
class Material:
    """One material; the range of the density is what grades and colours of it show."""

    name: str
    density_g_cm3: float
    density_lo_g_cm3: float
    density_hi_g_cm3: float
    density_source: str
    moisture_limit_pct: float | None = None
    moisture_source: str | None = None
    drying_lo_c: float | None = None
    drying_hi_c: float | None = None
    drying_lo_h: float | None = None
    drying_hi_h: float | None = None

    @property
    def u_density_g_cm3(self) -> float:
        """Standard uncertainty of the density: the range as a rectangular error (GUM 4.3.7)."""
        return float((self.density_hi_g_cm3 - self.density_lo_g_cm3) / 2 / 3**0.5)


def read_materials(text: str | None = None, *, name: str = "materials") -> dict[str, Material]:
    """The shipped materials with the user's file ``text`` laid over, keyed by upper-case name.

    Raises UnusableCriteria naming file, material, key and what would be right.
    """
    shipped = resources.files("lotqa").joinpath("materials.toml").read_text(encoding="utf-8")
    found: dict[str, Material] = {}
    for file, content in [("materials.toml", shipped)] + ([] if text is None else [(name, text)]):
        try:
            tables = tomllib.loads(content)
        except tomllib.TOMLDecodeError as error:
            raise UnusableCriteria(toml_trouble(file, error)) from None
        for key, row in tables.items():
            found[key.strip().upper()] = _material(key, row, file)
    return found


def _material(key: str, row: Any, file: str) -> Material:
    try:
        density = float(row["density_g_cm3"])
        low, high = (float(v) for v in row.get("density_range_g_cm3", (density, density)))
        drying_c, drying_h = (row.get(k, (None, None)) for k in ("drying_c", "drying_h"))
        moisture = row.get("moisture_limit_pct")
        if not 0.3 <= low <= density <= high <= 10:
            raise ValueError
        if moisture is not None and not 0 <= float(moisture) <= 100:
            raise ValueError
        return Material(
            name=key,
            density_g_cm3=density,
            density_lo_g_cm3=low,
            density_hi_g_cm3=high,
            density_source=str(row.get("density_source", "not stated")),
            moisture_limit_pct=None if moisture is None else float(moisture),
            moisture_source=row.get("moisture_source"),
            drying_lo_c=drying_c[0],
            drying_hi_c=drying_c[1],
            drying_lo_h=drying_h[0],
            drying_hi_h=drying_h[1],
        )
    except (KeyError, TypeError, ValueError, IndexError):
        raise UnusableCriteria(
            f"{file}: {key} cannot be read: write density_g_cm3 (0.3 to 10), "
            "density_range_g_cm3 = [low, high] around it, moisture_limit_pct (0 to 100)"
        ) from None


def material_for(name: str | None, materials: dict[str, Material]) -> Material | None:
    """The material of this name; ``PLA+`` or ``PLA matt`` counts as PLA, ``PA6`` as PA.

    A filled grade (``PETG-CF``) weighs something else: None unless it stands in the file itself.

    >>> material_for("petg basic", read_materials()).name
    'PETG'
    >>> material_for("PETG-CF", read_materials())
    """
    if not name:
        return None
    wanted = name.strip().upper()
    if wanted in materials:
        return materials[wanted]
    if any(word in wanted for word in FILLED):
        return None
    # The longest known name that the wanted one starts with: PA12-CF is PA12 before PA.
    # No letter may follow: PCTG is not PC, PPS is not PP.
    fits = [
        key
        for key in materials
        if wanted.startswith(key) and not wanted[len(key) : len(key) + 1].isalpha()
    ]
    return materials[max(fits, key=len)] if fits else None
