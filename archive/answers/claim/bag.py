"""The tag files that make a folder a BagIt bag (RFC 8493, version 1.0)."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from archive.store.bags import INFO, MANIFEST, TAG_MANIFEST
from archive.store.bags.manifest import DECLARATION, DECLARED, info, manifest


def tags(payload: Mapping[str, bytes], *, link: str, day: str) -> dict[str, bytes]:
    """The declaration, the information and both manifests by name. payload: files by their path inside data/."""
    octets = sum(len(d) for d in payload.values())
    facts = [
        ("Bag-Software-Agent", "muniment"),
        ("Bagging-Date", day),
        ("External-Description", "claim file"),
        ("Internal-Sender-Identifier", " ".join(link.split())),
        ("Payload-Oxum", f"{octets}.{len(payload)}"),
    ]
    made = {
        DECLARATION: DECLARED,
        INFO: info(facts),
        MANIFEST: manifest({f"data/{path}": _sha256(data) for path, data in payload.items()}),
    }
    return {**made, TAG_MANIFEST: manifest({name: _sha256(data) for name, data in made.items()})}


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
