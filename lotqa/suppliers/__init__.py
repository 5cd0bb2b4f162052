"""The months: many lots of many suppliers, how they drift and how they compare.

Records in (``records``), one estimate a lot (``history``), two documents out (``drift``,
``comparison``) and the sentences for them (``words``).  No file, clock, terminal or ledger.
"""
