"""The intake room: files that people write become the nouns of the model.

Every row is either used or reported, every complaint says where and what to do, and nothing is
corrected silently.
"""

from lotqa.intake.lot import ReadOptions, read_lot, read_sources

__all__ = ["ReadOptions", "read_lot", "read_sources"]
