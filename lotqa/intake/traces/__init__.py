"""In-line logs of millions of rows, read as a stream of chunks in bounded memory.

Every row is either used or reported; what a log does wrong is told with its lines, and told once
for a whole run of lines.
"""

from lotqa.intake.traces.options import TraceLimits, TraceOptions
from lotqa.intake.traces.reader import Axis, TraceReader, read_trace

__all__ = ["Axis", "TraceLimits", "TraceOptions", "TraceReader", "read_trace"]
