"""Evidence: estimates with their uncertainty, computed from arrays; it knows nothing of limits.

One module answers one question.  Functions take ``x`` of shape (k, n): k spools, n places each,
all finite, and answer with arrays of shape (k,), so that one spool and 100,000 cost one call.
"""
