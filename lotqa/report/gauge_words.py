"""What a gauge study means, in sentences for the person who holds the calliper."""

import math
from collections.abc import Mapping
from typing import Any, Final

# Half widths that labels promise (common practice, no source).
USUAL_TOLERANCES_MM: Final = (0.02, 0.03, 0.05)
WIDTH_SDS: Final = 6.0
FEW_HANDS: Final = 3  # with fewer the interval of the spread of hands is wider than 1 to 20
NAMES: Final = {
    "repeatability": "the same hand again",
    "operator": "hand to hand",
    "operator x place": "hand to hand, by place",
    "reproducibility": "hands together",
    "gauge": "hand and tool",
    "place": "places",
    "total": "all together",
}


def study_sentences(document: Mapping[str, Any]) -> list[str]:
    """The findings of a study document, the weightiest first."""
    parts = {c["name"]: c for c in document["components"]}
    return [
        *_scatter(document, parts),
        *_bands(document, parts),
        *_hands(document, parts),
        *_classes(document),
        *_below_zero(document),
        *_later(document),
    ]


def shown_components(document: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The components that differ from each other: a sum of one part is not shown beside it."""
    names = {c["name"] for c in document["components"]}
    doubled = {"gauge"} if "reproducibility" not in names else set()
    if "operator x place" not in names:
        doubled.add("operator")
    return [c for c in document["components"] if c["name"] not in doubled]


def _scatter(document: Mapping[str, Any], parts: Mapping[str, Any]) -> list[str]:
    one = parts["repeatability"]
    tool = document["instrument"] or "this calliper"
    lo, hi = one["sd_ci95_mm"]
    hand = "Your hand" if len(document["operators"]) == 1 else "One hand"
    if not document["resolved"]:
        return [
            f"{hand} and {tool} repeat within the step of {document['step_mm']:g} mm: the scatter "
            f"is too small for this step to show, at most {hi:.4f} mm. "
            "A tool with a finer step would show it."
        ]
    text = (
        f"{hand} and {tool} scatter by {one['sd_mm']:.4f} mm (standard deviation of one reading, "
        f"{document['df_repeatability']} degrees of freedom, 95 %: {lo:.4f} to {hi:.4f} mm)"
    )
    if one["share_of_tolerance_pct"] is None:
        return [f"{text}."]
    band = _band(document["tolerance_mm"])
    low, high = one["share_of_tolerance_ci95_pct"]
    return [
        f"{text}: six of them are {_pct(one['share_of_tolerance_pct'])} of a {band} band "
        f"({_pct(low)} to {_pct(high)})."
    ]


def _bands(document: Mapping[str, Any], parts: Mapping[str, Any]) -> list[str]:
    sd, most = parts["gauge"]["sd_mm"], document["share_max_pct"]
    if sd <= 0 or most <= 0:
        return []
    texts = []
    full = [t for t in USUAL_TOLERANCES_MM if _share(sd, t) > 100]
    if full:
        widest = max(full)
        texts.append(
            f"One reading cannot judge {_band(widest)}: hand and tool alone fill "
            f"{_pct(_share(sd, widest))} of it."
        )
    tolerance = document["tolerance_mm"]
    if tolerance is None:
        return texts
    share = _share(sd, tolerance)
    if share <= most:
        texts.append(
            f"Hand and tool fill {_pct(share)} of {_band(tolerance)}; up to {_pct(most)} is "
            "accepted: one reading a place will do."
        )
        return texts
    texts.append(
        f"Hand and tool fill {_pct(share)} of {_band(tolerance)}, more than the {_pct(most)} "
        f"accepted: judge by means, never by one reading. {_mean_of(document, parts)}"
    )
    return texts


def _mean_of(document: Mapping[str, Any], parts: Mapping[str, Any]) -> str:
    """How many readings by one hand bring the share down to what is accepted."""
    most, tolerance = document["share_max_pct"], document["tolerance_mm"]
    repeats = parts["repeatability"]["variance_mm2"]
    hands = parts["reproducibility"]["variance_mm2"] if "reproducibility" in parts else 0.0
    room = (most / 100 * 2 * tolerance / WIDTH_SDS) ** 2 - hands
    if room <= 0:
        return (
            "Hands alone differ by more than that, which no number of readings by one hand cures: "
            "let one person read, and the pin take that person's offset away."
        )
    n = math.ceil(repeats / room)
    share = _share((repeats / n + hands) ** 0.5, tolerance)
    return f"The mean of {n} readings by one hand comes down to {_pct(share)}."


def _hands(document: Mapping[str, Any], parts: Mapping[str, Any]) -> list[str]:
    n = len(document["operators"])
    if n == 1:
        return ["One hand read: nothing is said about how another hand would differ."]
    between = parts["reproducibility"]
    lo, hi = between["sd_ci95_mm"]
    texts = [
        f"{n} hands differ by {between['sd_mm']:.4f} mm (standard deviation, 95 %: {lo:.4f} to "
        f"{hi:.4f} mm)" + ("; so few tell little of the next one." if n <= FEW_HANDS else ".")
    ]
    crossed = document["models"]["with_interaction"]["anova"][2]
    alpha = document["interaction_alpha"]
    if document["interaction_pooled"]:
        texts.append(
            f"That hands differ more at one place than at another was not seen (p {_p(crossed)}, "
            f"above {alpha:g}): it is counted among the repeats."
        )
    elif crossed["p"] is not None:
        texts.append(
            f"Hands differ more at one place than at another (p {_p(crossed)}, not above "
            f"{alpha:g}): agree where and how the jaws are closed."
        )
    return texts


def _classes(document: Mapping[str, Any]) -> list[str]:
    n = document["ratio"]["distinct_categories"]
    if n is None:
        return []
    lo, hi = document["ratio"]["distinct_categories_ci95"]
    upper = "without bound" if hi is None else str(hi)
    return [
        f"Places as different as these are told apart in {n} class{'' if n == 1 else 'es'} "
        f"(95 %: {lo} to {upper}). That judges tool and places together: places that hardly differ "
        "give few classes with the best tool."
    ]


def _below_zero(document: Mapping[str, Any]) -> list[str]:
    texts = []
    for c in document["components"]:
        if c["estimate_mm2"] >= 0 or c["name"] in ("gauge", "total", "reproducibility"):
            continue
        below = (
            f"The estimate for {NAMES[c['name']]} came out below zero "
            f"({1e6 * c['estimate_mm2']:.2f} \u00b5m\u00b2)"
        )
        highest = c["sd_ci95_mm"][1]
        if highest == 0:
            texts.append(
                f"{below}, farther than chance explains: it is set to 0. Were trials read one "
                "straight after the other, or with the last figure in sight? Mix the order."
            )
        elif highest is not None:
            texts.append(
                f"{below}, as happens by chance when there is little of it: it is set to 0 and its "
                f"interval kept, up to {highest:.4f} mm."
            )
    return texts


def _later(document: Mapping[str, Any]) -> list[str]:
    found = document["scatter"]
    if not document["instrument"]:
        return [
            "The study is not kept: name the tool with --instrument, as in lot.toml, and later "
            "inspections use it."
        ]
    return [
        f"Inspections with {document['instrument']} take {found['sd_mm']:.4f} mm (rounding to the "
        "step taken out) as the scatter of a reading, once this study is in the ledger."
    ]


def _share(sd_mm: float, tolerance_mm: float) -> float:
    return 100 * WIDTH_SDS * sd_mm / (2 * tolerance_mm)


def _band(tolerance_mm: float) -> str:
    return f"\u00b1 {tolerance_mm:g} mm"


def _pct(value: float) -> str:
    return f"{value:.0f} %"


def _p(line: Mapping[str, Any]) -> str:
    return "< 0.001" if line["p"] < 0.0005 else f"{line['p']:.3f}"
