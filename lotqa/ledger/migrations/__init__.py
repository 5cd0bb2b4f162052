"""The ledger's history of shapes, oldest first.

A change of the schema is a new file in ``versions`` and its name added here.  The names start
with ``lotqa_`` so that no other program's database is taken for a ledger.
"""

REVISIONS: tuple[str, ...] = ("lotqa_0001", "lotqa_0002", "lotqa_0003", "lotqa_0004")
HEAD = REVISIONS[-1]
VERSION_TABLE = "alembic_version"
