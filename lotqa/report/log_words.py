"""The in-line log of a spool in the table of its figures."""

from collections.abc import Mapping
from typing import Any, Final

from lotqa.report.lookup import get
from lotqa.report.numbers import interval, shown
from lotqa.report.texts import plain
from lotqa.report.view import Cell
from lotqa.report.words import WORDS

LOG_SIZE: Final = "In-line log"
LOG_MEAN: Final = "Mean by the log, mm"
LOG_RANGE: Final = "Thinnest to thickest of the log, mm"
LOG_EVENTS: Final = "Lumps, necks, splices of the log"
# Rows of the table, in its order; a lot without logs shows none of them.
LOG_QUANTITIES: Final = (LOG_SIZE, LOG_MEAN, LOG_RANGE, LOG_EVENTS)
SIZE: Final = "{length} m, {rows} rows"
WORTH: Final = "counts as {places} places"
BESIDE: Final = "beside the readings, which decide"
SENSOR: Final = "{n} rows taken for the sensor's own"


def log_cell(spool: Mapping[str, Any], quantity: str) -> Cell:
    """The cell of one spool in one of the log's rows."""
    log = get(spool, "trace")
    if not log:
        return Cell(WORDS.dash)
    if quantity == LOG_SIZE:
        size = SIZE.format(length=shown(get(log, "length_m"), 1), rows=f"{get(log, 'rows'):,}")
        worth = WORTH.format(places=get(log, "independent_places"))
        return Cell(size, worth if get(log, "decides") else plain(BESIDE))
    if quantity == LOG_MEAN:
        ends = interval(get(log, "mean_ci95_mm"), 3)
        return Cell(shown(get(log, "mean_mm"), 3), "" if ends == WORDS.dash else ends)
    if quantity == LOG_RANGE:
        return Cell(interval([get(log, "min_mm"), get(log, "max_mm")], 3))
    counts = [get(log, "events", kind) for kind in ("lump", "neck", "splice")]
    spikes = get(log, "events", "spike")
    return Cell(", ".join(map(str, counts)), SENSOR.format(n=spikes) if spikes else "")
