"""lotqa: readings go in, evidence comes out, criteria turn evidence into a verdict.

The ledger remembers, the report shows.  DEVELOPERS.md says where each room is.
"""

__version__ = "0.1.0"
