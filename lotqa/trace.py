"""The job of an in-line log: read it once as a stream, tell what it says, draw it.

Statistics and spectrum see each chunk as it passes; nothing of the log is kept but what is drawn,
in a bounded number of columns, and the first metres for the drawing of a wall.  Nothing is written
before everything is known, so that a job that is stopped leaves nothing behind.
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lotqa import __version__
from lotqa.criteria import Criteria
from lotqa.errors import UnusableInput
from lotqa.evidence.traces import Envelope, TraceEvidence, TraceSettings, TraceStatistics
from lotqa.evidence.waves.bands import Band, Part, bands, square_part, table_parts
from lotqa.evidence.waves.spectrum import Spectrum, WaveEvidence
from lotqa.evidence.waves.wall import Wall, wall_of_trace
from lotqa.intake.traces import TraceOptions, TraceReader, read_trace
from lotqa.model import FloatArray, TraceChunk
from lotqa.report.page import render, write_page
from lotqa.report.trace_document import LogFile, Print, trace_document

USUAL_LINE_WIDTH_MM, USUAL_LAYER_HEIGHT_MM = 0.45, 0.20  # of a 0.4 mm nozzle (common practice)
BANDED_WAVES = 5  # the strongest; more make a table that nobody reads
DRAWN_SIZE_MM, DRAWN_WALLS = 80.0, 1  # the wall that is drawn where no part is given
DRAWN_HEIGHT_MM = 40.0
DRAWN_SPOTS = 160  # across the face
SIDES = 4


def _silently(_done: int, _total: int) -> None:
    """Nobody watches this run."""


@dataclass(frozen=True, slots=True)
class Stated:
    """What a person says about filament, gauge and print; None where the usual is meant."""

    nominal_mm: float | None = None
    tolerance_mm: float | None = None
    set_diameter_mm: float | None = None
    gauge_error_mm: float | None = None
    line_width_mm: float | None = None
    layer_height_mm: float | None = None
    part_mm: float | None = None
    walls: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """What one pass over a log gave."""

    settings: TraceSettings
    evidence: TraceEvidence
    waves: WaveEvidence
    first: TraceChunk  # the first rows, for the drawing of a wall


@dataclass(frozen=True, slots=True)
class TraceDone:
    """What a trace left behind."""

    document: dict[str, Any]
    page: Path | None = None


def run_trace(
    path: Path,
    criteria: Criteria,
    *,
    now: datetime,
    options: TraceOptions | None = None,
    stated: Stated | None = None,
    report_folder: Path | None = None,
    progress: Callable[[int, int], None] = _silently,
) -> TraceDone:
    """Evaluate the log at ``path``; draw it into ``report_folder``, where given.

    ``progress`` is told bytes read and bytes to read.  Raises UnusableInput where no row can be
    used, or where it must be said what the filament is.
    """
    stated = Stated() if stated is None else stated
    reader = read_trace(path, TraceOptions() if options is None else options)
    envelope = None if report_folder is None else Envelope()
    traced = pass_over(reader, criteria, stated, envelope, progress)
    print_ = _print(stated, criteria)
    found = banded(traced, print_)
    document = trace_document(
        _file(reader),
        traced.settings,
        traced.evidence,
        traced.waves,
        found,
        print_,
        now=now,
        program_version=__version__,
        is_gauge_error_stated=stated.gauge_error_mm is not None,
    )
    page = None
    if report_folder is not None and envelope is not None:
        from lotqa.report.trace_view import Drawn, trace_view

        part = print_.part or square_part(DRAWN_SIZE_MM, DRAWN_WALLS)
        n_walls = stated.walls if print_.part else DRAWN_WALLS
        drawn = Drawn(
            envelope.finish(),
            traced.waves,
            part.name,
            part.line_mm_per_layer / (SIDES * n_walls),
            wall(traced, part, n_walls, print_),
        )
        html = render("trace.html.jinja", view=trace_view(document, drawn))
        page = write_page(html, report_folder, f"trace_{path.stem}_{now:%Y-%m-%d}")
    return TraceDone(document, page)


def pass_over(
    reader: TraceReader,
    criteria: Criteria,
    stated: Stated,
    envelope: Envelope | None = None,
    progress: Callable[[int, int], None] = _silently,
) -> Traced:
    """One pass over the log: every chunk goes to the statistics and to the spectrum.

    Both work on a chunk, each by itself, while the next one is read; no more than these two chunks
    are held.
    """
    chunks = iter(reader)
    first = next(chunks, None)
    if first is None:
        raise UnusableInput(f"{reader.name}: there are no rows: choose another file")
    settings = _settings(reader, first, criteria, stated)
    statistics, spectrum = TraceStatistics(settings, envelope), Spectrum()

    with ThreadPoolExecutor(2) as workers:

        def begin(chunk: TraceChunk) -> tuple[Future[None], ...]:
            return tuple(workers.submit(taker.add, chunk) for taker in (statistics, spectrum))

        taking = begin(first)
        for chunk in chunks:
            for work in taking:
                work.result()
            taking = begin(chunk)
            progress(reader.bytes_read, reader.bytes_total)
        for work in taking:
            work.result()
    return Traced(settings, statistics.finish(), spectrum.finish(), first)


def banded(traced: Traced, print_: Print) -> tuple[Band, ...]:
    """The strongest waves on the part that was asked for and on those of the table."""
    strongest = tuple((w.period_m, w.amplitude_mm) for w in traced.waves.waves[:BANDED_WAVES])
    own = () if print_.part is None else (print_.part,)
    others = (p for p in table_parts() if print_.part is None or p.name != print_.part.name)
    return bands(
        strongest,
        (*own, *others),
        diameter_mm=traced.evidence.diameter.mean_mm,
        set_diameter_mm=traced.settings.set_diameter_mm,
        line_width_mm=print_.line_width_mm,
        layer_height_mm=print_.layer_height_mm,
        fine_pct=print_.fine_pct,
        bands_pct=print_.bands_pct,
    )


def wall(traced: Traced, part: Part, n_walls: int, print_: Print) -> Wall | None:
    """One face of ``part`` printed from the first metres; None if they do not reach for a layer."""
    from lotqa.evidence.waves.bands import filament_mm_per_layer

    position, diameter = _first_metres(traced)
    used = float(
        filament_mm_per_layer(
            part.line_mm_per_layer,
            traced.settings.set_diameter_mm,
            print_.line_width_mm,
            print_.layer_height_mm,
        )
    )
    if len(position) < 2 or 1000 * (position[-1] - position[0]) < 2 * used:
        return None
    # The outer wall is laid first; one side of it is a quarter of its length.
    face = np.linspace(0.0, 1 / (SIDES * n_walls), DRAWN_SPOTS)
    return wall_of_trace(
        position,
        diameter,
        filament_mm_per_layer=used,
        height_mm=DRAWN_HEIGHT_MM,
        line_width_mm=print_.line_width_mm,
        layer_height_mm=print_.layer_height_mm,
        set_diameter_mm=traced.settings.set_diameter_mm,
        from_m=float(position[0]),
        path_share=face,
    )


def _first_metres(traced: Traced) -> tuple[FloatArray, FloatArray]:
    """Position and mean of the axes of the first rows, without what only the sensor saw."""
    e, first = traced.evidence, traced.first
    offset = traced.settings.offset_mm
    mean = np.clip(first.diameter_mm.mean(axis=1) - offset, e.low_mm, e.high_mm)
    moves = np.diff(first.length_m, prepend=-np.inf) > 0
    return first.length_m[moves], mean[moves]


def _settings(
    reader: TraceReader, first: TraceChunk, criteria: Criteria, stated: Stated
) -> TraceSettings:
    """What the trace is judged against, by its first rows where nobody says."""
    middle = float(np.median(first.diameter_mm))
    wanted = middle if stated.nominal_mm is None else stated.nominal_mm
    stock = criteria.stock_for(wanted)
    if stock is None and (stated.nominal_mm is None or stated.tolerance_mm is None):
        sold = " or ".join(f"{s.nominal_mm:g}" for s in criteria.stocks)
        ask = "--nominal and --tolerance" if stated.nominal_mm is None else "--tolerance"
        raise UnusableInput(
            f"{reader.name}: {wanted:.3g} mm is no stock of the criteria ({sold} mm): give {ask}"
        )
    nominal = stated.nominal_mm
    if nominal is None:
        assert stock is not None
        nominal = stock.nominal_mm
    tolerance = stated.tolerance_mm
    if tolerance is None:
        assert stock is not None
        tolerance = stock.tolerance_mm
    error = stated.gauge_error_mm or 0.0
    return TraceSettings(
        nominal_mm=nominal,
        tolerance_mm=tolerance,
        set_diameter_mm=nominal if stated.set_diameter_mm is None else stated.set_diameter_mm,
        thick_reject_mm=np.inf if stock is None else stock.thick_reject_mm,
        thin_reject_mm=0.0 if stock is None else stock.thin_reject_mm,
        u_offset_mm=error / np.sqrt(3),  # rectangular: GUM (JCGM 100:2008), 4.3.7
        directions_deg=tuple(axis.angle_deg for axis in reader.axes),
    )


def _print(stated: Stated, criteria: Criteria) -> Print:
    width, height = stated.line_width_mm, stated.layer_height_mm
    return Print(
        line_width_mm=USUAL_LINE_WIDTH_MM if width is None else width,
        layer_height_mm=USUAL_LAYER_HEIGHT_MM if height is None else height,
        is_bead_stated=width is not None and height is not None,
        part=None if stated.part_mm is None else square_part(stated.part_mm, stated.walls),
        fine_pct=criteria["swing.fine_pct"],
        bands_pct=criteria["swing.bands_pct"],
    )


def _file(reader: TraceReader) -> LogFile:
    return LogFile(
        name=reader.name,
        n_bytes=reader.bytes_total,
        length_source=reader.length_source,
        rows_read=reader.rows_read,
        rows_used=reader.rows_used,
        rows_reported=reader.rows_reported,
        axes=tuple(
            {"name": a.name, "angle_deg": a.angle_deg, "angle_known": a.is_angle_known}
            for a in reader.axes
        ),
        problems=reader.problems,
        n_problems=reader.n_problems,
    )
