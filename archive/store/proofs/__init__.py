"""Proofs of records, and their verification without the archive."""

from __future__ import annotations

from archive.store.proofs.prove import prove
from archive.store.proofs.verify import Step, holds, load, verify

__all__ = ["Step", "holds", "load", "prove", "verify"]
