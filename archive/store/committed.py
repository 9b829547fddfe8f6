"""What ledger entries commit: the files of each, down to the last one in its bags, and those that were redacted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from archive.errors import Trouble
from archive.store.bags import MANIFEST, TAG_MANIFEST, read_manifest
from archive.store.ledger import LedgerEntry


def redacted(entries: Iterable[LedgerEntry]) -> dict[str, str]:
    """Files that redactions took out: path -> SHA-256 of the bytes that went."""
    return {g["path"]: g["sha256"] for e in entries for g in e.get("gone", [])}


def bags_of(entry: LedgerEntry) -> dict[str, str]:
    """Bags that an entry commits: folder in the archive -> SHA-256 of the tag manifest."""
    return {
        path.removesuffix(f"/{TAG_MANIFEST}"): said["sha256"]
        for path, said in entry.files.items()
        if path.endswith(f"/{TAG_MANIFEST}")
    }


def files_of(root: Path, entry: LedgerEntry) -> Iterator[tuple[str, str]]:
    """Every file that an entry commits, down to the last one in its bags: path in the archive, SHA-256.

    Errors: Trouble where a manifest cannot be read.
    """
    for folder in bags_of(entry):
        try:
            tags, listed = read_manifest(root / folder / TAG_MANIFEST), read_manifest(root / folder / MANIFEST)
        except (OSError, ValueError) as error:
            raise Trouble(
                "a manifest cannot be read", code="archive.damaged", where=str(root / folder), found=str(error)
            ) from None
        yield from ((f"{folder}/{name}", digest) for name, digest in sorted({**listed, **tags}.items()))
    yield from ((path, said["sha256"]) for path, said in entry.files.items())
