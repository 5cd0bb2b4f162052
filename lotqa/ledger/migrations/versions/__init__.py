"""One file for each change of the ledger's shape."""
