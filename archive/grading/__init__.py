"""Derived quantities, margins, verdicts: array code over whole batches."""
