"""Writing a bag: payload files stream in, each digested twice on the way; the manifests come last."""

from __future__ import annotations

from pathlib import Path

from archive import disk
from archive.store import clock, files
from archive.store.bags import manifest as m
from archive.store.files import DigestedFile, Fingerprint
from archive.store.names import portable


class BagWriter:
    """A bag that grows in a folder aside. Nothing of it counts until the folder gets its place and its entry.

    prints: fingerprint of each finished payload file, by its path in the bag.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.prints: dict[str, Fingerprint] = {}
        self._open: dict[str, DigestedFile] = {}
        self._folders = {folder, folder / "data"}
        disk.make_folder(folder)
        disk.make_folder(folder / "data")

    def open(self, path: str) -> DigestedFile:
        """A new payload file to write to; path inside data/, with / between folders. `close` ends it.

        Errors: ValueError for a path that some file system or reader of bags does not take as it is.
        """
        if not all(portable(part) for part in path.split("/")):
            raise ValueError(f"{path!r} is no portable path")
        place = self.folder / "data" / path
        self._make(place.parent)
        file = DigestedFile(place, long=True)
        self._open[path] = file
        return file

    def close(self, path: str) -> Fingerprint:
        """Ends a payload file that `open` began."""
        done = self._open.pop(path).finish()
        self.prints[f"data/{path}"] = done
        return done

    def add(self, path: str, data: bytes) -> Fingerprint:
        """A whole payload file."""
        self.open(path).write(data)
        return self.close(path)

    def copy(self, path: str, source: Path) -> Fingerprint:
        """A payload file copied from elsewhere."""
        file = self.open(path)
        for piece in files.pieces(source):
            file.write(piece)
        return self.close(path)

    def finish(self, fields: list[tuple[str, str]]) -> Fingerprint:
        """Writes the declaration, the information and the manifests; everything reaches the disk.

        Gives the fingerprint of the tag manifest, which pins every byte of the bag.
        """
        octets = sum(p.bytes for p in self.prints.values())
        facts = [
            *fields,
            ("Bagging-Date", f"{clock.now():%Y-%m-%d}"),
            ("Payload-Oxum", f"{octets}.{len(self.prints)}"),
        ]
        tags = {
            m.DECLARATION: m.DECLARED,
            m.INFO: m.info(facts),
            m.MANIFEST: m.manifest({path: p.sha256 for path, p in self.prints.items()}),
            m.MANIFEST_512: m.manifest({path: p.sha512 for path, p in self.prints.items()}),
        }
        pinned = {name: files.write_new(self.folder / name, data).sha256 for name, data in tags.items()}
        done = files.write_new(self.folder / m.TAG_MANIFEST, m.manifest(pinned))
        for folder in sorted(self._folders, key=lambda f: -len(f.parts)):
            disk.sync_folder(folder)
        return done

    def release(self) -> None:
        """Closes what is open, as it is; whoever made the folder takes it away."""
        for file in self._open.values():
            file.give_up()
        self._open.clear()

    def _make(self, folder: Path) -> None:
        if folder in self._folders:
            return
        self._make(folder.parent)
        disk.make_folder(folder)
        self._folders.add(folder)
