"""The document that says how large a gauge study must be, lotqa.gauge_plan.v1."""

from typing import Any, Final

from lotqa.evidence.gauge_plan import DESIGNS, Design, design, df_needed

SCHEMA: Final = "lotqa.gauge_plan.v1"
WIDTH_SDS: Final = 6.0


def plan_document(
    *, scatter_sd_mm: float, tolerance_mm: float, within_pct: float
) -> dict[str, Any]:
    """What each design would tell of a scatter, and the smallest that tells it well enough."""
    designs = [design(*shape) for shape in DESIGNS]
    df = df_needed(within_pct / 100)
    useful = [d for d in designs if df is not None and d.df_repeatability >= df]
    chosen = min(useful, key=lambda d: (d.n_readings, d.n_operators), default=None)
    hands = [d for d in useful if d.n_operators > 1]
    of_hands = min(hands, key=lambda d: d.n_readings, default=None)
    band_pct = 100 * WIDTH_SDS / (2 * tolerance_mm)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "scatter_sd_mm": scatter_sd_mm,
        "tolerance_mm": tolerance_mm,
        "within_pct": within_pct,
        "df_needed": df,
        "designs": [_block(d, scatter_sd_mm, band_pct, d is chosen) for d in designs],
    }
    document["texts"] = _texts(document, chosen, of_hands)
    return document


def _block(d: Design, sd_mm: float, band_pct: float, is_chosen: bool) -> dict[str, Any]:
    limits = [factor * sd_mm for factor in d.repeatability_factors]
    return {
        "places": d.n_places,
        "operators": d.n_operators,
        "trials": d.n_trials,
        "readings": d.n_readings,
        "df_repeatability": d.df_repeatability,
        "repeatability_ci95_mm": limits,
        "share_of_tolerance_ci95_pct": [band_pct * v for v in limits],
        "place_factors": list(d.place_factors),
        "operator_factors": None if d.operator_factors is None else list(d.operator_factors),
        "recommended": is_chosen,
    }


def _texts(document: dict[str, Any], chosen: Design | None, of_hands: Design | None) -> list[str]:
    within, df = document["within_pct"], document["df_needed"]
    if df is None:
        texts = [f"No study of a person's size tells a scatter to within {within:g} %."]
    elif chosen is None:
        texts = [
            f"To tell the scatter to within {within:g} % above its estimate takes {df} degrees of "
            f"freedom (places x operators x (trials - 1)), such as {df} readings more than there "
            "are places: no design of this table has them."
        ]
    else:
        texts = [
            f"To tell the scatter to within {within:g} % above its estimate takes {df} degrees of "
            f"freedom: {_named(chosen)} will do, {chosen.n_readings} readings."
        ]
    if of_hands is not None and of_hands is not chosen:
        texts.append(f"With other hands: {_named(of_hands)}, {of_hands.n_readings} readings.")
    two, three = (design(10, n, 2).operator_factors for n in (2, 3))
    if two is not None and three is not None:
        texts.append(
            f"How hands differ stays vague: two tell it to within a factor of {two[1]:.0f} "
            f"upwards, three of {three[1]:.0f}. Add a hand because that person reads, too."
        )
    texts.append(
        "Take places of different diameter, read them in a mixed order, and do not look at what "
        "was read before."
    )
    return texts


def _named(d: Design) -> str:
    hands = "1 operator" if d.n_operators == 1 else f"{d.n_operators} operators"
    return f"{d.n_places} places, {hands}, {d.n_trials} trials"
