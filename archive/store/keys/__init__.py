"""Signing keys (Ed25519, RFC 8032): made, registered in the ledger, retired; signatures of entries judged."""

from __future__ import annotations

from archive.store.keys.judge import judge_signatures, known_keys
from archive.store.keys.pair import KeyPair, load, make

__all__ = ["KeyPair", "judge_signatures", "known_keys", "load", "make"]
