"""Seals of folders that leave the archive: what each held, who issued it, and the ledger's word for it."""

from __future__ import annotations

from archive.store.seals.folder_files import FileDigests, compare, digests, unfit
from archive.store.seals.seal import SEAL, Seal, read_seal, sealed
from archive.store.seals.seal_proof import SEAL_PROOF, SealProof, prove_seal, read_proof

__all__ = [
    "SEAL",
    "SEAL_PROOF",
    "FileDigests",
    "Seal",
    "SealProof",
    "compare",
    "digests",
    "prove_seal",
    "read_proof",
    "read_seal",
    "sealed",
    "unfit",
]
