"""Deposits: what came in at one time, as one immutable bag and one ledger entry."""
