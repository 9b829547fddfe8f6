"""The text files of a bag (RFC 8493, version 1.0): declaration, information, manifests."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

DECLARATION = "bagit.txt"
INFO = "bag-info.txt"
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
MANIFEST_512 = "manifest-sha512.txt"
TAG_MANIFEST_512 = "tagmanifest-sha512.txt"
DECLARED = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

_LINE = re.compile(r"([0-9a-fA-F]{64}|[0-9a-fA-F]{128})[ \t]+\*?(.+)")


def manifest(digests: Mapping[str, str]) -> bytes:
    """Manifest of path -> digest, sorted by path. A line end or % in a path is percent-encoded (section 2.1.3)."""
    return "".join(f"{digests[path]}  {_encoded(path)}\n" for path in sorted(digests)).encode()


def read_manifest(path: Path) -> dict[str, str]:
    """Path -> SHA-256, or SHA-512. Errors: ValueError naming the line that is none of a manifest."""
    found: dict[str, str] = {}
    for number, line in enumerate(path.read_bytes().decode("utf-8").split("\n"), 1):
        if not line:
            continue
        match = _LINE.fullmatch(line.rstrip("\r"))
        if match is None:
            raise ValueError(f"line {number} is no line of a manifest")
        found[_decoded(match[2])] = match[1].lower()
    return found


def info(fields: Iterable[tuple[str, str]]) -> bytes:
    """bag-info.txt: a label and a value a line; a line end in a value becomes a blank."""
    return "".join(f"{label}: {' '.join(value.split())}\n" for label, value in fields).encode()


def read_info(data: bytes) -> dict[str, str]:
    """Fields of bag-info.txt by label."""
    pairs = (line.partition(":") for line in data.decode("utf-8", "replace").splitlines() if ":" in line)
    return {label.strip(): value.strip() for label, _, value in pairs}


def _encoded(path: str) -> str:
    return path.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _decoded(path: str) -> str:
    return re.sub("%0[Dd]", "\r", re.sub("%0[Aa]", "\n", path)).replace("%25", "%")
