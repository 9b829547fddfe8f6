"""Originals in a bag: as received where it is one file that is compressed already, else one deflate zip."""

from __future__ import annotations

import zipfile
from pathlib import Path
from threading import Thread

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
_LEVEL = 4
"""Of deflate: four times the speed of the usual 6 on text of curves, for a sixth more bytes (measured)."""
_LARGE = 16 << 20
"""Bytes from which packing has a thread of its own."""


class Originals:
    """Files as received. Large ones are packed beside the reading, in a thread of their own."""

    def __init__(self, bag: BagWriter) -> None:
        self._bag = bag
        self._files: dict[str, Path] = {}
        self._thread: Thread | None = None
        self._error: BaseException | None = None
        self._stop = False

    def add(self, source: Path, name: str) -> None:
        """A file and its path inside what was handed in; a second one of that path gets a number."""
        free, number = name, 2
        while free in self._files:
            free, number = f"{name} ({number})", number + 1
        self._files[free] = source

    def start(self) -> None:
        """Begins to pack, where that takes long. No file may be added after."""
        if self._thread is None and sum(p.stat().st_size for p in self._files.values()) >= _LARGE:
            self._thread = Thread(target=self._run, daemon=True)
            self._thread.start()

    def finish(self) -> None:
        """Writes them into the bag, or waits until they are. Errors: OSError where the disk fails."""
        if self._thread is None:
            self._write()
            return
        self._thread.join()
        if self._error is not None:
            raise self._error

    def give_up(self) -> None:
        """Ends the packing without a result."""
        self._stop = True
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            self._write()
        except BaseException as error:  # noqa: BLE001 - raised again in finish, by the thread that waits
            self._error = error

    def _write(self) -> None:
        if len(self._files) == 1:
            name, source = next(iter(self._files.items()))
            with source.open("rb") as file:
                head = file.read(8)
            if head.startswith(_COMPRESSED) and portable(name):
                self._bag.copy(f"{FOLDER}/{name}", source)
                return
        if self._files:
            with zipfile.ZipFile(self._bag.open(ZIP), "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as packed:
                for name, source in self._files.items():
                    self._pack(packed, name, source)
            self._bag.close(ZIP)

    def _pack(self, packed: zipfile.ZipFile, name: str, source: Path) -> None:
        large = source.stat().st_size >= 1 << 31
        with packed.open(name, "w", force_zip64=large) as into:  # by name: a ZipInfo would bring the usual level along
            for piece in files.pieces(source):
                if self._stop:
                    return
                into.write(piece)
