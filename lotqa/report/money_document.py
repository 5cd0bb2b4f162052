"""The part of the inspection document that speaks of money, and what a pack holds for it.

Nothing is converted: prices, time and results are all in the one currency of the lot sheet.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lotqa.evidence import money as cost
from lotqa.evidence.weighings import mean_net_g
from lotqa.evidence.weight import interval as normal_interval
from lotqa.evidence.weight import length_m, u_length_relative, volume_ml
from lotqa.report.spool_document import number, pair
from lotqa.verdict.words import counted
from lotqa.verdict.words import interval as interval_words
from lotqa.verdict.words import number as digits

if TYPE_CHECKING:  # inspection.py is above this module
    from lotqa.inspection import Inspection

UNKNOWN_PAIR: tuple[None, None] = (None, None)


@dataclass(frozen=True, slots=True)
class _Pack:
    """What one spool of the lot holds; an uncertainty of 0 where only the label tells."""

    mass_g: float | None
    u_mass_g: float
    weighed: bool
    density_g_cm3: float | None
    volume_l: float | None
    u_volume_l: float
    length_m: float | None
    u_length_m: float
    nominal_mm: float


def _pack(inspection: "Inspection") -> _Pack:
    case, net = inspection.prepared.case, inspection.net
    mass = mean_net_g(case.goods.weights)
    weighed = mass is not None and mass > 0
    if not weighed:
        mass = case.goods.label_net_g or None
    u_mass = 0.0
    if weighed and net is not None and net.mean is not None:
        # Of the spools that were weighed: what the others hold is told under net content.
        u_mass = net.mean.u_weighed_g
    nominal, known = case.evidence.section.nominal_mm, _density(inspection)
    if mass is None or known is None:
        density = None if known is None else known[0]
        return _Pack(mass, u_mass, weighed, density, None, 0.0, None, 0.0, nominal)
    density, u_density = known
    length, u_length = _length(inspection, mass, u_mass, weighed, known)
    return _Pack(
        mass_g=mass,
        u_mass_g=u_mass,
        weighed=weighed,
        density_g_cm3=density,
        volume_l=float(volume_ml(mass, density)) / cost.ML_A_LITRE,
        u_volume_l=cost.u_volume_l(mass, u_mass, density, u_density),
        length_m=length,
        u_length_m=u_length,
        nominal_mm=nominal,
    )


def _density(inspection: "Inspection") -> tuple[float, float] | None:
    """Density and its uncertainty: weighed in water where a spool was, else the material's."""
    goods = inspection.prepared.case.goods
    measured = [
        (f.density_g_cm3, f.u_density_g_cm3)
        for f in (None if w is None else w.filament for w in goods.weights)
        if f is not None and f.measured and f.density_g_cm3 is not None
    ]
    if measured:
        # Scale and water are common to the spools: the uncertainty does not average out.
        density, u_density = (float(np.mean(v)) for v in zip(*measured, strict=True))
        return density, u_density
    if goods.material is None:
        return None
    return goods.material.density_g_cm3, goods.material.u_density_g_cm3


def _length(
    inspection: "Inspection",
    mass_g: float,
    u_mass_g: float,
    weighed: bool,
    density: tuple[float, float],
) -> tuple[float, float]:
    """Metres on a spool: mean of the spools whose length is known, else from mass and diameter."""
    case = inspection.prepared.case
    known = [
        (w.length_m, w.u_length_m)
        for w in case.goods.weights
        if w is not None
        and w.length_m is not None
        and w.u_length_m is not None
        and (w.tare is None or w.tare.known != "supposed")
    ]
    if weighed and known:
        # Density and scale are common to the spools: the uncertainty does not average out.
        metres, u_metres = (float(np.mean(v)) for v in zip(*known, strict=True))
        return metres, u_metres
    diameter, u_diameter = inspection.lot.numbers.mean_mm, 0.0
    ends = inspection.lot.numbers.mean_ci95_mm
    if diameter is None or ends is None:
        diameter = case.evidence.section.nominal_mm
    else:
        lo, hi = normal_interval(0.0, 1.0)
        u_diameter = (ends[1] - ends[0]) / (hi - lo)
    metres = float(length_m(mass_g, density[0], diameter))
    relative = u_length_relative(u_mass_g / mass_g, density[1] / density[0], u_diameter / diameter)
    return metres, metres * float(relative)


def money(inspection: "Inspection") -> dict[str, Any]:
    """What the lot costs by volume, length and mass, and by what of it can be used."""
    sheet, pack = inspection.prepared.lot.sheet, _pack(inspection)
    price, currency = sheet.price, sheet.currency
    litre, metre, kilogram = (
        None if price is None or not amount else cost.unit_price(price, amount, u)
        for amount, u in (
            (pack.volume_l, pack.u_volume_l),
            (pack.length_m, pack.u_length_m),
            (None if pack.mass_g is None else pack.mass_g / 1000, pack.u_mass_g / 1000),
        )
    )
    return {
        "currency": currency,
        "price": None if price is None else number(price),
        "mass_g": pack.mass_g,
        "mass_source": None if pack.mass_g is None else "weighed" if pack.weighed else "label",
        "density_g_cm3": pack.density_g_cm3,
        "volume_ml": None if pack.volume_l is None else pack.volume_l * cost.ML_A_LITRE,
        "volume_ci95_ml": [
            None if v is None else v * cost.ML_A_LITRE
            for v in _ends(pack.volume_l, pack.u_volume_l)
        ],
        "length_m": pack.length_m,
        "length_ci95_m": _ends(pack.length_m, pack.u_length_m),
        **_unit("per_litre", litre),
        **_unit("per_metre", metre),
        **_unit("per_kilogram", kilogram, known=pack.weighed),
        "usable": _usable(inspection, pack),
        "compared": _compared(inspection, pack),
        "text": _price_text(price, currency, pack, litre, metre, kilogram),
    }


def _ends(value: float | None, u: float) -> list[float | None]:
    return pair(*(UNKNOWN_PAIR if value is None else normal_interval(value, u)))


def _unit(key: str, found: cost.UnitPrice | None, known: bool = True) -> dict[str, Any]:
    """A price per unit; no interval where nobody weighed, since the label has none."""
    ends = UNKNOWN_PAIR if found is None or not known else (found.lo, found.hi)
    return {key: None if found is None else number(found.value), f"{key}_ci95": pair(*ends)}


def _usable(inspection: "Inspection", pack: _Pack) -> dict[str, Any]:
    """Money of the inspected spools by the litres that can be used."""
    sheet, lot = inspection.prepared.lot.sheet, inspection.lot
    criteria, currency = inspection.prepared.case.criteria, sheet.currency
    handling = cost.handling_of(criteria.values) or cost.PRICE_ALONE
    row: dict[str, Any] = {
        "spools": lot.accepted + lot.tuned,
        "tuned": lot.tuned,
        "rejected": lot.rejected,
        "spent": None,
        "per_litre": None,
        "per_litre_ci95": [None, None],
        "per_litre_if_refunded": None,
        "text": "No price per usable litre: it needs the price of a spool, its mass and material.",
    }
    if sheet.price is None or pack.volume_l is None:
        return row
    counts = (lot.accepted, lot.tuned, lot.rejected)
    money_spent = cost.spent(sheet.price, *counts, handling)
    refunded = cost.spent(sheet.price, *counts, replace(handling, returned_share=1.0))
    row["spent"] = {
        "spools": number(money_spent.spools),
        "returned": number(money_spent.returned),
        "inspecting": money_spent.inspecting,
        "tuning": money_spent.tuning,
        "total": number(money_spent.total),
    }
    if not row["spools"]:
        what = _sum(money_spent.total, currency)
        row["text"] = (
            f"None of {counted(lot.rejected, 'inspected spool')} can be used: {what} is spent for "
            "nothing, unless a claim brings it back."
        )
        return row
    found, if_refunded = (
        cost.unit_price(s.total, pack.volume_l * row["spools"], pack.u_volume_l * row["spools"])
        for s in (money_spent, refunded)
    )
    row |= _unit("per_litre", found)
    row["per_litre_if_refunded"] = number(if_refunded.value)
    row["text"] = _usable_text(row, found, if_refunded, money_spent, handling, currency)
    return row


def _usable_text(
    row: dict[str, Any],
    found: cost.UnitPrice,
    if_refunded: cost.UnitPrice,
    money_spent: cost.Spent,
    handling: cost.Handling,
    currency: str | None,
) -> str:
    inspected = counted(row["spools"] + row["rejected"], "inspected spool")
    tuned = f", {row['tuned']} of them after tuning in" if row["tuned"] else ""
    said = [
        f"A litre that can be used costs {_sum(found.value, currency)} "
        f"({interval_words(found.lo, found.hi, 2)}): {row['spools']} of {inspected} can be "
        f"used{tuned}."
    ]
    if row["rejected"]:
        of = f"the price of {counted(row['rejected'], 'rejected spool')}"
        full = f"if all of it comes back, a litre costs {_sum(if_refunded.value, currency)}"
        if handling.returned_share <= 0:
            said.append(f"In it, {of} counts as lost; {full}.")
        elif handling.returned_share < 1:
            said.append(f"{100 * handling.returned_share:g} % of {of} counts as come back; {full}.")
        else:
            said.append(f"In it, {of} counts as come back.")
    if handling.rate_per_hour > 0:
        said.append(
            f"Your time is in it: {_sum(money_spent.inspecting, currency)} for inspecting, "
            f"{_sum(money_spent.tuning, currency)} for tuning in."
        )
    else:
        said.append("Your time is not counted (money.rate_per_hour is 0).")
    return " ".join(said)


def _compared(inspection: "Inspection", pack: _Pack) -> dict[str, Any] | None:
    """This pack against the usual one in volume; None where its volume is not known."""
    if pack.volume_l is None or pack.mass_g is None or pack.density_g_cm3 is None:
        return None
    limits = inspection.prepared.case.criteria
    usual_g, usual_density = (limits[f"money.reference_{k}"] for k in ("net_g", "density_g_cm3"))
    ml, metres = cost.holds(pack.mass_g, pack.density_g_cm3, pack.nominal_mm)
    usual_ml, usual_metres = cost.holds(usual_g, usual_density, pack.nominal_mm)
    share = 100 * ml / usual_ml
    return {
        "volume_ml": ml,
        "nominal_length_m": metres,
        "reference_net_g": usual_g,
        "reference_density_g_cm3": usual_density,
        "reference_volume_ml": usual_ml,
        "reference_length_m": usual_metres,
        "share_pct": share,
        "text": (
            f"{digits(pack.mass_g, 0)} g at {pack.density_g_cm3:.2f} g/cm3 hold "
            f"{digits(ml, 0)} ml, {digits(metres, 0)} m of {pack.nominal_mm:g} mm: "
            f"{digits(share, 0 if share >= 10 else 1)} % of what {usual_g:g} g of an unfilled "
            f"filament of {usual_density:.2f} g/cm3 hold ({digits(usual_ml, 0)} ml, "
            f"{digits(usual_metres, 0)} m)."
        ),
    }


def _price_text(
    price: float | None,
    currency: str | None,
    pack: _Pack,
    litre: cost.UnitPrice | None,
    metre: cost.UnitPrice | None,
    kilogram: cost.UnitPrice | None,
) -> str:
    if price is None:
        return "The price of a spool is not known: no money. Write price under [lot] in lot.toml."
    if kilogram is None:
        return f"{_sum(price, currency)} a spool; its mass is not known: no price per unit."
    said = f"{_sum(price, currency)} a spool is {_sum(kilogram.value, currency)} a kilogram"
    by = "as weighed" if pack.weighed else "by the label, not weighed"
    if litre is None or metre is None:
        return f"{said} ({by}); the material's density is not known: no price per litre or metre."
    return (
        f"{said}, {_sum(litre.value, currency)} a litre ({interval_words(litre.lo, litre.hi, 2)}), "
        f"{_sum(metre.value, currency)} a metre ({by})."
    )


def _sum(value: float, currency: str | None) -> str:
    """A sum of money; more digits below 1."""
    text = digits(value, 2 if value >= 1 or value == 0 else 4)
    return f"{text} {currency}" if currency else text
