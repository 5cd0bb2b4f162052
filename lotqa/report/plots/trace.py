"""An in-line log drawn: the whole strand, the spectrum of its waves, and a printed wall.

The strand is a filament strip of millions of rows: each column of the drawing reaches from the
narrowest to the widest row in it.  The wall is lit as by a lamp LIGHT_DEG off its plane from
above; a matt surface then has, by Lambert's law, the brightness 1 + slope / tan(LIGHT_DEG) of that
of an even wall, which is drawn half way between ink and paper.  The lamp is the same for every
log, so that two pages can be held side by side.
"""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lotqa.evidence.traces import Strand
from lotqa.evidence.waves.spectrum import WaveEvidence
from lotqa.evidence.waves.wall import Wall
from lotqa.model import FloatArray
from lotqa.report.looks import PALETTE, TYPE_PT, WIDE, Format
from lotqa.report.numbers import shown
from lotqa.report.plots.canvas import HAIR_PT, LINE_PT, blank, in_house_style, ticks
from lotqa.report.plots.strips import (
    LEAST_RANGE_MM,
    PAD,
    ROOM,
    FeedLimits,
    draw_corridor,
    draw_flow_axis,
)
from lotqa.report.texts import plain
from lotqa.report.trace_words import KINDS, period_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMNS_AN_INCH: Final = 130  # of the strand
MARKERS: Final = {"lump": "^", "neck": "v", "splice": "D", "spike": "x"}
MOST_MARKED: Final = 60  # events of a kind, the tallest; more are a bar and no marks
MOST_NAMED: Final = 4  # waves with their length beside them
POINTS: Final = 600  # of a spectrum
PEAK_REACH: Final = 0.02  # of a wave length: its summit is looked for within
LIGHT_DEG: Final = 5.0


@in_house_style
def strand_plot(
    strand: Strand,
    events: Sequence[Mapping[str, Any]],
    nominal_mm: float,
    tolerance_mm: float,
    feed_limits: FeedLimits,
    *,
    set_diameter_mm: float,
    mean_mm: float,
    size: Format = WIDE,
) -> "Figure":
    """The whole log, with its events marked along the upper edge."""
    fig, ax = blank(
        size.width_in, size.strip_height_in + 0.25,
        left_in=0.55, right_in=0.55, top_in=0.42, bottom_in=0.42,
    )  # fmt: skip
    columns = strand.coarser(round(COLUMNS_AN_INCH * (size.width_in - 1.1)))
    x, width = columns.middle_m, columns.width_m
    ax.set_xlim(x[0] - width, x[-1] + width)
    ax.set_ylim(*_range_mm(columns, nominal_mm, tolerance_mm))
    draw_corridor(ax, nominal_mm, tolerance_mm, feed_limits)
    upper, lower = nominal_mm + tolerance_mm, nominal_mm - tolerance_mm
    least = 0.004 * (ax.get_ylim()[1] - ax.get_ylim()[0])  # a strand without spread is still seen
    low, high = columns.low_mm - least, columns.high_mm + least
    ax.fill_between(x, low, high, step="mid", color=PALETTE["soft"], linewidth=0, zorder=3)
    for start, end, where in (
        (np.maximum(low, upper), high, columns.high_mm > upper),
        (low, np.minimum(high, lower), columns.low_mm < lower),
    ):
        if where.any():
            ax.vlines(x[where], start[where], end[where], colors=PALETTE["reject"], linewidth=1.4,
                      zorder=3.5)  # fmt: skip
    ax.plot(x, columns.mean_mm, color=PALETTE["ink"], linewidth=HAIR_PT, zorder=4)
    _mark_events(ax, events, size)
    _finish_strand(ax, size)
    draw_flow_axis(ax, set_diameter_mm)
    fig.set_label(
        f"Filament strip of the whole log, {shown(float(x[-1] + width / 2 - strand.from_m), 1)} m: "
        f"from {shown(float(np.nanmin(strand.low_mm)), 3)} to "
        f"{shown(float(np.nanmax(strand.high_mm)), 3)} mm, mean {shown(mean_mm, 4)} mm; tolerance "
        f"band {shown(lower, 3)} to {shown(upper, 3)} mm; {_counted(events)}"
    )
    return fig


def _range_mm(columns: Strand, nominal_mm: float, tolerance_mm: float) -> tuple[float, float]:
    low, high = float(np.nanmin(columns.low_mm)), float(np.nanmax(columns.high_mm))
    pad, half = PAD * (high - low), tolerance_mm * (1 + ROOM)
    lo, hi = min(low - pad, nominal_mm - half), max(high + pad, nominal_mm + half)
    short = max(0.0, LEAST_RANGE_MM - (hi - lo)) / 2
    return lo - short, hi + short


def _counted(events: Sequence[Mapping[str, Any]]) -> str:
    counts = {kind: sum(e["kind"] == kind for e in events) for kind in KINDS}
    listed = [f"{n} {KINDS[kind][n != 1]}" for kind, n in counts.items() if n]
    return ", ".join(listed) or "no events"


def _mark_events(ax: "Axes", events: Sequence[Mapping[str, Any]], size: Format) -> None:
    """Shapes along the upper edge; those that stop in the feed path are filled and red."""
    x0 = 0.0
    for kind, marker in MARKERS.items():
        mine = [e for e in events if e["kind"] == kind]
        if not mine:
            continue
        tallest = sorted(mine, key=lambda e: -abs(e["peak_mm"]))[:MOST_MARKED]
        for stops in (False, True):
            at = [e["position_m"] for e in tallest if bool(e["stops"]) is stops]
            colour = PALETTE["reject"] if stops else PALETTE["ink"]
            ax.plot(
                at, np.full(len(at), 1.05), linestyle="none", marker=marker, markersize=4.5,
                color=colour, markeredgecolor=colour, markeredgewidth=0.9,
                markerfacecolor=colour if stops else PALETTE["paper"],
                transform=ax.get_xaxis_transform(), clip_on=False, zorder=6,
            )  # fmt: skip
        if kind == "splice":
            for e in tallest:
                ax.axvline(e["position_m"], color=PALETTE["ink"], linewidth=HAIR_PT, dashes=(2, 2),
                           zorder=5)  # fmt: skip
        ax.plot([x0 + 0.01], [1.15], linestyle="none", marker=marker, markersize=4.5,
                color=PALETTE["ink"], markerfacecolor=PALETTE["paper"], markeredgewidth=0.9,
                transform=ax.transAxes, clip_on=False)  # fmt: skip
        ax.text(x0 + 0.03, 1.15, f"{kind} ({len(mine)})", transform=ax.transAxes, va="center",
                fontsize=TYPE_PT["small"])  # fmt: skip
        x0 += 0.25 if size.narrow else 0.14


def _finish_strand(ax: "Axes", size: Format) -> None:
    values, digits = ticks(*ax.get_ylim(), 8)
    ax.set_yticks(values)
    ax.set_yticklabels([shown(v, max(digits, 2)) for v in values])
    ax.set_ylabel("diameter, mm", fontsize=TYPE_PT["small"], labelpad=2)
    along, n_digits = ticks(*ax.get_xlim(), 5 if size.narrow else 10)
    ax.set_xticks(along)
    ax.set_xticklabels([shown(v, n_digits) for v in along])
    ax.set_xlabel("metres along the filament", fontsize=TYPE_PT["small"], labelpad=2)


@in_house_style
def spectrum_plot(waves: WaveEvidence, *, size: Format = WIDE) -> "Figure":
    """Density over the continuum, by wave length; what passes the dashed line is a wave."""
    fig, ax = blank(
        size.width_in, size.strip_height_in,
        left_in=0.62, right_in=0.12, top_in=0.1, bottom_in=0.42,
    )  # fmt: skip
    period, ratio, limit = _thinned(waves)
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.fill_between(period, ratio, 1.0, where=ratio >= 1.0, color=PALETTE["soft"], linewidth=0.6,
                    zorder=2)  # fmt: skip
    ax.axhline(1.0, color=PALETTE["mean"], linewidth=1.8, zorder=3)
    ax.plot(period, limit, color=PALETTE["reject"], linewidth=LINE_PT, dashes=(5, 2), zorder=4)
    ax.set_xlim(period.min(), period.max())
    ax.set_ylim(0.7, 3 * float(max(ratio.max(), limit.max())))
    for i, wave in enumerate(waves.waves):
        beside = np.abs(np.log(period / wave.period_m)) < PEAK_REACH
        top = float(ratio[beside].max()) if beside.any() else 1.0
        ax.plot([wave.period_m], [top], marker="v", markersize=5, color=PALETTE["ink"], zorder=5)
        if i < MOST_NAMED:
            ax.annotate(
                period_text(wave.period_m), (wave.period_m, top), xytext=(0, 6),
                textcoords="offset points", ha="center", fontsize=TYPE_PT["small"],
            )  # fmt: skip
    ax.minorticks_off()
    ax.set_yticks(_tens(1.0, ax.get_ylim()[1]))
    ax.set_yticklabels([f"{v:g}" for v in _tens(1.0, ax.get_ylim()[1])])
    ax.set_ylabel("times the neighbours", fontsize=TYPE_PT["small"], labelpad=2)
    at = _decades(float(period.min()), float(period.max()))
    ax.set_xticks(at)
    ax.set_xticklabels([f"{1000 * v:g} mm" if v < 0.01 else f"{100 * v:g} cm" if v < 1
                        else f"{v:g} m" for v in at])  # fmt: skip
    ax.set_xlabel("wave length", fontsize=TYPE_PT["small"], labelpad=2)
    told = "; ".join(
        f"{period_text(w.period_m)}, \u00b1 {shown(w.amplitude_mm, 4)} mm" for w in waves.waves
    )
    fig.set_label(
        f"Spectrum of the log from {period_text(waves.shortest_m)} to "
        f"{period_text(waves.longest_m)}; waves: {told or 'none'}"
    )
    return fig


def _thinned(waves: WaveEvidence) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(period rising, highest density, limit) in at most POINTS steps of the logarithm.

    Density and limit are in units of the continuum.
    """
    x = np.log(waves.frequency_per_m)
    span = float(x[-1] - x[0]) or 1.0
    step = np.floor((x - x[0]) / span * (POINTS - 1)).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(step)) + 1))
    highest = np.maximum.reduceat(waves.density / waves.continuum, starts)
    limit = np.minimum.reduceat(waves.limit / waves.continuum, starts)
    return 1 / waves.frequency_per_m[starts][::-1], highest[::-1], limit[::-1]


def _decades(low: float, high: float) -> list[float]:
    """Round wave lengths for the axis."""
    tens = _tens(low / 10, high)
    few = [v * f for v in tens for f in (1.0, 3.0)] if len(tens) <= 3 else tens
    return [v for v in few if low <= v <= high]


def _tens(low: float, high: float) -> list[float]:
    """Powers of ten from ``low`` to ``high``."""
    first, last = math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9)
    return [float(f"1e{k}") for k in range(first, last + 1)]


@in_house_style
def wall_plot(wall: Wall, face_mm: float, part: str, *, size: Format = WIDE) -> "Figure":
    """One face of a part in raking light from above."""
    height_mm = float(wall.height_mm[-1] + wall.height_mm[0])
    room_in = size.width_in - 0.75
    high_in = min(room_in * height_mm / face_mm, 2.6)
    fig, ax = blank(
        size.width_in, high_in + 0.55, left_in=0.55, right_in=0.2, top_in=0.1, bottom_in=0.45
    )
    ax.imshow(
        _lit(wall), origin="lower", extent=(0.0, face_mm, 0.0, height_mm), aspect="equal",
        interpolation="nearest",
    )  # fmt: skip
    ax.set_anchor("W")
    for side in ("left", "bottom"):
        ax.spines[side].set_visible(False)
    values, digits = ticks(0.0, height_mm, 5)
    ax.set_yticks(values)
    ax.set_yticklabels([shown(v, digits) for v in values])
    across, n_digits = ticks(0.0, face_mm, 4 if face_mm < height_mm or size.narrow else 8)
    ax.set_xticks(across)
    ax.set_xticklabels([shown(v, n_digits) for v in across])
    ax.set_ylabel("height, mm", fontsize=TYPE_PT["small"], labelpad=2)
    ax.set_xlabel("along the face, mm", fontsize=TYPE_PT["small"], labelpad=2)
    lo, hi = (shown(float(v), 3) for v in (wall.line_width_mm.min(), wall.line_width_mm.max()))
    fig.set_label(
        f"A wall of {plain(part)}, {shown(height_mm, 1)} mm high, printed from the first metres of "
        f"the log, in raking light: the line is from {lo} to {hi} mm wide"
    )
    return fig


def _lit(wall: Wall) -> FloatArray:
    """Colours (layers, spots, 3) of the face under the lamp."""
    from matplotlib.colors import to_rgb

    if len(wall.height_mm) > 1:
        surface_mm = wall.line_width_mm / 2
        slope = -np.gradient(surface_mm, wall.height_mm, axis=0)
    else:
        slope = np.zeros_like(wall.line_width_mm)
    light = np.clip(0.5 * (1 + slope / math.tan(math.radians(LIGHT_DEG))), 0.0, 1.0)
    ink, paper = (np.array(to_rgb(PALETTE[name])) for name in ("ink", "paper"))
    return np.asarray(ink + light[..., None] * (paper - ink))
