"""Evidence of an in-line log: one pass over its rows, bounded memory; it knows nothing of files.

:class:`TraceStatistics` takes chunks and gives one :class:`TraceEvidence`.
"""

from lotqa.evidence.traces.envelope import Envelope, Strand
from lotqa.evidence.traces.events import Event
from lotqa.evidence.traces.settings import TraceSettings
from lotqa.evidence.traces.trace import TraceEvidence, TraceStatistics

__all__ = ["Envelope", "Event", "Strand", "TraceEvidence", "TraceSettings", "TraceStatistics"]
