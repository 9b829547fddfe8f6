"""Looking at a bag as it stands: which files are there, and which of them are not what its manifests say."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path

from archive.store import files
from archive.store.bags import manifest as m

NOT_LISTED = "not in the manifest"
_BESIDE = frozenset({m.TAG_MANIFEST_512, "seal.json", "seal-proof.json"})
"""What a bag that left the archive has besides: no tag manifest lists another (RFC 8493, 2.2.1), and a seal holds the
digests of them all."""


@dataclass(frozen=True)
class Damage:
    """One thing that is not as it was: path in the archive or bag, and what is the matter with it."""

    path: str
    what: str


def payload(folder: Path) -> dict[str, int]:
    """Files under data/ with their sizes, by path inside the bag."""
    data = folder / "data"
    return {p.relative_to(folder).as_posix(): p.stat().st_size for p in sorted(data.rglob("*")) if p.is_file()}


def check(
    folder: Path,
    tag_digest: str,
    *,
    bytes_too: bool,
    gone: frozenset[str] = frozenset(),
    beside: frozenset[str] = frozenset(),
) -> Iterator[Damage]:
    """Damage of one bag. Paths are inside the bag.

    tag_digest: SHA-256 of its tag manifest, as the ledger says. bytes_too: digest every file, not only names, number
    and total size. gone: files of the manifest that were taken out on purpose (redaction); beside: files that may lie
    beside the manifests without being listed.
    """
    tag = folder / m.TAG_MANIFEST
    if not tag.is_file():
        yield Damage(m.TAG_MANIFEST if folder.is_dir() else "", "missing")
        return
    if bytes_too and files.fingerprint(tag).sha256 != tag_digest:
        yield Damage(m.TAG_MANIFEST, "changed: its digest is not the one in the ledger")
        return
    pinned = yield from _listed(folder, m.TAG_MANIFEST)
    for name, digest in sorted(pinned.items()):
        yield from _one(folder, name, digest, bytes_too)
    if not (folder / m.MANIFEST).is_file():
        return
    listed = yield from _listed(folder, m.MANIFEST)
    there = payload(folder)
    for path, digest in sorted(listed.items()):
        if path not in gone:
            yield from _one(folder, path, digest, bytes_too)
    for path in sorted(set(there) - set(listed)):
        yield Damage(path, NOT_LISTED)
    allowed = {m.TAG_MANIFEST, *pinned, *beside}
    for extra in sorted(p.name for p in folder.iterdir() if p.name not in allowed and p.name != "data"):
        yield Damage(extra, NOT_LISTED)
    if not gone and not bytes_too:
        oxum = m.read_info((folder / m.INFO).read_bytes()).get("Payload-Oxum") if (folder / m.INFO).is_file() else None
        found = f"{sum(there.values())}.{len(there)}"
        if oxum != found:
            yield Damage(m.INFO, f"the payload is {found} (octets.files), not {oxum}")


def self_check(folder: Path) -> Iterator[Damage]:
    """Damage of a bag of which nothing is known but itself: its manifests against each other and its files."""
    tag = folder / m.TAG_MANIFEST
    if not tag.is_file():
        yield Damage(m.TAG_MANIFEST, "missing")
        return
    yield from check(folder, files.fingerprint(tag).sha256, bytes_too=True, beside=_BESIDE)


def _listed(folder: Path, name: str) -> Generator[Damage, None, dict[str, str]]:
    """Generator that yields damage and returns the manifest's lines."""
    try:
        return m.read_manifest(folder / name)
    except (OSError, ValueError) as error:
        yield Damage(name, f"not to be read: {error}")
        return {}


def _one(folder: Path, path: str, digest: str, bytes_too: bool) -> Iterator[Damage]:
    place = folder / path
    if not place.is_file():
        yield Damage(path, "missing")
    elif bytes_too:
        try:
            found = files.fingerprint(place).sha256
        except OSError as error:
            yield Damage(path, f"not to be read: {error.strerror}")
            return
        if found != digest:
            yield Damage(path, "changed: its digest is not the one in the manifest")
