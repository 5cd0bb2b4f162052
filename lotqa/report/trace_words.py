"""What a trace says, in sentences: for the terminal, the page and the document."""

from collections.abc import Mapping
from typing import Any, Final

KINDS: Final = {
    "lump": ("lump", "lumps"),
    "neck": ("neck", "necks"),
    "splice": ("splice", "splices"),
    "spike": ("spike of the sensor", "spikes of the sensor"),
}
VISIBILITY: Final = {
    "fine": "hardly seen",
    "look": "look at a test print",
    "bands expected": "bands expected",
}
SEEN_AS: Final = {
    "bands": "bands",
    "stripes": "slanting stripes",
    "shade": "one shade from bottom to top",
    "layers": "too fine for bands",
}
STOPS_NAMED: Final = 5
LUMP_MM: Final = 5.0  # a lump as short as this is what the search is meant to find
SHORT_M: Final = 10.0  # shorter logs are told to the millimetre
NONE: Final = "–"


def sentences(document: Mapping[str, Any]) -> list[str]:
    """What matters, in the order in which a person asks."""
    told = [_size(document), _flow(document), _outside(document), _events(document)]
    told += [_drift(document), _waves(document), _swing(document)]
    if document["two_sizes"]:
        told.append(document["two_sizes"])
    return [text for text in told if text]


def cautions(document: Mapping[str, Any]) -> list[str]:
    """What weakens the figures."""
    told = []
    if not document["settled"]:
        told.append(
            "The trace is short for how much its rows depend on each other, or it drifts or steps: "
            "take the intervals as rough."
        )
    if not document["gauge_error_stated"]:
        told.append(
            "The offset of the gauge itself is not in the intervals: give its limit of error with "
            "--gauge-error."
        )
    spacing = document["row_spacing_mm"]
    if spacing is not None and spacing > LUMP_MM:
        told.append(
            f"The rows stand {spacing:.3g} mm apart: lumps and necks shorter than that may stand "
            "between two of them."
        )
    if document["rows_reported"]:
        n = document["rows_reported"]
        are = "row was" if n == 1 else "rows were"
        told.append(f"{n:,} {are} left out; each is told under problems.")
    if not document["bead"]["stated"] and document["bands"]:
        bead = document["bead"]
        told.append(
            f"Line width {bead['line_width_mm']:g} mm and layer height "
            f"{bead['layer_height_mm']:g} mm are supposed: give yours with --line-width and "
            "--layer-height."
        )
    return told


def feed_path(event: Mapping[str, Any]) -> str:
    """What the feed path makes of an event."""
    if not event["stops"]:
        return "passes"
    return "slips" if event["peak_mm"] < 0 else "stops"


def period_text(period_m: float) -> str:
    """A wave length as people say it.

    >>> period_text(0.18), period_text(3.2), period_text(0.0048), period_text(1234.5)
    ('18.0 cm', '3.20 m', '4.80 mm', '1230 m')
    """
    if period_m >= 1:
        return f"{_three(period_m)} m"
    if period_m >= 0.01:
        return f"{_three(100 * period_m)} cm"
    return f"{_three(1000 * period_m)} mm"


def _three(value: float) -> str:
    """Three digits that matter, never as a power of ten."""
    if value >= 999.5:
        return f"{round(value, -1):.0f}"
    digits = 0 if value >= 99.95 else 1 if value >= 9.995 else 2
    return f"{value:.{digits}f}"


def _size(document: Mapping[str, Any]) -> str:
    d = document["diameter"]
    rows = f"{document['rows']:,} row{'' if document['rows'] == 1 else 's'}"
    metres = document["length_m"]
    length = f"{metres:,.1f}" if metres >= SHORT_M else f"{metres:.3f}"
    text = f"{rows} over {length} m: mean {d['mean_mm']:.4f} mm"
    text += _ci(d["mean_ci95_mm"], 4, "mm")
    if not document["gauge_error_stated"]:
        text += ", what the gauge is off by not counted"
    if d["sd_mm"] is not None:
        text += f", spread s {d['sd_mm']:.4f} mm{_ci(d['sd_ci95_mm'], 4, 'mm')}"
    n = document["effective_rows"]
    if n is None or n >= document["rows"]:
        return f"{text}."
    worth = f"{n:.0f} independent places" if n >= 1.5 else "1 place"
    return f"{text}. Neighbouring rows repeat each other: all of them are worth {worth}."


def _flow(document: Mapping[str, Any]) -> str:
    f, now_mm = document["flow"], document["machine_diameter_mm"]
    if f["error_pct"] is None:
        return ""
    return (
        f"With {now_mm:g} mm set in the machine the flow is {_signed(f['error_pct'], 1)} % off"
        f"{_ci(f['error_ci95_pct'], 1, '%', sign=True)}: enter multiplier {f['multiplier']:.3f} or "
        f"diameter {f['set_diameter_mm']:.3f} mm, never both."
    )


def _outside(document: Mapping[str, Any]) -> str:
    own = next(o for o in document["outside"] if o["label"])
    feed = document["feed"]
    text = f"Of the metres, {_share(own['outside_pct'])} lie outside ± {own['tolerance_mm']:g} mm"
    if feed["thick_mm"] is not None and feed["thick_pct"]:
        text += f"; {_share(feed['thick_pct'])} are {feed['thick_mm']:g} mm or thicker"
    if feed["thin_mm"] is not None and feed["thin_pct"]:
        text += f"; {_share(feed['thin_pct'])} are {feed['thin_mm']:g} mm or thinner"
    worst = next((w["worst_flow"] for w in document["windows"] if w["worst_flow"]), None)
    if worst is not None:
        length = next(w["length_m"] for w in document["windows"] if w["worst_flow"] is worst)
        text += (
            f"; the worst stretch of {length:g} m begins at {worst['position_m']:.1f} m, with the "
            f"flow {_signed(worst['flow_error_pct'], 1)} % off"
        )
    return f"{text}."


def _events(document: Mapping[str, Any]) -> str:
    counts = {k: n for k, n in document["event_counts"].items() if n}
    if not counts:
        return "No lump, neck or splice was found."
    listed = [f"{n:,} {KINDS[kind][n != 1]}" for kind, n in counts.items()]
    text = listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} and {listed[-1]}"
    stops = [e for e in document["events"] if e["stops"]]
    if not stops:
        return f"Found: {text}. None of them stops in the feed path."
    where = [f"{e['position_m']:.2f} m ({e['diameter_mm']:.2f} mm)" for e in stops[:STOPS_NAMED]]
    more = f" and {len(stops) - STOPS_NAMED} more" if len(stops) > STOPS_NAMED else ""
    one = "1 of them stops or slips" if len(stops) == 1 else f"{len(stops)} of them stop or slip"
    return f"Found: {text}. {one} in the feed path: at {', '.join(where)}{more}."


def _drift(document: Mapping[str, Any]) -> str:
    d = document["drift"]
    lo, hi = d["slope_ci95_mm_per_100m"]
    if d["slope_mm_per_100m"] is None or lo is None or hi is None or lo <= 0 <= hi:
        return ""
    return (
        f"The diameter drifts by {d['slope_mm_per_100m']:+.4f} mm in 100 m (95 %: {lo:+.4f} to "
        f"{hi:+.4f}): {d['first_tenth_mm']:.4f} mm in the first tenth, {d['last_tenth_mm']:.4f} mm "
        "in the last."
    )


def _waves(document: Mapping[str, Any]) -> str:
    search, waves = document["wave_search"], document["waves"]
    if search["why_not"]:
        return f"Waves could not be looked for: {search['why_not']}."
    if not waves:
        return (
            f"No wave stands out, from {period_text(search['shortest_m'])} to "
            f"{period_text(search['longest_m'])}."
        )
    w = waves[0]
    n = "1 wave" if len(waves) == 1 else f"{len(waves)} waves"
    return (
        f"{n} found. The strongest is {period_text(w['period_m'])} long, ± "
        f"{w['amplitude_mm']:.4f} mm high, makes {100 * w['share_of_variance']:.0f} % of the "
        f"variance and swings the flow by {w['swing_pct']:.1f} %."
    )


def _swing(document: Mapping[str, Any]) -> str:
    s = document["swing"]
    if s["value_pct"] is None:
        return ""
    meaning = {
        "fine": f"up to {s['fine_pct']:g} % walls look even",
        "look": f"between {s['fine_pct']:g} and {s['bands_pct']:g} %, look at a test print",
        "bands expected": f"above {s['bands_pct']:g} % expect bands on walls",
    }[s["word"]]
    return (
        f"From its thinnest to its thickest 2.5 % of metres the flow swings by "
        f"{s['value_pct']:.1f} %, which no setting cures: {meaning}. {s['evidence']}"
    )


def _share(pct: float | None) -> str:
    if pct is None:
        return NONE
    return "0 %" if pct == 0 else "less than 0.01 %" if pct < 0.005 else f"{pct:.2f} %"


def _ci(ends: list[float | None], digits: int, unit: str, *, sign: bool = False) -> str:
    if any(end is None for end in ends):
        return ""
    low, high = (_signed(end, digits) if sign else f"{end:.{digits}f}" for end in ends)
    if low == high:
        return f" (95 %: ± less than {10**-digits:g} {unit})"
    return f" (95 %: {low} to {high} {unit})"


def _signed(value: float | None, digits: int) -> str:
    """A number with its sign; one that rounds to zero has none."""
    text = f"{value:+.{digits}f}"
    return text if any(c in "123456789" for c in text) else text[1:]
