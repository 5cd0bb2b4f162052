"""All statistics of an in-line log in one pass with bounded memory.

    statistics = TraceStatistics(settings)
    for chunk in reader: statistics.add(chunk)
    evidence = statistics.finish()

Rows go into blocks of constant size, spikes of the sensor are replaced and told, and each block is
handed to totals, batches, stretches and events.  The evidence is the same to the last bit however
the log was cut into chunks.  Replaced rows keep their place in ``low_as_read_mm`` and
``high_as_read_mm``.
"""

from dataclasses import dataclass

import numpy as np

from lotqa.errors import TooFewReadings
from lotqa.evidence.traces.batches import Batches
from lotqa.evidence.traces.blocks import Block, Blocks
from lotqa.evidence.traces.envelope import Envelope
from lotqa.evidence.traces.events import Event, Events
from lotqa.evidence.traces.evidence import (
    Drift,
    Mean,
    TraceCapability,
    TraceFlow,
    TraceOvality,
    capability_of,
    drift_of,
    flow_of,
    mean_of,
    ovality_of,
)
from lotqa.evidence.traces.sections import Axes, Shown, axes_of, combined
from lotqa.evidence.traces.settings import TraceSettings
from lotqa.evidence.traces.spikes import without_spikes
from lotqa.evidence.traces.stretches import Stretches, WorstStretches
from lotqa.evidence.traces.totals import Totals
from lotqa.model import TraceChunk

QUANTILES = (0.025, 0.05, 0.5, 0.95, 0.975)


@dataclass(frozen=True, slots=True)
class Outside:
    """Share of the metres that lie beyond nominal +/- a tolerance."""

    tolerance_mm: float
    outside_pct: float


@dataclass(frozen=True, slots=True)
class TraceEvidence:
    """Everything the statistics say of one trace; plain numbers, text and tuples."""

    n_rows: int
    n_sections: int
    n_axes: int
    directions_deg: tuple[float, ...]
    length_m: float  # first to last row of each section
    row_spacing_mm: float  # metres over steps; shorter lumps may stand between rows
    diameter: Mean
    low_mm: float  # narrowest axis; spikes replaced
    low_position_m: float
    high_mm: float  # widest axis
    high_position_m: float
    low_as_read_mm: float
    high_as_read_mm: float
    q025_mm: float
    q05_mm: float
    median_mm: float
    q95_mm: float
    q975_mm: float
    ovality: TraceOvality
    flow: TraceFlow
    capability: TraceCapability
    drift: Drift
    outside: tuple[Outside, ...]  # tolerances rising, the label's own among them
    thick_pct: float  # of the metres: stop in the feed path
    thin_pct: float
    stretches: tuple[WorstStretches, ...]
    events: tuple[Event, ...]  # along the trace
    n_lumps: int  # counted even where the list is cut short
    n_necks: int
    n_splices: int
    n_spikes: int


class TraceStatistics:
    """Takes the chunks of one trace in order; ``envelope`` is filled with what is to be drawn."""

    def __init__(self, settings: TraceSettings, envelope: Envelope | None = None) -> None:
        self._settings = settings
        self._envelope = envelope
        self._blocks = Blocks(settings.block_rows)
        self._totals = Totals(settings)
        self._batches = Batches()
        self._events = Events(settings)
        self._stretches = Stretches(
            settings.windows_m, settings.nominal_mm, settings.set_diameter_mm
        )
        self._axes: Axes | None = None
        self._shown: Shown | None = None
        self._n_sections = 0
        self._steps = 0

    def add(self, chunk: TraceChunk) -> None:
        """Rows that follow those already added.

        Raises ValueError where the directions in the settings are not as many as the axes.
        """
        if self._axes is None:
            self._axes = axes_of(chunk.diameter_mm.shape[1], self._settings.directions_deg)
            self._shown = Shown(self._axes)
        for block in self._blocks.add(chunk):
            self._take(block)

    def _take(self, block: Block) -> None:
        assert self._axes is not None
        assert self._shown is not None
        settings = self._settings
        position = block.position_m[block.own]
        weight = block.weight_m()
        as_read = block.axes_mm[:, block.own]
        cleaned, spikes, heights = without_spikes(
            block, settings.least_bump_mm, settings.spike_spacing_m, settings.implausible_mm
        )
        totals = self._totals
        if len(spikes):
            offset = settings.offset_mm
            read = as_read[:, spikes]
            extreme = np.where(heights > 0, read.max(axis=0), read.min(axis=0)) - offset
            self._events.spikes(position[spikes], heights, extreme)
            totals.high_as_read.meet(extreme, position[spikes])
            totals.low_as_read.meet(-extreme, position[spikes])
        axes = cleaned - settings.offset_mm if settings.offset_mm else cleaned
        if len(axes) == 1:
            mean = widest = narrowest = axes[0]
        else:
            mean = combined(self._axes.mean, axes)
            widest, narrowest = axes.max(axis=0), axes.min(axis=0)
        totals.add(position, weight, mean, widest, narrowest)
        if self._envelope is not None:
            self._envelope.add(position, mean, widest, narrowest)
        self._count_length(block, position)
        y = mean - settings.nominal_mm
        sums = np.empty((5, len(y)))
        sums[0] = weight
        np.multiply(weight, y, out=sums[1])
        np.multiply(sums[1], y, out=sums[2])
        np.multiply(weight, self._shown.squares_mm2(axes), out=sums[3])
        np.multiply(weight, position, out=sums[4])
        self._batches.add(sums)
        self._stretches.add(position, sums[:3], closes=block.closes)
        self._events.add(position, mean, widest, narrowest, closes=block.closes)

    def _count_length(self, block: Block, position: np.ndarray) -> None:
        self._n_sections += block.opens
        before = block.position_m[block.before - 1] if block.before else position[0]
        self._totals.length_m += float(position[-1] - before)
        self._steps += len(position) - (0 if block.before else 1)

    def finish(self) -> TraceEvidence:
        """The evidence of all rows added.  Raises TooFewReadings where there was none."""
        for block in self._blocks.close():
            self._take(block)
        totals, settings = self._totals, self._settings
        if self._axes is None or self._shown is None or not totals.n_rows:
            raise TooFewReadings("a trace needs 1 row, got 0: choose the columns of the log")
        cells = self._batches.cells()
        n_axes = len(self._axes.directions_deg)
        mean = mean_of(cells, totals.n_rows, settings, n_axes)
        q025, q05, median, q95, q975 = totals.quantiles_mm(QUANTILES)
        counts = self._events.counts
        share = 100 / totals.weight_m
        return TraceEvidence(
            n_rows=totals.n_rows,
            n_sections=self._n_sections,
            n_axes=n_axes,
            directions_deg=self._axes.directions_deg,
            length_m=totals.length_m,
            row_spacing_mm=1000 * totals.length_m / self._steps if self._steps else float("nan"),
            diameter=mean,
            low_mm=-totals.low.value,
            low_position_m=totals.low.position_m,
            high_mm=totals.high.value,
            high_position_m=totals.high.position_m,
            low_as_read_mm=-max(totals.low.value, totals.low_as_read.value),
            high_as_read_mm=max(totals.high.value, totals.high_as_read.value),
            q025_mm=q025,
            q05_mm=q05,
            median_mm=median,
            q95_mm=q95,
            q975_mm=q975,
            ovality=ovality_of(
                cells,
                self._axes.gain,
                self._shown.noise_mm2(),
                self._shown.largest_mm,
                len(set(self._axes.directions_deg)),
            ),
            flow=flow_of(mean, q025, q975, settings.set_diameter_mm),
            capability=capability_of(mean, settings),
            drift=drift_of(cells, settings.nominal_mm),
            outside=tuple(
                Outside(tolerance, share * metres)
                for tolerance, metres in zip(
                    totals.tolerances_mm, totals.outside_m.tolist(), strict=True
                )
            ),
            thick_pct=share * totals.thick_m,
            thin_pct=share * totals.thin_m,
            stretches=self._stretches.finish(),
            events=tuple(sorted(self._events.found, key=lambda e: e.position_m)),
            n_lumps=counts["lump"],
            n_necks=counts["neck"],
            n_splices=counts["splice"],
            n_spikes=counts["spike"],
        )
