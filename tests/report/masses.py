"""Masses, drying and money laid over the example lot: invented numbers that hang together.

Net is gross less reel; volume is net / 1.24; the tolerable negative error of 15 g is that of
Directive 76/211/EEC, Annex I, 2.4, for 500 to 1000 g.
"""

from typing import Any

OPEN_TEXT = (
    "Net mass {net:g} g is {short:g} g short of the label's 1000 g: the reel is known to 40 g only."
)


def weighed(net_g: float, u_g: float, known: str = "itself", **changes: Any) -> dict[str, Any]:
    """The block of one weighed spool; ``u_g`` is expanded, k = 2."""
    reel_g, short = 217.0, 1000 - net_g
    return {
        "net_g": net_g,
        "net_ci95_g": [net_g - u_g, net_g + u_g],
        "uncertainty_g": u_g,
        "shortfall_g": short,
        "shortfall_ci95_g": [short - u_g, short + u_g],
        "gross_g": net_g + reel_g,
        "tare_g": reel_g,
        "tare_known": known,
        "tare_source": "this reel weighed empty",
        "tare": {"mass_g": reel_g, "u_g": u_g / 2, "text": f"Reel 217 g: {known}."},
        "scale": {"text": "2 readings of 1000 g were +1 g off."},
        "length_m": 335.4,
        "length_ci95_m": [320.0, 351.0],
        "volume_ml": net_g / 1.24,
        "volume_ci95_ml": [net_g / 1.24 - 30, net_g / 1.24 + 30],
        "grams_per_m": 2.981,
        "grams_per_m_by": "weighed length" if changes.get("cut") else "density and diameter",
        "grams_per_m_ci95": [2.94, 3.02],
        "thin_gain_m": 0.5,
        "thin_gain_ci95_m": [-1.0, 2.0],
        "density_g_cm3": 1.24,
        "density_used_g_cm3": 1.24,
        "density_source": "that of PLA",
        "cut": None,
        "immersion": None,
        "cautions": ["Bag and clip must be off the scale."],
        "text": f"Net mass is {net_g:g} g.",
    } | changes


def cut(agrees: bool | None, **changes: Any) -> dict[str, Any]:
    """The block of a weighed length."""
    return {
        "length_m": 2.0,
        "mass_g": 5.9700000001,
        "linear_density_g_per_m": 2.985,
        "linear_density_ci95": [2.973, 2.997],
        "diameter_mm": 1.7507,
        "diameter_ci95_mm": [1.7106, 1.7908],
        "combined_mm": 1.7522,
        "weight_of_cut": 0.2,
        "difference_mm": 0.0016,
        "difference_ci95_mm": [-0.0406, 0.0436],
        "agrees": agrees,
        "meaning": None if agrees is None else "agree" if agrees else "lighter",
        "causes": "Voids, or a calliper that reads thick." if agrees is False else None,
        "apparent_density_g_cm3": 1.238,
        "apparent_density_ci95": [1.219, 1.257],
        "text": "2.00 m weigh 5.97 g.",
    } | changes


def dried(state: str, loss_g: float = 9.0, **changes: Any) -> dict[str, Any]:
    """The block of a spool that was dried and weighed."""
    return {
        "loss_g": loss_g,
        "loss_pct": loss_g / 10,
        "loss_ci95_pct": [loss_g / 10 - 0.1, loss_g / 10 + 0.1],
        "hours": 6.0,
        "temperature_c": 45.0,
        "state": state,
        "filament_ci95_pct": [0.0, 0.95],
        "scale_can_show": {"text": f"This scale shows a loss of {loss_g / 50} g or more."},
        "plateau": {
            "word": "still losing",
            "difference_g": 1.9,
            "difference_ci95_g": [1.7, 2.1],
            "text": "It is still losing.",
        },
        "reel_share": {"known": True, "lo_g": 0.0, "hi_g": 13.2, "text": "The reel loses."},
        "drying": {
            "home": {"text": "4 to 6 h at 40 to 45 C in a home dryer."},
            "industrial": {"text": "In industry, hotter. Not with its reel."},
            "glass_transition": "It goes soft at 60 C.",
        },
        "cautions": ["Never dry in an oven used for food.", "Warm plastic gives off fumes."],
        "text": f"Drying took {loss_g / 10} %.",
    } | changes


NET_CONTENT = {
    "outcome": "reject",
    "n_weighed": 3,
    "n_supposed_reel": 0,
    "label_net_g": 1000.0,
    "tolerable_negative_error_g": 15.0,
    "mean_net_g": 960.3,
    "mean_net_ci95_g": [942.1, 977.3],
    "enters_verdict": False,
    "rules": [
        {"rule": 1, "kept": False, "text": "On average not less than 1000 g: not kept."},
        {"rule": 2, "kept": None, "text": "Few below T1 (985 g): cannot be told."},
    ],
    "reference_test": {"text": "Reference test: a batch of 10 is weighed whole."},
    "text": "Mean net mass 960.3 g: short beyond doubt (yardstick: the packer's duty).",
}
MONEY = {
    "currency": "EUR",
    "price": 23.9,
    "mass_g": 960.3,
    "mass_source": "weighed",
    "density_g_cm3": 1.24,
    "volume_ml": 774.4,
    "length_m": 320.6,
    "per_litre": 30.86,
    "per_litre_ci95": [29.5, 32.3],
    "per_metre": 0.0745,
    "per_metre_ci95": [0.0712, 0.0781],
    "per_kilogram": 24.89,
    "per_kilogram_ci95": [24.5, 25.3],
    "usable": {
        "spools": 2,
        "tuned": 1,
        "rejected": 1,
        "per_litre": 46.3,
        "per_litre_ci95": [44.2, 48.5],
        "per_litre_if_refunded": 30.86,
        "text": "A litre that can be used costs 46.30 EUR.",
    },
    "compared": {"share_pct": 96.0, "text": "It holds 96 % of the usual pack."},
    "text": "23.90 EUR a spool is 24.89 EUR a kilogram.",
}


def lay_over(document: dict[str, Any]) -> dict[str, Any]:
    """The example lot, weighed: spool 1 full, spool 2 astride, spool 3 short; all with cuts."""
    first, second, third = document["spools"]
    first["weight"] = weighed(1003.0, 1.8, cut=cut(True))
    second["weight"] = weighed(
        978.0, 20.0, "alike", immersion={"text": "1 piece weighed in water: 1.237 g/cm3."}
    )
    third["weight"] = weighed(954.6, 1.8, cut=cut(False))
    document["lot"] |= {"net_content": dict(NET_CONTENT), "money": dict(MONEY)}
    return document
