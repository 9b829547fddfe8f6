"""Originals in a bag: as received where it is one file that is compressed already, else one deflate zip."""

from __future__ import annotations

import zipfile
from pathlib import Path

from archive.store import files
from archive.store.bags import BagWriter
from archive.store.names import portable

FOLDER = "originals"
ZIP = "originals.zip"

_COMPRESSED = (
    b"PK\x03\x04",
    b"%PDF",
    b"\x1f\x8b",
    b"\x89PNG",
    b"\xff\xd8\xff",
    b"7z\xbc\xaf",
    b"\xfd7zXZ",
    b"\x28\xb5\x2f\xfd",
)
_OLDEST = (1980, 1, 1, 0, 0, 0)


class Originals:
    """Files as received. They are held back by path until `finish`, so that it is known how many they are."""

    def __init__(self, bag: BagWriter) -> None:
        self._bag = bag
        self._files: dict[str, Path] = {}

    def add(self, source: Path, name: str) -> None:
        """A file and its path inside what was handed in; a second one of that path gets a number."""
        free, number = name, 2
        while free in self._files:
            free, number = f"{name} ({number})", number + 1
        self._files[free] = source

    def finish(self) -> None:
        """Writes them into the bag."""
        if len(self._files) == 1:
            name, source = next(iter(self._files.items()))
            with source.open("rb") as file:
                head = file.read(8)
            if head.startswith(_COMPRESSED) and portable(name):
                self._bag.copy(f"{FOLDER}/{name}", source)
                return
        if self._files:
            sink = self._bag.open(ZIP)
            with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as packed:
                for name, source in self._files.items():
                    member = zipfile.ZipInfo(name, _OLDEST)
                    member.compress_type = zipfile.ZIP_DEFLATED
                    member.file_size = source.stat().st_size
                    member.external_attr = 0o444 << 16
                    with packed.open(member, "w") as into:
                        for piece in files.pieces(source):
                            into.write(piece)
            self._bag.close(ZIP)


_LEVEL = 4
