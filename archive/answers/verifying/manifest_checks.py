"""The manifests of a folder against its files, both digests of each (RFC 8493, section 3)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from archive.store.bags import Damage, read_manifest
from archive.store.seals import FileDigests

_ALGORITHMS = ("sha256", "sha512")


def manifest_checks(folder: Path, there: Mapping[str, FileDigests]) -> Iterator[Damage]:
    """What the manifests do not say of the files. there: the files of the folder, without its seal."""
    for algorithm in _ALGORITHMS:
        manifest, tags = f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"
        whole = tags not in there  # a folder without tag manifests has one list of everything
        mine = {n for n in there if n.startswith("data/") or (whole and not n.startswith("manifest-"))}
        yield from _listed(folder, manifest, algorithm, {n: there[n] for n in mine})
        if not whole:
            rest = {n: d for n, d in there.items() if n not in mine and not n.startswith("tagmanifest-")}
            yield from _listed(folder, tags, algorithm, rest)
        elif "bagit.txt" in there:
            yield Damage(tags, "missing")


def _listed(folder: Path, name: str, algorithm: str, there: Mapping[str, FileDigests]) -> Iterator[Damage]:
    try:
        said = read_manifest(folder / name)
    except FileNotFoundError:
        yield Damage(name, "missing")
        return
    except (OSError, ValueError) as error:
        yield Damage(name, f"cannot be read: {error}")
        return
    for path in sorted({*there, *said}):
        if path not in said:
            yield Damage(path, f"added: {name} does not list it")
        elif path not in there:
            yield Damage(path, f"missing: {name} lists it")
        elif getattr(there[path], algorithm) != said[path]:
            yield Damage(path, f"changed: its digest is not the one in {name}")
