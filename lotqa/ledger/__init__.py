"""The ledger remembers: one database of everything inspected, append-only.

A file (SQLite) by default.  Everything is kept as it came, beside what was made of it: files,
readings, weigh-ins, findings, the criteria, the document.
"""

from lotqa.ledger.efforts import EffortChange, EffortRow, KeptOutcome
from lotqa.ledger.location import default_location, ledger_exists
from lotqa.ledger.rows import (
    BenchScale,
    Entry,
    InspectionRow,
    Interval,
    LotRow,
    RawRow,
    SpoolHindsight,
    SpoolPlaces,
    SpoolRow,
)
from lotqa.ledger.store import BUSY_TIMEOUT_S, Ledger
from lotqa.ledger.studies import KnownScatter, StudyEntry
from lotqa.ledger.tares import TareEntry, TareRow

__all__ = [
    "BUSY_TIMEOUT_S",
    "BenchScale",
    "EffortChange",
    "EffortRow",
    "Entry",
    "InspectionRow",
    "Interval",
    "KeptOutcome",
    "KnownScatter",
    "Ledger",
    "LotRow",
    "RawRow",
    "SpoolHindsight",
    "SpoolPlaces",
    "SpoolRow",
    "StudyEntry",
    "TareEntry",
    "TareRow",
    "default_location",
    "ledger_exists",
]
