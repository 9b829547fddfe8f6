"""The tag files that make a folder a BagIt bag (RFC 8493, version 1.0)."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping


def tags(payload: Mapping[str, bytes], *, link: str, day: str) -> dict[str, bytes]:
    """bagit.txt, bag-info.txt and both manifests by name. payload: files by their path inside data/."""
    octets = sum(len(d) for d in payload.values())
    info = (
        f"Bag-Software-Agent: muniment\nBagging-Date: {day}\n"
        f"External-Description: claim file\nInternal-Sender-Identifier: {' '.join(link.split())}\n"
        f"Payload-Oxum: {octets}.{len(payload)}\n"
    )
    made = {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": info.encode(),
        "manifest-sha256.txt": _lines({f"data/{path}": data for path, data in payload.items()}),
    }
    return {**made, "tagmanifest-sha256.txt": _lines(made)}


def _lines(files: Mapping[str, bytes]) -> bytes:
    listed = (f"{hashlib.sha256(data).hexdigest()}  {_encoded(path)}\n" for path, data in sorted(files.items()))
    return "".join(listed).encode()


def _encoded(path: str) -> str:
    """A path as a manifest holds it: RFC 8493, section 2.1.3."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
