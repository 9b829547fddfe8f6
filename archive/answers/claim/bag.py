"""The tag files that make a folder a BagIt bag (RFC 8493, version 1.0), with SHA-256 and SHA-512 side by side."""

from __future__ import annotations

from collections.abc import Mapping

from archive.store.bags import INFO, MANIFEST, TAG_MANIFEST
from archive.store.bags.manifest import DECLARATION, DECLARED, MANIFEST_512, TAG_MANIFEST_512, info, manifest
from archive.store.seals import FileDigests


def tags(payload: Mapping[str, bytes], beside: Mapping[str, bytes], *, link: str, day: str) -> dict[str, bytes]:
    """The declaration, the information and the manifests by name.

    payload: files by their path inside data/; beside: further files that lie where the manifests do.
    """
    octets = sum(len(d) for d in payload.values())
    facts = [
        ("Bag-Software-Agent", "muniment"),
        ("Bagging-Date", day),
        ("External-Description", "claim file"),
        ("Internal-Sender-Identifier", " ".join(link.split())),
        ("Payload-Oxum", f"{octets}.{len(payload)}"),
    ]
    listed = {f"data/{path}": FileDigests.of(data) for path, data in payload.items()}
    made = {DECLARATION: DECLARED, INFO: info(facts), **beside, **_manifests(listed, MANIFEST, MANIFEST_512)}
    pinned = {name: FileDigests.of(data) for name, data in made.items()}
    return {**made, **_manifests(pinned, TAG_MANIFEST, TAG_MANIFEST_512)}


def _manifests(listed: Mapping[str, FileDigests], short: str, long: str) -> dict[str, bytes]:
    return {
        short: manifest({path: d.sha256 for path, d in listed.items()}),
        long: manifest({path: d.sha512 for path, d in listed.items()}),
    }
