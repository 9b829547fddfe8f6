"""The archive on disk: deposits, originals, ledger, dedup, catalogue, fixity."""
