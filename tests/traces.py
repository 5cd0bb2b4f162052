"""In-line logs with known truth: rows of length and diameter, as arrays, chunks, text and files.

The mean diameter at length x is

    d(x) = mean + drift x + steps + sum of waves + lumps + sd * z(x)

z is a first-order autoregression from row to row, with mean 0, variance 1 and correlation
``neighbour_correlation`` (0.89 to 0.99 in logs of one contact sensor, common practice).  Each axis
sees d(x) plus half the ovality times cos 2(angle - turn), plus noise of its own, rounded to the
gauge's step.  Everything is vectorised and drawn from a stated seed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from lotqa.model import TraceChunk

FloatArray = NDArray[np.float64]
Lump = tuple[float, float, float]  # position of its middle (m), length (mm), height (mm)


@dataclass(frozen=True, slots=True)
class Shape:
    """The true filament and the gauge that reads it."""

    mean_mm: float = 1.75
    sd_mm: float = 0.004  # of the irregular part
    neighbour_correlation: float = 0.95  # between rows
    drift_mm_per_m: float = 0.0
    waves: tuple[tuple[float, float], ...] = ()  # period (m), amplitude (mm)
    lumps: tuple[Lump, ...] = ()  # half a cosine wave; a negative height is a neck
    splices: tuple[tuple[float, float], ...] = ()  # position (m), step of the mean (mm) from there
    ovality_mm: float = 0.0  # d_max - d_min
    turn_m: float = 3.0  # metres in which the long axis turns once
    axis_angles_deg: tuple[float, ...] = (0.0,)
    noise_sd_mm: float = 0.0
    gauge_step_mm: float = 0.001  # 0: nothing is rounded


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The rows of a log as the gauge gives them."""

    length_m: FloatArray  # (n,) as logged: falls back where the log restarts
    diameter_mm: FloatArray  # (n, a)
    true_mean_mm: FloatArray  # (n,) without noise, ovality and rounding

    def __len__(self) -> int:
        return len(self.length_m)


def simulated(
    n_rows: int,
    shape: Shape | None = None,
    *,
    step_mm: float = 1.0,
    seed: int = 1,
    restarts: Sequence[int] = (),
) -> Trace:
    """A log of equal steps; at each row of ``restarts`` the logged length begins at 0 again."""
    shape = Shape() if shape is None else shape
    rng = np.random.default_rng(seed)
    true_m = np.arange(n_rows) * (step_mm / 1000.0)
    mean = shape.mean_mm + shape.drift_mm_per_m * true_m
    mean += shape.sd_mm * autoregression(n_rows, shape.neighbour_correlation, rng)
    for period_m, amplitude_mm in shape.waves:
        phase = rng.uniform(0.0, 2.0 * np.pi)
        mean += amplitude_mm * np.sin(2.0 * np.pi * true_m / period_m + phase)
    for position_m, step_mean_mm in shape.splices:
        mean[true_m >= position_m] += step_mean_mm
    for position_m, length_mm, height_mm in shape.lumps:
        half_m = length_mm / 2000.0
        first, last = np.searchsorted(true_m, [position_m - half_m, position_m + half_m])
        u = (true_m[first:last] - position_m) / half_m
        mean[first:last] += height_mm * np.cos(0.5 * np.pi * u)
    angles = np.radians(shape.axis_angles_deg)
    turn = 2.0 * np.pi * true_m / shape.turn_m
    read = mean[:, None] + 0.5 * shape.ovality_mm * np.cos(2.0 * (angles - turn[:, None]))
    if shape.noise_sd_mm:
        read += shape.noise_sd_mm * rng.standard_normal(read.shape)
    if shape.gauge_step_mm:
        read = np.round(read / shape.gauge_step_mm) * shape.gauge_step_mm
    logged_m = true_m.copy()
    for row in restarts:
        logged_m[row:] -= logged_m[row]
    return Trace(logged_m, read, mean)


def autoregression(n: int, correlation: float, rng: np.random.Generator) -> FloatArray:
    """n values of mean 0 and variance 1, neighbours correlated, in their steady state."""
    shocks = rng.standard_normal(n)
    shocks[1:] *= np.sqrt(1.0 - correlation**2)
    return np.asarray(lfilter([1.0], [1.0, -correlation], shocks), dtype=np.float64)


def chunks(trace: Trace, size: int = 100_000) -> Iterator[TraceChunk]:
    """The log as the reader hands it on; lengths go on over a restart, which starts a section."""
    step_m = trace.length_m[1] - trace.length_m[0] if len(trace) > 1 else 0.0
    falls = np.flatnonzero(np.diff(trace.length_m) < 0) + 1
    moved = np.zeros(len(trace))
    moved[falls] = trace.length_m[falls - 1] - trace.length_m[falls] + step_m
    length_m = trace.length_m + np.cumsum(moved)
    cuts = np.union1d(np.arange(0, len(trace), size), falls)
    for first, last in zip(cuts, [*cuts[1:], len(trace)], strict=True):
        part = slice(int(first), int(last))
        is_new = bool(np.isin(first, falls))
        yield TraceChunk(length_m[part], trace.diameter_mm[part], int(first), is_new)


def table_bytes(
    trace: Trace,
    header: str | None = None,
    *,
    separator: str = ",",
    point: str = ".",
    line_end: str = "\n",
    length_decimals: int = 4,
    diameter_decimals: int = 4,
    length_factor: float = 1.0,
) -> bytes:
    """The log as text: length, then each axis; ``header`` None writes one, "" leaves it out."""
    n_axes = trace.diameter_mm.shape[1]
    if header is None:
        names = ("diameter_mm",) if n_axes == 1 else ("d_x_mm", "d_y_mm", "d_z_mm")[:n_axes]
        header = separator.join(("length_m", *names))
    columns = [(trace.length_m * length_factor, length_decimals)]
    columns += [(column, diameter_decimals) for column in trace.diameter_mm.T]
    parts: list[tuple[NDArray[np.uint8], NDArray[np.bool_]]] = []
    for k, (values, decimals) in enumerate(columns):
        parts.append(_digits(values, decimals, point))
        ending = line_end if k == len(columns) - 1 else separator
        text = np.frombuffer(ending.encode(), dtype=np.uint8)
        full = np.broadcast_to(text, (len(trace), len(text)))
        parts.append((full, np.ones(full.shape, dtype=bool)))
    text = np.hstack([p[0] for p in parts])[np.hstack([p[1] for p in parts])].tobytes()
    return (f"{header}{line_end}" if header else "").encode() + text


def _digits(
    values: FloatArray, decimals: int, point: str
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Numbers of 0 and more as a matrix of digits, and which of its cells are written."""
    whole = np.round(values * 10.0**decimals).astype(np.int64)
    width = max(len(str(int(whole.max(initial=0)))), decimals + 1)
    powers = 10 ** np.arange(width - 1, -1, -1)
    figures = ((whole[:, None] // powers) % 10 + ord("0")).astype(np.uint8)
    kept = whole[:, None] >= powers
    kept[:, -decimals - 1 :] = True
    if decimals:
        dot = np.full((len(values), 1), ord(point), dtype=np.uint8)
        cut = width - decimals
        figures = np.hstack([figures[:, :cut], dot, figures[:, cut:]])
        kept = np.hstack([kept[:, :cut], np.ones((len(values), 1), dtype=bool), kept[:, cut:]])
    return figures, kept


def write_table(path: Path, trace: Trace, *, rows_at_once: int = 500_000, **style: object) -> None:
    """The same as :func:`table_bytes` into a file, piece by piece."""
    with path.open("wb") as file:
        for first in range(0, len(trace), rows_at_once):
            part = slice(first, first + rows_at_once)
            piece = Trace(trace.length_m[part], trace.diameter_mm[part], trace.true_mean_mm[part])
            more = {**style, "header": ""} if first else style
            file.write(table_bytes(piece, **more))  # type: ignore[arg-type]


def firmware_log(trace: Trace, *, chatter_every: int = 3) -> bytes:
    """The log as a printer talks: ``Filament width:1.714`` amid answers and temperatures."""
    lines = ["start", "echo:SD init fail"]
    for row, value in enumerate(trace.diameter_mm[:, 0]):
        lines.append(f"Filament width:{value:.3f}")
        if row % chatter_every == 0:
            lines += ["ok", " T:210.02 /210.00 B:60.01 /60.00 @:64 B@:12"]
    return ("\n".join(lines) + "\n").encode()
