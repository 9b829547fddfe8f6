"""Proofs of records, and their verification without the archive."""

from __future__ import annotations

from archive.store.proofs.prove import prove
from archive.store.proofs.verify import ProofStep, holds, load, verify

__all__ = ["ProofStep", "holds", "load", "prove", "verify"]
