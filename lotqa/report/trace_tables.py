"""Tables of an in-line log: bands, the diameter in full, metres outside, worst stretches."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from lotqa.report.lookup import get
from lotqa.report.numbers import as_typed, interval, percent, shown
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.trace_words import SEEN_AS, VISIBILITY, period_text
from lotqa.report.view import Cell, Column, Table

BANDED: Final = 3  # waves in the table of parts; the document has more
TONES: Final = {"fine": "", "look": "tune", "bands expected": "reject"}


def band_table(bands: Sequence[Mapping[str, Any]]) -> Table:
    """Where the strongest waves land on each part."""
    heads = (
        Column("Part"),
        Column("Wave"),
        number_column("Filament a layer, mm"),
        number_column("Pitch in Z, mm"),
        number_column("Swing, %"),
        Column("Shows as"),
        Column("Visible"),
    )
    periods = list(dict.fromkeys(b["period_m"] for b in bands))[:BANDED]
    body = []
    for b in bands:
        if b["period_m"] not in periods:
            continue
        lead, seen = b["near_drive_lead_mm"], SEEN_AS[b["seen_as"]]
        if b["seen_as"] == "stripes":
            seen += f", pitch {shown(b['seen_pitch_mm'], 1)} mm"
        body.append(
            (
                Cell(b["part"]),
                Cell(period_text(b["period_m"]).replace(" ", "\u00a0")),
                Cell(shown(b["filament_mm_per_layer"], 1)),
                Cell(
                    shown(b["pitch_mm"], 2),
                    "" if lead is None else f"as a screw of {as_typed(lead)} mm",
                ),
                Cell(shown(b["swing_pct"], 1)),
                Cell(seen),
                Cell(VISIBILITY[b["visibility"]], tone=TONES[b["visibility"]]),
            )
        )
    caption = "Where the strongest waves land on square tubes"
    return table(3, caption, heads, body, is_stacked=False)


def figures_table(document: Mapping[str, Any]) -> Table:
    """All figures of the diameter."""
    d, f, o = document["diameter"], document["flow"], document["ovality"]
    rows = [
        ("Mean, mm", estimate(d["mean_mm"], d["mean_ci95_mm"], 4)),
        ("Uncertainty of the mean (k = 2), mm", Cell(shown(d["uncertainty_mean_mm"], 4))),
        ("Spread s, mm", estimate(d["sd_mm"], d["sd_ci95_mm"], 4)),
        ("Median, mm", Cell(shown(d["median_mm"], 4))),
        ("Narrowest to widest, mm", Cell(interval((d["min_mm"], d["max_mm"]), 3))),
        ("5 % to 95 % of the metres, mm", Cell(_quantiles(d))),
        ("Tolerance interval, mm", Cell(interval(d["tolerance_interval_mm"], 3))),
        ("Cp", estimate(d["cp"], d["cp_ci95"], 2)),
        ("Cpk", estimate(d["cpk"], d["cpk_ci95"], 2)),
        ("Flow error, %", estimate(f["error_pct"], f["error_ci95_pct"], 2, sign=True)),
        ("Multiplier to enter", Cell(shown(f["multiplier"], 3))),
        ("or diameter to enter, mm", Cell(shown(f["set_diameter_mm"], 3))),
        ("Flow swing, %", estimate(f["swing_pct"], f["swing_ci95_pct"], 1)),
        ("Flow swing as read, %", Cell(shown(f["swing_as_read_pct"], 1))),
        ("Ovality, mm", estimate(get(o, "mean_mm"), get(o, "mean_ci95_mm"), 4)),
        ("Largest ovality, mm", Cell(shown(get(o, "max_mm"), 3))),
        (
            "Drift, mm in 100 m",
            estimate(
                document["drift"]["slope_mm_per_100m"],
                document["drift"]["slope_ci95_mm_per_100m"],
                4,
                sign=True,
            ),
        ),
        ("Independent places that the rows are worth", Cell(shown(document["effective_rows"], 0))),
    ]
    heads = (Column("Quantity"), number_column("Value"))
    return table(4, "The diameter in full", heads, [(Cell(name), cell) for name, cell in rows])


def _quantiles(d: Mapping[str, Any]) -> str:
    return interval((d["quantiles_mm"]["p05"], d["quantiles_mm"]["p95"]), 4)


def outside_table(document: Mapping[str, Any]) -> Table:
    """Metres outside each tolerance and beyond the feed limits."""
    rows = [
        (
            Cell(f"\u00b1 {as_typed(o['tolerance_mm'])} mm", "the label" if o["label"] else ""),
            Cell(_percent(o["outside_pct"])),
        )
        for o in document["outside"]
    ]
    feed = document["feed"]
    if feed["thick_mm"] is not None:
        text = f"{as_typed(feed['thick_mm'])} mm or thicker"
        rows.append((Cell(text, "stops in the feed path"), Cell(_percent(feed["thick_pct"]))))
    if feed["thin_mm"] is not None:
        text = f"{as_typed(feed['thin_mm'])} mm or thinner"
        rows.append((Cell(text, "slips in the drive"), Cell(_percent(feed["thin_pct"]))))
    heads = (Column("Limit"), number_column("Metres beyond it, %"))
    return table(5, "Metres outside", heads, rows)


def _percent(value: float | None) -> str:
    return percent(None if value is None else value / 100, 3)


def windows_table(document: Mapping[str, Any]) -> Table:
    """The worst stretches of each length."""
    heads = (
        Column("Worst stretch"),
        number_column("Begins at, m"),
        number_column("Mean, mm"),
        number_column("s, mm"),
        number_column("Flow, %"),
    )
    body = []
    for w in document["windows"]:
        for key, by in (("worst_flow", "by flow"), ("worst_spread", "by spread")):
            s = w[key]
            if s is None:
                continue
            body.append(
                (
                    Cell(f"{as_typed(w['length_m'])} m", by),
                    Cell(shown(s["position_m"], 2)),
                    Cell(shown(s["mean_mm"], 4)),
                    Cell(shown(s["sd_mm"], 4)),
                    Cell(shown(s["flow_error_pct"], 1, sign=True)),
                )
            )
    return table(6, "Worst stretches", heads, body)
