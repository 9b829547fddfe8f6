"""Bags: folders after RFC 8493 (BagIt 1.0) whose manifests pin every byte."""

from __future__ import annotations

from archive.store.bags.check import Damage, check, payload, self_check
from archive.store.bags.manifest import INFO, MANIFEST, TAG_MANIFEST, read_info, read_manifest
from archive.store.bags.writer import BagWriter

__all__ = [
    "INFO",
    "MANIFEST",
    "TAG_MANIFEST",
    "BagWriter",
    "Damage",
    "check",
    "payload",
    "read_info",
    "read_manifest",
    "self_check",
]
